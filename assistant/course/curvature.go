package course

import "math"

// Menger returns the curvature of the circle through a, b and c in 1/m, left positive: four times
// the area of the triangle over the product of its sides. It is 0 where two points coincide.
func Menger(a, b, c Point) float64 {
	ab, bc, ca := math.Hypot(b.X-a.X, b.Y-a.Y), math.Hypot(c.X-b.X, c.Y-b.Y), math.Hypot(a.X-c.X, a.Y-c.Y)
	if ab == 0 || bc == 0 || ca == 0 {
		return 0
	}
	cross := (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X)
	return 2 * cross / (ab * bc * ca)
}

// Curvature returns the curvature in 1/m, left positive, at each point of a closed line whose neighbours lie step
// metres apart along it: the change of heading per metre, smoothed around the loop by a Gaussian of standard deviation
// sigma metres, cut at three. Curvature is smoothed rather than position, so that a circle keeps its radius, a clothoid
// its slope and the loop its whole turning; smoothed positions would shrink a bend. sigma 0 does not smooth.
func Curvature(x, y []float64, step, sigma float64) []float64 {
	n := len(x)
	raw := make([]float64, n)
	for i := range raw {
		h, j := (i+n-1)%n, (i+1)%n
		in := math.Atan2(y[i]-y[h], x[i]-x[h])
		out := math.Atan2(y[j]-y[i], x[j]-x[i])
		raw[i] = math.Remainder(out-in, 2*math.Pi) / step
	}
	return smoothLoop(raw, step, sigma)
}

// smoothLoop convolves v, a loop, with a Gaussian.
func smoothLoop(v []float64, step, sigma float64) []float64 {
	n := len(v)
	half := min(int(3*sigma/step), (n-1)/2)
	if sigma <= 0 || half < 1 {
		return v
	}
	w := make([]float64, half+1)
	sum := 0.0
	for i := range w {
		w[i] = math.Exp(-0.5 * math.Pow(float64(i)*step/sigma, 2))
		sum += w[i]
		if i > 0 {
			sum += w[i]
		}
	}
	out := make([]float64, n)
	for i := range out {
		s := w[0] * v[i]
		for k := 1; k <= half; k++ {
			s += w[k] * (v[(i+k)%n] + v[(i-k+n)%n])
		}
		out[i] = s / sum
	}
	return out
}

// resample returns the values of v, known at the rising distances d within one loop of that
// length, at n even steps from 0, linearly between neighbours and around the loop. jump is what v
// gains in one loop (0 for a coordinate, the turning for a heading).
func resample(d, v []float64, length, jump float64, n int) []float64 {
	out := make([]float64, n)
	last := len(d) - 1
	j := 0
	for i := range out {
		s := float64(i) * length / float64(n)
		for j <= last && d[j] <= s {
			j++
		}
		var d0, v0, d1, v1 float64
		switch {
		case j == 0:
			d0, v0, d1, v1 = d[last]-length, v[last]-jump, d[0], v[0]
		case j > last:
			d0, v0, d1, v1 = d[last], v[last], d[0]+length, v[0]+jump
		default:
			d0, v0, d1, v1 = d[j-1], v[j-1], d[j], v[j]
		}
		f := 0.0
		if d1 > d0 {
			f = (s - d0) / (d1 - d0)
		}
		out[i] = v0 + f*(v1-v0)
	}
	return out
}
