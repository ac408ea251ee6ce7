package fuel

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/opendata"
)

func newCar(t testing.TB, text string) *car.Car {
	t.Helper()
	c, err := car.Parse("test.yaml", []byte(text))
	require.NoError(t, err)
	return c
}

var computed = []channel.ID{
	channel.FuelLeft, channel.FuelPerLap, channel.FuelSpread, channel.FuelLapsLeft, channel.LapsToGo,
	channel.FuelMargin, channel.FuelDoubt, channel.FuelSave, channel.FuelToAdd,
}

// a rig drives laps with a tank in hand.
type rig struct {
	f    *Fuel
	row  channel.Row
	at   float64
	hz   float64
	tank float64 // L
	set  func()  // writes the tank into the row
}

func newRig(t testing.TB, text string) *rig {
	r := &rig{f: New(newCar(t, text)), row: channel.NewSet().NewRow(), hz: 10, tank: 60}
	r.set = func() { r.row[channel.FuelVolume] = r.tank }
	r.row[channel.Speed] = 50
	return r
}

// lap drives a lap that burns so many litres and crosses the line; it returns what the account says was burnt.
func (r *rig) lap(class string, seconds, litres float64) float64 {
	n := math.Round(seconds * r.hz)
	for range int(n) {
		r.at += seconds / n
		r.tank -= litres / n
		if left := r.row[channel.SessionTimeLeft]; !math.IsNaN(left) {
			r.row[channel.SessionTimeLeft] = left - seconds/n
		}
		r.row[channel.FuelFlow] = math.NaN()
		r.set()
		r.f.Step(r.at, r.row)
	}
	return r.f.LapDone(class, seconds, r.row)
}

func (r *rig) get(id channel.ID) float64 { return r.row[id] }

// What is burnt on the way to the line is no part of the first lap, and the first lap counts as soon as it is done.
func TestFirstLapBeginsAtTheLine(t *testing.T) {
	r := newRig(t, "name: x")
	for range 300 {
		r.at += 0.1
		r.tank -= 0.005
		r.set()
		r.f.Step(r.at, r.row)
	}
	r.f.FirstLap()
	require.InDelta(t, 3, r.lap(Flying, 90, 3), 0.05)
	require.InDelta(t, 3, r.get(channel.FuelPerLap), 0.05)
}

func TestNothingIsKnownOfNothing(t *testing.T) {
	f := New(newCar(t, "name: x"))
	row := channel.NewSet().NewRow()
	for i := range 100 {
		f.Step(float64(i), row)
	}
	require.True(t, math.IsNaN(f.LapDone(Flying, 90, row)))
	require.True(t, math.IsNaN(f.LapDone(Flying, 90, row)))
	for _, id := range computed {
		require.True(t, math.IsNaN(row[id]), channel.NewSet().At(id).Name)
	}
	require.True(t, f.Account().Margin.IsZero())
	require.True(t, math.IsNaN(row[channel.FuelBoxLaps]))
}

// REFERENCES 12b: 600 s left, laps of 95 s, 3.1 L a lap, 20 L aboard: 7 laps, 21.7 L, short by 1.7 L.
func TestShortByTheWorkedExample(t *testing.T) {
	r := newRig(t, "name: x")
	r.tank = 20 + 5*3.1
	r.row[channel.SessionTimeLeft] = 600 + 5*95
	for range 5 {
		r.lap(Flying, 95, 3.1)
	}
	require.InDelta(t, 600, r.get(channel.SessionTimeLeft), 1e-6)
	require.InDelta(t, 3.1, r.get(channel.FuelPerLap), 1e-3)
	require.InDelta(t, 0, r.get(channel.FuelSpread), 1e-3)
	require.Equal(t, 7.0, r.get(channel.LapsToGo))
	require.InDelta(t, 1.7, r.get(channel.FuelToAdd), 0.05)
	require.InDelta(t, -1.7/3.1, r.get(channel.FuelMargin), 0.02)
	require.InDelta(t, 1.7/7, r.get(channel.FuelSave), 0.01)
	require.InDelta(t, 20/3.1, r.get(channel.FuelLapsLeft), 0.02)
	require.Equal(t, 5.0, r.get(channel.FuelBoxLaps), "six laps are in the tank: this one and five more")
}

