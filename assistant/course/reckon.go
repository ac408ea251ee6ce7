package course

import "math"

// How far dead reckoning is believed. Common practice, no source: consumer gyros are specified with biases up to about
// 1°/s. A lap with a larger bias, or whose end misses its beginning by more than this, is not closed.
const (
	mostBias = 0.026 // rad/s (1.5°/s) of a constant error of the yaw rate
	mostOpen = 0.05  // of the length of the lap: the gap between its ends once the bias is gone
	mostTurn = 2     // whole circles that a course turns by: 1, or 0 where it crosses itself
)

// reckon lays out the centre line from speed and yaw rate alone, from the origin to the east, and spreads the gap
// between its ends over the lap. It is false where the curvature is not known or the line does not close.
func (l *Learner) reckon(m *Map, d, k []float64, n int) bool {
	kk, gap, ok := l.yawCurvature(d, k, m.Length, n, 0)
	if !ok || gap > mostOpen*m.Length {
		return false
	}
	m.X, m.Y = layOut(kk, m.Step)
	m.K = smoothLoop(kk, m.Step, smoothing)
	return true
}

// yawCurvature returns the curvature as yaw rate over speed at n even steps around a lap of that length, freed
// from a constant bias of the yaw rate, and the gap in metres by which the line it draws does not close. d are the
// distances of the points; k is scratch of the same length.
//
// A closed lap turns by a whole number of circles; the rest is bias times the time of the lap. The bias is taken out as
// a rate: at a place passed at speed v it adds bias/v to the curvature, most where the car is slow. The right whole
// number is the one with which the line closes: on a long lap the bias may turn by more than half a circle, but with a
// wrong number the ends lie far apart.
func (l *Learner) yawCurvature(d, k []float64, length float64, n int, noise float64) (
	kk []float64, gap float64, ok bool,
) {
	slow := make([]float64, len(l.points)) // s/m
	seen := math.NaN()
	for i, p := range l.points {
		if !math.IsNaN(p.k) {
			seen = p.k
		}
		k[i] = seen
		slow[i] = 1 / max(p.v, 3)
		if math.IsNaN(p.k) || math.IsNaN(p.v) {
			slow[i] = 0 // its curvature is that of a place before
			if i > 0 {
				slow[i] = slow[i-1]
			}
		}
		if math.IsNaN(k[i]) {
			return nil, 0, false
		}
	}
	if noise > 0 {
		for i, f := range l.shorter(d, noise) {
			k[i] *= f
			slow[i] *= f
		}
	}
	step := length / float64(n)
	raw, pace := resample(d, k, length, 0, n), resample(d, slow, length, 0, n)
	turned, lasted := 0.0, 0.0
	for i := range raw {
		turned += raw[i] * step
		lasted += pace[i] * step
	}
	gap = math.Inf(1)
	around := math.Round(turned / (2 * math.Pi))
	for c := around - 1; c <= around+1; c++ {
		bias := (turned - 2*math.Pi*c) / lasted
		if math.Abs(bias) > mostBias || math.Abs(c) > mostTurn {
			continue
		}
		free := make([]float64, n)
		for i := range free {
			free[i] = raw[i] - bias*pace[i]
		}
		if x, y := lay(free, step, nil, nil); math.Hypot(x, y) < gap {
			kk, gap = free, math.Hypot(x, y)
		}
	}
	return kk, gap, kk != nil
}

// shorter returns for each point by how much the way around it is shorter than the distance between points that scatter
// by noise metres: a step of s metres measures √(s² + 4·noise²) in root mean square. Steps are taken as proportional to
// the speed.
func (l *Learner) shorter(d []float64, noise float64) []float64 {
	const half = 25 // points to each side
	n := len(d)
	f := make([]float64, n)
	for i := range f {
		squares, speeds, way, drive := 0.0, 0.0, 0.0, 0.0
		for j := max(1, i-half); j < min(n, i+half+1); j++ {
			s, v := d[j]-d[j-1], l.points[j].v
			squares += s*s - 4*noise*noise
			speeds += v * v
		}
		for j := max(1, i-2); j < min(n, i+3); j++ {
			way += d[j] - d[j-1]
			drive += l.points[j].v
		}
		f[i] = min(1, math.Sqrt(max(0, squares)/speeds)*drive/way)
		if math.IsNaN(f[i]) {
			f[i] = 1
		}
	}
	return f
}

// lay follows a curvature from the origin, heading east, and returns its end. It fills x and y where they are not nil.
func lay(k []float64, step float64, x, y []float64) (endX, endY float64) {
	heading := 0.0
	for i, v := range k {
		if x != nil {
			x[i], y[i] = endX, endY
		}
		sin, cos := math.Sincos(heading + v*step/2)
		endX += step * cos
		endY += step * sin
		heading += v * step
	}
	return endX, endY
}

// layOut returns the line of a curvature, closed: the gap is spread evenly over it.
func layOut(k []float64, step float64) (x, y []float64) {
	n := len(k)
	x, y = make([]float64, n), make([]float64, n)
	gapX, gapY := lay(k, step, x, y)
	for i := range x {
		f := float64(i) / float64(n)
		x[i] -= f * gapX
		y[i] -= f * gapY
	}
	return x, y
}
