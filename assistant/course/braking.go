package course

import (
	"math"
	"slices"

	"earshot/assistant/statistics"
)

const remembered = 9 // laps that the medians of a corner rest on

// A memory holds what the last laps showed of a corner, as distances from its entry.
type memory struct{ braking, turnIn, slowest, speed []float64 }

func remember(list *[]float64, v float64) {
	if math.IsNaN(v) {
		return
	}
	if len(*list) == remembered {
		*list = slices.Delete(*list, 0, 1)
	}
	*list = append(*list, v)
}

// observe finds where the lap braked, turned in and was slowest, and replaces the map by one with these places and the
// times of the lap. The lap is taken as a loop: its end leads to a corner just behind the line.
func (l *Learner) observe() {
	lap := l.lapTimes(l.m.Length, len(l.m.K))
	if l.slower(lap) {
		return
	}
	next := *l.m
	next.first = l.m.First()
	next.Corners = slices.Clone(l.m.Corners)
	next.Laps++
	for i := range next.Corners {
		c, mem := &next.Corners[i], &l.known[i]
		before := next.Corners[(i+len(next.Corners)-1)%len(next.Corners)].Exit
		start := c.Entry
		if way := next.ahead(before, c.Entry); way < next.Length/2 || len(next.Corners) == 1 {
			start = before
		} else if next.ahead(c.Entry, before) > 1 { // not overlapping: a long straight
			start = next.Wrap(c.Entry - next.Length/2)
		}
		braking, turnIn, slowest, speed := l.approach(&next, c, start)
		rel := func(d float64) float64 { return math.Remainder(d-c.Entry, next.Length) }
		remember(&mem.braking, rel(braking))
		remember(&mem.turnIn, rel(turnIn))
		remember(&mem.slowest, rel(slowest))
		remember(&mem.speed, speed)
		c.Braking, c.TurnIn = next.Wrap(c.Entry+statistics.Median(mem.braking)),
			next.Wrap(c.Entry+statistics.Median(mem.turnIn))
		c.Slowest, c.MinSpeed = next.Wrap(c.Entry+statistics.Median(mem.slowest)), statistics.Median(mem.speed)
	}
	next.pace(lap, l.slowLaps > 0)
	next.findSweeps()
	l.m = &next
}

// approach walks from start to the exit of c. It returns where the first braking before the apex begins, where the car
// turns in, where it is slowest, and how slow. NaN: not found.
func (l *Learner) approach(m *Map, c *Corner, start float64) (braking, turnIn, slowest, speed float64) {
	nan := math.NaN()
	braking, turnIn, slowest, speed = nan, nan, nan, nan
	n := len(l.points)
	first, _ := slices.BinarySearchFunc(l.points, start, func(p point, d float64) int {
		if p.d < d {
			return -1
		}
		return 1
	})
	toApex, toExit, toEntry := m.ahead(start, c.Apex), m.ahead(start, c.Exit), m.ahead(start, c.Entry)
	tightest := 0.0
	for i := range n {
		p := &l.points[(first+i)%n]
		if m.ahead(start, p.d) > toExit {
			break
		}
		if p.k*float64(c.Hand) > tightest {
			tightest = p.k * float64(c.Hand)
		}
	}
	was := true // braking before the start belongs to the corner before
	for i := range n {
		j := (first + i) % n
		p := &l.points[j]
		gone := m.ahead(start, p.d)
		if gone > toExit {
			break
		}
		on := l.brakes(j)
		if on && !was && gone <= toApex && math.IsNaN(braking) && l.brakes((j+1)%n) {
			braking = p.d
		}
		was = on
		if gone <= toApex && tightest > 0 {
			switch turning := p.k*float64(c.Hand) >= turnInPart*tightest; {
			case !turning:
				turnIn = nan
			case math.IsNaN(turnIn):
				turnIn = p.d
			}
		}
		if gone >= toEntry && !(p.v >= speed) && !math.IsNaN(p.v) {
			slowest, speed = p.d, p.v
		}
	}
	return braking, turnIn, slowest, speed
}

// brakes tells whether the car brakes at point j: by the pedal where there is one, else by the speed lost over
// the next five metres or so.
func (l *Learner) brakes(j int) bool {
	p := &l.points[j]
	if l.pedal {
		return p.braking
	}
	for i := j + 1; i < len(l.points); i++ {
		if q := &l.points[i]; q.d-p.d >= 5 {
			return (p.v*p.v-q.v*q.v)/(2*(q.d-p.d)) > slowing
		}
	}
	return false
}
