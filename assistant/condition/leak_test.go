package condition

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// Four tyres warm up, one more than the others, with noise on every reading; one of them loses gas from a minute on. What is told is the
// loss, and of that wheel only. Truth by the gas law (OpenStax, College Physics, "The Ideal Gas Law").
func TestLeakAgainstTheGasLaw(t *testing.T) {
	for _, lost := range []float64{0, 3, 8} { // kPa a minute at the temperature of the start
		r := newRig(t, gt)
		r.row[channel.Speed] = 50
		seed := uint64(9)
		scatter := func() float64 {
			seed = seed*6364136223846793005 + 1442695040888963407
			return float64(seed>>11)/(1<<52) - 1
		}
		var most [4]float64
		told := math.Inf(1)
		r.run(400, func(at float64) {
			for w := range channel.ID(4) {
				core := 30 + (50+5*float64(w))*(1-math.Exp(-at/120))
				gas := 225.0 // kPa absolute at 20 °C
				if w == 2 && at > 60 {
					gas -= lost * (at - 60) / 60
				}
				r.row[channel.TyreCarcass+w] = core + 0.4*scatter()
				r.row[channel.TyrePressure+w] = gas*(core-3+273.15)/293.15 - 101.325 + scatter()
				if x := r.row[channel.TyreLoss+w]; !math.IsNaN(x) {
					most[w] = max(most[w], x)
				}
			}
			if r.row[channel.TyreLoss+2] > 2 {
				told = min(told, at)
			}
		})
		for _, w := range []int{0, 1, 3} {
			require.Less(t, most[w], 1.0, "wheel %d loses nothing", w)
		}
		if lost == 0 {
			require.Less(t, most[2], 1.0)
			continue
		}
		require.Less(t, told, 60+160.0, "two laps of 80 s after it began")
		require.InDelta(t, lost*(80+273.15)/293.15, r.row[channel.TyreLoss+2], 0.15*lost)
	}
}
