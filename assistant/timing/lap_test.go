package timing

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

// counter drives laps of a feed that counts laps and metres on a course of 3000 m: from lap_number 0, 1000 m before the
// line.
type counter struct {
	*feed
	at, s float64 // s, and m from the line; negative before it
}

func newCounter(t *testing.T, cfg Config) *counter {
	return &counter{feed: newFeed(t, cfg), s: -1000}
}

// go drives metres at speed, with samples at 20 Hz.
func (c *counter) run(metres, speed float64, pairs ...any) {
	c.t.Helper()
	for end := c.s + metres; c.s < end-1e-6; {
		c.at += 0.05
		c.s = min(c.s+speed*0.05, end)
		c.give(c.at, append(pairs, channel.Speed, speed, channel.LapNumber, math.Floor((c.s+3000)/3000), channel.LapDistance,
			math.Mod(c.s+3000, 3000))...)
	}
}

func (c *counter) wait(seconds float64, pairs ...any) {
	for range int(seconds * 20) {
		c.at += 0.05
		c.give(c.at, append(pairs, channel.Speed, 0)...)
	}
}

func (c *counter) laps() []Lap {
	var list []Lap
	for _, e := range c.of(LapDone) {
		list = append(list, e.Lap)
	}
	return list
}

func TestLapTimesFromCounterAndDistance(t *testing.T) {
	c := newCounter(t, Config{})
	c.run(1000, 50)
	c.run(3000, 50)
	c.run(3000, 40)
	c.run(3010, 60)
	laps := c.laps()
	require.Len(t, laps, 3)
	for i, want := range []float64{60, 75, 50} {
		require.InDelta(t, want, laps[i].Time, 0.04, "the speed changes at the line, within one sample")
		require.InDelta(t, 3000, laps[i].Length, 3)
		require.True(t, laps[i].Valid)
		require.True(t, laps[i].Exact)
	}
	require.Equal(t, []Class{Flying, Slow, Flying}, []Class{laps[0].Class, laps[1].Class, laps[2].Class})
	require.False(t, laps[0].Best, "the first lap beats nothing")
	require.True(t, laps[2].Best)
	require.InDelta(t, 50, c.get(channel.BestLap), 0.04)
	require.InDelta(t, -10, c.get(channel.LapDelta), 0.04, "against the best before it")
	require.Equal(t, 1.0, c.get(channel.LapFlying))
	require.Equal(t, 4.0, c.get(channel.Lap))
	require.Equal(t, 3.0, c.get(channel.StintLaps))
	require.InDelta(t, 10, c.get(channel.CoursePlace), 1e-9)
	require.InDelta(t, 10.0/60, c.get(channel.LapElapsed), 0.04)
}

func TestFlagsLastOneSample(t *testing.T) {
	c := newCounter(t, Config{})
	c.run(3990, 50)
	completed := 0
	for range 40 {
		c.run(2.5, 50)
		if c.get(channel.LapCompleted) == 1 {
			completed++
		}
	}
	require.Equal(t, 1, completed)
}

func TestFeedsOwnTimeWins(t *testing.T) {
	tests := []struct {
		name    string
		late    float64 // m driven after the line until the feed tells
		time    float64
		want    float64
		wantOwn float64
	}{
		{"at once", 0, 60.123, 60.123, 60.123},
		{"half a second later", 25, 60.123, 60.123, 60.123},
		{"too late", 90, 60.123, 60, math.NaN()},
		{"of some other lap", 5, 83.2, 60, 83.2},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := newCounter(t, Config{})
			c.run(1000, 50, channel.LastLapTime, 71.5)
			c.run(2999.9, 50, channel.LastLapTime, 71.5)
			if tt.late > 0 {
				c.run(tt.late, 50, channel.LastLapTime, 71.5)
			}
			c.run(120-tt.late, 50, channel.LastLapTime, tt.time)
			laps := c.laps()
			require.Len(t, laps, 1)
			require.InDelta(t, tt.want, laps[0].Time, 0.01)
			require.InDelta(t, 60, laps[0].Computed, 0.01)
			if math.IsNaN(tt.wantOwn) {
				require.True(t, math.IsNaN(laps[0].FeedTime))
			} else {
				require.Equal(t, tt.wantOwn, laps[0].FeedTime)
			}
		})
	}
}

func TestFeedRepeatsTheSameTime(t *testing.T) {
	c := newCounter(t, Config{})
	c.run(1000, 50, channel.LastLapTime, 60.001)
	c.run(3100, 50, channel.LastLapTime, 60.001)
	laps := c.laps()
	require.Len(t, laps, 1)
	require.Equal(t, 60.001, laps[0].Time)
}