// REFERENCES 12c: 601, 600 and 599 s with laps of 100 s are 7, 7 (a crossing just at zero may or may not be the last) and 6.
func TestCrossings(t *testing.T) {
	tests := []struct{ left, since, pace, want float64 }{
		{601, 0, 100, 7}, {600, 0, 100, 7}, {599, 0, 100, 6},
		{45 * 60, 0, 102.4, 27},                                 // 12a
		{550, 50, 100, 7}, {549, 50, 100, 6}, {551, 50, 100, 7}, // in the middle of a lap the same laps
		{10, 95, 100, 2}, {4, 95, 100, 1}, {0, 50, 100, 1}, {100, 0, 100, 2}, {-1, 50, 100, 1},
		{150, 130, 100, 3}, // an overdue lap ends any moment, then two more
		{600, 0, 0, math.NaN()}, {600, 0, math.NaN(), math.NaN()}, {-1, 0, math.NaN(), 1},
	}
	for _, tt := range tests {
		got := crossings(tt.left, tt.since, tt.pace)
		if math.IsNaN(tt.want) {
			require.True(t, math.IsNaN(got))
			continue
		}
		require.Equal(t, tt.want, got, "%v", tt)
	}
}

// The count against a simulated race: cross the line every pace seconds until the clock is past zero.
func TestCrossingsCountsARace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pace := rapid.Float64Range(20, 600).Draw(t, "pace")
		left := rapid.Float64Range(0, 10000).Draw(t, "left")
		since := rapid.Float64Range(0, 1).Draw(t, "share") * pace
		n, clock := 0.0, left-(pace-since)
		for n++; clock >= 0; n++ {
			clock -= pace
		}
		if math.Abs(clock) < 1e-6 || math.Abs(clock+pace) < 1e-6 {
			return // on the edge, where rounding decides
		}
		require.Equal(t, n, crossings(left, since, pace))
	})
}

// REFERENCES 12a: 45 min, laps of 102.4 s, 2.65 L a lap, reserve 1.0 L: 27 laps, 72.55 L.
func TestLoadWorkedExample(t *testing.T) {
	n, err := Load(Plan{Time: 45 * 60, Pace: 102.4, PerLap: 2.65, ReserveVolume: 1, Tank: 60})
	require.NoError(t, err)
	require.Equal(t, 27.0, n.Laps)
	require.InDelta(t, 72.55, n.Volume, 1e-9)
	require.Equal(t, 1.0, n.Stops)
}

// TUM race-simulation (github.com/TUMFTM/race-simulation): Catalunya 2019 is 66 laps at 1.667 kg from 110 kg; the files of
// Spielberg and Silverstone are read where they are at hand.
// Every window keeps its promise: stops at any laps within it, each after the one before, never run the tank dry and leave the reserve.
func TestBoxWindows(t *testing.T) {
	n, err := Load(Plan{Time: 45 * 60, Pace: 102.4, PerLap: 2.65, ReserveVolume: 1, Tank: 60}) // the worked example above
	require.NoError(t, err)
	require.Equal(t, []Window{{5, 22}}, n.Box) // 22 laps take 58.3 of 60 L, and the 22 that follow lap 5 leave 1.7
	rapid.Check(t, func(t *rapid.T) {
		p := Plan{
			Laps: float64(rapid.IntRange(1, 90).Draw(t, "laps")), PerLap: rapid.Float64Range(0.5, 5).Draw(t, "burn"),
			ReserveLaps: float64(rapid.IntRange(0, 2).Draw(t, "reserve")), Tank: rapid.Float64Range(20, 110).Draw(t, "tank"),
		}
		n, err := Load(p)
		require.NoError(t, err)
		drive := func(early bool) (left float64) {
			left, lap := p.Tank, 0.0
			for _, w := range n.Box {
				require.LessOrEqual(t, w.Earliest, w.Latest)
				at := w.Latest
				if early {
					at = w.Earliest
				}
				left -= (at - lap) * p.PerLap
				require.GreaterOrEqual(t, left, -1e-6)
				left, lap = p.Tank, at
			}
			return left - (p.Laps-lap)*p.PerLap - p.ReserveLaps*p.PerLap
		}
		require.GreaterOrEqual(t, drive(false), -1e-6)
		require.GreaterOrEqual(t, drive(true), -1e-6)
		require.GreaterOrEqual(t, n.Stops, math.Ceil(n.Volume/p.Tank-1e-9)-1)
	})
	_, err = Load(Plan{Laps: 10, PerLap: 3, ReserveLaps: 1, Tank: 5})
	require.ErrorContains(t, err, "does not hold one lap")
}

