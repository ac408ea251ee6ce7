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
	time       float64    // s of the second lap
	limiter    float64    // s at more than 99 % of the shift speed in top gear
	disc       [4]float64 // °C: peaks of the second lap
	pressure   [4]float64 // kPa: means of the second lap
	tyre       [4]float64 // °C, likewise
	brakeSlip  [2]float64 // mean slip of each axle when braking hard on straights
	first      float64    // s of the first lap
	exit       float64    // rad as slow, at 4 m/s² out of the bend
	entry      float64    // rad as slow, at 2 m/s² off the throttle
	drive      float64    // m/s² out of the bend of slow, at the limit of the rear tyres
	straight   float64    // the same without a bend
	travel     [2]float64 // m: most that a spring of each axle is pressed together
	revs       float64    // rad/s: mean in second gear
}

func drive(t *testing.T, change func(*Car), fuel float64) outcome {
	t.Helper()
	car := Baseline()
	change(&car)
	o := Options{Seed: 1, Laps: 2, Rate: 20, Car: &car, Fuel: fuel}
	s, all := runTo(t, o, 2)
	l := s.Truth().Done[2]
	out := outcome{top: l.TopSpeed, time: l.Time, disc: l.DiscPeak, pressure: l.PressureMean, tyre: l.CarcassMean}
	g := grip{mass: car.Mass + 30, density: 1.18, mu: [2]float64{1.4, 1.4}}
	excess := func(v float64) float64 {
		k := 10 / (v * v)
		return s.limits.take(&g, [2]float64{1, 1}, v, k, 0).delta - car.Wheelbase*k
	}
	out.slow, out.fast = excess(20), excess(60)
	const bend = 10.0 / 400
	out.exit = s.limits.take(&g, [2]float64{1, 1}, 20, bend, 4).delta - car.Wheelbase*bend
	out.entry = s.limits.take(&g, [2]float64{1, 1}, 20, bend, -2).delta - car.Wheelbase*bend
	strong := car
	strong.Power *= 5
	at := newLimits(s.course, &strong)
	out.drive, _ = at.driving(&g, 400, bend)
	out.straight, _ = at.driving(&g, 400, 0)
	second := 0.0
	out.first = s.Truth().Done[1].Time
	braking := 0.0
	for _, x := range all {
		r := x.Row
		if r[channel.LapNumber] != 2 {
			continue
		}
		if r[channel.Gear] == 6 && r[channel.EngineSpeed] > 0.99*car.RevShift {
			out.limiter += 1 / o.Rate
		}
		for w := range channel.ID(4) {
			out.travel[w/2] = max(out.travel[w/2], r[channel.SuspensionTravel+w])
		}
		if r[channel.Gear] == 2 {
			second++
			out.revs += r[channel.EngineSpeed]
		}
		if r[channel.AccelerationLong] < -10 && math.Abs(r[channel.AccelerationLat]) < 1 {
			braking++
			for axle := range 2 {
				w := channel.WheelSpeed + channel.ID(2*axle)
				out.brakeSlip[axle] += (r[w]+r[w+1])/2/r[channel.Speed] - 1
			}
		}
	}
	out.revs /= second
	for axle := range 2 {
		out.brakeSlip[axle] /= braking
	}
	return out
}

// What the directions rest on, all from memory.
const (
	handbook = "Milliken and Milliken, Race Car Vehicle Dynamics, 1995"
	brakes   = "Limpert, Brake Design and Safety"
	gasLaw   = "OpenStax, College Physics, The Ideal Gas Law"
	practice = "common practice, no source"
)