func TestStints(t *testing.T) {
	c := newCounter(t, Config{})
	c.s = -200
	c.wait(10, channel.InPitLane, 1, channel.LapNumber, 0)
	require.Equal(t, 1.0, c.get(channel.InPits))
	c.run(100, 15, channel.InPitLane, 1)
	require.Empty(t, c.events)
	require.Equal(t, 0.0, c.get(channel.OnOutLap), "in the pits there is no lap")
	c.run(50, 40, channel.InPitLane, 0)
	require.Equal(t, 0.0, c.get(channel.InPits))
	require.Equal(t, 1.0, c.get(channel.OnOutLap))
	c.run(50, 40, channel.InPitLane, 0)
	c.run(3000, 50, channel.InPitLane, 0)
	require.Equal(t, 0.0, c.get(channel.OnOutLap), "the line is behind")
	c.run(1500, 50, channel.InPitLane, 0)
	c.run(1300, 50, channel.InPitLane, 0)
	c.run(150, 20, channel.InPitLane, 1) // box before the line
	c.wait(60, channel.InPitLane, 1)
	c.run(150, 20, channel.InPitLane, 1) // over the line in the pit lane
	c.run(2000, 50, channel.InPitLane, 0)
	require.Equal(t, 1.0, c.get(channel.OnOutLap), "this lap left the pits after the line")
	c.run(900, 50, channel.InPitLane, 0)
	c.run(3000, 50, channel.InPitLane, 0)
	require.Equal(t, 0.0, c.get(channel.OnOutLap))
	c.run(50, 50, channel.InPitLane, 0)
	var story []string
	for _, e := range c.events {
		s := fmt.Sprintf("%s %d", e.Kind, e.Number)
		if e.Kind == LapDone {
			s += fmt.Sprintf(" %s of stint %d", e.Lap.Class, e.Lap.Stint)
		}
		story = append(story, s)
	}
	require.Equal(t, []string{
		"stint start 1", "lap begun 1", "lap done 1 flying of stint 1", "lap begun 2", "stint end 1",
		"lap done 2 in of stint 1", "lap begun 3", "stint start 2", "lap done 3 out of stint 2", "lap begun 4",
		"lap done 4 flying of stint 2", "lap begun 5",
	}, story)
	require.Equal(t, 2.0, c.get(channel.StintLaps))
	require.InDelta(t, 60, c.get(channel.BestLap), 0.05)
}

func TestWithoutPitLaneTheFirstMovementBeginsTheStint(t *testing.T) {
	c := newCounter(t, Config{})
	c.wait(5, channel.LapNumber, 0)
	require.Empty(t, c.events)
	c.run(1000, 50)
	c.run(1500, 50)
	c.wait(130)
	c.run(1500, 50)
	c.run(10, 50)
	require.Len(t, c.of(StintStart), 1)
	require.Empty(t, c.of(StintEnd), "a stop on the course is no end")
	require.Equal(t, Slow, c.laps()[0].Class)
	c.events = c.timing.NewStint(c.at, c.hold.Row, c.events)
	require.Len(t, c.of(StintEnd), 1)
	require.Equal(t, 2, c.of(StintStart)[1].Number)
}

func TestPitGates(t *testing.T) {
	f := stadiumFile()
	gate := func(x float64) *course.Gate {
		return &course.Gate{A: course.Point{X: x, Y: -80}, B: course.Point{X: x, Y: -60}, Toward: course.Point{X: x + 5, Y: -70},
			Directed: true}
	}
	f.Pit = course.Pit{Entry: gate(-100), Exit: gate(100), Line: &course.Gate{A: course.Point{X: 0, Y: -80}, B: course.Point{X: 0, Y: -60},
		Toward: course.Point{X: 5, Y: -70}, Directed: true}}
	d := newFeed(t, Config{Course: f})
	at := 0.0
	lap := func(pit bool, from, to float64) {
		for s := from; s < to; s += 3 {
			x, y, _, _ := stadium(s)
			if pit && math.Abs(x) < 150 && y < 0 {
				y = -70
			}
			at += 0.1
			d.give(at, channel.PositionX, x, channel.PositionY, y)
		}
	}
	l := stadiumLength
	lap(false, l-150, l+l-150)
	lap(true, l-150, l+150)
	lap(false, 150, l)
	lap(false, 0, 20)
	var classes []Class
	for _, e := range d.of(LapDone) {
		classes = append(classes, e.Lap.Class)
	}
	require.Equal(t, []Class{In, Out}, classes)
	require.Len(t, d.of(StintStart), 2)
	require.Len(t, d.of(StintEnd), 1)
}

