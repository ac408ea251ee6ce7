package channel

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// A Set is the catalogue and what the user's feed file adds to it. IDs of the
// catalogue are the same in every Set.
type Set struct {
	list   []Channel
	byName map[string]ID
}

// NewSet returns the catalogue.
func NewSet() *Set {
	s := &Set{list: slices.Clone(catalogue), byName: make(map[string]ID, len(catalogue))}
	for i, c := range s.list {
		s.byName[c.Name] = ID(i)
	}
	return s
}

// Len is the length of a Row of this Set.
func (s *Set) Len() int { return len(s.list) }

// At describes channel id.
func (s *Set) At(id ID) Channel { return s.list[id] }

// Lookup finds a channel by name.
func (s *Set) Lookup(name string) (ID, bool) {
	id, ok := s.byName[name]
	return id, ok
}

// Names lists all channels in the order of a Row.
func (s *Set) Names() []string {
	names := make([]string, len(s.list))
	for i, c := range s.list {
		names[i] = c.Name
	}
	return names
}

// Add adds a channel of the user's own. The name must be new, in lower case,
// with digits and underscores only.
func (s *Set) Add(c Channel) (ID, error) {
	if _, ok := s.byName[c.Name]; ok {
		return 0, fmt.Errorf("channel %q is in the catalogue already: map the field to it instead of declaring it", c.Name)
	}
	if c.Name == "" || strings.Trim(c.Name, "abcdefghijklmnopqrstuvwxyz0123456789_") != "" || c.Name[0] < 'a' {
		return 0, fmt.Errorf("channel %q: a name has lower-case letters, digits and underscores and begins with a letter", c.Name)
	}
	c.Origin = Custom
	if c.Min == 0 && c.Max == 0 {
		c.Min, c.Max = -math.MaxFloat64, math.MaxFloat64
	}
	if c.Stale == 0 {
		c.Stale = slow
	}
	s.list = append(s.list, c)
	id := ID(len(s.list) - 1)
	s.byName[c.Name] = id
	return id, nil
}

// A Span is neighbouring channels: from From until before To.
type Span struct{ From, To ID }

// Fed are the channels that a feed may give: all that are not computed.
func (s *Set) Fed() (spans []Span) {
	for i, c := range s.list {
		switch n := len(spans); {
		case c.Origin == Computed:
		case n > 0 && spans[n-1].To == ID(i):
			spans[n-1].To++
		default:
			spans = append(spans, Span{ID(i), ID(i + 1)})
		}
	}
	return spans
}

// A Row holds the readings of one moment, indexed by ID, NaN where there is none.
type Row []float64

// NewRow returns a Row without a reading.
func (s *Set) NewRow() Row {
	r := make(Row, s.Len())
	r.Clear()
	return r
}

// Clear takes all readings away.
func (r Row) Clear() {
	for i := range r {
		r[i] = math.NaN()
	}
}

// Has tells whether there is a reading of id.
func (r Row) Has(id ID) bool { return !math.IsNaN(r[id]) }

// A Sample is what the feed told at one moment: readings of some channels, NaN for
// all others. At is in seconds on the feed's clock.
type Sample struct {
	At  float64
	Row Row
}

// A Hold keeps the last reading of every channel until it is stale. It is the
// only place where a reading outlives its sample.
type Hold struct {
	Row   Row // the present readings; computed channels are written here by their owners
	kept  []kept
	fed   []Span
	live  []ID    // measured channels whose reading is not stale
	fresh float64 // until when none of them is stale
	last  float64 // when the last sample came
}

// kept is what a Hold needs of a channel with each reading.
type kept struct {
	min, max, stale float64
	since           float64 // when the reading was taken
	live, seen      bool
}

// NewHold returns a Hold without readings.
func NewHold(s *Set) *Hold {
	h := &Hold{Row: s.NewRow(), kept: make([]kept, s.Len()), fed: s.Fed(), fresh: math.Inf(1), last: math.Inf(-1)}
	for i, c := range s.list {
		h.kept[i] = kept{min: c.Min, max: c.Max, stale: c.Stale}
	}
	return h
}

// Update takes the readings of s in. A reading outside the channel's plausible range
// makes the channel absent and is counted in the result.
func (h *Hold) Update(s Sample) (implausible int) {
	if s.At < h.last { // the feed's clock stepped back: these readings are stale sooner than those before
		h.fresh = math.Inf(-1)
	}
	h.last = s.At
	for _, f := range h.fed {
		implausible += h.take(f, s)
	}
	h.Expire(s.At)
	return implausible
}

func (h *Hold) take(f Span, s Sample) (implausible int) {
	row, kept := h.Row[f.From:f.To], h.kept[f.From:f.To]
	for i, v := range s.Row[f.From:f.To] {
		if math.IsNaN(v) {
			continue
		}
		k := &kept[i]
		if v < k.min || v > k.max {
			row[i] = math.NaN()
			implausible++
			continue
		}
		row[i], k.since = v, s.At
		if !k.live {
			k.live, k.seen = true, true
			h.live = append(h.live, f.From+ID(i))
			h.fresh = min(h.fresh, s.At+k.stale)
		}
	}
	return implausible
}

// Expire makes readings absent that are older at now than their channel allows.
func (h *Hold) Expire(now float64) {
	if now < h.fresh {
		return
	}
	h.fresh = math.Inf(1)
	still := h.live[:0]
	for _, id := range h.live {
		k := &h.kept[id]
		if now-k.since > k.stale {
			h.Row[id], k.live = math.NaN(), false
			continue
		}
		still = append(still, id)
		h.fresh = min(h.fresh, k.since+k.stale)
	}
	h.live = still
}

// Seen tells whether the feed has ever given a plausible reading of id.
func (h *Hold) Seen(id ID) bool { return h.kept[id].seen }
