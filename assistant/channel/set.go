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
	set   *Set
	Row   Row       // the present readings; computed channels are written here by their owners
	since []float64 // when each reading was taken
	live  []ID      // measured channels that have been seen
	seen  []bool
}

// NewHold returns a Hold without readings.
func NewHold(s *Set) *Hold {
	return &Hold{set: s, Row: s.NewRow(), since: make([]float64, s.Len()), seen: make([]bool, s.Len())}
}

// Update takes the readings of s in. A reading outside the channel's plausible range
// makes the channel absent and is counted in the result.
func (h *Hold) Update(s Sample) (implausible int) {
	for i, v := range s.Row {
		if math.IsNaN(v) {
			continue
		}
		c := &h.set.list[i]
		if v < c.Min || v > c.Max {
			h.Row[i] = math.NaN()
			implausible++
			continue
		}
		h.Row[i], h.since[i] = v, s.At
		if !h.seen[i] {
			h.seen[i] = true
			h.live = append(h.live, ID(i))
		}
	}
	h.Expire(s.At)
	return implausible
}

// Expire makes readings absent that are older at now than their channel allows.
func (h *Hold) Expire(now float64) {
	for _, id := range h.live {
		if now-h.since[id] > h.set.list[id].Stale {
			h.Row[id] = math.NaN()
		}
	}
}

// Seen tells whether the feed has ever given a plausible reading of id.
func (h *Hold) Seen(id ID) bool { return h.seen[id] }