func TestLoadPublishedRaces(t *testing.T) {
	n, err := Load(Plan{Laps: 66, PerLap: 1.667 / 0.745})
	require.NoError(t, err)
	require.InDelta(t, 110.022, n.Volume*0.745, 0.001)
	require.True(t, math.IsNaN(n.Stops))

	for _, name := range []string{"Spielberg", "Silverstone"} {
		data, err := os.ReadFile(opendata.Path(t, "fuel-effects/pars_"+name+"_2019.ini"))
		require.NoError(t, err)
		value := func(key string) float64 {
			_, after, ok := strings.Cut(string(data), `"`+key+`":`)
			require.True(t, ok, key)
			text, _, _ := strings.Cut(after, ",")
			x, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
			require.NoError(t, err)
			return x
		}
		n, err := Load(Plan{Laps: value("tot_no_laps"), PerLap: value("b_fuel_perlap") / 0.745})
		require.NoError(t, err)
		require.InDelta(t, value("m_fuel"), n.Volume*0.745, 0.1, name)
	}
}

func TestLoadTellsEveryMistake(t *testing.T) {
	n, err := Load(Plan{Laps: 3, Time: 60, PerLap: math.NaN(), ReserveLaps: -1})
	require.True(t, math.IsNaN(n.Laps) && math.IsNaN(n.Volume))
	for _, want := range []string{"reserve in laps is -1", "burn per lap", "both laps and a time"} {
		require.ErrorContains(t, err, want)
	}
	_, err = Load(Plan{PerLap: 3})
	require.ErrorContains(t, err, "neither laps nor a time")
	_, err = Load(Plan{PerLap: 3, Time: 60})
	require.ErrorContains(t, err, "the lap time is 0 s")
}

func TestTankByMassAndDensity(t *testing.T) {
	r := newRig(t, "fuel: {density: 0.745 kg/l}")
	r.set = func() { r.row[channel.FuelMass] = r.tank * 0.745 }
	r.tank = 60
	r.f.Step(0, r.row)
	r.set()
	r.f.Step(0.1, r.row)
	require.InDelta(t, 60, r.get(channel.FuelLeft), 1e-9) // 44.7 kg at 0.745 kg/L, NIST SP 811 by definition
	for range 4 {
		r.lap(Flying, 90, 2.5)
	}
	require.InDelta(t, 2.5, r.get(channel.FuelPerLap), 0.01)

	blind := newRig(t, "name: x")
	blind.set = func() { blind.row[channel.FuelMass] = blind.tank }
	blind.lap(Flying, 90, 2.5)
	require.True(t, math.IsNaN(blind.get(channel.FuelLeft)), "no density, no volume")
}

