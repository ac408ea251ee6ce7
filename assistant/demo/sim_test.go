package demo

import (
	"math"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
)

// run drives a session to its end and keeps a copy of every sample.
func run(t testing.TB, o Options) (*Sim, []channel.Sample) { return runTo(t, o, math.MaxInt) }

// runTo does so until that lap has been driven: what comes after it takes time and is not asked for.
func runTo(t testing.TB, o Options, lap int) (*Sim, []channel.Sample) {
	t.Helper()
	s, err := New(channel.NewSet(), o)
	require.NoError(t, err)
	var all []channel.Sample
	for {
		x, ok := s.Next()
		if !ok || x.Row[channel.LapNumber] > float64(lap) {
			return s, all
		}
		x.Row = append(channel.Row(nil), x.Row...)
		all = append(all, x)
	}
}

func same(a, b channel.Row) bool {
	for i := range a {
		if math.Float64bits(a[i]) != math.Float64bits(b[i]) && !(math.IsNaN(a[i]) && math.IsNaN(b[i])) {
			return false
		}
	}
	return true
}

func TestSameSeedSameSamples(t *testing.T) {
	t.Parallel()
	o := Options{Seed: 7, Story: true, Laps: 4, Stint: 1, Rate: 20}
	_, a := run(t, o)
	_, b := run(t, o)
	require.Equal(t, len(a), len(b))
	for i := range a {
		require.True(t, same(a[i].Row, b[i].Row), "sample %d differs", i)
	}
	o.Seed = 8
	_, c := run(t, o)
	differ := 0
	for i := range min(len(a), len(c)) {
		if !same(a[i].Row, c[i].Row) {
			differ++
		}
	}
	require.Greater(t, differ, len(a)/2)
}

// The rate only chooses which moments are told: at moments that two rates share, the readings are the same bits.
func TestRatesAgree(t *testing.T) {
	t.Parallel()
	o := Options{Seed: 7, Laps: 1, Rate: 360, Course: "saucer"}
	at := func(rate float64) *Sim {
		o.Rate = rate
		s, err := New(channel.NewSet(), o)
		require.NoError(t, err)
		return s
	}
	a, rates := at(360), []float64{10, 60, 120}
	var coarse []*Sim
	for _, rate := range rates {
		coarse = append(coarse, at(rate))
	}
	n := 0
	for fine, ok := a.Next(); ok; fine, ok = a.Next() { // side by side, so that nothing need be kept
		for k, rate := range rates {
			if each := int(360 / rate); n%each == 0 {
				x, ok := coarse[k].Next()
				require.True(t, ok)
				require.InDelta(t, fine.At, x.At, 1e-9)
				if !same(x.Row, fine.Row) {
					t.Fatalf("%g Hz, sample %d differs", rate, n/each)
				}
			}
		}
		n++
	}
	require.Greater(t, n, 360*100)
	// Other rates step a little finer than 360 Hz; the lap is the same to a few milliseconds.
	b := at(100)
	for b.lap < 2 {
		b.Next()
	}
	require.InDelta(t, a.Truth().Done[1].Time, b.Truth().Done[1].Time, 0.02)
}

// ISO 8855: in a left-hand bend steering, yaw rate and lateral acceleration are positive, in a right-hand one negative.
func TestSignsOfISO8855(t *testing.T) {
	t.Parallel()
	for _, name := range Courses() {
		s, all := runTo(t, Options{Seed: 2, Course: name, Laps: 2, Rate: 20}, 1)
		seen := 0
		for _, x := range all {
			d := x.Row[channel.LapDistance]
			i := s.course.CornerAt(d)
			if i == 0 || x.Row[channel.InPitLane] == 1 {
				continue
			}
			if q := s.course.Corners[i-1]; d < q.BeginArc || d > q.EndArc {
				continue
			}
			seen++
			sign := math.Copysign(1, s.course.Corners[i-1].Turn)
			require.Positive(t, sign*x.Row[channel.SteeringWheelAngle])
			require.Positive(t, sign*x.Row[channel.YawRate])
			require.Positive(t, sign*x.Row[channel.AccelerationLat])
			inner, outer := channel.WheelSpeed+channel.ID(channel.FL), channel.WheelSpeed+channel.ID(channel.FR)
			if sign < 0 {
				inner, outer = outer, inner
			}
			require.Less(t, x.Row[inner], x.Row[outer], "the inner wheel has the shorter way")
		}
		require.Greater(t, seen, 100)
	}
}

