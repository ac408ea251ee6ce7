package course

import "math"

// A Kind is what a driver would call a corner.
type Kind string

// The kinds. The limits are common practice, no source. A corner of a chicane or an esse has its kind by its
// neighbours, whatever its own shape is; each keeps its number.
const (
	// Single is any other corner.
	Single Kind = "single"
	// DoubleApex is a corner with two places that are tighter than a radius of 250 m, the lesser of them at least a
	// third as tight as the other, and between them a place that is less than two thirds as tight as the lesser: not so
	// wide that they are two corners. It turns by 20° or more both before and after that place.
	DoubleApex Kind = "double apex"
	// Chicane is one of two or three corners of alternating hand that are taken as one: with less than 30 m between
	// them, each shorter than 110 m and turning less than 125°, each tighter than a radius of 100 m.
	Chicane Kind = "chicane"
	// Esse is one of a longer or faster sequence of alternating hand: less than 70 m between neighbours and none
	// turning more than 125°; three corners or more, or two that are both wider than a radius of 50 m.
	Esse Kind = "esse"
)

const (
	apexTight   = 1 / 250. // 1/m
	apexDip     = 2 / 3.   // of the lesser of two apexes
	apexTurn    = 0.35     // rad (20°)
	apexLeast   = 1 / 3.   // of the greater
	chicaneGap  = 30.0     // m
	chicaneLong = 110.0    // m
	chicaneWide = 100.0    // m of radius
	esseGap     = 70.0     // m
	esseFast    = 50.0     // m of radius
	linkedTurn  = 2.181662 // rad (125°)
	straightMin = 100.0    // m: what is shorter is no straight
)

// A Straight is the way from one corner's exit to the next one's entry where that is longer than 100 m (common
// practice, no source). Distances are metres from the line; one that lies across the line has From > To.
type Straight struct{ From, To, Length float64 }

// gap returns the distance from the exit of corner i to the entry of the next; negative where they overlap.
func (m *Map) gap(i int) float64 {
	c, next := &m.Corners[i], &m.Corners[(i+1)%len(m.Corners)]
	way := m.ahead(c.Entry, next.Entry)
	if len(m.Corners) == 1 {
		way = m.Length
	}
	return way - m.ahead(c.Entry, c.Exit)
}

// describe sets the kinds of the corners and the straights of a map that is being made.
func (m *Map) describe() {
	m.Straights = nil
	n := len(m.Corners)
	for i := range m.Corners {
		c := &m.Corners[i]
		c.Kind = Single
		if twoApexes(m.within(c), m.Step) {
			c.Kind = DoubleApex
		}
		if g := m.gap(i); g > straightMin {
			m.Straights = append(m.Straights, Straight{c.Exit, m.Corners[(i+1)%n].Entry, g})
		}
	}
	linked := func(i int) bool { // corner i and the next
		a, b := &m.Corners[i], &m.Corners[(i+1)%n]
		return a.Hand != b.Hand && m.gap(i) < esseGap && a.Angle < linkedTurn && b.Angle < linkedTurn
	}
	start := 0 // behind a place where no chain goes through
	for start < n && linked((start+n-1)%n) {
		start++
	}
	for i := start; i < start+n; {
		j := i
		for j < start+n-1 && linked(j%n) {
			j++
		}
		m.chain(i, j)
		i = j + 1
	}
}

// chain sets the kind of corners i to j, which are linked.
func (m *Map) chain(i, j int) {
	n := len(m.Corners)
	chicane, fast := j-i == 1 || j-i == 2, true
	for k := i; k <= j; k++ {
		c := &m.Corners[k%n]
		chicane = chicane && c.Radius < chicaneWide && m.ahead(c.Entry, c.Exit) < chicaneLong &&
			(k == j || m.gap(k%n) < chicaneGap)
		fast = fast && c.Radius > esseFast
	}
	kind := Esse
	switch {
	case chicane:
		kind = Chicane
	case j-i < 1, j-i == 1 && !fast:
		return
	}
	for k := i; k <= j; k++ {
		m.Corners[k%n].Kind = kind
	}
}

// within returns the curvature at the points of a corner, positive to its hand.
func (m *Map) within(c *Corner) []float64 {
	n := len(m.K)
	first := int(math.Ceil(c.Entry/m.Step - 1e-9))
	count := min(int(m.ahead(c.Entry, c.Exit)/m.Step+1e-9)+1, n)
	out := make([]float64, count)
	for i := range out {
		out[i] = m.K[(first+i)%n] * float64(c.Hand)
	}
	return out
}

// twoApexes tells whether a corner of that curvature has two apexes.
func twoApexes(k []float64, step float64) bool {
	n := len(k)
	right, total := make([]float64, n+1), 0.0
	for i := n - 1; i >= 0; i-- {
		right[i] = max(right[i+1], k[i])
		total += k[i] * step
	}
	left, turned := 0.0, 0.0
	for i, v := range k {
		turned += v * step
		lesser, greater := min(left, right[i+1]), max(left, right[i+1])
		if lesser >= apexTight && lesser >= apexLeast*greater && v < apexDip*lesser && turned >= apexTurn &&
			total-turned >= apexTurn {
			return true
		}
		left = max(left, v)
	}
	return false
}
