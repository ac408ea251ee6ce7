package debrief

import (
	"math"
	"slices"
)

// median returns the middle of the known numbers in x, the mean of the middle two for an even
// count, NaN for none.
func median(x []float64) float64 {
	s := known(x)
	if len(s) == 0 {
		return math.NaN()
	}
	slices.Sort(s)
	if n := len(s); n%2 == 0 {
		return (s[n/2-1] + s[n/2]) / 2
	}
	return s[len(s)/2]
}

// deviation returns the median absolute deviation from the median, not scaled to a standard deviation.
func deviation(x []float64) float64 {
	m := median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return median(d)
}

func known(x []float64) []float64 {
	s := make([]float64, 0, len(x))
	for _, v := range x {
		if !math.IsNaN(v) {
			s = append(s, v)
		}
	}
	return s
}

// theilSen returns the median slope of all pairs of points with different x, and Sen's interval for it, whose
// confidence is that of z standard deviations of Kendall's S (Sen 1968, JASA 63:1379; z = 1.96 for 95 %). Without two
// different x all are NaN. The x must be different from one another for the interval to hold.
func theilSen(x, y []float64, z float64) (slope, low, high float64) {
	var slopes []float64
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if x[i] != x[j] {
				slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	if len(slopes) == 0 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	slices.Sort(slopes)
	n, all := float64(len(x)), float64(len(slopes))
	width := z * math.Sqrt(n*(n-1)*(2*n+5)/18) // of Kendall's S
	lowest := max(int(math.RoundToEven((all-width)/2))-1, 0)
	highest := min(int(math.RoundToEven((all+width)/2)), len(slopes)-1)
	return median(slopes), slopes[lowest], slopes[highest]
}
