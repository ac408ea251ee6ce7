package demo

import "math"

// A swerve is a way off the usual line and back: (1-x²)³ of size metres, which has no jump in curvature.
type swerve struct {
	mid, half, size float64 // m; mid from the start of lap 0, size left positive
}

// at adds the swerve at total distance d: offset, and its first and second derivative by distance.
func (w *swerve) at(d float64) (n, n1, n2 float64) {
	x := (d - w.mid) / w.half
	if x <= -1 || x >= 1 {
		return 0, 0, 0
	}
	q := 1 - x*x
	return w.size * q * q * q, w.size * -6 * x * q * q / w.half, w.size * (24*x*x*q - 6*q*q) / w.half / w.half
}

// ease goes from 0 to 1 for u from 0 to 1, without a jump in the second derivative.
func ease(u float64) (f, f1, f2 float64) {
	switch {
	case u <= 0:
		return 0, 0, 0
	case u >= 1:
		return 1, 0, 0
	}
	return u * u * u * (10 + u*(6*u-15)), 30 * u * u * (1 - u) * (1 - u), 60 * u * (1 - u) * (1 - 2*u)
}

// wander is the noise of the line: three waves over the distance, the same everywhere on no two laps.
type wander struct {
	phase [3]float64
}

var (
	wanderWave = [3]float64{2 * math.Pi / 283, 2 * math.Pi / 461, 2 * math.Pi / 739} // 1/m
	wanderSize = [3]float64{0.12, 0.25, 0.4}                                         // m
)

func (w *wander) at(d float64) (n, n1, n2 float64) {
	for i, k := range wanderWave {
		sin, cos := math.Sincos(k*d + w.phase[i])
		n += wanderSize[i] * sin
		n1 += wanderSize[i] * k * cos
		n2 -= wanderSize[i] * k * k * sin
	}
	return n, n1, n2
}

// laneEase is the distance over which the car moves from the course into the pit lane or out of it.
const laneEase = 80.0 // m

// lateral is where the driver puts the car at d metres from the line in that lap: metres left of the centre line, and
// derivatives by distance.
func (s *Sim) lateral(lap int, d float64) (n, n1, n2 float64) {
	total := float64(lap)*s.course.Length + d
	n, n1, n2 = s.wander.at(total)
	for i := range s.swerves {
		a, b, c := s.swerves[i].at(total)
		n, n1, n2 = n+a, n1+b, n2+c
	}
	// In the lane the noise fades out and the offset of the lane fades in.
	var u, sign float64
	switch {
	case lap > s.inLap():
		return s.course.lane, 0, 0
	case d < s.course.pitOut && (lap == 0 || s.stopsAfter(lap-1) != nil):
		u, sign = (s.course.pitOut-d)/laneEase, -1
	case d > s.course.pitIn && (lap == s.inLap() || s.stopsAfter(lap) != nil):
		u, sign = (d-s.course.pitIn)/laneEase, 1
	}
	if u <= 0 {
		return n, n1, n2
	}
	f, f1, f2 := ease(u)
	f1, f2 = f1*sign/laneEase, f2/laneEase/laneEase
	g := s.course.lane - n
	return n + f*g, n1*(1-f) + f1*g, n2*(1-f) - 2*f1*n1 + f2*g
}

// A place is the path of the car at one distance.
type place struct {
	lateral   float64 // m left of the centre line
	heading   float64 // rad: direction of travel, continuous over laps
	curvature float64 // 1/m of the path
	stretch   float64 // metres along the centre line per metre driven
}

// at follows from the geometry of a curve parallel to another: with k the curvature of the centre line and n the
// offset, the path turns by atan(n'/(1-kn)) against it.
func (s *Sim) at(lap int, d float64) place {
	c := s.course
	k, slope := c.Curvature(d)
	n, n1, n2 := s.lateral(lap, d)
	m := max(0.3, 1-k*n) // far inside of a tight bend lies its centre, where no path is parallel
	q := n1 / m
	q1 := (n2*m + n1*(slope*n+k*n1)) / (m * m)
	along := 1 / math.Sqrt(1+q*q) // cosine of the angle
	p := place{lateral: n, stretch: along / m}
	p.heading = c.Heading(d) + c.turn*float64(lap) + math.Atan(q)
	p.curvature = (k + q1/(1+q*q)) * p.stretch
	return p
}
