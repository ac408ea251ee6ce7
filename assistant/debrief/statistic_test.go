package debrief

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTheilSen(t *testing.T) {
	// Sen, P. K. (1968), JASA 63:1379-1389, worked example: slope 4, 93 % interval 26/7 to 35/8.
	const z93 = 1.8119106729525978 // standard normal quantile of 0.965
	slope, low, high := theilSen([]float64{1, 2, 3, 4, 10, 12, 18}, []float64{9, 15, 19, 20, 45, 55, 78}, z93)
	require.Equal(t, 4.0, slope)
	require.InDelta(t, 26.0/7, low, 1e-12)
	require.InDelta(t, 35.0/8, high, 1e-12)
	// Gilbert (1987), Statistical Methods for Environmental Pollution Monitoring, chapter 16: 10, 15, 14, 20.
	slope, _, _ = theilSen([]float64{1, 2, 3, 4}, []float64{10, 15, 14, 20}, z93)
	require.InDelta(t, 2.9167, slope, 1e-4)
	slope, low, high = theilSen([]float64{1}, []float64{2}, z93)
	require.True(t, math.IsNaN(slope) && math.IsNaN(low) && math.IsNaN(high))
}

func TestMedianAndDeviation(t *testing.T) {
	// Definition, by hand: 1 1 2 2 4 6 9 has the median 2 and the deviations 1 1 0 0 2 4 7.
	require.Equal(t, 2.0, median([]float64{9, 1, 2, 6, 4, 1, 2, math.NaN()}))
	require.Equal(t, 1.0, deviation([]float64{9, 1, 2, 6, 4, 1, 2}))
	require.Equal(t, 2.5, median([]float64{4, 1, 3, 2}))
	require.True(t, math.IsNaN(median(nil)))
	require.True(t, math.IsNaN(deviation([]float64{math.NaN()})))
}
