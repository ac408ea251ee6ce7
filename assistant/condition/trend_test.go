package condition

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// rise is the temperature of a lumped body t laps after the start (REFERENCES 13: T∞ + (T0−T∞)·exp(−t/τ)).
func rise(t0, end, tau, t float64) float64 { return end + (t0-end)*math.Exp(-t/tau) }

// lapMean integrates rise numerically over the lap that begins at t, so as not to use the formula under test.
func lapMean(t0, end, tau, t float64) float64 {
	const n = 2000
	sum := 0.0
	for i := range n {
		sum += rise(t0, end, tau, t+(float64(i)+0.5)/n)
	}
	return sum / n
}

// 63.2 % of the step is done at t = τ, and exact data give τ back (REFERENCES 13d).
func TestTrendRecoversTheTimeConstant(t *testing.T) {
	require.InDelta(t, 0.632, rise(0, 1, 2, 2), 5e-4)
	for _, tau := range []float64{0.8, 1.5, 3, 6} {
		for laps := 3; laps <= 8; laps++ {
			tr := trend{b: nan}
			for k := range laps {
				tr.add(rise(30, 95, tau, float64(k)))
			}
			end, amplitude, b, ok := tr.fit()
			require.True(t, ok, "τ %g, %d laps", tau, laps)
			require.InDelta(t, tau, -1/math.Log(b), 1e-6, "%d laps", laps)
			require.InDelta(t, 95, end, 1e-5)
			require.InDelta(t, 65, amplitude, 1e-5)
		}
	}
}

func TestTrendPredictsTheCrossing(t *testing.T) {
	const t0, end, tau, limit = 35, 90, 2.5, 80
	crossing := -tau * math.Log((end-limit)/float64(end-t0)) // 4.26 laps after the start
	tr := trend{b: nan}
	for k := range 4 {
		tr.add(lapMean(t0, end, tau, float64(k)))
		laps, never := tr.lapsTo(limit)
		require.False(t, never)
		if k < 2 {
			require.True(t, math.IsNaN(laps), "two laps are no trend")
			continue
		}
		require.InDelta(t, crossing-float64(k+1), laps, 0.01)
	}
	// The next set of the same tyres needs two laps only.
	tr.n = 0
	tr.add(lapMean(t0, end, tau, 0))
	tr.add(lapMean(t0, end, tau, 1))
	laps, _ := tr.lapsTo(limit)
	require.InDelta(t, crossing-2, laps, 0.01)
}

func TestTrendThatEndsBelow(t *testing.T) {
	tr := trend{b: nan}
	for k := range 4 {
		tr.add(lapMean(30, 70, 1.5, float64(k)))
	}
	laps, never := tr.lapsTo(75)
	require.True(t, never)
	require.True(t, math.IsNaN(laps))
}

func TestNoTrendInNoise(t *testing.T) {
	for _, means := range [][]float64{
		{60, 60.5, 60.2}, {60, 55, 50}, {60, 70, 82}, {60, 72, 61, 74, 60, 73}, {60, nan, 70, 75}, {50, 60, 70, 80, 90},
	} {
		tr := trend{b: nan}
		for _, m := range means {
			tr.add(m)
		}
		laps, never := tr.lapsTo(100)
		require.True(t, math.IsNaN(laps), "%v", means)
		require.False(t, never, "%v", means)
	}
}

func TestTrendOfManyLapsWithNoise(t *testing.T) {
	tr := trend{b: nan}
	noise := []float64{0.4, -0.3, 0.2, -0.5, 0.3, -0.1, 0.5, -0.4, 0.1, -0.2, 0.3, 0, -0.3, 0.2, -0.2}
	for k, e := range noise {
		tr.add(lapMean(30, 90, 3, float64(k)) + e)
	}
	require.Equal(t, trendLaps, tr.n)
	end, _, _, ok := tr.fit()
	require.True(t, ok)
	require.InDelta(t, 90, end, 1)
}

func TestCentreIsTheMedian(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-1.2, 1.2), 1, 300).Draw(t, "x")
		c := newCentre(-1, 1, 2000)
		var in []float64
		for _, v := range x {
			c.add(v)
			if v >= -1 && v < 1 {
				in = append(in, v)
			}
		}
		if len(in) == 0 {
			require.True(t, math.IsNaN(c.value()))
			return
		}
		slices.Sort(in)
		lo, hi := in[(len(in)-1)/2], in[len(in)/2]
		require.GreaterOrEqual(t, c.value(), lo-0.0011)
		require.LessOrEqual(t, c.value(), hi+0.0011)
	})
}
