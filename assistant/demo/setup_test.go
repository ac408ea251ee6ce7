package demo

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// outcome is what a driver would notice of a setup.
type outcome struct {
	slow, fast float64    // rad of road wheel angle beyond L k at 10 m/s², at 20 and 60 m/s: positive is understeer
	top        float64    // m/s
	time       float64    // s of the third lap
	limiter    float64    // s at more than 99 % of the shift speed in top gear
	disc       [4]float64 // °C: peaks of the third lap
	pressure   [4]float64 // kPa: means of the third lap
	tyre       [4]float64 // °C, likewise
	brakeSlip  [2]float64 // mean slip of each axle when braking hard on straights
	first      float64    // s of the first lap
}

func drive(t *testing.T, change func(*Car), fuel float64) outcome {
	t.Helper()
	car := Baseline()
	change(&car)
	o := Options{Seed: 1, Laps: 3, Rate: 20, Car: &car, Fuel: fuel}
	s, all := run(t, o)
	l := s.Truth().Done[3]
	out := outcome{top: l.TopSpeed, time: l.Time, disc: l.DiscPeak, pressure: l.PressureMean, tyre: l.CarcassMean}
	g := grip{mass: car.Mass + 30, density: 1.18, mu: [2]float64{1.4, 1.4}}
	excess := func(v float64) float64 {
		k := 10 / (v * v)
		return s.limits.take(&g, [2]float64{1, 1}, v, k, 0).delta - car.Wheelbase*k
	}
	out.slow, out.fast = excess(20), excess(60)
	out.first = s.Truth().Done[1].Time
	braking := 0.0
	for _, x := range all {
		r := x.Row
		if r[channel.LapNumber] != 3 {
			continue
		}
		if r[channel.Gear] == 6 && r[channel.EngineSpeed] > 0.99*car.RevShift {
			out.limiter += 1 / o.Rate
		}
		if r[channel.AccelerationLong] < -10 && math.Abs(r[channel.AccelerationLat]) < 1 {
			braking++
			for axle := range 2 {
				w := channel.WheelSpeed + channel.ID(2*axle)
				out.brakeSlip[axle] += (r[w]+r[w+1])/2/r[channel.Speed] - 1
			}
		}
	}
	for axle := range 2 {
		out.brakeSlip[axle] /= braking
	}
	return out
}

// Each lever acts in the direction that the handbooks of the trade give (handbook knowledge as in TRADE.md section 5, no source):
// numbers are the model's own, only their signs are checked.
func TestSetupLevers(t *testing.T) {
	const fuel = 40
	base := drive(t, func(*Car) {}, fuel)
	tests := []struct {
		name   string
		change func(*Car)
		check  func(*testing.T, outcome)
	}{
		{"softer front or stiffer rear bar: less understeer", func(c *Car) { c.RollSplit -= 0.1 }, func(t *testing.T, o outcome) {
			require.Less(t, o.slow, base.slow-1e-4)
			require.Less(t, o.fast, base.fast-1e-4)
		}},
		{"more front wing: less understeer in fast corners, less top speed", func(c *Car) { c.Wing[0] += 4 }, func(t *testing.T, o outcome) {
			require.Less(t, o.fast, base.fast-1e-4)
			require.Less(t, base.slow-o.slow, (base.fast-o.fast)/2, "and much less so in slow ones")
			require.Less(t, o.top, base.top-0.1)
		}},
		{"more rear wing: the rear holds in fast corners, less top speed", func(c *Car) { c.Wing[1] += 4 }, func(t *testing.T, o outcome) {
			require.Greater(t, o.fast, base.fast+1e-4)
			require.Less(t, o.top, base.top-0.1)
		}},
		{"bias rearward: rear discs hotter, front cooler, the rear slips more", func(c *Car) { c.BrakeBias -= 0.04 }, func(t *testing.T, o outcome) {
			require.Less(t, o.disc[channel.FL], base.disc[channel.FL]-5)
			require.Greater(t, o.disc[channel.RL], base.disc[channel.RL]+5)
			require.Less(t, o.brakeSlip[1], base.brakeSlip[1]-0.002)
		}},
		{"bias forward: the rear slips less, the front discs take more", func(c *Car) { c.BrakeBias += 0.05 }, func(t *testing.T, o outcome) {
			require.Greater(t, o.brakeSlip[1], base.brakeSlip[1]+0.002)
			require.Greater(t, o.disc[channel.FL]-o.disc[channel.RL], base.disc[channel.FL]-base.disc[channel.RL]+5)
		}},
		{"rear ducts closed: rear discs hotter", func(c *Car) { c.Ducts[channel.RL], c.Ducts[channel.RR] = 0.6, 0.6 }, func(t *testing.T, o outcome) {
			require.Greater(t, o.disc[channel.RL], base.disc[channel.RL]+20)
			require.InDelta(t, base.disc[channel.FL], o.disc[channel.FL], 15)
		}},
		{"one front duct open: that disc cooler, that tyre cooler, that pressure lower", func(c *Car) { c.Ducts[channel.FR] = 1.4 }, func(t *testing.T, o outcome) {
			require.Less(t, o.disc[channel.FR], base.disc[channel.FR]-20)
			require.Less(t, o.tyre[channel.FR], base.tyre[channel.FR]-0.5)
			require.Less(t, o.pressure[channel.FR], base.pressure[channel.FR]-0.3)
			require.InDelta(t, base.disc[channel.FL], o.disc[channel.FL], 8)
		}},
		{"one cold pressure lower: that hot pressure lower, by the gas law", func(c *Car) { c.ColdPressure[channel.FR] -= 8 }, func(t *testing.T, o outcome) {
			growth := (base.tyre[channel.FR] + 273.15) / (airTemperature + 273.15)
			require.InDelta(t, base.pressure[channel.FR]-8*growth, o.pressure[channel.FR], 1.0)
			require.InDelta(t, base.pressure[channel.FL], o.pressure[channel.FL], 1.0)
		}},
		{"shorter final drive: at the limiter before braking", func(c *Car) { c.FinalDrive *= 1.15 }, func(t *testing.T, o outcome) {
			require.Greater(t, o.limiter, base.limiter+1)
			require.Less(t, o.top, base.top)
		}},
		{"longer final drive: never at the limit in top", func(c *Car) { c.FinalDrive *= 0.85 }, func(t *testing.T, o outcome) {
			require.Zero(t, o.limiter)
		}},
		{"softer compound: quicker at first", func(c *Car) { c.Compound = 1 }, func(t *testing.T, o outcome) {
			require.Less(t, o.first, base.first-0.2)
			require.Greater(t, o.tyre[channel.RR], base.tyre[channel.RR]+5)
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { tt.check(t, drive(t, tt.change, fuel)) })
	}
	t.Run("more fuel: slower", func(t *testing.T) {
		require.Greater(t, drive(t, func(*Car) {}, fuel+60).time, base.time+0.2)
	})
}