func TestWhatMakesALapVoid(t *testing.T) {
	tests := []struct {
		name  string
		pairs []any
		valid int // the feed's word until it speaks of the next lap
		why   string
	}{
		{"the feed's word", []any{channel.LapValid, 0}, 0, FeedSays},
		{"off course in a corner", []any{channel.OnCourse, 0, channel.LapValid, 1}, 1, OffCourse},
		{"nothing", []any{channel.LapValid, 1}, 1, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := newCounter(t, Config{})
			c.run(1000, 50, channel.LapValid, 1, channel.OnCourse, 1)
			c.run(1500, 50, channel.LapValid, 1, channel.OnCourse, 1)
			c.hold.Row[channel.CornerLast], c.hold.Row[channel.CornerHere] = 4, 4
			c.run(20, 50, tt.pairs...)
			require.Equal(t, flag(tt.why != ""), c.get(channel.LapVoid))
			c.run(1480, 50, channel.LapValid, tt.valid, channel.OnCourse, 1)
			// The feed tells of the next lap a few samples later: that must not void it.
			c.run(40, 50, channel.LapValid, tt.valid, channel.OnCourse, 1)
			c.run(2970, 50, channel.LapValid, 1, channel.OnCourse, 1)
			laps := c.laps()
			require.Len(t, laps, 2)
			require.Equal(t, tt.why, laps[0].Void.Code)
			require.Equal(t, tt.why == "", laps[0].Valid)
			if tt.why != "" {
				require.Equal(t, 4, laps[0].Void.Corner)
				require.InDelta(t, 1510, laps[0].Void.Distance, 10, "soon after 1500 m: it is believed once it is held")
			}
			require.True(t, laps[1].Valid, laps[1].Void.Code)
			require.Len(t, c.of(LapVoid), int(flag(tt.why != "")))
		})
	}
}

func TestVoidLapIsNoBest(t *testing.T) {
	c := newCounter(t, Config{})
	c.run(1000, 50)
	c.run(3000, 70, channel.LapValid, 0)
	require.True(t, math.IsNaN(c.get(channel.BestLap)))
	c.run(3010, 50, channel.LapValid, 1)
	require.InDelta(t, 60, c.get(channel.BestLap), 0.05)
	require.Equal(t, 0.0, c.get(channel.PersonalBest))
}

func TestGapsAreTold(t *testing.T) {
	c := newCounter(t, Config{})
	c.run(1000, 50)
	c.run(1000, 50)
	c.hold.Row[channel.FeedSilence] = 0
	for range 30 { // ticks do not fill a gap
		c.at += 0.1
		c.hold.Row[channel.FeedSilence] += 0.1
		c.events = c.timing.Step(c.at, c.hold.Row, c.events)
	}
	c.hold.Row[channel.FeedSilence] = 0
	c.at += 0.15
	c.s += 160
	c.run(1850, 50)
	laps := c.laps()
	require.Len(t, laps, 1)
	require.False(t, laps[0].Exact)
	require.Equal(t, "no samples for 3.2 s", laps[0].WhyInexact)
	require.True(t, math.IsNaN(c.get(channel.BestLap)))
}

func TestTicksChangeNothingButTheClock(t *testing.T) {
	a, b := newCounter(t, Config{}), newCounter(t, Config{})
	for range 400 {
		a.run(25, 50, channel.LastLapTime, 61+math.Floor(a.at/60))
		b.run(25, 50, channel.LastLapTime, 61+math.Floor(b.at/60))
		b.hold.Row[channel.FeedSilence] = 0.02
		b.events = b.timing.Step(b.at+0.02, b.hold.Row, b.events)
		b.hold.Row[channel.FeedSilence] = 0
	}
	require.Equal(t, len(a.events), len(b.events))
	for i := range a.events {
		require.Equal(t, a.events[i].Kind, b.events[i].Kind)
		require.Equal(t, a.events[i].At, b.events[i].At)
		require.Equal(t, a.events[i].Lap.Computed, b.events[i].Lap.Computed)
	}
}