// Each lever of Car acts in the direction that the handbooks of the trade give: numbers are the model's own, only their signs are checked.
func TestSetupLevers(t *testing.T) {
	t.Parallel()
	const fuel = 40
	base := drive(t, func(*Car) {}, fuel)
	tests := []struct {
		name, source string
		change       func(*Car)
		check        func(*testing.T, outcome)
	}{
		{"softer front or stiffer rear bar: less understeer", handbook, func(c *Car) { c.Bars = [2]float64{-3, 2} }, func(t *testing.T, o outcome) {
			require.Less(t, o.slow, base.slow-1e-4)
			require.Less(t, o.fast, base.fast-1e-4)
		}},
		{"stiffer front bar: more understeer", handbook, func(c *Car) { c.Bars[0] += 4 }, func(t *testing.T, o outcome) {
			require.Greater(t, o.slow, base.slow+1e-4)
		}},
		{"softer front springs: less understeer, more travel in front, the same behind", handbook, func(c *Car) { c.Springs[0] *= 0.7 }, func(t *testing.T, o outcome) {
			require.Less(t, o.slow, base.slow-1e-4)
			require.Greater(t, o.travel[0], base.travel[0]*1.1)
			require.InDelta(t, base.travel[1], o.travel[1], 0.004)
		}},
		{"stiffer rear springs: less understeer, less travel behind", handbook, func(c *Car) { c.Springs[1] *= 1.3 }, func(t *testing.T, o outcome) {
			require.Less(t, o.slow, base.slow-1e-4)
			require.Less(t, o.travel[1], base.travel[1]*0.9)
		}},
		{"less power lock: less understeer at the exit, less traction there, entry and straight as before", handbook, func(c *Car) { c.PowerLock -= 3 }, func(t *testing.T, o outcome) {
			require.Less(t, o.exit, base.exit-1e-4)
			require.Less(t, o.drive, base.drive-0.02)
			require.InDelta(t, base.straight, o.straight, 1e-9)
			require.InDelta(t, base.entry, o.entry, 1e-9)
			require.InDelta(t, base.slow, o.slow, 1e-9)
		}},
		{"more power lock: more of both", handbook, func(c *Car) { c.PowerLock += 3 }, func(t *testing.T, o outcome) {
			require.Greater(t, o.exit, base.exit+1e-4)
			require.Greater(t, o.drive, base.drive+0.02)
		}},
		{"less coast lock: less understeer at the entry, exit as before", handbook, func(c *Car) { c.CoastLock -= 3 }, func(t *testing.T, o outcome) {
			require.Less(t, o.entry, base.entry-1e-4)
			require.InDelta(t, base.exit, o.exit, 1e-9)
		}},
		{"more coast lock: the rear is calmer at the entry", handbook, func(c *Car) { c.CoastLock += 3 }, func(t *testing.T, o outcome) {
			require.Greater(t, o.entry, base.entry+1e-4)
		}},
		{"a longer second gear: fewer revs in it, top speed as before", practice, func(c *Car) { c.Gears[1] *= 0.93 }, func(t *testing.T, o outcome) {
			require.Less(t, o.revs, base.revs-5)
			require.InDelta(t, base.top, o.top, 0.3)
		}},
		{"all pressures far above the target: slower", practice, func(c *Car) {
			for i := range c.ColdPressure {
				c.ColdPressure[i] += 35
			}
		}, func(t *testing.T, o outcome) {
			require.Greater(t, o.time, base.time+0.2)
		}},
		{"more front wing: less understeer in fast corners, less top speed", handbook, func(c *Car) { c.Wing[0] += 4 }, func(t *testing.T, o outcome) {
			require.Less(t, o.fast, base.fast-1e-4)
			require.Less(t, base.slow-o.slow, (base.fast-o.fast)/2, "and much less so in slow ones")
			require.Less(t, o.top, base.top-0.1)
		}},
		{"more rear wing: the rear holds in fast corners, less top speed", handbook, func(c *Car) { c.Wing[1] += 4 }, func(t *testing.T, o outcome) {
			require.Greater(t, o.fast, base.fast+1e-4)
			require.Less(t, o.top, base.top-0.1)
		}},
		{"bias rearward: rear discs hotter, front cooler, the rear slips more", brakes, func(c *Car) { c.BrakeBias -= 0.04 }, func(t *testing.T, o outcome) {
			require.Less(t, o.disc[channel.FL], base.disc[channel.FL]-5)
			require.Greater(t, o.disc[channel.RL], base.disc[channel.RL]+5)
			require.Less(t, o.brakeSlip[1], base.brakeSlip[1]-0.002)
		}},
		{"bias forward: the rear slips less, the front discs take more", brakes, func(c *Car) { c.BrakeBias += 0.05 }, func(t *testing.T, o outcome) {
			require.Greater(t, o.brakeSlip[1], base.brakeSlip[1]+0.002)
			require.Greater(t, o.disc[channel.FL]-o.disc[channel.RL], base.disc[channel.FL]-base.disc[channel.RL]+5)
		}},
		{"rear ducts closed: rear discs hotter", brakes, func(c *Car) { c.Ducts[channel.RL], c.Ducts[channel.RR] = 0.6, 0.6 }, func(t *testing.T, o outcome) {
			require.Greater(t, o.disc[channel.RL], base.disc[channel.RL]+20)
			require.InDelta(t, base.disc[channel.FL], o.disc[channel.FL], 15)
		}},
		{"one front duct open: that disc cooler, that tyre cooler, that pressure lower", practice, func(c *Car) { c.Ducts[channel.FR] = 1.4 }, func(t *testing.T, o outcome) {
			require.Less(t, o.disc[channel.FR], base.disc[channel.FR]-20)
			require.Less(t, o.tyre[channel.FR], base.tyre[channel.FR]-0.5)
			require.Less(t, o.pressure[channel.FR], base.pressure[channel.FR]-0.3)
			require.InDelta(t, base.disc[channel.FL], o.disc[channel.FL], 8)
		}},
		{"one cold pressure lower: that hot pressure lower, by the gas law", gasLaw, func(c *Car) { c.ColdPressure[channel.FR] -= 8 }, func(t *testing.T, o outcome) {
			growth := (base.tyre[channel.FR] + 273.15) / (airTemperature + 273.15)
			require.InDelta(t, base.pressure[channel.FR]-8*growth, o.pressure[channel.FR], 1.0)
			require.InDelta(t, base.pressure[channel.FL], o.pressure[channel.FL], 1.0)
		}},
		{"shorter final drive: at the limiter before braking", practice, func(c *Car) { c.FinalDrive *= 1.15 }, func(t *testing.T, o outcome) {
			require.Greater(t, o.limiter, base.limiter+1)
			require.Less(t, o.top, base.top)
		}},
		{"longer final drive: never at the limit in top", practice, func(c *Car) { c.FinalDrive *= 0.85 }, func(t *testing.T, o outcome) {
			require.Zero(t, o.limiter)
		}},
		{"softer compound: quicker at first", practice, func(c *Car) { c.Compound = 1 }, func(t *testing.T, o outcome) {
			require.Less(t, o.first, base.first-0.2)
			require.Greater(t, o.tyre[channel.RR], base.tyre[channel.RR]+5)
		}},
	}
	for _, tt := range tests {
		require.NotEmpty(t, tt.source)
		t.Run(tt.name, func(t *testing.T) { tt.check(t, drive(t, tt.change, fuel)) })
	}
	t.Run("more fuel: slower", func(t *testing.T) {
		require.Greater(t, drive(t, func(*Car) {}, fuel+60).time, base.time+0.2)
	})
}
