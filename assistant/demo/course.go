package demo

import (
	"fmt"
	"math"
	"sort"
	"strings"
)

// A Hand is the side to which a corner turns.
type Hand string

// The hands.
const (
	Left  Hand = "left"
	Right Hand = "right"
)

// A Corner is one bend of the course as it was drawn, in metres from the line.
type Corner struct {
	Number   int     `json:"number"` // from 1, in the direction of travel
	Name     string  `json:"name"`
	Hand     Hand    `json:"hand"`
	Entry    float64 `json:"entry"`     // begin of the transition in
	Apex     float64 `json:"apex"`      // middle of the bend
	Exit     float64 `json:"exit"`      // end of the transition out
	Radius   float64 `json:"radius"`    // m, the smallest
	Turn     float64 `json:"turn"`      // rad, left positive
	BeginArc float64 `json:"begin_arc"` // m from the line: where the radius is constant
	EndArc   float64 `json:"end_arc"`
}

// A Course is a closed line with a width. Its centre line consists of straights, circular
// arcs and clothoids, so that its curvature is continuous and linear in the distance.
type Course struct {
	Name    string   `json:"name"`   // to select it
	Title   string   `json:"title"`  // for people
	Length  float64  `json:"length"` // m
	Width   float64  `json:"width"`  // m
	Corners []Corner `json:"corners"`

	elements []element
	box      float64 // m from the line: where the car stands in the pit lane
	pitIn    float64 // m from the line: entry of the pit lane, counted back from the end of the lap
	pitOut   float64 // m from the line: end of the pit lane
	lane     float64 // m: lateral position of the pit lane, left positive
	x, y     []float64
	gap      float64 // m between the points of x and y
	turn     float64 // rad by which the heading grows in a lap: 2π or -2π
}

// An element is a stretch in which the curvature goes from k0 to k1 linearly with distance.
type element struct {
	start, length  float64 // m
	k0, k1         float64 // 1/m, left positive
	x, y, heading  float64 // at its start
	corner         int     // number of the corner it belongs to, 0 for a straight
	approach, exit int     // on a straight: number of the next and of the last corner
}

func (e *element) headingAt(u float64) float64 {
	return e.heading + e.k0*u + (e.k1-e.k0)*u*u/(2*e.length)
}

// gauss are the nodes and weights of the eight-point Gauss-Legendre rule on [-1, 1]
// (Abramowitz and Stegun, table 25.4, from memory; checked by the closure of the courses).
var gauss = [4][2]float64{
	{0.1834346424956498, 0.3626837833783620},
	{0.5255324099163290, 0.3137066458778873},
	{0.7966664774136267, 0.2223810344533745},
	{0.9602898564975363, 0.1012285362903763},
}

// pointAt integrates the heading from the start of e to u metres beyond it. Over parts of at most 20 m
// the rule is exact to rounding for any bend a car can take.
func (e *element) pointAt(u float64) (x, y float64) {
	x, y = e.x, e.y
	parts := max(1, int(math.Ceil(u/20)))
	half := u / float64(parts) / 2
	for p := range parts {
		mid := half * float64(2*p+1)
		for _, g := range gauss {
			for _, side := range [2]float64{-1, 1} {
				sin, cos := math.Sincos(e.headingAt(mid + side*g[0]*half))
				x += half * g[1] * cos
				y += half * g[1] * sin
			}
		}
	}
	return x, y
}

// build turns a plan into a course. The lengths of the two straights marked free are solved for:
// the end of the line depends on them linearly.
func (p plan) build() (*Course, error) {
	lengths := make([]float64, len(p.pieces))
	var free []int
	for i, q := range p.pieces {
		lengths[i] = q.straight
		if q.free {
			free = append(free, i)
			lengths[i] = 0
		}
	}
	if len(free) != 2 {
		return nil, fmt.Errorf("demo: course %s has %d free straights: mark two that are not parallel", p.name, len(free))
	}
	_, end, err := p.lay(lengths)
	if err != nil {
		return nil, err
	}
	// The columns of the linear system are the directions of the free straights.
	var dir [2][2]float64
	for k, i := range free {
		lengths[i] = 1
		_, e, err := p.lay(lengths)
		if err != nil {
			return nil, err
		}
		dir[k] = [2]float64{e.x - end.x, e.y - end.y}
		lengths[i] = 0
	}
	det := dir[0][0]*dir[1][1] - dir[1][0]*dir[0][1]
	if math.Abs(det) < 0.05 {
		return nil, fmt.Errorf("demo: course %s: the free straights are parallel", p.name)
	}
	lengths[free[0]] = (-end.x*dir[1][1] + end.y*dir[1][0]) / det
	lengths[free[1]] = (-end.y*dir[0][0] + end.x*dir[0][1]) / det
	for _, i := range free {
		if lengths[i] < 10 {
			return nil, fmt.Errorf("demo: course %s closes only with a straight of %.1f m: change its plan", p.name, lengths[i])
		}
	}
	c, end, err := p.lay(lengths)
	if err != nil {
		return nil, err
	}
	if turn := end.heading - p.heading; math.Abs(math.Abs(turn)-2*math.Pi) > 1e-9 {
		return nil, fmt.Errorf("demo: the corners of course %s turn %.3f degrees together: they must turn 360", p.name,
			turn*180/math.Pi)
	}
	c.turn = math.Copysign(2*math.Pi, end.heading-p.heading)
	c.tabulate()
	return c, nil
}

