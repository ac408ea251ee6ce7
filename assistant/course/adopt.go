package course

import (
	"math"
	"slices"
)

// Adopt makes the Learner go on from a saved map. Its braking and turn-in points count as one lap, so that those of
// this car and this day soon outweigh them. What the course file says about corners holds.
func (l *Learner) Adopt(m *Map) *Map {
	next := *m
	next.Corners = slices.Clone(m.Corners)
	if f := l.file; f != nil && len(f.Join)+len(f.Split)+len(f.Names) > 0 {
		next.Corners = carryOver(correct(findCorners(m.K, m.Step, m.yardstick()), f, m.K, m.Step), m)
	}
	next.describe()
	l.m, l.known = &next, make([]memory, len(next.Corners))
	for i := range next.Corners {
		c, mem := &next.Corners[i], &l.known[i]
		rel := func(d float64) float64 { return math.Remainder(d-c.Entry, next.Length) }
		remember(&mem.braking, rel(c.Braking))
		remember(&mem.turnIn, rel(c.TurnIn))
		remember(&mem.slowest, rel(c.Slowest))
		remember(&mem.speed, c.MinSpeed)
	}
	if len(l.points) > 1 {
		l.spoil("the course was recognised on the way") // course_distance may go by another measure from here on
	}
	return l.m
}

// Forget makes the Learner begin again with the next whole lap.
func (l *Learner) Forget() { l.m, l.known, l.spoilt, l.voids = nil, nil, "on another course", 0 }

// carryOver copies to corners what m knows of the corners that begin at the same places.
func carryOver(cs []Corner, m *Map) []Corner {
	const apart = 30.0 // m
	for i := range cs {
		c := &cs[i]
		for _, old := range m.Corners {
			if old.Hand == c.Hand && math.Abs(math.Remainder(old.Entry-c.Entry, m.Length)) <= apart {
				c.Braking, c.TurnIn, c.Slowest, c.MinSpeed = old.Braking, old.TurnIn, old.Slowest, old.MinSpeed
				if c.Name == "" && old.Number == c.Number {
					c.Name = old.Name
				}
				break
			}
		}
	}
	return cs
}
