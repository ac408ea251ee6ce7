package demo

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// The story of the demo, found again in its readings and not in its faults.
func TestStory(t *testing.T) {
	t.Parallel()
	for _, seed := range []uint64{1, 2} {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			set := channel.NewSet()
			s, err := New(set, Options{Seed: seed, Story: true, Rate: 60})
			require.NoError(t, err)
			washed, _, setting := storyCorners(s.course)
			const psi = 6.894757293168361
			var presses []Press
			var events []float64 // peaks of the mean rear disc temperature, one for each braking event
			var braking bool
			excess, count := map[int]float64{}, map[int]float64{} // hand wheel in the washed corner by lap
			var abs []float64
			ready := math.NaN()
			var last channel.Row
			for {
				x, ok := s.Next()
				if !ok {
					break
				}
				for _, p := range s.Presses() {
					require.InDelta(t, x.At, p.At, 1.0/60+1e-9)
					presses = append(presses, p)
					if p.Command == "mark" {
						require.InDelta(t, washed.Exit, x.Row[channel.LapDistance], 25, "marked at the exit")
					}
				}
				r := x.Row
				lap := int(r[channel.LapNumber])
				rear := (r[channel.BrakeTemperature+2] + r[channel.BrakeTemperature+3]) / 2
				switch {
				case r[channel.Brake] > 0.2 && !braking:
					braking = true
					events = append(events, rear)
				case r[channel.Brake] > 0.2:
					events[len(events)-1] = max(events[len(events)-1], rear)
				case r[channel.Brake] == 0:
					braking = false
				}
				if d := r[channel.LapDistance]; d > washed.BeginArc+20 && d < washed.EndArc && r[channel.InPitLane] == 0 {
					excess[lap] += r[channel.SteeringWheelAngle]
					count[lap]++
				}
				if len(abs) == 0 || abs[len(abs)-1] != r[channel.ABSLevel] {
					abs = append(abs, r[channel.ABSLevel])
					if len(abs) > 1 {
						require.InDelta(t, setting.Exit, r[channel.LapDistance], 10)
					}
				}
				cold := math.Inf(1)
				for w := range channel.ID(4) {
					cold = min(cold, r[channel.TyreCarcass+w])
				}
				if cold >= 75 && math.IsNaN(ready) {
					ready = float64(lap) + r[channel.LapDistance]/s.course.Length
				}
				last = append(last[:0], r...)
			}
			truth := s.Truth()
			require.Len(t, truth.Done, 13, "out-lap, eleven flying laps, in-lap")
			require.Equal(t, StoryLaps, truth.Finished)
			require.Equal(t, truth.Presses, presses)
			require.Len(t, presses, 4)
			require.Contains(t, presses[1].Memo, "washes out", "the mark carries the driver's words")
			for i, scene := range Scenes(s.course) {
				require.True(t, scene.Lap <= StoryLaps && (i == 0 || scene.Lap > Scenes(s.course)[i-1].Lap), "each in a lap of its own")
			}

			require.Less(t, events[0], 250.0, "rear brakes are cold at first")
			require.Less(t, events[1], 250.0)
			require.Greater(t, slices.Max(events), 300.0, "and then are not")

			t.Logf("tyres ready %.2f laps after the out-lap began", ready)
			require.Greater(t, ready, 2.0, "the tyres take about three laps")
			require.Less(t, ready, 4.5)

			usual := excess[2] / count[2]
			for lap := washFrom; lap <= washTo; lap++ {
				require.Greater(t, excess[lap]/count[lap], 1.3*usual, "washes out in lap %d", lap)
			}
			require.InEpsilon(t, usual, excess[washTo+1]/count[washTo+1], 0.1, "and no longer")
			require.Less(t, ready, float64(washFrom), "what is marked is no cold car's")

			five := truth.Done[5]
			require.Greater(t, five.CarcassMean[channel.FR], five.CarcassMean[channel.FL]+8)
			require.Greater(t, five.DiscPeak[channel.FR], five.DiscPeak[channel.FL]+60)
			require.Greater(t, five.PressureMean[channel.FR], 27*psi, "over the window")
			for _, w := range []channel.Wheel{channel.FL, channel.RL, channel.RR} {
				require.InDelta(t, 26, five.PressureMean[w]/psi, 1, "the others are near 26 psi")
			}
			require.Less(t, truth.Done[1].PressureMean[channel.FR], 25*psi, "it rises into it")

			require.Equal(t, []float64{4, 0, 4}, abs)
			var void []int
			for _, l := range truth.Done {
				if !l.Valid {
					void = append(void, l.Number)
				}
			}
			require.Equal(t, []int{voidLap}, void)

			// Short by the lap in reserve and a little more; the driver lifts, and it is there after all.
			burn := (truth.Done[2].FuelUsed + truth.Done[3].FuelUsed + truth.Done[5].FuelUsed) / 3
			short := float64(StoryLaps-5) + 1 - truth.Done[5].FuelLeft/burn
			t.Logf("%.2f L a lap, short by %.2f laps after lap 5", burn, short)
			require.Greater(t, short, 0.2)
			require.Less(t, short, 1.0)
			for lap := saveFrom; lap <= saveTo; lap++ {
				saved, lost := 1-truth.Done[lap].FuelUsed/burn, truth.Done[lap].Time-truth.Done[5].Time
				t.Logf("lap %d: %.1f %% less fuel, %.2f s slower", lap, 100*saved, lost)
				require.Greater(t, saved, 0.08)
				require.Less(t, lost, 2.0)
			}
			require.Greater(t, truth.Done[StoryLaps].FuelLeft, burn*0.95, "the lap in reserve is there")
			require.Equal(t, flagChequered, int(last[channel.Flag]))
			require.Zero(t, last[channel.SessionLapsLeft])
		})
	}
}

