package course

import (
	"math"
	"slices"
)

// How corners follow a better line. Common practice, no source.
const (
	settled   = 5.0 // m: an entry or exit moves only by more, so that passes stay comparable
	apexMoves = 0.9 // of the tightest place: an apex that is as tight as that stays
)

// refine betters the centre line by the lap and lets the corners follow. Their count and numbers stay.
func (l *Learner) refine() {
	m := l.m
	if !m.Placed || !l.placed || m.loc != l.loc || m.foreign {
		return
	}
	if l.line.of != m { // the map came from elsewhere
		l.line.start(m)
	}
	if !l.line.add(l.points, m) {
		return
	}
	next := *m
	next.first = m.First()
	d := make([]float64, len(l.points))
	for i := range l.points {
		d[i] = l.points[i].d
	}
	l.line.draw(&next, l.scatter(d), m.Length/float64(len(d)))
	next.Corners = l.follow(m, &next)
	next.describe()
	for i := range next.Corners {
		l.known[i].shift(math.Remainder(m.Corners[i].Entry-next.Corners[i].Entry, m.Length))
	}
	l.m, l.line.of = &next, &next
}

// shift corrects places that count from an entry, when that entry moves back by so many metres.
func (m *memory) shift(by float64) {
	for _, list := range [][]float64{m.braking, m.turnIn, m.slowest} {
		for i := range list {
			list[i] += by
		}
	}
}

// follow returns the corners of m as they are on the line of next.
func (l *Learner) follow(m, next *Map) []Corner {
	found := correct(findCorners(next.K, next.Step, next.yardstick()), l.file, next.K, next.Step)
	cs := slices.Clone(m.Corners)
	near := func(a, b float64) bool { return math.Abs(math.Remainder(a-b, m.Length)) < settled }
	for i := range cs {
		c := &cs[i]
		if f := partner(m, found, i); f != nil {
			if !near(f.Entry, c.Entry) {
				c.Entry = f.Entry
			}
			if !near(f.Exit, c.Exit) {
				c.Exit = f.Exit
			}
		}
	}
	// Two corners that would begin to overlap both stay as they were.
	shape := *next
	shape.Corners = cs
	for again := true; again; {
		again = false
		for i := range cs {
			j := (i + 1) % len(cs)
			if len(cs) > 1 && shape.gap(i) < min(0, m.gap(i))-1e-9 &&
				(moved(&cs[i], &m.Corners[i]) || moved(&cs[j], &m.Corners[j])) {
				cs[i], cs[j] = m.Corners[i], m.Corners[j]
				again = true
			}
		}
	}
	for i := range cs {
		next.measure(&cs[i])
	}
	return cs
}

func moved(a, b *Corner) bool { return a.Entry != b.Entry || a.Exit != b.Exit }

// partner returns the corner in found that is corner i of m: the only one of its hand that overlaps it and no other.
func partner(m *Map, found []Corner, i int) *Corner {
	overlap := func(a, b *Corner) bool {
		return a.Hand == b.Hand && (m.ahead(a.Entry, b.Entry) < m.ahead(a.Entry, a.Exit) ||
			m.ahead(b.Entry, a.Entry) < m.ahead(b.Entry, b.Exit))
	}
	var only *Corner
	for k := range found {
		if overlap(&found[k], &m.Corners[i]) {
			if only != nil {
				return nil
			}
			only = &found[k]
		}
	}
	if only == nil {
		return nil
	}
	for k := range m.Corners {
		if k != i && overlap(only, &m.Corners[k]) {
			return nil
		}
	}
	return only
}

// measure works out apex, radius and angle of a corner on the line of m. Where the line no longer turns to its hand,
// the values stay.
func (m *Map) measure(c *Corner) {
	k := m.within(c)
	first := math.Ceil(c.Entry/m.Step - 1e-9)
	best, sum := 0, 0.0
	for i, v := range k {
		sum += v * m.Step
		if v > k[best] {
			best = i
		}
	}
	if k[best] <= 0 {
		return
	}
	if old := int(math.Round(m.ahead(first*m.Step, c.Apex) / m.Step)); old >= len(k) || k[old] < apexMoves*k[best] {
		c.Apex = m.Wrap((first + float64(best)) * m.Step)
	} else {
		best = old
	}
	c.Radius, c.Angle = m.stretch(int(first)+best)/k[best], math.Abs(sum)
}

// stretch returns by how much the line around point i is longer than the counted distance of its points, which stays as
// the first lap drove it. K is the turning per counted metre.
func (m *Map) stretch(i int) float64 {
	const few = 3
	n, sum := len(m.X), 0.0
	for j := i - few + n; j < i+few+n; j++ {
		sum += math.Hypot(m.X[(j+1)%n]-m.X[j%n], m.Y[(j+1)%n]-m.Y[j%n])
	}
	return sum / (2 * few * m.Step)
}

// A change is a better map that waits until it makes no difference where the car is. Its corners begin and end a little
// elsewhere, and a corner whose end moves across the car would end twice or never.
type change struct {
	made       *Map // by the last whole lap
	from, to   *Map // handed out, and to be
	had, wants []zone
}

// due returns the map that is to replace the last one, if this is the moment. The car was at d at the sample before.
func (c *change) due(m *Map, d float64) *Map {
	if m != c.made { // it came from elsewhere, or there is none: who brought it knows
		c.from = m
	}
	if m == c.from {
		return nil
	}
	if c.from == nil || len(m.Corners) != len(c.from.Corners) || m.Length != c.from.Length {
		c.from, c.to = m, nil
		return m
	}
	if m != c.to {
		c.to, c.had, c.wants = m, zonesOf(c.from), zonesOf(m)
	}
	for i := range c.had {
		a, b := &c.had[i], &c.wants[i]
		within := c.from.ahead(a.from, d) <= c.from.ahead(a.from, a.exit)
		if within != (m.ahead(b.from, d) <= m.ahead(b.from, b.exit)) {
			return nil
		}
		entry, moved := c.from.Corners[i].Entry, m.Corners[i].Entry
		if within && (m.ahead(a.from, d) < m.ahead(a.from, entry)) != (m.ahead(b.from, d) < m.ahead(b.from, moved)) {
			return nil
		}
	}
	c.from, c.to = m, nil
	return m
}

// zonesOf returns the zones of the corners, as Passes uses them.
func zonesOf(m *Map) []zone {
	var p Passes
	p.UseMap(m)
	return p.zones
}
