package condition

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/journal"
)

// corner drives through corner n with the given steering beyond what the bend needs in its middle and returns the pass.
func corner(r *rig, n int, middle, exit float64, lock, spin bool) passing {
	c := bicycle{mass: 1400, a: 1.25, b: 1.40, front: 90000, rear: 95000}
	drive := func(seconds float64, here int, ay func(t float64) float64, more, slow float64, frontLeft, rear float64) (passing, bool) {
		var pass passing
		var ok bool
		r.run(seconds, func(t float64) {
			v := r.row[channel.Speed] + slow/r.hz
			put(r.row, v, ay(t)/v)
			r.row[channel.SteeringWheelAngle] = 12 * (c.steady(v, ay(t)/v) + more)
			r.row[channel.CornerHere] = float64(here)
			r.wheels(channel.WheelSpeed, v*(1+frontLeft), v, v*(1+rear), v*(1+rear))
			if r.k.corners.fresh {
				pass, ok = r.k.corners.done, true
			}
		})
		return pass, ok
	}
	flat := func(x float64) func(float64) float64 { return func(float64) float64 { return x } }
	frontLeft, rear := 0.0, 0.0
	if lock {
		frontLeft = -0.4
	}
	if spin {
		rear = 0.3
	}
	r.row[channel.Speed] = 50
	drive(2, 0, flat(0), 0, 0, 0, 0)
	r.row[channel.Brake], r.row[channel.Gear] = 0.9, 4
	drive(2, 0, flat(0), 0, -10, frontLeft, 0)
	r.row[channel.Brake], r.row[channel.Gear] = 0, 2
	drive(1, n, func(t float64) float64 { return 10 * t }, 0, 0, 0, 0)
	drive(1.5, n, flat(10), middle, 0, 0, 0)
	r.row[channel.Gear] = 3
	drive(1.5, n, func(t float64) float64 { return 10 - 6*t }, exit, 5, 0, rear)
	pass, ok := drive(1, 0, flat(0), 0, 5, 0, 0)
	if !ok {
		panic("the corner was never left")
	}
	return pass
}

func cornerRig(t *testing.T) *rig {
	r := newRig(t, gt)
	r.hz = 60
	c := bicycle{mass: 1400, a: 1.25, b: 1.40, front: 90000, rear: 95000}
	drive(r.k, r.row, c, 0, 60, 40, 0)
	r.at = r.k.at
	learnRadius(r, 1)
	return r
}

func codes(list []journal.Finding) (codes []string) {
	for _, f := range list {
		codes = append(codes, f.String())
	}
	return codes
}

func TestCornerIsCalledOnRepetitionOnly(t *testing.T) {
	r := cornerRig(t)
	p := corner(r, 3, 2*deg, 0, false, false)
	require.Equal(t, []string{"understeer_mid_corner"}, codes(p.found.list()))
	require.Equal(t, 3, p.corner)
	require.InDelta(t, 4, p.end-p.begin, 0.1)
	require.InDelta(t, 2*1.3/1.9, p.balance[course.MidCorner]/deg, 0.3, "2° in 1.3 s of the 1.9 s with 85 percent of the load, and in doubt while the wheel turns quickly")
	require.InDelta(t, 0, p.balance[course.TurnIn]/deg, 0.5)

	require.Empty(t, r.k.Repeated(3))
	require.Equal(t, []string{"understeer_mid_corner"}, codes(r.k.Shown(3, p.begin)), "what this pass showed")
	corner(r, 3, 0, 0, false, false)
	require.Empty(t, r.k.Shown(3, 0), "the latest pass showed nothing")
	corner(r, 3, 2*deg, 0, false, false)
	require.Empty(t, r.k.Repeated(3))
	corner(r, 5, 2*deg, 0, false, false)
	corner(r, 3, 2*deg, 0, false, false)
	require.Equal(t, []string{"understeer_mid_corner"}, codes(r.k.Repeated(3)), "three of four passes")
	require.Empty(t, r.k.Repeated(5))
	for range 3 {
		corner(r, 3, 0, 0, false, false)
	}
	require.Empty(t, r.k.Repeated(3), "mended")
	corner(r, 3, 2*deg, 0, false, false)
	require.NotEmpty(t, r.k.Shown(3, 0))
	require.Empty(t, r.k.Shown(3, r.at+1), "the pass that is meant was not seen")
	require.Nil(t, r.k.Shown(1000, 0))
	require.Nil(t, r.k.Repeated(0))
	require.Nil(t, r.k.Repeated(1000))
}

func TestWhatACornerShows(t *testing.T) {
	tests := []struct {
		name         string
		middle, exit float64
		lock, spin   bool
		want         []string
	}{
		{"nothing", 0, 0, false, false, nil},
		{"exit oversteer", 0, -3 * deg, false, false, []string{"oversteer_exit"}},
		{"locking on the way in", 0, 0, true, false, []string{"locking_fl"}},
		{"spinning on the way out", 0, 0, false, true, []string{"wheelspin_rear"}},
		{"much", 2 * deg, -3 * deg, true, true, []string{"understeer_mid_corner", "oversteer_exit", "locking_fl", "wheelspin_rear"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := cornerRig(t)
			var p passing
			for range Repeats {
				p = corner(r, 1, tt.middle, tt.exit, tt.lock, tt.spin)
			}
			require.Equal(t, tt.want, codes(p.found.list()))
			require.Equal(t, tt.want, codes(r.k.Repeated(1)))
		})
	}
}

