package timing

import (
	"math"

	"earshot/assistant/course"
)

// Common practice, no source.
const (
	trailStep     = 10.0 // m between the places that are kept
	trailMost     = 4000 // places: a loop longer than 40 km is not found
	trailBeside   = 15.0 // m from an earlier place: the car was there before
	trailAlike    = 0.8  // cosine of the angle between the two directions
	trailBack     = 30   // places: a shorter loop is none
	trailSure     = 8    // places driven again one after another
	straightReach = 5    // places to each side, between which a straight turns by at most …
	straightTurn  = 0.12 // … so many rad
	foundReach    = 15.0 // m to each side of a line that was found
)

// A trail finds a start line where neither the feed nor a course file gives one. It waits until the car drives where it
// drove before, and puts the line across the longest straight of the loop, a third of the way along, so that there is
// room to talk behind it.
type trail struct {
	places []trailPlace
	first  int // place that was met first of those driven again
	met    int // places driven again one after another
	last   int // place that was met last
	loop   int // number of places when the first was met
}

type trailPlace struct {
	course.Point
	ux, uy float64 // direction of driving, of length 1
}

func (t *trail) reset() { t.places, t.met = t.places[:0], 0 }

// step adds a place of the car, and returns a line once there is one.
func (t *trail) step(p course.Point) (gate course.Gate, ok bool) {
	if t.places == nil {
		t.places = make([]trailPlace, 0, trailMost)
	}
	n := len(t.places)
	if n == 0 {
		t.places = append(t.places, trailPlace{Point: p})
		return gate, false
	}
	last := &t.places[n-1]
	dx, dy := p.X-last.X, p.Y-last.Y
	d := math.Hypot(dx, dy)
	switch {
	case d < trailStep:
		return gate, false
	case n == trailMost:
		t.reset()
		return gate, false
	}
	last.ux, last.uy = dx/d, dy/d
	here := trailPlace{p, dx / d, dy / d}
	t.places = append(t.places, here)
	at := t.before(here)
	switch {
	case at < 0:
		t.met = 0
		return gate, false
	case t.met == 0 || at < t.last:
		t.first, t.met, t.loop = at, 0, n
	}
	t.last = at
	if t.met++; t.met < trailSure {
		return gate, false
	}
	return t.line(t.places[t.first:t.loop]), true
}

// before returns the nearest earlier place with the same direction, or -1.
func (t *trail) before(here trailPlace) int {
	best, at := trailBeside, -1
	for i := range max(len(t.places)-trailBack, 0) {
		q := &t.places[i]
		if d := math.Hypot(here.X-q.X, here.Y-q.Y); d < best && here.ux*q.ux+here.uy*q.uy > trailAlike {
			best, at = d, i
		}
	}
	return at
}

// line puts a gate across the longest straight of a loop.
func (t *trail) line(loop []trailPlace) course.Gate {
	n := len(loop)
	turn := func(i int) float64 {
		a, b, c := loop[(i+n-straightReach)%n], loop[i%n], loop[(i+straightReach)%n]
		before, after := math.Atan2(b.Y-a.Y, b.X-a.X), math.Atan2(c.Y-b.Y, c.X-b.X)
		return math.Abs(math.Remainder(after-before, 2*math.Pi))
	}
	best, least := 0, 0
	for i := range n {
		if turn(i) < turn(least) {
			least = i
		}
	}
	at := least
	for begin, run := 0, 0; begin < n; begin += run + 1 {
		for run = 0; run < n && turn(begin+run) < straightTurn; run++ {
		}
		if run > best {
			best, at = run, begin+run/3
		}
	}
	a, b, c := loop[(at+n-1)%n], loop[at%n], loop[(at+1)%n]
	d := math.Hypot(c.X-a.X, c.Y-a.Y)
	ux, uy := (c.X-a.X)/d, (c.Y-a.Y)/d
	return course.AcrossAt(b.Point, ux, uy, foundReach)
}

// foundable is true where a line has to be found, since nothing gives one.
func (l *line) foundable() bool {
	return !l.found && math.IsNaN(l.counter.value) && math.IsNaN(l.dist) &&
		(l.file == nil || l.file.Line.Source == course.Auto)
}

func (l *line) lay(g course.Gate) {
	l.found, l.trail = true, trail{}
	l.main = gateWatch{gate: g, local: true, fwd: g.Forward()}
}

// useMap uses the line of a recognised course, where there is no other.
func (l *line) useMap(m *course.Map) {
	if m == nil || !m.Placed || !l.foundable() {
		return
	}
	g, loc := m.Line(foundReach)
	l.loc, l.havePos = loc, false
	l.lay(g)
}
