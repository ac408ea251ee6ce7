package condition

import (
	"math"

	"earshot/assistant/channel"
)

// Common practice, no source.
const (
	usualBase     = 2.7              // m, where the car file tells neither: only the product can be learned
	usualRatio    = 14.0             // for how fast a hand wheel may turn in steady cornering
	geometryLeast = 4 * taughtEnough // samples: 80 s
	geometrySure  = 0.02             // standard error, a share, at which the product is believed
	slowBend      = 1 / 40.0         // 1/m: in wider bends a tyre that is not linear changes the angle by a tenth and more
	slowSamples   = 75               // 3 s
	alikeSamples  = 25.0             // samples of a second tell little more than one
)

// geometry learns what turns the angle of the wheel into curvature, where the car file does not tell wheelbase and steering ratio:
// the slope of the angle on r/v in the steady-state bicycle model δ·ratio = L·ratio·r/v + K·ratio·a_y + offset (ISO 4138).
// Slow and quick bends tell it from the gradient, since their lateral acceleration is alike and their curvature is not. Where
// there is no slow bend it is not believed.
type geometry struct {
	n, slow int
	normal  [3][3]float64 // of curvature, lateral acceleration and 1
	right   [3]float64
	squares float64
}

// learn takes a sample of steady cornering in, and returns the product of wheelbase and ratio in m once it is sure.
func (g *geometry) learn(angle, curvature, lateral float64) (product float64, ok bool) {
	x := [3]float64{curvature, lateral, 1}
	for i := range x {
		for j := range x {
			g.normal[i][j] += x[i] * x[j]
		}
		g.right[i] += x[i] * angle
	}
	g.squares += angle * angle
	if math.Abs(curvature) > slowBend {
		g.slow++
	}
	if g.n++; g.n < geometryLeast || g.slow < slowSamples || g.n%taughtEvery != 0 {
		return 0, false
	}
	// The inverse by cofactors: a matrix would be allocated anew each second.
	var inverse [3][3]float64
	determinant := 0.0
	for i := range inverse {
		for j := range inverse {
			a, b, c, d := (i+1)%3, (i+2)%3, (j+1)%3, (j+2)%3
			inverse[j][i] = g.normal[a][c]*g.normal[b][d] - g.normal[a][d]*g.normal[b][c]
		}
	}
	for i := range inverse {
		determinant += g.normal[0][i] * inverse[i][0]
	}
	if !(determinant > 0) {
		return 0, false
	}
	rest := g.squares
	var by [3]float64
	for i := range by {
		for j := range by {
			by[i] += inverse[i][j] / determinant * g.right[j]
		}
		rest -= by[i] * g.right[i]
	}
	deviation := math.Sqrt(alikeSamples * max(rest, 0) / float64(g.n-3) * inverse[0][0] / determinant)
	return by[0], by[0] > 0 && deviation < geometrySure*by[0]
}

// measure learns wheelbase and ratio while one of them is not known.
func (b *balance) measure(at float64, m *motion, row channel.Row) {
	byHand := !row.Has(channel.RoadWheelAngle)
	angle, ratio := row[channel.RoadWheelAngle], 1.0
	if byHand {
		angle, ratio = row[channel.SteeringWheelAngle], usualRatio
	}
	rate := b.rate.slope(m.gains, angle)
	steady := m.speed > balanceFloor && math.Abs(m.long) < hardLong && math.Abs(rate) < hardSteer*ratio &&
		math.Abs(m.yawAcc) < hardYaw
	if !steady || math.IsNaN(angle+m.yaw+m.lateral) || row[channel.OnCourse] == 0 || !b.pick.due(at) {
		return
	}
	product, ok := b.geometry.learn(angle, m.yaw/m.speed, m.lateral)
	if !ok {
		return
	}
	base, ratio := b.wheelbase, b.ratio
	switch {
	case !byHand:
		base = product
	case !math.IsNaN(base):
		ratio = product / base
	case !math.IsNaN(ratio):
		base = product / ratio
	default:
		base, ratio = usualBase, product/usualBase
	}
	if base < 1 || base > 6 || byHand && (ratio < 1 || ratio > 40) {
		return // no car's
	}
	b.wheelbase, b.rate = base, newLag(bySteering)
	if byHand {
		b.ratio = ratio
	}
	b.measured = true
}