// The story exists on every course.
func TestStoryOnEveryCourse(t *testing.T) {
	t.Parallel()
	for _, name := range Courses()[1:] { // TestStory tells it on the first
		s, _ := run(t, Options{Seed: 1, Course: name, Story: true, Rate: 10})
		truth := s.Truth()
		require.Len(t, truth.Done, 13, name)
		require.Len(t, truth.Presses, 4, name)
		for _, l := range truth.Done {
			require.Equal(t, l.Number != voidLap, l.Valid, "%s lap %d: %s", name, l.Number, l.WhyInvalid)
		}
	}
}

// What each kind of fault does to the readings, in the corner and the laps where it is switched on and nowhere else.
func TestFaults(t *testing.T) {
	t.Parallel()
	const lap, corner = 2, 4 // the hairpin
	base := Options{Seed: 6, Laps: 3, Rate: 40}
	slip := func(r channel.Row, w channel.Wheel) float64 {
		return r[channel.WheelSpeed+channel.ID(w)]/r[channel.Speed] - 1
	}
	// extreme finds the largest value of f in that lap within the reach of a corner (0: in all others).
	extreme := func(s *Sim, all []channel.Sample, lap, corner int, f func(channel.Row) float64) float64 {
		worst := math.Inf(-1)
		for _, x := range all {
			r := x.Row
			if int(r[channel.LapNumber]) == lap && r[channel.Speed] > 10 && (s.course.part(r[channel.LapDistance]) == corner) {
				worst = max(worst, f(r))
			}
		}
		return worst
	}
	tests := []struct {
		name    string
		faults  []Fault
		f       func(channel.Row) float64
		with    float64 // at least this much where the fault is
		without float64 // at most this much in the lap before
	}{
		{"a wheel locks without ABS", []Fault{{Kind: SetABS, FromLap: 0, Corner: 1}, {Kind: Lock, FromLap: lap, Corner: corner, Wheel: channel.FL, Amount: 1.3}},
			func(r channel.Row) float64 { return -slip(r, channel.FL) }, 0.25, 0.15},
		{"ABS catches it", []Fault{{Kind: Lock, FromLap: lap, Corner: corner, Wheel: channel.FL, Amount: 1.2}},
			func(r channel.Row) float64 {
				if slip(r, channel.FL) < -0.2 {
					return -1
				}
				return 1
			}, 1, 1},
		{"a wheel spins without traction control", []Fault{{Kind: SetTC, FromLap: 0, Corner: 1}, {Kind: Spin, FromLap: lap, Corner: corner, Wheel: channel.RL, Amount: 1.3}},
			func(r channel.Row) float64 { return slip(r, channel.RL) }, 0.15, 0.13},
		{"off the course", []Fault{{Kind: RunWide, FromLap: lap, Corner: corner, Amount: 1.5}},
			func(r channel.Row) float64 { return 1 - r[channel.OnCourse] }, 1, 0},
		{"understeer", []Fault{{Kind: Understeer, FromLap: lap, Corner: corner, Amount: 0.4}},
			func(r channel.Row) float64 { return r[channel.SteeringWheelAngle] }, 2.0, 1.95},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			o := base
			o.Faults = tt.faults
			s, all := runTo(t, o, lap)
			require.GreaterOrEqual(t, extreme(s, all, lap, corner, tt.f), tt.with)
			require.LessOrEqual(t, extreme(s, all, lap-1, corner, tt.f), tt.without)
		})
	}

	t.Run("oversteer takes steering away", func(t *testing.T) {
		o := base
		o.Faults = []Fault{{Kind: Oversteer, FromLap: lap, Corner: corner, Amount: 0.4}}
		s, all := runTo(t, o, lap)
		steer := func(r channel.Row) float64 { return r[channel.SteeringWheelAngle] }
		require.Less(t, extreme(s, all, lap, corner, steer), extreme(s, all, lap-1, corner, steer)-0.2)
	})
	t.Run("silence", func(t *testing.T) {
		o := base
		o.Faults = []Fault{{Kind: Silence, FromLap: lap, Corner: corner, Amount: 3}}
		s, all := runTo(t, o, lap)
		gaps := 0
		for i := 1; i < len(all); i++ {
			if d := all[i].At - all[i-1].At; d > 0.03 {
				gaps++
				require.InDelta(t, 3, d, 0.05)
				require.Equal(t, corner, s.course.part(all[i-1].Row[channel.LapDistance]))
			}
		}
		require.Equal(t, 1, gaps)
	})
	t.Run("frozen", func(t *testing.T) {
		o := base
		o.Faults = []Fault{{Kind: Frozen, FromLap: lap, Corner: corner, Channel: "tyre_pressure_rl"}}
		s, all := runTo(t, o, lap)
		id := channel.TyrePressure + channel.ID(channel.RL)
		changed, frozen := 0, 0
		for i := 1; i < len(all); i++ {
			r := all[i].Row
			in := int(r[channel.LapNumber]) == lap && r[channel.LapDistance] > s.course.Corners[corner-1].Exit+5
			if in && r[id] == all[i-1].Row[id] {
				frozen++
			} else if in {
				changed++
			}
		}
		require.Greater(t, frozen, 100)
		require.Zero(t, changed)
	})
	t.Run("a blocked duct heats one disc", func(t *testing.T) {
		o := base
		before, _ := runTo(t, o, 3)
		o.Faults = []Fault{{Kind: BlockedDuct, FromLap: 0, ToLap: 9, Wheel: channel.FR, Amount: 0.4}}
		after, _ := runTo(t, o, 3)
		a, b := before.Truth().Done[3], after.Truth().Done[3]
		require.Greater(t, b.DiscPeak[channel.FR], a.DiscPeak[channel.FR]+50)
		require.InDelta(t, a.DiscPeak[channel.FL], b.DiscPeak[channel.FL], 10)
		require.Greater(t, b.CarcassMean[channel.FR], a.CarcassMean[channel.FR]+1, "and the tyre around it")
		require.Greater(t, b.PressureMean[channel.FR], a.PressureMean[channel.FR]+0.5)
	})
}
