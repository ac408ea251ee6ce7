package timing

import (
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

const maxSectors = course.MaxSectors

// sectorState follows the sectors. Boundaries come from the course file, else from the steps of the feed's own sector.
// The moment of a step is the middle between two samples, right to half their interval.
type sectorState struct {
	feed  float64 // the feed's sector at the sample before, NaN where it has none
	base  float64 // the feed's first sector: 0 or 1
	count int     // sectors that the feed counts, as seen so far

	best      [maxSectors]float64 // s, of valid flying laps
	of        int                 // sectors of those laps
	last      int                 // number of the sector completed last, 0 before
	time      float64             // of it
	delta     float64
	potential float64
	completed bool // in this sample
}

func (s *sectorState) reset() {
	nan := math.NaN()
	*s = sectorState{feed: nan, base: 1, time: nan, delta: nan, potential: nan}
	for i := range s.best {
		s.best[i] = nan
	}
}

// done notes a completed sector. Its number counts from 1; its time is NaN where its beginning was missed.
func (s *sectorState) done(number int, time float64) {
	s.completed, s.last, s.time, s.delta = true, number, time, math.NaN()
	if number <= maxSectors {
		s.delta = time - s.best[number-1]
	}
}

// learn uses the sectors of a valid flying lap for the best ones.
func (s *sectorState) learn(list []float64) {
	if len(list) < 2 || len(list) > maxSectors {
		return
	}
	if len(list) != s.of { // the feed counts other sectors now
		s.of = len(list)
		for i := range s.best {
			s.best[i] = math.NaN()
		}
	}
	s.potential = 0
	for i, x := range list {
		if !(s.best[i] <= x) && !math.IsNaN(x) {
			s.best[i] = x
		}
		s.potential += s.best[i]
	}
}

// byFeed is true where sectors are those that the feed counts.
func (t *Timing) byFeed() bool { return len(t.lap.bounds) == 0 }

// feedSector watches the feed's own sector: a step up by one ends the one before.
func (t *Timing) feedSector(at, dt float64, row channel.Row) {
	s := &t.sector
	was, now := s.feed, row[channel.Sector]
	s.feed = now
	if math.IsNaN(now) || now == was {
		return
	}
	s.base = min(s.base, now)
	if n := int(now-s.base) + 1; n > s.count && n <= maxSectors {
		s.count = n
	}
	i := int(now-s.base) - 1 // the boundary just passed
	if now != was+1 || i < 0 || i >= maxSectors-1 || t.lap.number == 0 {
		return
	}
	if when := at - dt/2; when > t.lap.begun {
		t.split(i, when)
	}
}

// split notes that boundary i was passed.
func (t *Timing) split(i int, when float64) {
	l := &t.lap
	if i >= len(l.splits) || !math.IsNaN(l.splits[i]) {
		return
	}
	l.splits[i], l.next = when, i+1
	from := l.begun
	if i > 0 {
		from = l.splits[i-1]
	}
	t.sector.done(i+1, when-from)
}

// sectors returns the times between the boundaries of the lap in progress if it ends at end; nil without boundaries.
func (t *Timing) sectorTimes(end float64) []float64 {
	l := &t.lap
	n := len(l.bounds)
	if t.byFeed() {
		n = t.sector.count - 1
	}
	if n < 1 {
		return nil
	}
	list := make([]float64, n+1)
	from := l.begun
	for i, s := range l.splits[:n] {
		list[i] = s - from
		from = s
	}
	list[n] = end - from
	return list
}

// sectors marks the boundaries that were passed with this sample.
func (t *Timing) sectors(at, dt float64, move movement, row channel.Row) {
	l := &t.lap
	if t.byFeed() {
		t.feedSector(at, dt, row)
	}
	if l.number == 0 || len(l.bounds) == 0 {
		return
	}
	if i := move.boundary; i >= l.next && i < len(l.bounds) && move.boundaryAt >= l.begun {
		t.split(i, move.boundaryAt)
	}
	if math.IsNaN(t.place) || t.seen != at {
		return
	}
	if gone := t.place - l.placed; gone > 0 && gone < 500 { // else the car went back, or was moved
		for i := l.next; i < len(l.bounds); i++ {
			if b := l.bounds[i]; b.Gate == nil && b.Distance > l.placed && b.Distance <= t.place {
				t.split(i, at-(t.place-b.Distance)/gone*(at-l.placedAt))
			}
		}
	}
	if t.place != l.placed { // a held place waits for the next
		l.placed, l.placedAt = t.place, at
	}
}