func TestBurnByFlow(t *testing.T) {
	f := New(newCar(t, "name: x"))
	row := channel.NewSet().NewRow()
	at := 0.0
	lap := func(hole bool) float64 {
		for i := range 900 {
			at += 0.1
			row[channel.FuelFlow] = 0.03
			if hole && i > 300 && i < 400 {
				row[channel.FuelFlow] = math.NaN()
			}
			f.Step(at, row)
		}
		return f.LapDone(Flying, 90, row)
	}
	require.True(t, math.IsNaN(lap(false)), "the first lap had no beginning")
	require.InDelta(t, 2.7, lap(false), 1e-6)
	require.True(t, math.IsNaN(lap(true)), "ten seconds are missing")
	require.InDelta(t, 2.7, lap(false), 1e-6)
	require.InDelta(t, 2.7, row[channel.FuelPerLap], 1e-6)
	require.True(t, math.IsNaN(row[channel.FuelLeft]))
	require.True(t, math.IsNaN(row[channel.FuelMargin]))
}

func TestClassesHaveAccountsApart(t *testing.T) {
	r := newRig(t, "name: x")
	require.True(t, math.IsNaN(r.lap(Out, 120, 2.0)), "the out-lap did not begin at the line")
	require.True(t, math.IsNaN(r.get(channel.FuelPerLap)))
	require.InDelta(t, 2.6, r.lap(Flying, 90, 2.6), 0.02) // the lag of the slosh filter
	require.InDelta(t, 2.6, r.get(channel.FuelPerLap), 0.02)
	require.True(t, math.IsNaN(r.get(channel.FuelSpread)), "one lap has no spread")
	require.True(t, math.IsNaN(r.get(channel.FuelDoubt)))
	r.lap(Flying, 90, 2.7)
	r.lap(Slow, 150, 1.8)
	r.row[channel.Flag] = yellowFlag
	r.lap(Flying, 130, 1.4)
	r.row[channel.Flag] = 1
	r.lap(Flying, 90, 2.65)
	r.lap(In, 95, 2.5)
	require.InDelta(t, 2.65, r.get(channel.FuelPerLap), 0.02)
	for class, want := range map[string]float64{Slow: 1.8, Yellow: 1.4, In: 2.5} {
		got, spread := r.f.PerLap(class)
		require.InDelta(t, want, got, 0.03, class)
		require.True(t, math.IsNaN(spread))
	}
	got, _ := r.f.PerLap("other")
	require.True(t, math.IsNaN(got))
	got, _ = r.f.PerLap(Out)
	require.True(t, math.IsNaN(got))
}

func TestOneOddLapDoesNotMoveTheFigure(t *testing.T) {
	r := newRig(t, "name: x")
	for _, litres := range []float64{2.6, 2.62, 2.58, 2.61, 2.59, 2.6, 4.5} { // the last behind a spin
		r.lap(Flying, 90, litres)
	}
	require.InDelta(t, 2.605, r.get(channel.FuelPerLap), 0.01)
	require.InDelta(t, 0.015*1.4826, r.get(channel.FuelSpread), 0.01)
}

func TestRefuelStartsANewAccount(t *testing.T) {
	r := newRig(t, "name: x")
	r.row[channel.SessionLapsLeft] = 20
	for range 4 {
		r.lap(Flying, 90, 2.5)
	}
	require.InDelta(t, 50, r.get(channel.FuelLeft), 0.05)
	require.InDelta(t, 0, r.get(channel.FuelMargin), 0.03)

	stand := func(seconds, perSecond float64) {
		r.row[channel.Speed] = 0
		for range int(seconds * r.hz) {
			r.at += 1 / r.hz
			r.tank += perSecond / r.hz
			r.set()
			r.f.Step(r.at, r.row)
		}
		r.row[channel.Speed] = 50
	}
	stand(5, 0)
	stand(15, 2) // 30 L
	require.Greater(t, r.get(channel.FuelMargin), 11.0, "known while the hose is in")
	stand(10, 0)
	require.InDelta(t, 80, r.get(channel.FuelLeft), 0.05)
	require.InDelta(t, 12, r.get(channel.FuelMargin), 0.05, "30 L are twelve laps more")
	require.True(t, math.IsNaN(r.lap(Out, 90, 2)), "a refuelled lap has no burn")
	require.InDelta(t, 2.5, r.lap(Flying, 90, 2.5), 0.02)
	require.InDelta(t, 2.5, r.get(channel.FuelPerLap), 0.01)
}

