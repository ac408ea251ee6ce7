package course_test

import (
	"math"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

// A lap is driven metre by metre, so that a test can say what happens where.
type plan struct {
	speed func(s float64) float64
	aside func(s float64) float64
	row   func(s float64, c *car) // sets channels beyond place and speed
	after func(s float64, c *car) // after the sample
}

func (c *car) drive(from, to float64, p plan) {
	for s := from; s < to; {
		v, aside := 40.0, 0.0
		if p.speed != nil {
			v = p.speed(s - from)
		}
		if p.aside != nil {
			aside = p.aside(s - from)
		}
		dt := 1 / v // a sample each metre, and
		if v > 20 {
			dt = 0.05
		}
		s += v * dt
		_, _, k := stadium(s)
		c.row[channel.PositionX], c.row[channel.PositionY] = besideStadium(s, aside)
		c.row[channel.Speed], c.row[channel.YawRate] = v, k*v
		if p.row != nil {
			p.row(s-from, c)
		}
		c.step(dt)
		if p.after != nil {
			p.after(s-from, c)
		}
	}
}

// What the first whole lap must be like to make the map, and what the lap after it does to that. A driver who has no
// map has no room to talk but on full throttle.
func TestFirstLap(t *testing.T) {
	at := func(s, where float64) bool { return s >= where && s < where+2.5 }
	stand := func(c *car, seconds float64) {
		c.row[channel.Speed], c.row[channel.YawRate] = 0, 0
		for range int(seconds / 0.05) {
			c.step(0.05)
		}
	}
	once := func(do func(c *car)) func(float64, *car) {
		done := false
		return func(s float64, c *car) {
			if !done && at(s, 450) {
				done = true
				do(c)
			}
		}
	}
	flag := func(id channel.ID, on, off float64) func(s float64, c *car) {
		return func(s float64, c *car) {
			c.row[id] = off
			if s > 450 && s < 470 {
				c.row[id] = on
			}
		}
	}
	far := func(s float64) float64 { // out into the meadow and back
		if s > 430 && s < 530 {
			return -15 * math.Sin((s-430)/100*math.Pi)
		}
		return 0
	}
	tests := []struct {
		name     string
		lap      plan
		has      bool // a map after it
		replaced bool // by the clean lap after it
	}{
		{"a clean lap", plan{}, true, false},
		{"a slow lap", plan{speed: func(float64) float64 { return 4 }}, true, false},
		{"the car crawls", plan{speed: func(float64) float64 { return 1.5 }}, true, false},
		{"off the course", plan{aside: far, row: flag(channel.OnCourse, 0, 1)}, true, true},
		{"the feed voids it", plan{row: flag(channel.LapValid, 0, 1)}, true, true},
		{"a stop", plan{after: once(func(c *car) { stand(c, 5) })}, true, true},
		{"a spin", plan{row: func(s float64, c *car) {
			if s > 450 && s < 480 {
				c.row[channel.YawRate] = 4
			}
		}}, true, true},
		{"a moment of standing is a glitch of the feed", plan{after: once(func(c *car) { stand(c, 0.1) })}, true, false},
		{"a long gap in time", plan{after: once(func(c *car) { c.at += 5 })}, false, false},
		{"a long gap in place", plan{row: func(s float64, c *car) {
			if s > 430 && s < 560 {
				c.row[channel.PositionX], c.row[channel.PositionY] = besideStadium(430, 0)
				c.row[channel.Speed] = math.NaN()
			}
		}}, false, false},
		{"carried back to the road", plan{after: once(func(c *car) {
			c.row[channel.PositionX] += 60
			for range 5 {
				c.row[channel.PositionX] += 0.5
				c.step(0.01)
			}
		})}, false, false},
		{"through the pit lane", plan{row: flag(channel.InPitLane, 1, 0)}, false, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := newCar(stadiumGate())
			c.drive(stadiumLength-40, stadiumLength+5, plan{speed: tt.lap.speed})
			require.Nil(t, c.learner.Map())
			c.drive(5, stadiumLength+5, tt.lap)
			m := c.learner.Map()
			require.Equal(t, tt.has, m != nil)
			if m != nil {
				// Room to talk by the map, at once: on the straight behind the line.
				require.Equal(t, 1, c.maps)
				require.InDelta(t, m.Room(c.row[channel.CoursePlace], c.row[channel.Speed], 1), c.row[channel.RoomToTalk], 1e-9)
				require.Greater(t, c.row[channel.RoomToTalk], 3.0)
				require.GreaterOrEqual(t, len(m.Corners), 2)
			}
			c.row[channel.OnCourse], c.row[channel.LapValid], c.row[channel.InPitLane] = math.NaN(), math.NaN(), math.NaN()
			c.drive(5, stadiumLength+5, plan{aside: func(s float64) float64 { return 1 }})
			next := c.learner.Map()
			require.NotNil(t, next, "the lap after it is clean")
			// A replaced map is the clean lap's alone, 1 m aside; one that is bettered is the mean.
			want := 0.5
			if tt.replaced || !tt.has {
				want = 1
			}
			for _, i := range []int{50, 60, 300, 310} {
				require.InDelta(t, want, offStadium(next.X[i], next.Y[i]), 0.1)
			}
			if m != nil {
				require.Same(t, m.First(), next.First(), "the same course for who saves it")
			}
			require.Len(t, next.Corners, 2)
			for i, corner := range next.Corners {
				require.InDelta(t, 49.5, corner.Radius, 2)
				require.Equal(t, i+1, corner.Number)
			}
			require.InEpsilon(t, stadiumLength, next.Length, 0.01, "what the poor lap was longer by is gone")
		})
	}
}

