// Package statistics has the robust figures that gonum's stat lacks: gonum has no median of an even count, no median
// absolute deviation, no Theil and Sen's slope and no Hodges and Lehmann's estimate. Straight lines by least squares,
// means and standard deviations are called from gonum where they are needed.
//
// Numbers that are not known (NaN) do not count, and a figure of too few numbers is NaN. No function changes what it is
// given. Each allocates, so none is for every sample.
package statistics

import (
	"math"
	"slices"
)

// Normal is the factor from the median absolute deviation to the standard deviation of normally distributed numbers.
const Normal = 1.4826

// Known returns the known numbers of x in their order.
func Known(x []float64) []float64 {
	s := make([]float64, 0, len(x))
	for _, v := range x {
		if !math.IsNaN(v) {
			s = append(s, v)
		}
	}
	return s
}

func sorted(x []float64) []float64 {
	s := Known(x)
	slices.Sort(s)
	return s
}

// Quantile returns the number below which the share q of x lies, between two numbers by a straight line (type 7 of
// Hyndman and Fan 1996, the default of R).
func Quantile(x []float64, q float64) float64 { return ofSorted(sorted(x), q) }

func ofSorted(s []float64, q float64) float64 {
	if len(s) == 0 {
		return math.NaN()
	}
	at := q * float64(len(s)-1)
	i := min(max(int(at), 0), len(s)-1)
	if part := at - float64(i); part > 0 && i+1 < len(s) {
		return s[i]*(1-part) + s[i+1]*part // not s[i]+part*(…): two numbers that are equal give that number
	}
	return s[i]
}

// Median returns the middle number of x, the mean of the middle two of an even count.
func Median(x []float64) float64 { return Quantile(x, 0.5) }

// Deviation returns the median absolute deviation from the median. Times Normal it estimates the standard deviation.
func Deviation(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return Median(d)
}

// HodgesLehmann returns the median of the means of all pairs, each number paired with itself too (Hollander and Wolfe,
// Nonparametric Statistical Methods, 1973): as robust as a median where a number in four is odd, and nearly as sharp as
// a mean where none is.
func HodgesLehmann(x []float64) float64 {
	pairs := make([]float64, 0, len(x)*(len(x)+1)/2)
	for i, a := range x {
		for _, b := range x[i:] {
			pairs = append(pairs, (a+b)/2)
		}
	}
	return Median(pairs)
}

// TheilSen returns the median slope of all pairs of points with different x, and Sen's interval for it, whose
// confidence is that of z standard deviations of Kendall's S (Sen 1968, JASA 63:1379; z = 1.96 for 95 %). Without two
// different x all are NaN. The x must be different from one another for the interval to hold.
func TheilSen(x, y []float64, z float64) (slope, low, high float64) {
	var slopes []float64
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if x[i] != x[j] {
				slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	slopes = sorted(slopes)
	if len(slopes) == 0 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	n, all := float64(len(x)), float64(len(slopes))
	width := z * math.Sqrt(n*(n-1)*(2*n+5)/18) // of Kendall's S
	lowest := max(int(math.RoundToEven((all-width)/2))-1, 0)
	highest := min(int(math.RoundToEven((all+width)/2)), len(slopes)-1)
	return ofSorted(slopes, 0.5), slopes[lowest], slopes[highest]
}
