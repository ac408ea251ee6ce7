package pace

import (
	"math"

	"earshot/assistant/statistics"
)

// What an estimate of the fuel effect must be to be believed. Within a stint fuel and tyre age go hand in hand, and no
// calculation can tell them apart; stints that began with different loads can.
const (
	estimateLaps = 16     // common practice, no source
	collinear    = 0.5    // share of the one that the other explains
	known        = 3      // standard errors that the estimate must differ from 0
	leastEffect  = 5e-5   // share of the lap time per kg; cars of 740 kg lie between 2.2e-4 and 5.2e-4 (Heilmeier and others,
	mostEffect   = 5.5e-4 // ITSC 2018, doi 10.1109/ITSC.2018.8570012), and heavier ones below
	odd          = 0.02   // share of the lap time by which a lap that counts may be off
)

// estimate regresses lap time on tyre age and fuel and returns what a kg costs, in s a lap. It is not ok where the laps
// cannot tell.
func estimate(laps []lap) (effect float64, ok bool) {
	var times []float64
	for _, l := range laps {
		times = append(times, l.time)
	}
	usual := statistics.Median(times)
	var n, a, f, t float64
	each := func(do func(age, fuel, time float64)) {
		for _, l := range laps {
			if !math.IsNaN(l.fuel) && math.Abs(l.time-usual) < odd*usual {
				do(l.age, l.fuel, l.time)
			}
		}
	}
	each(func(age, fuel, time float64) { n, a, f, t = n+1, a+age, f+fuel, t+time })
	if n < estimateLaps {
		return 0, false
	}
	a, f, t = a/n, f/n, t/n
	var aa, ff, tt, af, at, ft float64 // sums of products of what lies off the means
	each(func(age, fuel, time float64) {
		x, y, z := age-a, fuel-f, time-t
		aa, ff, tt, af, at, ft = aa+x*x, ff+y*y, tt+z*z, af+x*y, at+x*z, ft+y*z
	})
	if !(af*af < collinear*aa*ff) {
		return 0, false
	}
	det := aa*ff - af*af
	effect = (ft*aa - at*af) / det
	slope := (at*ff - ft*af) / det
	rest := max(0, tt-effect*ft-slope*at) / (n - 3)
	ok = effect > known*math.Sqrt(rest*aa/det) && effect > leastEffect*usual && effect < mostEffect*usual
	return effect, ok
}
