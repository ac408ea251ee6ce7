package condition

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
)

// Where the car file does not tell wheelbase or steering ratio, slow and quick bends do; where it tells neither, it is their product.
func TestSteeringIsMeasured(t *testing.T) {
	for _, course := range demo.Courses() {
		for text, want := range map[string][2]float64{
			"{wheelbase: 2.66 m}": {2.66, 13}, "{steering_ratio: 13}": {2.66, 13}, "{}": {usualBase, 2.66 * 13 / usualBase},
		} {
			set := channel.NewSet()
			sim, err := demo.New(set, demo.Options{Course: course, Seed: 5, Laps: 5, Rate: 20})
			require.NoError(t, err)
			k := New(newCar(t, text))
			for s, ok := sim.Next(); ok; s, ok = sim.Next() {
				k.Step(s.At, s.Row)
			}
			got := k.Steering()
			if course == "saucer" { // has no slow bend
				require.True(t, math.IsNaN(got.Wheelbase+got.Ratio))
				continue
			}
			require.InEpsilon(t, want[0], got.Wheelbase, 0.05, "%s %s", course, text)
			require.InEpsilon(t, want[1], got.Ratio, 0.05, "%s %s", course, text)
			require.InDelta(t, sim.Truth().Gradient, got.Gradient, 0.0006, "at 15 m/s² half a degree, half of what counts")
		}
	}
}

// A race is never driven gently. What the steering has to do is learned from steady cornering at any load all the same, within the first
// laps, and so is the rolling radius of both axles; the simulated car tells what both really are.
func TestLearnedAtRacingSpeed(t *testing.T) {
	for _, course := range demo.Courses() {
		set := channel.NewSet()
		sim, err := demo.New(set, demo.Options{Course: course, Seed: 3, Laps: 6, Rate: 30})
		require.NoError(t, err)
		truth := sim.Truth()
		k := New(newCar(t, "{wheelbase: 2.66 m, steering_ratio: 13, driven: rear, track_width: {front: 1.66 m, rear: 1.64 m}}"))
		var learned float64
		for s, ok := sim.Next(); ok; s, ok = sim.Next() {
			k.Step(s.At, s.Row)
			if got := k.Steering(); learned == 0 && got.Gradient == got.Gradient {
				learned = s.At
			}
		}
		got := k.Steering()
		front, rear := k.RollingRadius()
		t.Logf("%s: gradient %.6f against %.6f rad per m/s², offset %.5f rad, known after %.0f s; radius %.4f and %.4f of the feed's",
			course, got.Gradient, truth.Gradient, got.Offset, learned, front, rear)
		require.Less(t, learned, 200.0)
		require.InDelta(t, truth.Gradient, got.Gradient, 0.0003, "at 15 m/s² that is a quarter of a degree")
		require.InDelta(t, 0, got.Offset, 0.0015)
		require.InDelta(t, 1, front, 0.005)
		require.InDelta(t, 1, rear, 0.03)
	}
}