func TestTankSetAnewInOneJump(t *testing.T) {
	r := newRig(t, "name: x")
	for range 3 {
		r.lap(Flying, 90, 2.5)
	}
	r.row[channel.SessionLapsLeft] = 4
	r.tank = 20
	r.set()
	r.f.Step(r.at+0.1, r.row)
	require.InDelta(t, 20, r.get(channel.FuelLeft), 1e-9)
	require.InDelta(t, 20/2.5-4, r.get(channel.FuelMargin), 0.05)
	require.True(t, math.IsNaN(r.lap(Out, 90, 2)))
}

// A tank that swings 2 L to either side in the bends is not refuelled, and its laps are still read.
func TestSloshIsNoRefuel(t *testing.T) {
	r := newRig(t, "name: x")
	r.set = func() { r.row[channel.FuelVolume] = r.tank + 2*math.Sin(2*math.Pi*r.at/9) } // ten swings a lap of 90 s
	for range 6 {
		used := r.lap(Flying, 90, 2.5)
		require.False(t, used > 2.7 || used < 2.3, "%g", used)
	}
	require.InDelta(t, 2.5, r.get(channel.FuelPerLap), 0.05)
}

func TestAnyInputIsSurvived(t *testing.T) {
	set := channel.NewSet()
	ids := []channel.ID{
		channel.FuelVolume, channel.FuelMass, channel.FuelFlow, channel.Speed, channel.SessionTimeLeft,
		channel.SessionLapsLeft, channel.LeaderLapsLeft, channel.Flag,
	}
	rapid.Check(t, func(rt *rapid.T) {
		f := New(newCar(t, "fuel: {density: 0.745 kg/l, reserve: 1 lap}"))
		row := set.NewRow()
		at := 0.0
		for range rapid.IntRange(1, 80).Draw(rt, "samples") {
			at += rapid.SampledFrom([]float64{0.01, 0, -1, 3, 0.04, 100}).Draw(rt, "dt")
			for range rapid.IntRange(0, 4).Draw(rt, "readings") {
				id := rapid.SampledFrom(ids).Draw(rt, "channel")
				c := set.At(id)
				row[id] = rapid.SampledFrom([]float64{math.NaN(), 0, c.Min, c.Max, 30, 40}).Draw(rt, "value")
			}
			f.Step(at, row)
			if rapid.IntRange(0, 3).Draw(rt, "line") == 0 {
				used := f.LapDone(rapid.SampledFrom(classes[:]).Draw(rt, "class"), rapid.SampledFrom([]float64{math.NaN(), 0, 90}).Draw(rt, "time"), row)
				if used < 0 {
					rt.Fatal("negative burn")
				}
			}
			for _, id := range []channel.ID{channel.LapsToGo, channel.FuelToAdd, channel.FuelSave, channel.FuelSpread} {
				if row[id] < 0 {
					rt.Fatalf("%s is %g", set.At(id).Name, row[id])
				}
			}
		}
	})
}

func TestStepDoesNotAllocate(t *testing.T) {
	r := newRig(t, "fuel: {reserve: 1 lap}")
	r.row[channel.SessionTimeLeft] = 5000
	for range 4 {
		r.lap(Flying, 90, 2.5)
	}
	require.Zero(t, testing.AllocsPerRun(5000, func() {
		r.at += 1.0 / 360
		r.tank -= 1e-4
		r.set()
		r.f.Step(r.at, r.row)
	}))
	require.False(t, math.IsNaN(r.get(channel.FuelDoubt)))
}

func BenchmarkStep(b *testing.B) {
	r := newRig(b, "fuel: {reserve: 1 lap}")
	r.row[channel.SessionTimeLeft] = 5000
	for range 4 {
		r.lap(Flying, 90, 2.5)
	}
	b.ReportAllocs()
	for b.Loop() {
		r.at += 1.0 / 360
		r.set()
		r.f.Step(r.at, r.row)
	}
}