// Position, heading, speed and yaw rate tell one story: positions move at the speed, along heading plus sideslip; the yaw rate integrates to the heading.
func TestMotionIsConsistent(t *testing.T) {
	t.Parallel()
	_, all := runTo(t, Options{Seed: 4, Laps: 1, Rate: 360, Story: true}, 1)
	turned := all[0].Row[channel.Heading]
	worst := 0.0
	way, path := 0.0, 0.0
	for i := 1; i < len(all); i++ {
		a, b := all[i-1].Row, all[i].Row
		dt := all[i].At - all[i-1].At
		turned += (a[channel.YawRate] + b[channel.YawRate]) / 2 * dt
		worst = max(worst, math.Abs(turned-b[channel.Heading]))
		way += math.Hypot(b[channel.PositionX]-a[channel.PositionX], b[channel.PositionY]-a[channel.PositionY])
		path += (a[channel.Speed] + b[channel.Speed]) / 2 * dt
		if a[channel.Speed] > 20 {
			dir := math.Atan2(b[channel.PositionY]-a[channel.PositionY], b[channel.PositionX]-a[channel.PositionX])
			slip := math.Remainder(dir-(a[channel.Heading]+b[channel.Heading])/2, 2*math.Pi)
			require.Less(t, math.Abs(slip), 0.13, "sideslip at %.2f s", all[i].At)
		}
	}
	require.InEpsilon(t, path, way, 1e-3)
	require.Less(t, worst, 0.02, "rad of drift between yaw rate and heading")
}

// The driver brakes and pushes as the accelerations say: what is read agrees with the change of speed.
func TestAccelerationIsTheChangeOfSpeed(t *testing.T) {
	t.Parallel()
	_, all := runTo(t, Options{Seed: 4, Laps: 1, Rate: 60}, 1)
	var sum, n float64
	for i := 2; i < len(all); i++ {
		if all[i].Row[channel.Speed] < 10 {
			continue
		}
		rate := (all[i].Row[channel.Speed] - all[i-2].Row[channel.Speed]) * 30
		d := all[i-1].Row[channel.AccelerationLong] - rate
		sum += d * d
		n++
	}
	require.Less(t, math.Sqrt(sum/n), 0.6, "sensor noise of 0.15 m/s² and the share of the lateral acceleration by sideslip")
}

// Crossings of the line, interpolated from the samples' lap distance as in REFERENCES.md 6.1, agree with the truth within its bound on the linear error, and the
// feed's own last lap time is the truth.
func TestLapTimes(t *testing.T) {
	s, all := run(t, Options{Seed: 9, Laps: 3, Rate: 60})
	truth := s.Truth()
	require.Len(t, truth.Done, 5, "out-lap, three flying laps, in-lap")
	var crossings []float64
	for i := 1; i < len(all); i++ {
		a, b := all[i-1], all[i]
		if b.Row[channel.LapNumber] == a.Row[channel.LapNumber]+1 {
			d1 := a.Row[channel.LapDistance] - s.course.Length
			d2 := b.Row[channel.LapDistance]
			crossings = append(crossings, a.At+(b.At-a.At)*d1/(d1-d2))
			if n := len(crossings); n > 1 {
				require.Equal(t, truth.Done[n-1].Time, b.Row[channel.LastLapTime])
			}
		}
	}
	require.Len(t, crossings, 5)
	for i, at := range crossings {
		require.InDelta(t, truth.Done[i].End, at, 1e-4)
	}
	for i, l := range truth.Done {
		require.Equal(t, i, l.Number)
		require.InDelta(t, l.End-l.Start, l.Time, 1e-12)
		if i > 0 {
			require.Equal(t, truth.Done[i-1].End, l.Start)
		}
		require.InDelta(t, truth.Fuel-l.FuelLeft, sumFuel(truth.Done[:i+1]), 0.02, "standing burns a little too")
	}
	require.Equal(t, []string{"out", "flying", "flying", "flying", "in"}, []string{truth.Done[0].Class, truth.Done[1].Class, truth.Done[2].Class, truth.Done[3].Class, truth.Done[4].Class})
	require.Greater(t, truth.Done[0].Time, truth.Done[3].Time, "the out-lap is slow")

	// Cold tyres: the laps come down to within a few per cent of the ideal lap.
	g := s.grip
	g.mu = [2]float64{s.car.Grip, s.car.Grip}
	ideal := s.limits.profile(&g).time
	require.Greater(t, truth.Done[3].Time, ideal)
	require.Less(t, truth.Done[3].Time, 1.05*ideal)
}

func sumFuel(laps []Lap) (l float64) {
	for _, x := range laps {
		l += x.FuelUsed
	}
	return l
}

