package fuel

import (
	"math"
	"slices"
)

var nan = math.NaN()

// laps holds a number of each of the latest laps of a kind.
type laps struct {
	value [kept]float64
	n     int
	next  int
}

func (l *laps) add(x float64) {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return
	}
	l.value[l.next] = x
	l.next = (l.next + 1) % kept
	l.n = min(l.n+1, kept)
}

func (l *laps) centre() float64 { return hodgesLehmann(l.value[:l.n]) }

// latest is the centre of the latest n laps.
func (l *laps) latest(n int) float64 {
	n = min(n, l.n)
	x := make([]float64, n)
	for i := range x {
		x[i] = l.value[(l.next-1-i+2*kept)%kept]
	}
	return hodgesLehmann(x)
}

// spread is NaN for fewer laps than mean anything.
func (l *laps) spread() float64 {
	if l.n < enough {
		return nan
	}
	return deviation(l.value[:l.n])
}

// hodgesLehmann returns the median of the means of all pairs, each number paired with itself too (Hollander and Wolfe,
// Nonparametric Statistical Methods, 1973): as robust as a median where a lap in four is odd,
// and nearly as sharp as a mean where none is. NaN for no numbers.
func hodgesLehmann(x []float64) float64 {
	pairs := make([]float64, 0, len(x)*(len(x)+1)/2)
	for i, a := range x {
		for _, b := range x[i:] {
			pairs = append(pairs, (a+b)/2)
		}
	}
	return median(pairs)
}

// deviation returns the median absolute deviation from the median, scaled by 1.4826 so that it estimates the
// standard deviation of normally distributed numbers. NaN for no numbers.
func deviation(x []float64) float64 {
	centre := median(slices.Clone(x))
	off := make([]float64, len(x))
	for i, v := range x {
		off[i] = math.Abs(v - centre)
	}
	return 1.4826 * median(off)
}

// median sorts x.
func median(x []float64) float64 {
	if len(x) == 0 {
		return nan
	}
	slices.Sort(x)
	h := len(x) / 2
	if len(x)%2 == 1 {
		return x[h]
	}
	return (x[h-1] + x[h]) / 2
}
