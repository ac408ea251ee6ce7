package timing

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"earshot/assistant/course"
	"earshot/assistant/journal"
)

// BestsVersion is the version of the form in which Bests are kept.
const BestsVersion = 1

// Bests are the best laps of all sessions with one car on one course, by compound. They come into a session as data
// and leave it as data: who keeps them where is not this package's business. As JSON they are
//
//	{"version":1,"course":"Mill course","car":"Demo","compounds":{"medium":{
//	  "lap":102.314,"number":7,"session":"20260511-141500","set":"2026-05-11T14:15:00+02:00",
//	  "boundaries":"960 m, gate","sectors":[31.2,40.114,31.0],
//	  "trace":{"step":5,"length":3180,"time":102.314,"times":[0,0.11]}}}}
//
// Times are in seconds, lengths in metres. sectors are the best ones, of different laps; null is not known. trace is
// the best lap's time by distance. The compound is "unknown" where the feed does not tell it.
type Bests struct {
	Version   int              `json:"version"`
	Course    string           `json:"course"` // the key of the course
	Car       string           `json:"car"`
	Compounds map[string]*Best `json:"compounds"`
	Reference *Trace           `json:"reference,omitempty"` // a lap chosen to compare with; in recordings only
}

// A Best is what is kept of one compound.
type Best struct {
	Lap        float64       `json:"lap"`
	Number     int           `json:"number"`            // of the lap in its session
	Session    string        `json:"session,omitempty"` // in which it was driven
	Set        string        `json:"set,omitempty"`     // RFC 3339: when that session began
	Boundaries string        `json:"boundaries,omitempty"`
	Sectors    []journal.Num `json:"sectors,omitempty"`
	Trace      *Trace        `json:"trace,omitempty"`
}

// ParseBests reads what Encode wrote. What cannot be true is an error: a broken file must not make every lap a record
// or none.
func ParseBests(data []byte) (*Bests, error) {
	b := &Bests{}
	if err := json.Unmarshal(data, b); err != nil {
		return nil, fmt.Errorf("not the best laps that Earshot keeps: %w", err)
	}
	if b.Version != BestsVersion {
		return nil, fmt.Errorf("version %d of the best laps is not known to this program, which knows %d", b.Version,
			BestsVersion)
	}
	for _, name := range sorted(b.Compounds) {
		x := b.Compounds[name]
		if x == nil || !(x.Lap > 0) || x.Lap > 1e5 || x.Trace != nil && !x.Trace.ok() {
			return nil, fmt.Errorf("the best lap on %q cannot be one: its time or its trace makes no sense", name)
		}
		for i, s := range x.Sectors {
			if s <= 0 || s > 1e5 || len(x.Sectors) > maxSectors {
				return nil, fmt.Errorf("the best sectors on %q cannot be some: sector %d of %d takes %g s", name, i+1,
					len(x.Sectors), float64(s))
			}
		}
	}
	if b.Reference != nil && !b.Reference.ok() {
		return nil, fmt.Errorf("the lap to compare with cannot be one: its trace makes no sense")
	}
	return b, nil
}