// Work of the engine = kinetic energy + brakes + air + rolling + tyre friction, and the discs and the fuel have got their parts.
func TestEnergyBalance(t *testing.T) {
	for _, faults := range [][]Fault{nil, {{Kind: Lock, FromLap: 1, ToLap: 2, Wheel: channel.FL, Amount: 1.4}, {Kind: SetABS, FromLap: 0, Corner: 1}}} {
		s, err := New(channel.NewSet(), Options{Seed: 1, Laps: 2, Rate: 60, Faults: faults})
		require.NoError(t, err)
		for s.lap < 2 {
			_, ok := s.Next()
			require.True(t, ok)
		}
		e := s.energy
		kinetic := (s.car.Mass+s.fuel)*s.v*s.v/2 + e.left
		require.Greater(t, e.engine, 20e6, "two laps are tens of megajoules")
		require.InEpsilon(t, e.engine, kinetic+e.disc+e.air+e.roll+e.rub, 1e-4)
		require.InEpsilon(t, e.fuel*s.car.Efficiency, e.indicated, 1e-6)
		require.Greater(t, e.indicated, e.engine/s.car.Driveline)
		require.InEpsilon(t, s.Truth().Fuel-s.fuel/s.car.Density, e.fuel/heatFuel/s.car.Density, 1e-9)
	}
}

// Every reading lies in the plausible range of its channel, at all times, whatever goes wrong; and no mistake in the options panics.
func TestReadingsArePlausible(t *testing.T) {
	t.Parallel()
	set := channel.NewSet()
	rapid.Check(t, func(rt *rapid.T) {
		o := Options{
			Seed: rapid.Uint64().Draw(rt, "seed"), Course: rapid.SampledFrom(Courses()).Draw(rt, "course"),
			Laps: 1, Rate: 10, Story: rapid.Bool().Draw(rt, "story"),
		}
		for range rapid.IntRange(0, 3).Draw(rt, "faults") {
			k := rapid.SampledFrom(kinds).Draw(rt, "kind")
			lo, hi := max(k.low, -1), min(k.high, 600)
			o.Faults = append(o.Faults, Fault{Kind: k.Kind, Channel: "speed", FromLap: rapid.IntRange(-1, 2).Draw(rt, "lap"), Corner: rapid.IntRange(0, 5).Draw(rt, "corner"),
				Wheel: channel.Wheel(rapid.IntRange(0, 4).Draw(rt, "wheel")), Amount: rapid.Float64Range(lo, hi).Draw(rt, "amount")})
		}
		s, err := New(set, o)
		if err != nil {
			require.ErrorIs(rt, err, ErrOptions)
			return
		}
		for range 400 { // 40 s: several corners
			x, ok := s.Next()
			if !ok {
				break
			}
			for i, v := range x.Row {
				if c := set.At(channel.ID(i)); !math.IsNaN(v) && (v < c.Min || v > c.Max) {
					rt.Fatalf("%s is %g at %.2f s", c.Name, v, x.At)
				}
			}
		}
	})
}

// Without fuel the car rolls to a stand on the course, and the session ends all the same.
func TestOutOfFuel(t *testing.T) {
	s, all := run(t, Options{Seed: 1, Laps: 5, Rate: 10, Fuel: 2.5})
	last := all[len(all)-1].Row
	require.Zero(t, last[channel.FuelVolume])
	require.Zero(t, last[channel.Speed])
	require.Zero(t, last[channel.InPitLane])
	require.Less(t, len(s.Truth().Done), 4)
}

// A fault in every corner at once does not hold the car up for ever. (It did: lifting off the course brought it to a stand.)
func TestWideEverywhere(t *testing.T) {
	t.Parallel()
	for _, name := range Courses() {
		c, err := LoadCourse(name)
		require.NoError(t, err)
		o := Options{Seed: 1, Course: name, Laps: 1, Rate: 10}
		for i := range c.Corners {
			for range 2 {
				o.Faults = append(o.Faults, Fault{Kind: RunWide, FromLap: 0, ToLap: 1, Corner: i + 1, Amount: 4})
			}
		}
		s, _ := run(t, o)
		require.Len(t, s.Truth().Done, 3)
		require.False(t, s.Truth().Done[1].Valid)
	}
}

