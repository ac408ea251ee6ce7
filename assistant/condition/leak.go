package condition

import (
	"math"
	"slices"

	"earshot/assistant/channel"
)

// Common practice, no source.
const (
	leakEvery  = 5.0  // s between two looks at the gas
	leakCalm   = 8.0  // s: lag that takes bends and the steps of coarse sensors out
	leakSettle = 24.0 // s until that lag has forgotten the first reading
	leakLooks  = 25   // looks of which the slope is made: two minutes
	leakEnough = 13   // looks before there is a slope: one minute
	leakSpeed  = 10.0 // m/s: a standing tyre is being worked on
)

// leaks follows the amount of gas in each tyre, p/T by the gas law (OpenStax, College Physics, "The Ideal Gas Law"), with absolute
// pressure and temperature. While tyres warm up the temperature of the gas is not that of the carcass, on all wheels
// alike: so what a tyre loses is measured against the others. It has to lose against them by its pressure alone as well: else two
// temperatures that are taken for one another would look like a leak.
type leaks struct {
	heat  [4]lag  // K, of the carcass
	press [4]lag  // kPa, absolute
	known [4]bool // the temperature
	past  [2][4][leakLooks]float64
	looks int
	next  float64
	age   float64    // s that the lags have run
	rate  [4]float64 // kPa a minute, positive is lost; NaN where not known
}

func (l *leaks) stint() {
	*l = leaks{}
	for w := range 4 {
		l.heat[w], l.press[w], l.rate[w] = newLag(byLeak), newLag(byLeak), nan
	}
}

func (l *leaks) step(at, dt float64, m *motion, t *tyres, row channel.Row) {
	if m.speed < leakSpeed {
		if m.speed < standing {
			l.looks, l.age = 0, 0
		}
		return
	}
	l.age += dt
	ambient := row[channel.AirPressure]
	if math.IsNaN(ambient) {
		ambient = 101.325
	}
	for w := range 4 {
		p := row[channel.TyrePressure+channel.ID(w)] + ambient
		kelvins := t.calm[w].y + 273.15
		if known := !math.IsNaN(kelvins); known != l.known[w] {
			l.known[w], l.looks, l.age, l.heat[w].y = known, 0, 0, nan
		}
		if !l.known[w] {
			kelvins = 1 // the pressure has to do
		}
		l.heat[w].step(m.gains, kelvins)
		l.press[w].step(m.gains, p)
	}
	if l.age < leakSettle {
		return
	}
	switch late := at - l.next; {
	case late < -leakEvery, late > leakEvery:
		l.looks, l.next = 0, at // the clock stepped, or nothing was heard for a while
	case late < 0:
		return
	}
	l.next += leakEvery
	for w := range 4 {
		p := math.Log(l.press[w].y)
		l.past[0][w][l.looks%leakLooks], l.past[1][w][l.looks%leakLooks] = p-math.Log(l.heat[w].y), p
	}
	l.looks++
	l.judge(ambient, row)
}

// judge measures the slope of each tyre against the middle one of the others.
func (l *leaks) judge(ambient float64, row channel.Row) {
	n := min(l.looks, leakLooks)
	if n < leakEnough {
		for w := range 4 {
			l.rate[w] = nan
		}
		return
	}
	gas, press := l.against(0, n), l.against(1, n)
	for w := range 4 {
		l.rate[w] = math.Min(gas[w], press[w]) * 60 * (row[channel.TyrePressure+channel.ID(w)] + ambient) // NaN wins
	}
}

// against is by how much each tyre falls behind the middle one of the others, per second; NaN where fewer than two others are known.
func (l *leaks) against(of, n int) (behind [4]float64) {
	var slopes [4]float64
	for w := range 4 {
		slopes[w] = slope(&l.past[of][w], l.looks-n, n)
	}
	for w := range 4 {
		others := make([]float64, 0, 3)
		for k, s := range slopes {
			if k != w && !math.IsNaN(s) {
				others = append(others, s)
			}
		}
		behind[w] = nan
		if len(others) >= 2 {
			slices.Sort(others)
			behind[w] = others[len(others)/2] - slopes[w]
		}
	}
	return behind
}

// slope is by least squares over n looks from first on, per second.
func slope(past *[leakLooks]float64, first, n int) float64 {
	var sx, sy, sxx, sxy float64
	for i := range n {
		x := float64(i) * leakEvery
		y := past[(first+i)%leakLooks]
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	k := float64(n)
	return (k*sxy - sx*sy) / (k*sxx - sx*sx)
}
