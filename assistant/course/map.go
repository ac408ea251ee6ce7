package course

import (
	"math"

	"earshot/assistant/channel"
)

// A Map is the learned course: its closed centre line by distance and what is on it. It is
// never changed after it has been handed out.
type Map struct {
	Name    string
	Length  float64   // m
	Step    float64   // m between neighbours of the slices below; Length = Step*len
	X, Y    []float64 // m, the centre line; the first point is on the line
	K       []float64 // 1/m, smoothed curvature, left positive: turning per metre of Length
	Corners []Corner  // in the order of driving from the line
	Turning float64   // rad, of the whole course, left positive: ±2π unless it crosses itself
	Placed  bool      // X and Y are in the feed's plane; else dead reckoning from the line, heading east
	Laps    int       // laps that the braking points rest on
	Times   []float64 // s since the line at each point and at the end of the lap, by this driver; nil: unknown
	loc     Locator
	foreign bool // recognised by its shape alone: X and Y are in a plane that this feed does not tell

	Straights []Straight // in the order of driving, from the exit of the first corner that has one behind it
	Z         []float64  // m up, by the feed's own zero, beside X and Y; nil where the feed does not tell it
	sweeps    []sweep    // in which there is no room to talk either
	calm      []bool     // by corner: the driver neither brakes nor is any load to the side
	first     *Map
	scattered bool // the positions that the line is from scatter
	yawed     bool // K is from yaw rate for that reason
}

// First returns the map from which m was bettered or replaced, the same for all later ones; m itself where there is
// none.
func (m *Map) First() *Map {
	if m.first != nil {
		return m.first
	}
	return m
}

// yardstick returns the figures by which corners are found on m.
func (m *Map) yardstick() yardstick {
	if m.scattered || !m.Placed {
		return blurred
	}
	return usual
}

// A Corner is a bend as a driver counts them. Distances are metres from the line. A corner that
// lies across the line has Entry > Exit.
type Corner struct {
	Number            int
	Name              string
	Kind              Kind
	Hand              Hand
	Entry, Apex, Exit float64 // m; the apex is where the bend is tightest
	Radius            float64 // m, at the apex
	Angle             float64 // rad turned, positive
	Braking           float64 // m, median over laps of where braking begins; NaN where nobody brakes
	TurnIn            float64 // m, median over laps of where the car begins to turn
	Slowest           float64 // m, median over laps of where the car is slowest
	MinSpeed          float64 // m/s, median over laps
}

// Wrap brings a distance into [0, Length).
func (m *Map) Wrap(d float64) float64 {
	switch { // the usual cases, without a division
	case d >= 0 && d < m.Length:
		return d
	case d < 0 && d >= -m.Length:
		if d += m.Length; d < m.Length {
			return d
		}
		return 0
	}
	d = math.Mod(d, m.Length)
	if d < 0 {
		d += m.Length
	}
	return d
}

// ahead returns the distance from a forward to b, in [0, Length).
func (m *Map) ahead(a, b float64) float64 { return m.Wrap(b - a) }

// CornerAt returns the number of the corner at d metres from the line, 0 on a straight.
func (m *Map) CornerAt(d float64) int {
	for i := range m.Corners {
		c := &m.Corners[i]
		if m.ahead(c.Entry, d) <= m.ahead(c.Entry, c.Exit) {
			return c.Number
		}
	}
	return 0
}

// CornerNumbered returns the corner of that number.
func (m *Map) CornerNumbered(n int) (Corner, bool) {
	if n < 1 || n > len(m.Corners) {
		return Corner{}, false
	}
	return m.Corners[n-1], true
}

// Next returns the number of the first corner with its entry ahead of d, and the metres to that entry; 0 and +Inf on a
// course without a corner.
func (m *Map) Next(d float64) (number int, metres float64) {
	metres = math.Inf(1)
	for i := range m.Corners {
		if a := m.ahead(d, m.Corners[i].Entry); a < metres {
			number, metres = m.Corners[i].Number, a
		}
	}
	return number, metres
}

// Last returns the number of the corner at d, or of the last one before it; 0 on a course without a corner.
func (m *Map) Last(d float64) int {
	number, nearest := 0, math.Inf(1)
	for i := range m.Corners {
		if a := m.ahead(m.Corners[i].Entry, d); a < nearest {
			number, nearest = m.Corners[i].Number, a
		}
	}
	return number
}

// busyFrom returns where the driver begins to work for the corner: at braking or turn-in, whichever comes first.
func (m *Map) busyFrom(c *Corner) float64 {
	turn := c.TurnIn
	if math.IsNaN(turn) {
		turn = c.Entry
	}
	if math.IsNaN(c.Braking) || m.ahead(c.Braking, c.Exit) < m.ahead(turn, c.Exit) {
		return turn
	}
	return c.Braking
}

// Line returns a gate across the start line, and the plane in which it lies. The map has positions.
func (m *Map) Line(reach float64) (Gate, Locator) {
	ux, uy := m.X[1]-m.X[0], m.Y[1]-m.Y[0]
	d := math.Hypot(ux, uy)
	return AcrossAt(Point{m.X[0], m.Y[0]}, ux/d, uy/d, reach), m.loc
}

// Place returns the distance from the line of the place on the centre line that is nearest to the car, and how
// far aside the car is (m, left positive). It looks near hint (m), or everywhere where hint is
// NaN. It is false where the map is not in the feed's plane or the row has no position.
func (m *Map) Place(row channel.Row, hint float64) (d, aside float64, ok bool) {
	if !m.Placed || m.foreign {
		return 0, 0, false
	}
	loc := m.loc
	p, ok := loc.Find(row)
	if !ok {
		return 0, 0, false
	}
	n := len(m.X)
	first, count := 0, n
	if !math.IsNaN(hint) {
		const window = 60.0 // m to each side: more than a car drives between two samples
		half := min(int(window/m.Step)+1, (n-1)/2)
		first, count = int(m.Wrap(hint)/m.Step)-half+n, 2*half+1
	}
	best, at := math.Inf(1), 0
	for i := first % n; count > 0; count-- {
		dx, dy := p.X-m.X[i], p.Y-m.Y[i]
		if q := dx*dx + dy*dy; q < best {
			best, at = q, i
		}
		if i++; i == n {
			i = 0
		}
	}
	before, after := (at+n-1)%n, (at+1)%n
	ux, uy := m.X[after]-m.X[before], m.Y[after]-m.Y[before]
	l := math.Hypot(ux, uy)
	if l == 0 {
		return 0, 0, false
	}
	dx, dy := p.X-m.X[at], p.Y-m.Y[at]
	along := min(max((dx*ux+dy*uy)/l, -m.Step), m.Step)
	return m.Wrap(float64(at)*m.Step + along), (ux*dy - uy*dx) / l, true
}