func TestPitLaneAndSession(t *testing.T) {
	s, all := run(t, Options{Seed: 3, Laps: 18, Stint: 2, Rate: 20})
	first, last := all[0].Row, all[len(all)-1].Row
	for _, r := range []channel.Row{first, last} {
		require.Zero(t, r[channel.Speed])
		require.Equal(t, 1.0, r[channel.InPitLane])
		require.Zero(t, r[channel.Gear])
		require.InDelta(t, s.course.box, r[channel.LapDistance], 1, "the car stands in its box")
	}
	require.Equal(t, 18.0, first[channel.SessionLapsLeft])
	require.Equal(t, 15.0, last[channel.SessionLapsLeft], "two flying laps and the in-lap are done")
	changes := 0
	for i, x := range all {
		r := x.Row
		if r[channel.InPitLane] == 1 {
			require.LessOrEqual(t, r[channel.Speed], 60/3.6+0.1+40*flag(r[channel.LapNumber] == 3 && r[channel.LapDistance] < s.course.pitIn+2), "the lane has a limit")
		}
		if i > 0 && r[channel.InPitLane] != all[i-1].Row[channel.InPitLane] {
			changes++
		}
		require.Equal(t, 1.0, r[channel.OnCourse])
	}
	require.Equal(t, 2, changes)
	require.Nil(t, s.Presses())
	_, ok := s.Next()
	require.False(t, ok, "it stays over")
}

func TestOptionsReportEveryMistake(t *testing.T) {
	car := Baseline()
	car.BrakeBias = 1.2
	_, err := New(channel.NewSet(), Options{Course: "nowhere", Rate: 400, Laps: -1, Stint: 4, Fuel: -3, Car: &car, Faults: []Fault{
		{Kind: "flood"}, {Kind: Understeer, Amount: 3}, {Kind: Spin, Wheel: channel.FL, Amount: 1.2}, {Kind: Frozen, Corner: 1, Channel: "mood"},
		{Kind: SetABS}, {Kind: Leak, FromLap: 4, ToLap: 2, Wheel: 9},
	}})
	require.ErrorIs(t, err, ErrOptions)
	for _, want := range []string{`"nowhere"`, "thimble", "400 samples", "race of -1", "Stint", "Fuel", "Car.BrakeBias", `"flood"`, "0 to 0.6", "not driven", `"mood"`, "Faults[4].Corner", "Faults[5].FromLap", "Faults[5].Wheel"} {
		require.ErrorContains(t, err, want)
	}
	_, err = New(channel.NewSet(), Options{Faults: []Fault{{Kind: Lock, Corner: 99, Amount: 1.2}}})
	require.ErrorContains(t, err, "use 1 to 10")
}

func TestNoAllocationPerSample(t *testing.T) {
	s, err := New(channel.NewSet(), Options{Seed: 1, Story: true, Rate: 360, Laps: 18})
	require.NoError(t, err)
	for range 360 * 60 {
		s.Next()
	}
	require.Zero(t, testing.AllocsPerRun(360*40, func() { // over plans, a line and presses
		_, ok := s.Next()
		s.Presses()
		if !ok {
			t.Fatal("over too early")
		}
	}))
}

func BenchmarkNext(b *testing.B) {
	for _, rate := range []float64{60, 360} {
		b.Run("rate="+map[float64]string{60: "60", 360: "360"}[rate], func(b *testing.B) {
			b.ReportAllocs()
			var s *Sim
			n := 0
			for b.Loop() {
				if s == nil {
					s, _ = New(channel.NewSet(), Options{Seed: 1, Story: true, Rate: rate})
				}
				if _, ok := s.Next(); !ok {
					s = nil
				}
				n++
			}
			b.ReportMetric(float64(n)/rate/b.Elapsed().Seconds(), "x_real_time")
		})
	}
}

// A thousand laps with stops and changing weather: how many times faster than real they are driven, and that the memory in use does
// not grow. Every twentieth lap has a stop.
func BenchmarkThousandLaps(b *testing.B) {
	const laps = 1000
	o := Options{Seed: 1, Laps: laps, Rate: 60, Fuel: 60, Weather: Weather{Cloud: 3}}
	for lap := 20; lap < laps; lap += 20 {
		o.Stops = append(o.Stops, Stop{Lap: lap, Fuel: 40, Tyres: true})
	}
	heap := func() float64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return float64(m.HeapAlloc) / (1 << 20)
	}
	total := 0.0
	for b.Loop() {
		s, err := New(channel.NewSet(), o)
		require.NoError(b, err)
		var early, at float64
		for {
			x, ok := s.Next()
			if !ok {
				break
			}
			at = x.At
			if early == 0 && s.lap == 50 {
				early = heap()
			}
		}
		grown := heap() - early
		if len(s.laps.done) < laps || grown > 0.5 {
			b.Fatalf("%d laps, the heap has grown by %.2f MB", len(s.laps.done), grown)
		}
		total += at
		b.ReportMetric(at/3600, "h_driven")
		b.ReportMetric(grown, "MB_grown")
		b.ReportMetric(float64(s.laps.done[len(s.laps.done)-1].Number), "laps")
		runtime.KeepAlive(s)
	}
	b.ReportMetric(total/b.Elapsed().Seconds(), "x_real_time")
}
