package course

import (
	"math"
	"slices"
)

// The centre line is the mean of the first good laps. Common practice, no source.
const (
	frameSmooth = 6.0    // m: standard deviation of the smoothing of the line from which offsets are measured
	strays      = 8.0    // m beside the mean so far: such a lap is left out at that point
	wildShare   = 1. / 3 // of the points: a lap that strays at more of them is left out
	hole        = 30.0   // m between neighbouring fixes: nothing is known of the points between them
	lookAside   = 40.0   // m to both sides of course_distance where a fix is looked for on the line
)

// A centre is the running mean of a map's centre line, over at most remembered laps at each point. Laps are compared by
// their offset from a frame: the smoothed line of the first lap, which never changes. So points move across the road
// only, and the line does not creep from lap to lap.
//
// A lap that strays at a point starts a second mean there; the mean of more laps wins.
type centre struct {
	of     *Map
	fx, fy []float64 // the frame
	nx, ny []float64 // its normal, to the left
	chord  []float64 // m, between the neighbours of a point of the frame: about two steps
	main   []opinion
	other  []opinion
	height []opinion

	at, aside, z []float64 // of one lap: m from the line, m aside of the frame, m up
}

// An opinion is one mean at a point.
type opinion struct {
	sum float64
	n   int
}

func (o *opinion) add(v float64) { o.sum, o.n = o.sum+v, o.n+1 }

func (o *opinion) mean() float64 { return o.sum / float64(o.n) }

// start begins with the line of m, which counts as the number of laps that it was made from.
func (c *centre) start(m *Map) {
	n := len(m.X)
	c.of = m
	if !m.Placed || n < 8 {
		return
	}
	c.fx, c.fy = smoothLoop(m.X, m.Step, frameSmooth), smoothLoop(m.Y, m.Step, frameSmooth)
	c.nx, c.ny, c.chord = make([]float64, n), make([]float64, n), make([]float64, n)
	c.main, c.other, c.height = make([]opinion, n), make([]opinion, n), nil
	weight := min(max(m.Laps, 1), remembered)
	for i := range n {
		h, j := (i+n-1)%n, (i+1)%n
		ux, uy := c.fx[j]-c.fx[h], c.fy[j]-c.fy[h]
		l := math.Hypot(ux, uy)
		if l == 0 {
			ux, l = 1, 1
		}
		c.nx[i], c.ny[i], c.chord[i] = -uy/l, ux/l, l
		aside := (m.X[i]-c.fx[i])*c.nx[i] + (m.Y[i]-c.fy[i])*c.ny[i]
		c.main[i] = opinion{aside * float64(weight), weight}
	}
	if m.Z != nil {
		c.height = make([]opinion, n)
		for i, z := range m.Z {
			c.height[i] = opinion{z * float64(weight), weight}
		}
	}
}

// project finds the fixes of a lap on the frame, in rising order.
func (c *centre) project(points []point, m *Map) {
	c.at, c.aside, c.z = c.at[:0], c.aside[:0], c.z[:0]
	n := len(c.fx)
	window := min(int(lookAside/m.Step), (n-1)/2)
	for _, p := range points {
		middle := int(math.Round(p.d / m.Step))
		best, index := math.Inf(1), 0
		for i := middle - window; i <= middle+window; i++ {
			j := ((i % n) + n) % n
			dx, dy := p.x-c.fx[j], p.y-c.fy[j]
			if q := dx*dx + dy*dy; q < best {
				best, index = q, i
			}
		}
		j := ((index % n) + n) % n
		dx, dy := p.x-c.fx[j], p.y-c.fy[j]
		along := (dx*c.ny[j] - dy*c.nx[j]) / (c.chord[j] / 2) // in steps: the tangent is (ny, -nx)
		if math.Abs(along) > 1.5 {
			continue // before the beginning of the window, or beyond its end
		}
		at := (float64(index) + along) * m.Step
		if k := len(c.at); k > 0 && at <= c.at[k-1] {
			continue
		}
		c.at, c.aside, c.z = append(c.at, at), append(c.aside, dx*c.nx[j]+dy*c.ny[j]), append(c.z, p.z)
	}
}

