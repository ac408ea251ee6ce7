package condition

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// Common practice, no source.
const (
	trendRise  = 1.0  // K: a smaller rise from lap to lap is noise
	trendError = 1.5  // K: root mean square beyond which the curve does not describe the tyre
	slowest    = 0.95 // share of the way left after a lap, beyond which a warm-up is a straight line
	fastest    = 0.05
)

// A trend follows the lap means of one tyre through a stint: T(t) = T∞ − (T∞−T0)·exp(−t/τ), the step response
// of a lumped body, with t in laps since the stint began. The mean over a lap lies
// on the same curve with another amplitude, which lapsTo takes into account.
type trend struct {
	means [trendLaps]float64
	n     int     // lap means held
	b     float64 // exp(−1/τ) of the last good fit, NaN before
}

func (t *trend) add(lapMean float64) {
	if math.IsNaN(lapMean) {
		t.n = 0 // a hole in the row: begin again
		return
	}
	if t.n == trendLaps {
		copy(t.means[:], t.means[1:])
		t.n--
	}
	t.means[t.n] = lapMean
	t.n++
}

// lapsTo predicts how many laps after the line just crossed the tyre reaches limit: 0 where it has, NaN where
// no trend is clear. never says that the trend is clear and ends below the limit.
func (t *trend) lapsTo(limit float64) (laps float64, never bool) {
	if t.n == 0 || math.IsNaN(limit) {
		return nan, false
	}
	if t.means[t.n-1] >= limit {
		return 0, false
	}
	end, amplitude, b, ok := t.fit()
	if !ok {
		return nan, false
	}
	t.b = b
	if end <= limit {
		return nan, true
	}
	// The k-th mean, counted from 0, is end − amplitude·b^k and covers the time from k to k+1.
	tau := -1 / math.Log(b)
	amplitude /= tau * (1 - b) // from the mean over the first lap to its beginning
	reach := -tau * math.Log((end-limit)/amplitude)
	return max(0, reach-float64(t.n)), false
}

// fit finds the curve through the lap means. Three means fit any curve of three numbers, so they have to rise, and rise
// ever less; two are enough where an earlier stint has taught how fast these tyres warm up.
func (t *trend) fit() (end, amplitude, b float64, ok bool) {
	y := t.means[:t.n]
	last := t.n - 1
	switch {
	case t.n == 2 && !math.IsNaN(t.b):
		rise := y[1] - y[0]
		amplitude = rise / (1 - t.b)
		return y[0] + amplitude, amplitude, t.b, rise > trendRise
	case t.n < 3:
		return nan, nan, nan, false
	case t.n == 3:
		r1, r2 := y[1]-y[0], y[2]-y[1]
		b = r2 / r1
		if !(r1 > trendRise && r2 > trendRise/2 && b > fastest && b < slowest) {
			return nan, nan, nan, false
		}
		amplitude = r1 / (1 - b)
		return y[0] + amplitude, amplitude, b, true
	}
	b = narrow(fastest, slowest, func(b float64) float64 { _, _, e := along(y, b); return e })
	end, amplitude, square := along(y, b)
	good := amplitude > trendRise && y[last] > y[0] && math.Sqrt(square/float64(t.n)) <= trendError && b < slowest-1e-3
	return end, amplitude, b, good
}

// alikeHeavy makes the library add number by number. Without weights it adds by twos, beginning where the memory is aligned for that, and
// the last digit would depend on where the numbers lie: a replay could differ from the drive.
var alikeHeavy = slices.Repeat([]float64{1}, trendLaps)

// along fits y[k] = end − amplitude·b^k by least squares for a given b and returns the sum of squares left.
func along(y []float64, b float64) (end, amplitude, square float64) {
	var powers [trendLaps]float64
	x := 1.0
	for i := range y {
		powers[i] = x
		x *= b
	}
	end, slope := stat.LinearRegression(powers[:len(y)], y, alikeHeavy[:len(y)], false)
	amplitude = -slope
	for i, v := range y {
		e := v - (end - amplitude*powers[i])
		square += e * e
	}
	return end, amplitude, square
}

// narrow finds the lowest point of f between lo and hi: the best of an even grid first, since f may have
// more than one valley, then golden sections around it.
func narrow(lo, hi float64, f func(float64) float64) float64 {
	const cells = 45
	step := (hi - lo) / cells
	best, at := math.Inf(1), lo
	for i := range cells + 1 {
		x := lo + float64(i)*step
		if v := f(x); v < best {
			best, at = v, x
		}
	}
	a, c := max(lo, at-step), min(hi, at+step)
	golden := (math.Sqrt(5) - 1) / 2
	for range 80 {
		x1, x2 := c-golden*(c-a), a+golden*(c-a)
		if f(x1) < f(x2) {
			c = x2
		} else {
			a = x1
		}
	}
	return (a + c) / 2
}
