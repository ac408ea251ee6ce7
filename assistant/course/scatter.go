package course

import (
	"math"

	"earshot/assistant/statistics"
)

// How scattered positions are smoothed. The figures were found by trial, on twelve surveyed centre lines with invented
// receivers; no standard has them.
const (
	steadyK    = 0.0007 // 1/m: scatter of the curvature allowed on a straight, about half of what ends a corner
	steadyPart = 0.2    // of the curvature nearby: scatter allowed in a bend
	firm       = 0.03   // m of scatter from point to point: above it the receiver's errors also drift, and …
	driftWidth = 15.0   // … a straight is smoothed over at least so many m
	calming    = 6.0    // of the scatter: m smoothed over before a heading is taken, at most smoothing
)

// curvature returns the curvature of a placed lap at the points of m. d are the distances of the points that were kept,
// k is scratch of the same length.
//
// Quiet positions are smoothed by the constant smoothing. Where they scatter, a bend of that size cannot be seen. Then
// curvature is yaw rate over speed, if the feed has both and they draw the same line. Otherwise positions are smoothed
// as widely as their scatter needs, and less where the bend is tight, since that shows clearly.
func (l *Learner) curvature(m *Map, d, k []float64) []float64 {
	noise, spacing := l.scatter(d), m.Length/float64(len(d))
	wide := widestFor(noise, spacing)
	if !(wide > smoothing) {
		return Curvature(m.X, m.Y, m.Step, smoothing)
	}
	m.scattered = true
	pilot := smoothLoop(rawCurvature(m, noise), m.Step, wide)
	if yaw, _, ok := l.yawCurvature(d, k, m.Length, len(m.X), noise); ok &&
		alike(smoothLoop(yaw, m.Step, wide), pilot) {
		m.yawed = true
		return smoothLoop(yaw, m.Step, smoothing)
	}
	return steadyCurvature(m, noise, spacing)
}

// widestFor is the width over which positions are smoothed on a straight.
func widestFor(noise, spacing float64) float64 {
	wide := widthFor(noise, spacing, steadyK)
	if noise > firm {
		wide = max(wide, driftWidth)
	}
	return wide
}

// rawCurvature is the curvature of the line of m with its scatter. Headings between places that scatter as far as they
// are apart would lose count of circles, so the places are smoothed first.
func rawCurvature(m *Map, noise float64) []float64 {
	calm := min(smoothing, calming*noise)
	return Curvature(smoothLoop(m.X, m.Step, calm), smoothLoop(m.Y, m.Step, calm), m.Step, 0)
}

// steadyCurvature is the curvature of the line of m, whose fixes scatter by noise metres and are spacing metres apart,
// from the positions alone.
func steadyCurvature(m *Map, noise, spacing float64) []float64 {
	wide := widestFor(noise, spacing)
	if !(wide > smoothing) {
		return Curvature(m.X, m.Y, m.Step, smoothing)
	}
	raw := rawCurvature(m, noise)
	pilot := smoothLoop(raw, m.Step, wide)
	n := len(raw)
	width := make([]float64, n)
	reach := min(int(wide/m.Step), (n-1)/2)
	for i := range width {
		near := 0.0
		for j := i - reach; j <= i+reach; j++ {
			near = max(near, math.Abs(pilot[(j+n)%n]))
		}
		// A drift, being a random walk from point to point, leaves a scatter that falls with the width to the power of
		// 3/2.
		want := max(steadyK, steadyPart*near)
		width[i] = max(smoothing, widthFor(noise, spacing, want))
		if noise > firm {
			width[i] = max(width[i], driftWidth*math.Pow(steadyK/want, 2./3))
		}
	}
	return smoothBy(raw, m.Step, width)
}

// alike is true where two curvatures are of one course: they differ by less than half their size, in root mean square.
func alike(a, b []float64) bool {
	differ, whole := 0.0, 0.0
	for i := range a {
		differ += (a[i] - b[i]) * (a[i] - b[i])
		whole += b[i] * b[i]
	}
	return differ < whole/4
}

// widthFor returns the standard deviation in metres of the Gaussian that leaves the scatter want (1/m) of the curvature
// of points that scatter by noise metres across the line, each for itself, spacing metres apart. The second derivative
// of the Gaussian has the integral of squares 3/(8√π·σ⁵), so the variance left is noise²·spacing times that.
func widthFor(noise, spacing, want float64) float64 {
	return math.Pow(noise*noise*spacing*3/(8*math.Sqrt(math.Pi)*want*want), 0.2)
}

// scatter returns the standard deviation in metres by which the points of the lap scatter across the line: from the
// median of the third differences by distance, which are zero on a straight and small in a bend. A slow drift does not
// show in it.
func (l *Learner) scatter(d []float64) float64 {
	all := make([]float64, 0, len(d))
	for i := 0; i+3 < len(d); i++ {
		var w [4]float64 // of the divided difference
		squares := 0.0
		for a := range w {
			w[a] = 1
			for b := range w {
				if a != b {
					w[a] /= d[i+a] - d[i+b]
				}
			}
			squares += w[a] * w[a]
		}
		p, q := l.points[i], l.points[i+3]
		ux, uy := q.x-p.x, q.y-p.y
		across := 0.0
		for a, v := range w {
			across += v * (ux*l.points[i+a].y - uy*l.points[i+a].x)
		}
		if u := math.Hypot(ux, uy); u > 0 {
			all = append(all, math.Abs(across)/u/math.Sqrt(squares))
		}
	}
	if len(all) == 0 {
		return 0
	}
	return statistics.Median(all) * statistics.Normal
}

// smoothBy convolves v, a loop, with a Gaussian whose width in metres differs from place to place.
func smoothBy(v []float64, step float64, width []float64) []float64 {
	n := len(v)
	out := make([]float64, n)
	for i, sigma := range width {
		half := min(int(3*sigma/step), (n-1)/2)
		s, sum := v[i], 1.0
		for k := 1; k <= half; k++ {
			w := math.Exp(-0.5 * math.Pow(float64(k)*step/sigma, 2))
			s += w * (v[(i+k)%n] + v[(i-k+n)%n])
			sum += 2 * w
		}
		out[i] = s / sum
	}
	return out
}
