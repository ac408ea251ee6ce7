package course

import "math"

// reckon lays the centre line out from speed and yaw rate alone: it starts in the origin to the east, and
// what it misses its own beginning by is spread over the lap. It is false where the
// curvature is not known or the lap does not turn by a whole number of circles.
func (l *Learner) reckon(m *Map, d, k []float64, n int) bool {
	for i, p := range l.points {
		k[i] = p.k
		if math.IsNaN(p.k) {
			if i == 0 {
				return false
			}
			k[i] = k[i-1]
		}
	}
	kk := resample(d, k, m.Length, 0, n)
	turned := 0.0
	for _, v := range kk {
		turned += v * m.Step
	}
	miss := math.Remainder(turned, 2*math.Pi)
	if math.Abs(miss) > 1 {
		return false
	}
	m.X, m.Y = make([]float64, n), make([]float64, n)
	x, y, heading := 0.0, 0.0, 0.0
	for i := range kk {
		kk[i] -= miss / m.Length
		m.X[i], m.Y[i] = x, y
		x += m.Step * math.Cos(heading+kk[i]*m.Step/2)
		y += m.Step * math.Sin(heading+kk[i]*m.Step/2)
		heading += kk[i] * m.Step
	}
	for i := range m.X {
		f := float64(i) / float64(n)
		m.X[i] -= f * x
		m.Y[i] -= f * y
	}
	m.K = smoothLoop(kk, m.Step, smoothing)
	return true
}