// lay puts the pieces one after the other and returns the course and the pose at its end.
func (p plan) lay(lengths []float64) (*Course, element, error) {
	c := &Course{Name: p.name, Title: p.title, Width: p.width, box: p.box, pitOut: p.pitOut, lane: p.lane}
	pose := element{heading: p.heading}
	add := func(length, k0, k1 float64, corner int) {
		if length <= 0 {
			return
		}
		e := element{start: c.Length, length: length, k0: k0, k1: k1, x: pose.x, y: pose.y, heading: pose.heading,
			corner: corner}
		c.elements = append(c.elements, e)
		pose.x, pose.y = e.pointAt(length)
		pose.heading = e.headingAt(length)
		c.Length += length
	}
	for i, q := range p.pieces {
		if q.radius == 0 {
			add(lengths[i], 0, 0, 0)
			continue
		}
		turn := q.turn * math.Pi / 180
		k := math.Copysign(1/q.radius, turn)
		arc := math.Abs(turn)*q.radius - q.ease // half of each transition's length turns as much as an arc would
		if arc < 0 {
			return nil, pose, fmt.Errorf("demo: corner %q of course %s: transitions of %g m are too long for %g degrees at %g m",
				q.name, p.name, q.ease, q.turn, q.radius)
		}
		n := len(c.Corners) + 1
		t := Corner{Number: n, Name: q.name, Hand: Left, Entry: c.Length, Radius: q.radius, Turn: turn}
		if turn < 0 {
			t.Hand = Right
		}
		add(q.ease, 0, k, n)
		t.BeginArc = c.Length
		add(arc, k, k, n)
		t.EndArc = c.Length
		add(q.ease, k, 0, n)
		t.Exit = c.Length
		t.Apex = (t.BeginArc + t.EndArc) / 2
		c.Corners = append(c.Corners, t)
	}
	c.pitIn = c.Length - p.pitIn
	for i := range c.elements { // a straight knows the corners at its ends
		e := &c.elements[i]
		e.approach, e.exit = 1, len(c.Corners)
		for _, t := range c.Corners {
			if t.Exit <= e.start+1e-9 {
				e.exit, e.approach = t.Number, t.Number%len(c.Corners)+1
			}
		}
	}
	return c, pose, nil
}

func (c *Course) tabulate() {
	n := int(math.Ceil(c.Length / 2))
	c.gap = c.Length / float64(n)
	c.x, c.y = make([]float64, n+1), make([]float64, n+1)
	for i := range n + 1 {
		s := min(float64(i)*c.gap, c.Length)
		e := c.elementAt(s)
		c.x[i], c.y[i] = e.pointAt(s - e.start)
	}
}

// elementAt returns the stretch at s metres from the line, 0 ≤ s ≤ Length.
func (c *Course) elementAt(s float64) *element {
	next := sort.Search(len(c.elements), func(i int) bool { return c.elements[i].start > s })
	return &c.elements[max(0, next-1)]
}

func (c *Course) wrap(s float64) float64 {
	s = math.Mod(s, c.Length)
	if s < 0 {
		s += c.Length
	}
	return s
}

// Curvature in 1/m of the centre line at s metres from the line, left positive, and its change
// per metre. Any s is taken modulo the length.
func (c *Course) Curvature(s float64) (k, slope float64) {
	s = c.wrap(s)
	e := c.elementAt(s)
	slope = (e.k1 - e.k0) / e.length
	return e.k0 + slope*(s-e.start), slope
}

// Heading in rad of the centre line at s metres from the line, counter-clockwise from east. It
// turns by 2π in a lap and does not jump inside one.
func (c *Course) Heading(s float64) float64 {
	s = c.wrap(s)
	e := c.elementAt(s)
	return e.headingAt(s - e.start)
}

// Position in m of the centre line at s metres from the line: east and north. Cubic Hermite interpolation between exact
// points 2 m apart: within a hundredth of a millimetre of the drawn line.
func (c *Course) Position(s float64) (x, y float64) {
	s = c.wrap(s)
	i := min(int(s/c.gap), len(c.x)-2)
	u := s/c.gap - float64(i)
	h0, h1 := c.Heading(float64(i)*c.gap), c.Heading(float64(i+1)*c.gap)
	sin0, cos0 := math.Sincos(h0)
	sin1, cos1 := math.Sincos(h1)
	a, b := (1+2*u)*(1-u)*(1-u), u*(1-u)*(1-u)*c.gap
	d, e := u*u*(3-2*u), u*u*(u-1)*c.gap
	return a*c.x[i] + b*cos0 + d*c.x[i+1] + e*cos1, a*c.y[i] + b*sin0 + d*c.y[i+1] + e*sin1
}

// CornerAt returns the number of the corner at s metres from the line, 0 on a straight.
func (c *Course) CornerAt(s float64) int { return c.elementAt(c.wrap(s)).corner }

// part returns the corner in whose reach s lies: a corner reaches from the middle of the straight before it to the
// middle of the straight after it.
func (c *Course) part(s float64) int {
	e := c.elementAt(s)
	switch {
	case e.corner != 0:
		return e.corner
	case s < e.start+0.3*e.length:
		return e.exit
	}
	return e.approach
}

// Courses lists the names of the courses, the default first.
func Courses() []string {
	var names []string
	for _, p := range plans {
		names = append(names, p.name)
	}
	return names
}

// LoadCourse builds the course of that name.
func LoadCourse(name string) (*Course, error) {
	for _, p := range plans {
		if p.name == name {
			return p.build()
		}
	}
	return nil, fmt.Errorf("demo: there is no course %q: use one of %s", name, strings.Join(Courses(), ", "))
}