// A lap that does not end where it began is no lap: the feed's counter stepped elsewhere.
func TestLapThatDoesNotCloseMakesNoMap(t *testing.T) {
	c := newCar(nil)
	number := 1.0
	for s := 0.0; s < 4*stadiumLength; s += 2 {
		c.row[channel.PositionX], c.row[channel.PositionY], _ = stadium(s)
		c.row[channel.Speed] = 40
		if math.Mod(s, stadiumLength*0.75) < 2 {
			number++
		}
		c.row[channel.LapNumber] = number
		c.step(0.05)
	}
	require.Greater(t, len(c.laps), 2)
	require.Zero(t, c.maps)
}

// A spin that turned back and drove some metres twice makes the lap too long; the clean lap after it puts every
// distance right, although while it was driven course_distance still went by the poor map.
func TestDistancesOfAPoorMapDoNotComeBack(t *testing.T) {
	c := newCar(stadiumGate())
	c.drive(stadiumLength-40, stadiumLength+5, plan{})
	c.drive(5, 500, plan{})
	for s := 500.0; s > 460; s -= 0.5 { // spun, and slid back
		c.row[channel.PositionX], c.row[channel.PositionY], _ = stadium(s)
		c.row[channel.Speed], c.row[channel.YawRate] = 10, 4
		c.step(0.05)
	}
	c.drive(460, stadiumLength+5, plan{})
	poor := c.learner.Map()
	require.NotNil(t, poor)
	require.Greater(t, poor.Length, stadiumLength+30)
	c.drive(5, stadiumLength+5, plan{})
	m := c.learner.Map()
	require.InDelta(t, stadiumLength, m.Length, 4)
	for i := range m.X {
		x, y := besideStadium(float64(i)*m.Step, 0)
		require.Less(t, math.Hypot(m.X[i]-x, m.Y[i]-y), 4.0, "at %.0f m", float64(i)*m.Step)
	}
}

// A stint of 24 hours at 60 Hz is five million samples. A fifth of that in laps: what the Learner holds after the first
// laps is all that it ever holds, and a sample allocates nothing.
func TestMemoryIsBoundedOverALongStint(t *testing.T) {
	l := course.NewLearner(nil)
	row := set.NewRow()
	row[channel.Speed], row[channel.Brake] = 50, 0
	const perLap, samples = 1337, 1_000_000 // 22.3 s a lap
	n := 0
	drive := func(until int) {
		for ; n < until; n++ {
			d := float64(n%perLap) * stadiumLength / perLap
			x, y, k := stadium(d)
			row[channel.Lap], row[channel.CoursePlace] = float64(1+n/perLap), d
			row[channel.PositionX], row[channel.PositionY], row[channel.PositionZ] = x, y+math.Sin(float64(n)), 5
			row[channel.YawRate] = k * 50
			l.Step(float64(n)/60, row)
		}
	}
	heap := func() int64 {
		runtime.GC()
		var s runtime.MemStats
		runtime.ReadMemStats(&s)
		return int64(s.HeapAlloc)
	}
	drive(20 * perLap)
	before := heap()
	require.NotNil(t, l.Map())
	drive(samples)
	after := heap()
	t.Logf("%d kB after 20 laps, %d kB after %d laps", before/1024, after/1024, samples/perLap)
	require.Less(t, after-before, int64(64*1024))
	require.Equal(t, samples/perLap, l.Map().Laps)

	n -= n % perLap
	n += 2 * perLap // a jump ahead: the lap before is spoilt
	drive(n + 100)
	require.Zero(t, testing.AllocsPerRun(1000, func() { drive(n + 1) }))
}
