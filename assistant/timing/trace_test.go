package timing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
)

// Two laps whose time at every place is known: the delta is their difference, wherever the samples fall. A lap that
// leaves the line at 45 m/s and is A m/s quicker halfway round passes d at a time found by integration; between samples
// and between stored times both are taken as straight, at the line and at the place, so each of the four may be off by
// a·T²/(8·v): T the interval, or the 5 m of the trace over v.
func TestDeltaIsTheDifferenceAtEqualDistance(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		rate := rapid.Float64Range(10, 120).Draw(r, "rate, Hz") // above, the 5 m of the trace decide
		quicker := []float64{rapid.Float64Range(-20, 20).Draw(r, "A1, m/s"), rapid.Float64Range(-20, 20).Draw(r, "A2, m/s")}
		const length, v0, w = 2000.0, 45.0, 2 * math.Pi / 2000 // m, m/s, 1/m
		speed := func(lap int, d float64) float64 { return v0 + quicker[lap]*(1-math.Cos(w*d))/2 }
		const fine = 8000
		table := make([][]float64, 2)
		for lap := range table {
			table[lap] = make([]float64, fine+1)
			for i := range fine {
				d := (float64(i) + 0.5) * length / fine
				table[lap][i+1] = table[lap][i] + length/fine/speed(lap, d)
			}
		}
		at := func(lap int, d float64) float64 {
			x := d / length * fine
			i := min(int(x), fine-1)
			return table[lap][i] + (table[lap][i+1]-table[lap][i])*(x-float64(i))
		}
		place := func(lap int, t float64) float64 {
			lo, hi := 0.0, length
			for range 45 {
				if mid := (lo + hi) / 2; at(lap, mid) < t {
					lo = mid
				} else {
					hi = mid
				}
			}
			return lo
		}
		f := newFeed(t, Config{})
		first, second := table[0][fine], table[1][fine]
		worst, compared := 0.0, 0
		slow := v0 + min(quicker[0], quicker[1], 0)
		accel := (v0 + max(quicker[0], quicker[1], 0)) * max(math.Abs(quicker[0]), math.Abs(quicker[1])) * w / 2
		interval := max(1/rate, traceStep/slow)
		bound := 4*accel*interval*interval/(8*slow) + 2e-4
		for i := 0; ; i++ {
			now := float64(i)/rate + 0.0031
			s, v := 0.0, 0.0
			switch {
			case now < 3: // the way to the line
				v = v0
				s = length - v*(3-now)
			case now < 3+first:
				s = place(0, now-3)
				v = speed(0, s)
			case now < 3+first+second-0.5:
				s = place(1, now-3-first)
				v = speed(1, s)
			default:
				if compared < int(rate*10) {
					r.Fatalf("only %d places were compared", compared)
				}
				if worst > bound {
					r.Fatalf("off by %g s, bound %g s", worst, bound)
				}
				return
			}
			f.give(now, channel.Speed, v, channel.LapDistance, s)
			if now > 3+first+1/rate {
				got := f.get(channel.DeltaLast)
				if math.IsNaN(got) {
					r.Fatalf("no delta at %g m", s)
				}
				compared++
				worst = max(worst, math.Abs(got-(now-3-first-at(0, s))))
			}
		}
	})
}

func TestDeltasAgainstBestLastAndSaved(t *testing.T) {
	saved := &Trace{Step: 5, Length: 3000, Time: 55}
	for d := 0.0; d <= 3000; d += 5 {
		saved.Times = append(saved.Times, d*55/3000)
	}
	c := newCounter(t, Config{Bests: &Bests{Course: "x", Car: "x", Reference: saved}})
	c.run(1000, 50)
	c.run(1500, 50)
	require.True(t, math.IsNaN(c.get(channel.DeltaBest)), "nothing to compare with in the first lap")
	require.True(t, math.IsNaN(c.get(channel.DeltaLast)))
	require.InDelta(t, 30-27.5, c.get(channel.DeltaReference), 0.02, "the saved lap is there from the first metre")
	c.run(1500, 50)
	c.run(3000, 40)
	c.run(1500, 45)
	require.InDelta(t, 1500./45-30, c.get(channel.DeltaBest), 0.05, "the best lap has 50 m/s")
	require.InDelta(t, 1500./45-37.5, c.get(channel.DeltaLast), 0.05, "the last one 40 m/s")
	c.run(1500, 45)
	c.run(1495, 60)
	require.InDelta(t, 1495./60-29.9, c.get(channel.DeltaBest), 0.05)
	c.run(1500, 60)
	c.run(30, 50)
	require.InDelta(t, 30./50-30./60, c.get(channel.DeltaBest), 0.05, "the lap just completed is the best one now")
}

