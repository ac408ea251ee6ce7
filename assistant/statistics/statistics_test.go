package statistics

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

func TestQuantiles(t *testing.T) {
	// Definition, by hand: 1 1 2 2 4 6 9 has the median 2 and the deviations 1 1 0 0 2 4 7.
	x := []float64{9, 1, 2, 6, 4, 1, 2, math.NaN()}
	require.Equal(t, 2.0, Median(x))
	require.Equal(t, 9.0, x[0], "what is given stays as it was")
	require.Equal(t, 1.0, Deviation(x))
	require.Equal(t, 2.5, Median([]float64{4, 1, 3, 2}))
	require.Equal(t, 3.25, Quantile([]float64{4, 1, 3, 2}, 0.75), "R: quantile(1:4, 0.75), from memory")
	require.Equal(t, 4.0, Quantile([]float64{4, 1, 3, 2}, 1))
	for _, f := range []func([]float64) float64{Median, Deviation, HodgesLehmann} {
		require.True(t, math.IsNaN(f(nil)) && math.IsNaN(f([]float64{math.NaN()})))
		require.Equal(t, f([]float64{7}), f([]float64{7, math.NaN()}))
	}
	// R's help page of mad (from memory): mad(1:9) and mad(c(1:8, 100)) with constant 1 are both 2.
	require.Equal(t, 2.0, Deviation([]float64{1, 2, 3, 4, 5, 6, 7, 8, 9}))
	require.Equal(t, 2.0, Deviation([]float64{1, 2, 3, 4, 5, 6, 7, 8, 100}))
	// Half of normally distributed numbers lies within 0.6745 standard deviations of the mean.
	require.InDelta(t, 1/0.674489750196082, Normal, 1e-4)
}

func TestTheilSen(t *testing.T) {
	// Sen, P. K. (1968), JASA 63:1379-1389, worked example: slope 4, 93 % interval 26/7 to 35/8.
	const z93 = 1.8119106729525978 // standard normal quantile of 0.965
	slope, low, high := TheilSen([]float64{1, 2, 3, 4, 10, 12, 18}, []float64{9, 15, 19, 20, 45, 55, 78}, z93)
	require.Equal(t, 4.0, slope)
	require.InDelta(t, 26.0/7, low, 1e-12)
	require.InDelta(t, 35.0/8, high, 1e-12)
	// Gilbert (1987), Statistical Methods for Environmental Pollution Monitoring, chapter 16: 10, 15, 14, 20.
	slope, _, _ = TheilSen([]float64{1, 2, 3, 4}, []float64{10, 15, 14, 20}, z93)
	require.InDelta(t, 2.9167, slope, 1e-4)
	slope, low, high = TheilSen([]float64{1}, []float64{2}, z93)
	require.True(t, math.IsNaN(slope) && math.IsNaN(low) && math.IsNaN(high))
}

// R's documented wilcox.test(x, y, paired = TRUE) on the depression data of Hollander and Wolfe (1973): pseudo-median
// 0.46 (data from memory of R's help page, the figure read from a run of R).
func TestHodgesLehmann(t *testing.T) {
	x := []float64{1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30}
	y := []float64{0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29}
	for i := range x {
		x[i] -= y[i]
	}
	require.InDelta(t, 0.46, HodgesLehmann(x), 1e-9)
}

func TestShiftAndScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-100, 100), 1, 20).Draw(t, "x")
		by := rapid.Float64Range(-50, 50).Draw(t, "shift")
		moved := make([]float64, len(x))
		for i, v := range x {
			moved[i] = 2*v + by
		}
		require.InDelta(t, 2*HodgesLehmann(x)+by, HodgesLehmann(moved), 1e-9)
		require.InDelta(t, 2*Median(x)+by, Median(moved), 1e-9)
		require.InDelta(t, 2*Deviation(x), Deviation(moved), 1e-9)
	})
}

// What is taken from gonum meets the certified values of NIST's Statistical Reference Datasets (doi 10.18434/T43G6C).
func TestGonumAgainstCertifiedValues(t *testing.T) {
	// Norris, linear regression of lower difficulty: pairs of y and x.
	const norris = `0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6
		778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6
		557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1
		888.0 887.2 998.5 999.0 778.9 779.0 10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5`
	var x, y []float64
	for i, text := range strings.Fields(norris) {
		v, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err)
		if i%2 == 0 {
			y = append(y, v)
		} else {
			x = append(x, v)
		}
	}
	require.Len(t, x, 36)
	intercept, slope := stat.LinearRegression(x, y, nil, false)
	require.InEpsilon(t, -0.262323073774029, intercept, 1e-9)
	require.InEpsilon(t, 1.00211681802045, slope, 1e-12)
	// The robust slope of nearly straight data is that of least squares, within two of its certified standard
	// deviations.
	robust, low, high := TheilSen(x, y, 1.96)
	require.InDelta(t, 1.00211681802045, robust, 2*0.429796848199937e-03)
	require.True(t, low < robust && robust < high)

	// NumAcc4, univariate: the one-pass variance fails here.
	numAcc4 := []float64{10000000.2}
	for range 500 {
		numAcc4 = append(numAcc4, 10000000.1, 10000000.3)
	}
	mean, s := stat.MeanStdDev(numAcc4, nil)
	require.InEpsilon(t, 10000000.2, mean, 1e-14)
	require.InEpsilon(t, 0.1, s, 1e-8)
}