// At any rate of samples the laps of a stadium are within the bound of the line of the true ones, and the sectors sum
// to the lap.
func TestResamplingKeepsLapsAndSectors(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		rate := rapid.Float64Range(10, 360).Draw(r, "rate, Hz")
		phase := rapid.Float64Range(0, 1).Draw(r, "phase")
		cuts := rapid.SliceOfNDistinct(rapid.Float64Range(50, stadiumLength-50), 0, 4, rapid.ID[float64]).Draw(r, "boundaries, m")
		slices.Sort(cuts)
		file := stadiumFile()
		for _, c := range cuts {
			file.Sectors = append(file.Sectors, course.Boundary{Distance: c})
		}
		// s = v·t + A·sin(w·t)/w: the speed swings by A around v.
		const v, A, w = 60.0, 15.0, 0.3
		way := func(t float64) float64 { return v*t + A*math.Sin(w*t)/w }
		passes := func(s float64) float64 {
			lo, hi := 0.0, 100.0
			for range 80 {
				if mid := (lo + hi) / 2; way(mid) < s {
					lo = mid
				} else {
					hi = mid
				}
			}
			return lo
		}
		f := newFeed(t, Config{Course: file})
		for i := 0; ; i++ {
			at := (float64(i) + phase) / rate
			s := way(at)
			if s > 1.6*stadiumLength {
				break
			}
			x, y, _, _ := stadium(s + stadiumLength/2)
			f.give(at, channel.PositionX, x, channel.PositionY, y, channel.Speed, v+A*math.Cos(w*at))
		}
		laps := f.of(LapDone)
		if len(laps) != 1 {
			r.Fatalf("%d laps", len(laps))
		}
		lap := laps[0].Lap
		bound := 2 * A * w / (8 * (v - A) * rate * rate) // at both ends
		if want := passes(1.5*stadiumLength) - passes(0.5*stadiumLength); math.Abs(lap.Time-want) > bound+1e-9 {
			r.Fatalf("lap %.6f s, want %.6f s within %.6f s", lap.Time, want, bound)
		}
		if math.Abs(lap.Length-stadiumLength) > 0.003*stadiumLength {
			r.Fatalf("%f m", lap.Length)
		}
		if len(cuts) == 0 {
			return
		}
		sum := 0.0
		for _, s := range lap.Sectors {
			if !(s >= 0) {
				r.Fatalf("sectors %v", lap.Sectors)
			}
			sum += s
		}
		if math.Abs(sum-lap.Computed) > 1e-9 {
			r.Fatalf("sectors %v sum to %f, lap %f", lap.Sectors, sum, lap.Computed)
		}
		// Chords are shorter than arcs by the share (v·dt)²/(24·R²), over the 314 m of bends of 50 m radius; a chord is
		// at most one sample and the firm metre long.
		chords := math.Pow((v+A)/rate+firmMetre, 2) / (24 * 50 * 50) * 100 * math.Pi / (v - A)
		from := passes(0.5 * stadiumLength)
		for i, c := range cuts {
			to := passes(0.5*stadiumLength + c)
			if err := math.Abs(lap.Sectors[i] - (to - from)); err > chords+3*bound+1e-6 {
				r.Fatalf("sector %d off by %f s", i+1, err)
			}
			from = to
		}
	})
}

func TestMissedBoundaryIsUnknown(t *testing.T) {
	file := &course.File{Sectors: []course.Boundary{{Distance: 1000}, {Distance: 2000}}}
	c := newCounter(t, Config{Course: file})
	c.run(1000, 50)
	c.run(900, 50)
	c.at += 20
	c.s += 1000
	c.run(1150, 50)
	s := c.laps()[0].Sectors
	require.True(t, math.IsNaN(s[0]) && math.IsNaN(s[1]), s)
}

func TestStepDoesNotAllocate(t *testing.T) {
	f, row := benchFeed()
	events := make([]Event, 0, 64)
	at, s := 0.0, stadiumLength-10
	for range 7000 { // into the second lap, with one to compare with
		at += 1. / 360
		s += 60. / 360
		fill(row, s)
		events = f.Step(at, row, events[:0])
	}
	require.False(t, math.IsNaN(row[channel.DeltaBest]))
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		at += 1. / 360
		s += 60. / 360
		fill(row, s)
		events = f.Step(at, row, events[:0])
	}))
}

func benchFeed() (*Timing, channel.Row) {
	row := set.NewRow()
	row[channel.Speed], row[channel.LapValid], row[channel.InPitLane], row[channel.OnCourse] = 60, 1, 0, 1
	file := stadiumFile()
	file.Sectors = []course.Boundary{{Distance: 300}, {Distance: 700}}
	return New(Config{Course: file}), row
}

func fill(row channel.Row, s float64) {
	row[channel.PositionX], row[channel.PositionY], _, _ = stadium(s)
}

func BenchmarkStep(b *testing.B) {
	f, row := benchFeed()
	events := make([]Event, 0, 64)
	at, s := 0.0, 0.0
	b.ReportAllocs()
	for b.Loop() {
		at += 1. / 360
		s += 60. / 360
		fill(row, s)
		events = f.Step(at, row, events[:0])
	}
}
