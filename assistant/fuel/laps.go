package fuel

import (
	"math"

	"earshot/assistant/statistics"
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

func (l *laps) centre() float64 { return statistics.HodgesLehmann(l.value[:l.n]) }

// latest is the centre of the latest n laps.
func (l *laps) latest(n int) float64 {
	n = min(n, l.n)
	x := make([]float64, n)
	for i := range x {
		x[i] = l.value[(l.next-1-i+2*kept)%kept]
	}
	return statistics.HodgesLehmann(x)
}

// spread is NaN for fewer laps than mean anything.
func (l *laps) spread() float64 {
	if l.n < enough {
		return nan
	}
	return statistics.Normal * statistics.Deviation(l.value[:l.n])
}