func sorted(m map[string]*Best) []string {
	names := make([]string, 0, len(m))
	for n := range m {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

// Encode writes b as JSON, the same bytes for the same content.
func (b *Bests) Encode() ([]byte, error) {
	data, err := json.Marshal(b)
	return append(data, '\n'), err
}

// Quickest is the trace of the quickest lap, whatever the compound, or nil.
func (b *Bests) Quickest() *Trace {
	var best *Best
	for _, name := range sorted(b.Compounds) {
		if x := b.Compounds[name]; x.Trace != nil && (best == nil || x.Lap < best.Lap) {
			best = x
		}
	}
	if best == nil {
		return nil
	}
	return best.Trace
}

// copyOf returns a copy that shares nothing that changes.
func (b *Bests) copyOf() *Bests {
	c := *b
	c.Version = BestsVersion
	c.Compounds = make(map[string]*Best, len(b.Compounds))
	for name, x := range b.Compounds {
		y := *x
		y.Sectors = slices.Clone(x.Sectors)
		c.Compounds[name] = &y
	}
	return &c
}

// Merge takes what other, the fresher one, has and b has not, or has worse. Two programs may have driven at the same
// time. Sectors between other boundaries than before replace those that were kept: the two cannot be compared.
func (b *Bests) Merge(other *Bests) {
	if b.Compounds == nil {
		b.Compounds = make(map[string]*Best)
	}
	for name, x := range other.Compounds {
		have := b.Compounds[name]
		if have == nil {
			b.Compounds[name] = x
			continue
		}
		merged := *have
		if x.Lap < have.Lap {
			merged = *x
		}
		merged.Boundaries, merged.Sectors = have.Boundaries, slices.Clone(have.Sectors)
		if same := x.Boundaries == have.Boundaries && len(x.Sectors) == len(have.Sectors); !same && len(x.Sectors) > 0 {
			merged.Boundaries, merged.Sectors = x.Boundaries, slices.Clone(x.Sectors)
		} else if same {
			for i, s := range x.Sectors {
				merged.Sectors[i] = quicker(merged.Sectors[i], s)
			}
		}
		b.Compounds[name] = &merged
	}
}

// quicker is the lesser of two times, either of which may be unknown.
func quicker(a, b journal.Num) journal.Num {
	if a.IsZero() || b < a {
		return b
	}
	return a
}

// improve merges laps of this session and tells whether they better anything.
func (b *Bests) improve(session *Bests) bool {
	if len(session.Compounds) == 0 {
		return false
	}
	before, err := b.Encode()
	b.Merge(session)
	after, err2 := b.Encode()
	return err != nil || err2 != nil || !bytes.Equal(before, after)
}

// boundariesText tells sector boundaries apart: sectors of other boundaries are not comparable.
func boundariesText(list []course.Boundary) string {
	if len(list) == 0 {
		return "feed"
	}
	var parts []string
	for _, b := range list {
		if b.Gate != nil {
			parts = append(parts, fmt.Sprintf("gate %g %g %g %g", b.Gate.A.X, b.Gate.A.Y, b.Gate.B.X, b.Gate.B.Y))
		} else {
			parts = append(parts, fmt.Sprintf("%g m", b.Distance))
		}
	}
	return strings.Join(parts, ", ")
}

// records follows the bests of all sessions. The zero value keeps none.
type records struct {
	all     *Bests
	before  map[string]float64 // best lap of earlier sessions by compound
	session string
	started string
	changed bool
}

func newRecords(b *Bests) records {
	if b == nil {
		return records{}
	}
	r := records{all: b.copyOf(), before: make(map[string]float64, len(b.Compounds))}
	for name, x := range r.all.Compounds {
		r.before[name] = x.Lap
	}
	return r
}

// best is the best lap on that compound in all sessions, NaN where there is none.
func (r *records) best(compound string) float64 {
	if r.all == nil || r.all.Compounds[compound] == nil {
		return math.NaN()
	}
	return r.all.Compounds[compound].Lap
}

// enter enters a valid flying lap, with its trace where that is whole, and tells whether it beats all earlier sessions
// on that compound.
func (r *records) enter(lap *Lap, compound, boundaries string, trace *Trace) (record bool) {
	if r.all == nil {
		return false
	}
	b := r.all.Compounds[compound]
	if b == nil {
		b = &Best{Lap: math.Inf(1)}
		r.all.Compounds[compound] = b
	}
	if lap.Time < b.Lap {
		_, earlier := r.before[compound]
		record = earlier
		b.Lap, b.Number, b.Session, b.Set, b.Trace = lap.Time, lap.Number, r.session, r.started, nil
		if trace != nil {
			b.Trace = trace.copyOf()
		}
		r.changed = true
	}
	if len(lap.Sectors) < 2 {
		return record
	}
	if b.Boundaries != boundaries || len(b.Sectors) != len(lap.Sectors) {
		b.Boundaries, b.Sectors = boundaries, make([]journal.Num, len(lap.Sectors))
		for i := range b.Sectors {
			b.Sectors[i] = journal.Unknown
		}
	}
	for i, s := range lap.Sectors {
		if s := quicker(b.Sectors[i], journal.Num(s)); s != b.Sectors[i] && !s.IsZero() {
			b.Sectors[i], r.changed = s, true
		}
	}
	return record
}
