package probe

import (
	"math"
	"slices"

	"earshot/assistant/channel"
	"earshot/assistant/statistics"
)

// A Mapping is how the feed file maps a channel: what a proposed fix starts from.
type Mapping struct {
	Line  int     // in the feed file, from 1; 0 when it is not known
	Unit  string  // as written; empty where the file has none
	Scale float64 // as written, 1 where the file has none
}

// A Meter measures decoded samples. It belongs to one goroutine.
type Meter struct {
	// Of the car where its file says so, else 0 or not a number: with them the steering is held against the way's
	// curvature.
	Wheelbase, SteeringRatio float64 // m; hand wheel angle over road wheel angle

	set      *channel.Set
	covers   []channel.ID
	mappings map[channel.ID]Mapping
	hold     *channel.Hold
	rows     []measure // as covers
	samples  int64
	first    float64
	last     float64
	steps    kept    // s between samples
	usual    float64 // their median, now and then
	gaps     []Gap
	windows  windows
}

// measure is what is known of one channel.
type measure struct {
	n, implausible, absent, frozen int64
	min, max, last                 float64
	changed                        float64 // when the reading was last another
	values                         kept
}

// A Gap is a time without samples.
type Gap struct {
	From    float64 `json:"from"`    // s on the feed's clock
	Seconds float64 `json:"seconds"` // until the next sample
}

const keptGaps = 1000

// NewMeter makes a Meter for the channels that a feed covers. mappings may be nil.
func NewMeter(set *channel.Set, covers []channel.ID, mappings map[channel.ID]Mapping) *Meter {
	m := &Meter{set: set, covers: slices.Clone(covers), mappings: mappings, hold: channel.NewHold(set), rows: make([]measure, len(covers))}
	for i := range m.rows {
		m.rows[i].min, m.rows[i].max, m.rows[i].last = math.Inf(1), math.Inf(-1), math.NaN()
	}
	m.windows.prepare(covers)
	return m
}

// Add takes one sample. The Row may be used again afterwards.
func (m *Meter) Add(s channel.Sample) {
	if m.samples == 0 {
		m.first = s.At
	} else {
		m.step(s.At - m.last)
	}
	m.samples++
	m.last = s.At
	m.hold.Update(s)
	for i, id := range m.covers {
		r := &m.rows[i]
		if math.IsNaN(m.hold.Row[id]) {
			r.absent++
		}
		v := s.Row[id]
		if math.IsNaN(v) {
			continue
		}
		c := m.set.At(id)
		if v < c.Min || v > c.Max {
			r.implausible++
		}
		if r.n == 0 || v != r.last {
			r.changed = s.At
		} else if s.At-r.changed > max(1, c.Stale) {
			r.frozen++
		}
		r.n++
		r.last = v
		r.min, r.max = min(r.min, v), max(r.max, v)
		r.values.add(v)
	}
	m.windows.add(s)
}

func (m *Meter) step(dt float64) {
	if m.steps.n%64 == 20 {
		m.usual = m.steps.quantile(0.5) // a sort: not for every sample
	}
	m.steps.add(dt)
	// A gap is ten usual steps, and long enough to matter to someone who listens.
	if m.steps.n > 20 && dt > max(0.25, 10*m.usual) && len(m.gaps) < keptGaps {
		m.gaps = append(m.gaps, Gap{m.last - m.first, dt})
	}
}

// A Channel is what was measured of one channel. Values are in the unit used inside.
type Channel struct {
	Name        string  `json:"name"`
	Unit        string  `json:"unit"`
	Count       int64   `json:"count"`
	Rate        float64 `json:"rate"` // readings per second
	Min         float64 `json:"min"`
	Median      float64 `json:"median"` // of readings spread evenly over the time, at most 1024
	Max         float64 `json:"max"`
	Last        float64 `json:"last"`
	Absent      float64 `json:"absent"`      // share of the samples at which no fresh, plausible reading stood
	Implausible float64 `json:"implausible"` // share of the readings
	Frozen      float64 `json:"frozen"`      // share of the readings after a second, or the channel's stale time, without a change
}

// A Report is what a Meter has measured. A channel that never came has Count 0 and zeros for values.
type Report struct {
	Samples  int64     `json:"samples"`
	Seconds  float64   `json:"seconds"` // on the feed's clock
	Rate     float64   `json:"rate"`    // samples per second
	Gaps     []Gap     `json:"gaps,omitempty"`
	Channels []Channel `json:"channels"`
	Findings []Finding `json:"findings"`
}

// Report tells what was measured so far.
func (m *Meter) Report() Report {
	r := Report{Samples: m.samples, Seconds: m.last - m.first, Gaps: slices.Clone(m.gaps), Findings: m.findings()}
	if r.Seconds > 0 {
		r.Rate = float64(m.samples-1) / r.Seconds
	}
	for i, id := range m.covers {
		x, c := &m.rows[i], m.set.At(id)
		ch := Channel{Name: c.Name, Unit: channel.UnitsOf(c.Quantity)[0], Count: x.n}
		if m.samples > 0 {
			ch.Absent = float64(x.absent) / float64(m.samples)
		}
		if x.n > 0 {
			ch.Min, ch.Max, ch.Last, ch.Median = x.min, x.max, x.last, x.values.quantile(0.5)
			ch.Implausible, ch.Frozen = float64(x.implausible)/float64(x.n), float64(x.frozen)/float64(x.n)
			if r.Seconds > 0 {
				ch.Rate = float64(x.n) / r.Seconds
			}
		}
		r.Channels = append(r.Channels, ch)
	}
	return r
}

// measured finds the measure of a channel that the feed covers, nil where it has no reading.
func (m *Meter) measured(id channel.ID) *measure {
	if i, ok := slices.BinarySearch(m.covers, id); ok && m.rows[i].n > 0 {
		return &m.rows[i]
	}
	return nil
}

// thinned keeps at most a number of values, spread evenly over all that were added.
type thinned[T any] struct {
	list   []T
	n      int64
	stride int64
}

func (k *thinned[T]) add(v T, most int) {
	if k.stride == 0 {
		k.stride = 1
	}
	if k.n%k.stride == 0 && len(k.list) == most {
		k.list = everyOther(k.list)
		k.stride *= 2
	}
	if k.n%k.stride == 0 {
		k.list = append(k.list, v)
	}
	k.n++
}

// everyOther thins a list and lets go of what it took out.
func everyOther[T any](list []T) []T {
	n := len(list) / 2
	for i := range n {
		list[i] = list[2*i]
	}
	clear(list[n:])
	return list[:n]
}

// kept is what is kept of the readings of a channel.
type kept struct{ thinned[float64] }

const keptValues = 1024

func (k *kept) add(v float64) { k.thinned.add(v, keptValues) }

func (k *kept) quantile(q float64) float64 { return statistics.Quantile(k.list, q) }