func TestBitsAreThoseOfTheJournal(t *testing.T) {
	require.Len(t, journal.AllFindings, findingBits)
	for p := course.Braking; p <= course.Exit; p++ {
		phase := journal.Phase(strings.ReplaceAll(p.String(), "-", "_"))
		require.Equal(t, journal.Finding{Kind: journal.Understeer, Phase: phase}, journal.AllFindings[understeerBit+int(p)])
		require.Equal(t, journal.Finding{Kind: journal.Oversteer, Phase: phase}, journal.AllFindings[oversteerBit+int(p)])
	}
	require.Equal(t, "locking_fl", journal.AllFindings[lockBit].String())
	require.Equal(t, "wheelspin_front", journal.AllFindings[spinBit].String())
}

// The same driving at another rate gives the same findings and nearly the same numbers.
func TestRateDoesNotMatter(t *testing.T) {
	passes := map[float64]passing{}
	for _, hz := range []float64{60, 360} {
		r := cornerRig(t)
		r.hz = hz
		passes[hz] = corner(r, 2, 2*deg, -3*deg, true, true)
	}
	a, b := passes[60], passes[360]
	require.Equal(t, a.found, b.found)
	for p := range phases {
		if !math.IsNaN(a.balance[p]) {
			require.InDelta(t, a.balance[p], b.balance[p], 0.1*deg, course.Phase(p))
		}
	}
}

// Whatever the feed says, nothing panics and nothing becomes infinite.
func TestAnyInputIsSurvived(t *testing.T) {
	set := channel.NewSet()
	rapid.Check(t, func(rt *rapid.T) {
		k := New(newCar(t, gt))
		row := set.NewRow()
		at := 0.0
		for range rapid.IntRange(1, 60).Draw(rt, "samples") {
			at += rapid.SampledFrom([]float64{0.01, 0, -1, 3, 0.04, 100}).Draw(rt, "dt")
			for range rapid.IntRange(0, 12).Draw(rt, "readings") {
				id := channel.ID(rapid.IntRange(0, int(channel.FeedSilence)-1).Draw(rt, "channel"))
				c := set.At(id)
				row[id] = rapid.SampledFrom([]float64{math.NaN(), 0, c.Min, c.Max, (c.Min + c.Max) / 2}).Draw(rt, "value")
			}
			row[channel.CornerHere] = float64(rapid.IntRange(0, 70).Draw(rt, "corner"))
			k.Step(at, row)
			switch rapid.IntRange(0, 8).Draw(rt, "event") {
			case 0:
				k.LapDone(1, "flying", true, row)
			case 1:
				k.StintStart(at, row)
			}
			for _, id := range computed() {
				if math.IsInf(row[id], 0) {
					rt.Fatalf("%s is infinite", set.At(id).Name)
				}
			}
		}
	})
}

func TestStepDoesNotAllocate(t *testing.T) {
	r := newRig(t, gt)
	r.hz = 360
	require.Zero(t, testing.AllocsPerRun(20000, func() { busy(r) }))
	require.False(t, math.IsNaN(r.row[channel.Balance]))
	require.False(t, math.IsNaN(r.row[channel.WheelSlip]))
	require.Positive(t, r.row[channel.BrakeEvents])
}

// busy is a sample with everything that a rich feed has.
func busy(r *rig) {
	r.at += 1 / r.hz
	t := r.at
	v := 40 + 15*math.Sin(t/5)
	put(r.row, v, 3*math.Sin(t/3)/v)
	r.row[channel.SteeringWheelAngle] = 12 * (2.65*r.row[channel.YawRate]/v + 1e-3*math.Sin(t/3))
	r.row[channel.Brake] = 0
	if math.Cos(t/5) < -0.5 {
		r.row[channel.Brake] = 0.7
	}
	r.row[channel.Throttle] = 0.3
	r.row[channel.CornerHere] = float64(int(t/4) % 2)
	for w := range channel.ID(4) {
		r.row[channel.WheelSpeed+w] = v
		r.row[channel.TyreCarcass+w] = 85
		r.row[channel.TyrePressure+w] = 180
		r.row[channel.BrakeTemperature+w] = 400
	}
	r.k.Step(r.at, r.row)
}

func BenchmarkStep(b *testing.B) {
	r := newRig(b, gt)
	r.hz = 360
	b.ReportAllocs()
	for b.Loop() {
		busy(r)
	}
}

// A second and a half of oversteer in six seconds of mid-corner, as where two bends are one corner, is no quarter of its angle.
func TestLongPhaseIsJudgedByItsWorstPart(t *testing.T) {
	slide := func(seconds float64) float64 {
		var c corners
		for i := range int(seconds * 20) {
			m := moment{index: 0.1 * deg, load: 10, dt: 0.05}
			if i >= 20 && i < 50 {
				m.index = -2 * deg
			}
			c.moments[c.n] = m
			c.n++
		}
		return c.byPhase()[course.MidCorner] / deg
	}
	require.InDelta(t, -2, slide(6), 0.15)
	require.InDelta(t, (-2*1.5+0.1*1)/2.5, slide(2.5), 1e-9, "short: the mean")
}
