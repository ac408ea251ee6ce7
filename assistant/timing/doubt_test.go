package timing

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// A session of two laps of 60 s at 50 m/s, 1000 m from the line, with what the feed makes of its readings.
func spoilt(t *testing.T, rate float64, spoil func(at, s float64, row map[channel.ID]float64)) *feed {
	f := newFeed(t, Config{})
	const v, length = 50.0, 3000.0
	for i := 0; ; i++ {
		at := float64(i) / rate
		s := v*at - 1000
		if s > 3*length+200 {
			return f
		}
		row := map[channel.ID]float64{
			channel.Speed: v, channel.LapNumber: math.Floor((s + length) / length), channel.LapDistance: math.Mod(s+length, length),
			channel.InPitLane: 0, channel.LapValid: 1, channel.OnCourse: 1, channel.Flag: 1,
		}
		spoil(at, s, row)
		var pairs []any
		for id, v := range row {
			pairs = append(pairs, id, v)
		}
		f.give(at, pairs...)
	}
}

// once changes one reading in the sample nearest to a place, and again every so often where flaps is set.
func once(place float64, id channel.ID, v float64, flaps bool) func(at, s float64, row map[channel.ID]float64) {
	done, n := false, 0
	return func(at, s float64, row map[channel.ID]float64) {
		if s < place {
			return
		}
		if n++; !done || flaps && n%2 == 1 && n < 40 {
			row[id], done = v, true
		}
	}
}

// One wrong sample, or one that comes and goes, makes no lap, no stint and no void lap: three laps of 60 s, all of them
// valid, and one word about it.
func TestAWrongSampleIsNotBelieved(t *testing.T) {
	tests := []struct {
		name string
		id   channel.ID
		v    float64
	}{
		{"in the pit lane", channel.InPitLane, 1},
		{"the next lap", channel.LapNumber, 2},
		{"some other lap", channel.LapNumber, 250},
		{"lap 0", channel.LapNumber, 0},
		{"at the line", channel.LapDistance, 0},
		{"elsewhere", channel.LapDistance, 2400},
		{"void", channel.LapValid, 0},
		{"off the course", channel.OnCourse, 0},
		{"full-course caution", channel.Flag, flagCaution},
	}
	for _, tt := range tests {
		for _, rate := range []float64{2, 10, 60} {
			for _, flaps := range []bool{false, true} {
				if flaps && rate == 2 {
					continue // it takes 20 s, and each value is held for half a second
				}
				for _, place := range []float64{1500, -500} {
					name := fmt.Sprintf("%s at %g Hz, %v, %g m", tt.name, rate, flaps, place)
					f := spoilt(t, rate, once(place, tt.id, tt.v, flaps))
					laps := f.of(LapDone)
					require.Len(t, laps, 3, name)
					for _, e := range laps {
						require.InDelta(t, 60, e.Lap.Time, 0.02, name)
						require.Equal(t, Flying, e.Lap.Class, name)
						require.True(t, e.Lap.Valid && e.Lap.Whole, "%s: %s", name, e.Lap.Void.Code)
						require.InDelta(t, 3000, e.Lap.Length, 30, name)
					}
					require.Len(t, f.of(StintStart), 1, name)
					require.Empty(t, f.of(StintEnd), name)
					if place < 0 && tt.v == 0 && (tt.id == channel.LapNumber) {
						continue // that is what it was
					}
					doubts := f.of(Doubted)
					require.Len(t, doubts, 1, name)
					require.Equal(t, tt.id, doubts[0].Doubt.Channel, name)
					require.NotEmpty(t, doubts[0].Doubt.Why)
				}
			}
		}
	}
}

