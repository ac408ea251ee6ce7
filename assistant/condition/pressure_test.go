package condition

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const (
	psi = 6.894757293168361 // kPa, NIST SP 811 (2008) B.8
	bar = 100.0             // kPa
	atm = 101.325           // kPa
)

// OpenStax, College Physics, The Ideal Gas Law, example "Calculating Pressure Changes Due to Temperature Changes:
// Tire Pressure": 7.00e5 Pa at 18.0 °C, then 35.0 °C; the printed answer is 7.41e5 Pa.
func TestGaugeAtTextbook(t *testing.T) {
	vacuum := func(c float64) Air { return Air{0, c} } // absolute pressures: nothing outside
	require.InDelta(t, 740.9, GaugeAt(700, vacuum(18), vacuum(35)), 0.1)
	require.InDelta(t, 741, GaugeAt(700, vacuum(18), vacuum(35)), 0.5)

	// The first of them as a gauge shows it in one standard atmosphere: the text has "just under 90 psi".
	require.InDelta(t, 86.83, GaugeAt(700, vacuum(18), Air{atm, 18})/psi, 0.01)
}

func TestGaugeAtWorkedExamples(t *testing.T) {
	fahrenheit := func(f float64) float64 { return (f - 32) / 1.8 }
	tests := []struct {
		name            string
		p, pamb, t1, t2 float64
		want, tol       float64
	}{
		{"20 psi, 70 to 50 °F (public mailing list, 2002)", 20 * psi, 14.7 * psi, fahrenheit(70), fahrenheit(50), 18.7 * psi, 0.05 * psi},
		{"20 psi, 70 to 130 °F (same)", 20 * psi, 14.7 * psi, fahrenheit(70), fahrenheit(130), 23.9 * psi, 0.05 * psi},
		{"658 kPa, 20 to 60 °C (homework)", 658, 101.3, 20, 60, 761.61, 0.1},
		{"30 psi, 11 to 54 °C: scaling the gauge value would give 34.54", 30 * psi, 14.7 * psi, 11, 54, 36.76 * psi, 0.02 * psi},
		{"7.00e5 Pa gauge, 18 to 35 °C", 700, atm, 18, 35, 700*308.15/291.15 + atm*17/291.15, 1e-9},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			require.InDelta(t, tt.want, GaugeAt(tt.p, Air{tt.pamb, tt.t1}, Air{tt.pamb, tt.t2}), tt.tol)
		})
	}
}

// The rule of thumb "1 psi per 10 °F" is exact at 38.27 psi and 70 °F only (computed from the gas law).
func TestRuleOfThumbIsNoRule(t *testing.T) {
	f := func(f float64) float64 { return (f - 32) / 1.8 }
	for cold, rise := range map[float64]float64{20: 0.655, 25: 0.749, 28: 0.806, 32: 0.882, 40: 1.033, 38.27: 1} {
		air := func(c float64) Air { return Air{14.696 * psi, c} }
		require.InDelta(t, rise, GaugeAt(cold*psi, air(f(70)), air(f(80)))/psi-cold, 0.001)
	}
}

// What to set cold for 1.80 bar at 85 °C in the tyre (computed from the gas law, REFERENCES 1f to 1h).
func TestColdForHot(t *testing.T) {
	hot := Air{1.01325 * bar, 85}
	require.InDelta(t, 1.2894*bar, GaugeAt(1.80*bar, hot, Air{1.01325 * bar, 20}), 0.01)
	require.InDelta(t, 18.702*psi, GaugeAt(1.80*bar, hot, Air{1.01325 * bar, 20}), 0.01)
	require.InDelta(t, 1.2109*bar, GaugeAt(1.80*bar, hot, Air{1.01325 * bar, 10}), 0.01)
	require.InDelta(t, 1.3100*bar, GaugeAt(1.80*bar, Air{0.9 * bar, 85}, Air{0.9 * bar, 20}), 0.01)
}

// Set 1.35 bar at 18 °C, came in at 1.86; the target is 1.75 (computed from the gas law, REFERENCES 1i).
func TestColdPressureFromARun(t *testing.T) {
	run := Build{Cold: 1.35 * bar, Hot: 1.86 * bar, Set: Air{1.01325 * bar, 18}}
	require.InDelta(t, 80.83, run.HotTemperature(), 0.01)

	same, err := ColdPressure(1.75*bar, run, Air{nan, nan}, nan)
	require.NoError(t, err)
	require.InDelta(t, 1.2595*bar, same, 0.01)

	colder, err := ColdPressure(1.75*bar, run, Air{1.01325 * bar, 12}, nan)
	require.NoError(t, err)
	require.InDelta(t, 1.2127*bar, colder, 0.01)
}

func TestColdPressureKeepsTheMakersMinimum(t *testing.T) {
	run := Build{Cold: 1.35 * bar, Hot: 1.86 * bar, Set: Air{1.01325 * bar, 18}}
	p, err := ColdPressure(1.75*bar, run, Air{nan, nan}, 1.30*bar)
	require.Equal(t, 1.30*bar, p)
	var low *MinimumError
	require.ErrorAs(t, err, &low)
	require.InDelta(t, 125.95, low.Wanted, 0.01)
	require.ErrorContains(t, err, "minimum is 130.0 kPa")
}

func TestColdPressureRefusesWhatNoTyreHas(t *testing.T) {
	good := Build{Cold: 130, Hot: 180, Set: Air{101, 20}}
	for name, bad := range map[string]func(b *Build, now *Air, target *float64){
		"target":  func(_ *Build, _ *Air, x *float64) { *x = nan },
		"cold":    func(b *Build, _ *Air, _ *float64) { b.Cold = 0 },
		"hot":     func(b *Build, _ *Air, _ *float64) { b.Hot = math.Inf(1) },
		"ambient": func(b *Build, _ *Air, _ *float64) { b.Set.Pressure = nan },
		"now":     func(_ *Build, a *Air, _ *float64) { a.Pressure = -1 },
		"frozen":  func(_ *Build, a *Air, _ *float64) { a.Temperature = -300 },
		"then":    func(b *Build, _ *Air, _ *float64) { b.Set.Temperature = nan },
	} {
		t.Run(name, func(t *testing.T) {
			b, now, target := good, Air{101, 25}, 175.0
			bad(&b, &now, &target)
			p, err := ColdPressure(target, b, now, nan)
			require.Error(t, err)
			require.True(t, math.IsNaN(p))
		})
	}
}

func TestColdPressureIsTheInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		set := Air{draw("ambient", 80, 105), draw("cold temperature", -10, 45)}
		now := Air{draw("ambient now", 80, 105), draw("temperature now", -10, 45)}
		gas := draw("gas", 50, 130)
		cold, target := draw("cold", 80, 220), draw("target", 120, 300)
		run := Build{Cold: cold, Hot: GaugeAt(cold, set, Air{set.Pressure, gas}), Set: set}
		require.InDelta(t, gas, run.HotTemperature(), 1e-9)
		p, err := ColdPressure(target, run, now, nan)
		if err != nil {
			t.Fatal(err)
		}
		require.InDelta(t, target, GaugeAt(p, now, Air{now.Pressure, gas}), 1e-9)
		require.InDelta(t, p, GaugeAt(GaugeAt(p, now, set), set, now), 1e-9)
	})
}

// ICAO/US Standard Atmosphere 1976 by its formula, from memory: 89.87 kPa at 1000 m.
func TestStandardPressure(t *testing.T) {
	require.InDelta(t, 101.325, StandardPressure(0), 1e-9)
	require.InDelta(t, 89.87, StandardPressure(1000), 0.05)
}