// What breaks a trace leaves no delta rather than a wrong one.
func TestDeltaIsSilentWhereTheLapHasAHole(t *testing.T) {
	c := newCounter(t, Config{})
	c.run(1000, 50)
	c.run(3000, 50)
	c.run(1000, 50)
	require.False(t, math.IsNaN(c.get(channel.DeltaBest)))
	c.s += 400
	c.at += 8
	c.run(1000, 50)
	require.True(t, math.IsNaN(c.get(channel.DeltaBest)), "400 m were not seen")
	c.run(600, 50)
	c.run(1500, 50)
	require.False(t, math.IsNaN(c.get(channel.DeltaBest)), "the best lap is still the first")
	require.True(t, math.IsNaN(c.get(channel.DeltaLast)), "the last lap has the hole")
}

// A trace from a file is used only where it can be one.
func TestTracesThatCannotBe(t *testing.T) {
	good := Trace{Step: 5, Length: 11, Time: 3, Times: []float64{0, 1, 2}}
	require.True(t, good.ok())
	for name, spoil := range map[string]func(*Trace){
		"no step": func(x *Trace) { x.Step = 0 }, "one time": func(x *Trace) { x.Times = x.Times[:1] },
		"too short": func(x *Trace) { x.Length = 9 }, "too long": func(x *Trace) { x.Length = 21 },
		"no time": func(x *Trace) { x.Time = math.NaN() }, "ends before": func(x *Trace) { x.Time = 1.5 },
	} {
		bad := good
		spoil(&bad)
		require.False(t, bad.ok(), name)
	}
	require.Equal(t, 0.0, good.at(-3))
	require.InDelta(t, 1.5, good.at(7.5), 1e-12)
	require.InDelta(t, 2.5, good.at(10.5), 1e-12, "the rest of the last step is shorter")
	require.Equal(t, 3.0, good.at(99))
}

// A lap longer than a trace can hold has none, and costs no memory for it.
func TestEndlessLap(t *testing.T) {
	r := newTracer()
	r.begin()
	for d := 0.0; d < 60000; d += 3 {
		r.add(d, d/50)
	}
	require.False(t, r.whole)
	require.LessOrEqual(t, cap(r.now.Times), tracePoints+200)
}

// A feed whose lap counter comes in a slow kind of datagram, up to half a second behind its distance: laps are timed by
// the distance, a lap is known to be over when the distance says so, and no place is written down in the wrong lap.
func TestCounterBehindTheDistance(t *testing.T) {
	f := newFeed(t, Config{})
	for i := range 60 * 200 {
		at := float64(i) / 60
		s := 2900 + 50*at
		f.give(at, channel.Speed, 50, channel.LapDistance, math.Mod(s, 3000))
		if i%30 == 7 {
			f.give(at+0.001, channel.LapNumber, math.Floor(s/3000))
		}
		if f.get(channel.Lap) >= 2 && !math.IsNaN(f.get(channel.DeltaLast)) {
			require.InDelta(t, 0, f.get(channel.DeltaLast), 0.01)
		}
		if at > 70 && at < 120 {
			require.False(t, math.IsNaN(f.get(channel.DeltaBest)), "at %.2f s", at)
		}
		if at > 70 && f.get(channel.CoursePlace) < 40 {
			require.Less(t, f.get(channel.LapElapsed), 1.0, "at %.2f s", at)
		}
	}
	laps := f.of(LapDone)
	require.Len(t, laps, 3)
	for _, e := range laps {
		require.InDelta(t, 60, e.Lap.Time, 1e-3)
	}
}

// The first time that such a feed tells comes with its counter too, and it is the feed's that counts.
func TestFirstTimeOfTheFeedComesWithALateCounter(t *testing.T) {
	f := newFeed(t, Config{})
	for i := range 60 * 200 {
		at := float64(i) / 60
		s := 2900 + 50*at
		f.give(at, channel.Speed, 50, channel.LapDistance, math.Mod(s, 3000))
		if i%30 == 7 {
			f.give(at+0.001, channel.LapNumber, math.Floor(s/3000))
			if s > 6000 {
				f.give(at+0.002, channel.LastLapTime, 60.002+0.001*math.Floor(s/3000-2))
			}
		}
	}
	laps := f.of(LapDone)
	require.Len(t, laps, 3)
	for i, e := range laps {
		require.InDelta(t, 60.002+0.001*float64(i), e.Lap.Time, 1e-9, "lap %d", i+1)
	}
}

func TestDeltaEndsWhereTheCarIsMoved(t *testing.T) {
	c := newCounter(t, Config{})
	c.run(1000, 50)
	c.run(3000, 50)
	c.run(1000, 50)
	require.False(t, math.IsNaN(c.get(channel.DeltaBest)))
	c.s += 100 // in 0.05 s, by hand
	c.run(500, 50)
	require.Equal(t, 1.0, c.get(channel.LapVoid))
	require.True(t, math.IsNaN(c.get(channel.DeltaBest)), "the lap is no measure any more")
}