// Where lap_distance begins again some samples before or after lap_number steps, or never, each lap takes its 60 s and
// the place counts from the line.
func TestDistanceAndNumberDisagreeAboutTheLine(t *testing.T) {
	for _, rate := range []float64{2, 10, 60} {
		for name, shift := range map[string]float64{"three samples later": 3, "three samples before": -3, "one later": 1, "one before": -1,
			"never": math.Inf(1)} {
			name = fmt.Sprintf("%s, %g Hz", name, rate)
			highest := 0.0
			var f *feed
			f = spoilt(t, rate, func(at, s float64, row map[channel.ID]float64) {
				if d := s + 3000; math.IsInf(shift, 1) {
					row[channel.LapDistance] = d
				} else {
					row[channel.LapDistance] = math.Mod(d-shift*50/rate, 3000)
				}
				if f != nil {
					highest = max(highest, f.get(channel.CoursePlace))
				}
			})
			laps := f.of(LapDone)
			require.Len(t, laps, 3, name)
			for _, e := range laps {
				require.InDelta(t, 60, e.Lap.Time, 1/rate, name)
				require.True(t, e.Lap.Whole && e.Lap.Valid && e.Lap.Class == Flying, name)
			}
			require.InDelta(t, 200, f.get(channel.CoursePlace), 5*50/rate, name)
			require.LessOrEqual(t, highest, 3000+50/rate, name)
			require.Len(t, f.of(Doubted), int(flag(math.IsInf(shift, 1))), name)
			require.False(t, math.IsNaN(f.get(channel.DeltaLast)), name)
		}
	}
}

// A lap with a hole is no best and is not compared, however short it seems.
func TestALapNotSeenWholeIsNotCompared(t *testing.T) {
	tests := []struct {
		name string
		cut  func(c *counter)
		own  bool // the feed tells the time of the lap
	}{
		{name: "20 s without samples, and the clock goes on", cut: func(c *counter) { c.at += 20; c.s += 1000 }},
		{name: "the same, and the feed tells its time", cut: func(c *counter) { c.at += 20; c.s += 1000 }, own: true},
		{name: "15 s cut out of the log with its clock", cut: func(c *counter) { c.s += 750 }},
		{name: "the same over the line", cut: func(c *counter) { c.run(1200, 50); c.s += 750 }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := newCounter(t, Config{})
			c.run(1000, 50)
			c.run(3000, 50)
			c.run(1500, 50)
			tt.cut(c)
			for n := len(c.laps()); len(c.laps()) == n; {
				if tt.own {
					c.run(10, 50, channel.LastLapTime, 45+0.1*math.Floor(c.s/3000))
				} else {
					c.run(10, 50)
				}
				require.Less(t, c.s, 9000.0)
			}
			laps := c.laps()
			lap := laps[len(laps)-1]
			require.False(t, lap.Whole)
			require.False(t, lap.Best)
			require.True(t, math.IsNaN(c.get(channel.LapDelta)), "%g", c.get(channel.LapDelta))
			require.InDelta(t, 60, c.get(channel.BestLap), 0.05)
			require.Len(t, c.of(Doubted), 0)
			c.run(3100, 50)
			c.run(3000, 50)
			require.InDelta(t, 0, c.get(channel.LapDelta), 0.05)
		})
	}
}

// Nor is what is wrong for a fifth of a second.
func TestAFifthOfASecondIsNotBelieved(t *testing.T) {
	for id, v := range map[channel.ID]float64{channel.InPitLane: 1, channel.LapNumber: 2, channel.LapValid: 0, channel.OnCourse: 0,
		channel.Flag: flagCaution} {
		f := spoilt(t, 60, func(_, s float64, row map[channel.ID]float64) {
			if s > 1500 && s < 1510 { // 50 m/s
				row[id] = v
			}
		})
		name := set.At(id).Name
		require.Len(t, f.of(LapDone), 3, name)
		require.Len(t, f.of(StintStart), 1, name)
		for _, e := range f.of(LapDone) {
			require.True(t, e.Lap.Valid && e.Lap.Class == Flying, name)
		}
		require.Len(t, f.of(Doubted), 1, name)
	}
}