// between returns a value of the lap at s metres from the line, NaN in a gap. j is the first fix behind s.
func (c *centre) between(v []float64, j int, s, length float64) float64 {
	k := len(c.at)
	a, b := j-1, j
	d0, d1 := 0.0, 0.0
	if a < 0 {
		a, d0 = k-1, -length
	}
	if b == k {
		b, d1 = 0, length
	}
	d0, d1 = d0+c.at[a], d1+c.at[b]
	switch {
	case d1-d0 > hole || s < d0 || s > d1:
		return math.NaN()
	case d1 == d0:
		return v[a]
	}
	return v[a] + (v[b]-v[a])*(s-d0)/(d1-d0)
}

// add adds a lap and returns whether the line changed.
func (c *centre) add(points []point, m *Map) bool {
	c.project(points, m)
	if len(c.at) < 20 {
		return false
	}
	seen, wild := 0, 0
	lap := make([]float64, len(c.main))
	for i := range lap {
		s := float64(i) * m.Step
		j, _ := slices.BinarySearch(c.at, s)
		lap[i] = c.between(c.aside, j, s, m.Length)
		if !math.IsNaN(lap[i]) {
			seen++
			if math.Abs(lap[i]-c.main[i].mean()) > strays {
				wild++
			}
		}
	}
	if float64(wild) > wildShare*float64(seen) {
		return false
	}
	changed := false
	for i, v := range lap {
		main, other := &c.main[i], &c.other[i]
		switch {
		case math.IsNaN(v):
			continue
		case math.Abs(v-main.mean()) > strays:
			if other.n > 0 && math.Abs(v-other.mean()) > strays {
				*other = opinion{}
			}
			other.add(v)
			if other.n > main.n {
				*main, *other = *other, *main
				changed = true
			}
			continue
		case main.n >= remembered:
			continue
		}
		main.add(v)
		changed = true
		if c.height != nil && c.height[i].n < remembered {
			s := float64(i) * m.Step
			j, _ := slices.BinarySearch(c.at, s)
			if z := c.between(c.z, j, s, m.Length); !math.IsNaN(z) {
				c.height[i].add(z)
			}
		}
	}
	return changed
}

// draw puts the mean into a map that is being made. The fixes of a lap scatter by noise metres and are spacing metres
// apart. A curvature that comes from yaw rate stays as it is.
func (c *centre) draw(m *Map, noise, spacing float64) {
	n := len(c.main)
	m.X, m.Y = make([]float64, n), make([]float64, n)
	for i := range n {
		aside := c.main[i].mean()
		m.X[i], m.Y[i] = c.fx[i]+aside*c.nx[i], c.fy[i]+aside*c.ny[i]
	}
	if !m.yawed {
		laps := 0
		for _, o := range c.main {
			laps += o.n
		}
		m.K = steadyCurvature(m, noise/math.Sqrt(float64(laps)/float64(n)), spacing)
		m.Turning = 0
		for _, k := range m.K {
			m.Turning += k * m.Step
		}
	}
	if c.height != nil {
		m.Z = make([]float64, n)
		for i := range n {
			m.Z[i] = c.height[i].mean()
		}
	}
}

// elevation returns the height along the lap at n points; nil where it is not known everywhere. The difference between
// end and beginning is spread over the lap, since a barometer drifts.
func (l *Learner) elevation(length float64, n int) []float64 {
	d, z := make([]float64, len(l.points)), make([]float64, len(l.points))
	for i, p := range l.points {
		if math.IsNaN(p.z) {
			return nil
		}
		d[i], z[i] = p.d, p.z
	}
	// Across the line the road rises as it does before and behind it.
	last, few := len(z)-1, len(z)/20
	rise := ((z[few]-z[0])/(d[few]-d[0]) + (z[last]-z[last-few])/(d[last]-d[last-few])) / 2
	miss := z[last] + rise*(length-d[last]+d[0]) - z[0]
	for i := range z {
		z[i] -= miss * (d[i] - d[0]) / length
	}
	return resample(d, z, length, 0, n)
}
