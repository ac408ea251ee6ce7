package demo

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// stopDisc brakes 1400 kg from 70 to 30 m/s at 10 m/s² with 65 % of the force on the front axle, shared by two discs.
func stopDisc(d *body, conductance, air float64) {
	const dt = 1 / stepRate
	v := 70.0
	for v > 30+1e-9 {
		mean := v - 10*dt/2
		discStep(d, 1400*10*mean*0.65/2, conductance, air, dt)
		v -= 10 * dt
	}
}

// REFERENCES.md 13a: 8 kg of iron (460 J/(kg K)) rise by 247.28 K in that stop (computed there from the energy).
func TestDiscHeating(t *testing.T) {
	d := body{25, 8 * 460}
	stopDisc(&d, 0, 25)
	require.InDelta(t, 247.28, d.T-25, 0.01)
}

// REFERENCES.md 13b: hA = 14.4 W/K, from 550 °C in air of 25 °C; 40 s later 473.93 °C.
func TestDiscCooling(t *testing.T) {
	d := body{550, 8 * 460}
	for range 40 * int(stepRate) {
		discStep(&d, 0, 14.4, 25, 1/stepRate)
	}
	require.InDelta(t, 473.93, d.T, 0.02)
}

// REFERENCES.md 13c: a stop every 60 s, taken as a jump there (Limpert, from memory): 247.28, 442.82, 816.38 K after 1, 2, 5 stops.
func TestRepeatedStops(t *testing.T) {
	d := body{25, 8 * 460}
	var got []float64
	for range 5 {
		stopDisc(&d, 0, 25)
		got = append(got, d.T-25)
		for range 60 * int(stepRate) {
			discStep(&d, 0, 14.4, 25, 1/stepRate)
		}
	}
	require.InDelta(t, 247.28, got[0], 0.05)
	require.InDelta(t, 442.82, got[1], 0.1)
	require.InDelta(t, 816.38, got[4], 0.3)
}

// REFERENCES.md 1f and 1h (OpenStax, College Physics, "The Ideal Gas Law"): set 1.2894 bar at 20 °C for 1.80 bar at 85 °C; 1.3100 at 0.900 bar ambient.
func TestGasLaw(t *testing.T) {
	for _, tt := range []struct{ cold, ambient float64 }{{128.94, 101.325}, {131.00, 90.0}} {
		w := newTyre(1, tt.cold, 20, tt.ambient)
		require.InDelta(t, tt.cold, w.pressure(tt.ambient), 1e-9)
		w.carcass.T = 85
		require.InDelta(t, 180.0, w.pressure(tt.ambient), 0.01)
	}
	// 1e: 30 psi gauge, 11 to 54 °C at 14.7 psi is 36.76, not the 34.54 of a program that scales gauge pressure.
	const psi = 6.894757293168361
	w := newTyre(1, 30*psi, 11, 14.7*psi)
	w.carcass.T = 54
	require.InDelta(t, 36.76, w.pressure(14.7*psi)/psi, 0.02)
}

// All readings of a session keep absolute pressure over absolute temperature, and a leak does not.
func TestPressureReadingsFollowTheGasLaw(t *testing.T) {
	s, err := New(channel.NewSet(), Options{Seed: 5, Laps: 2, Rate: 10, Faults: []Fault{{Kind: Leak, FromLap: 1, ToLap: 2, Wheel: channel.RL, Amount: 6}}})
	require.NoError(t, err)
	var first [4]float64
	ratio := [4]float64{}
	for {
		x, ok := s.Next()
		if !ok {
			break
		}
		for i := range channel.ID(4) {
			r := (x.Row[channel.TyrePressure+i] + x.Row[channel.AirPressure]) / (x.Row[channel.TyreCarcass+i] + 273.15)
			if first[i] == 0 {
				first[i] = r
			}
			ratio[i] = r / first[i]
			if channel.Wheel(i) != channel.RL {
				require.InDelta(t, 1, ratio[i], 1e-12)
			}
		}
	}
	require.Less(t, ratio[channel.RL], 0.95, "17 kPa leaked in two laps")
}

// Warming of a tyre without friction is the free exchange of a lumped body: it goes to between air and road, and never beyond.
func TestTyreCoolsToItsSurroundings(t *testing.T) {
	m := &compounds[3]
	w := newTyre(1, 130, 90, 101)
	for range 3600 * 36 {
		w.rollStep(m, 0, 0, 40, 24, 34, 24, 1, 0.01)
	}
	require.Greater(t, w.tread.T, 24.0)
	require.Less(t, w.tread.T, 34.0)
	require.Greater(t, w.tread.T, w.carcass.T)
}

// A harder compound takes longer to reach its window (handbook knowledge: about three laps for a hard one; common practice, no source).
func TestCompoundsWarmUp(t *testing.T) {
	t.Parallel()
	laps := func(compound int) int {
		car := Baseline()
		car.Compound = compound
		s, _ := runTo(t, Options{Seed: 1, Laps: 6, Rate: 10, Car: &car}, 4)
		for _, l := range s.Truth().Done {
			cold := math.Inf(1)
			for _, c := range l.Carcass {
				cold = min(cold, c)
			}
			if cold >= compounds[compound].best-13 {
				return l.Number
			}
		}
		return 99
	}
	soft, medium, hard := laps(1), laps(2), laps(3)
	require.LessOrEqual(t, soft, medium)
	require.LessOrEqual(t, medium, hard)
	require.Less(t, soft, hard)
	require.InDelta(t, 3, hard, 1)
}
