package debrief

import (
	"encoding/json"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/journal"
)

// The tests in this file work every figure out from the tables of the fixture by another road than Build
// and do not look at the golden files.

func sorted(x []float64) []float64 { return slices.Sorted(slices.Values(x)) }

func middle(x []float64) float64 { // of a sorted list
	return (x[(len(x)-1)/2] + x[len(x)/2]) / 2
}

func near(t *testing.T, want float64, got Num, what string) {
	t.Helper()
	require.InDelta(t, want, float64(got), 1e-3, what)
}

func TestPaceIsThatOfTheLaps(t *testing.T) {
	r := Build(read(t), fixtureContext())
	var times []float64
	best := math.Inf(1)
	sector := [3]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
	for _, f := range fixtureLaps {
		if f.class != "flying" || f.why != "" {
			continue
		}
		times = append(times, f.time)
		best = min(best, f.time)
		shift := 0.02 * float64(f.number%3)
		for i, s := range []float64{f.time * 0.3, f.time*0.45 + shift, f.time*0.25 - shift} {
			sector[i] = min(sector[i], s)
		}
	}
	require.Equal(t, 10, len(times))
	require.Equal(t, 10, r.Pace.Laps)
	near(t, best, r.Pace.Best, "best")
	require.Equal(t, 11, r.Pace.BestLap, "lap 5 was quicker than its stint and void")
	near(t, sector[0]+sector[1]+sector[2], r.Pace.Potential, "potential")
	m := middle(sorted(times))
	near(t, m, r.Pace.Median, "median")
	var off []float64
	for _, x := range times {
		off = append(off, math.Abs(x-m))
	}
	near(t, middle(sorted(off)), r.Pace.Consistency, "consistency")

	require.Len(t, r.Laps, len(fixtureLaps))
	for i, f := range fixtureLaps {
		l := r.Laps[i]
		require.Equal(t, f.number, l.Number)
		require.Equal(t, f.class, l.Class)
		require.Equal(t, f.why, l.WhyInvalid)
		near(t, f.time, l.Time, "time")
		near(t, f.time-best, l.Delta, "delta")
		near(t, f.fuel, l.FuelUsed, "fuel")
		near(t, fixtureCold[f.stint-1][1]+f.pressure*4/3, l.TyrePressure[channel.FR], "hot pressure")
		require.Equal(t, f.number == 11, l.Best)
		marks := 0
		if f.mark != "" || f.number == 12 {
			marks = 1
		}
		require.Equal(t, marks, l.Marks)
	}
	require.Len(t, r.Stints, 2)
	require.Equal(t, 4, r.Stints[0].Flying)
	require.Equal(t, 6, r.Stints[1].Flying)
	require.False(t, r.Stints[0].End.IsZero())
	require.True(t, r.Stints[1].End.IsZero(), "cut off")
	require.True(t, r.Stints[0].Trend.PerLap.IsZero(), "four laps are too few for a trend")
	require.Equal(t, 6, r.Stints[1].Trend.Laps)
}

func TestFuelIsThatOfTheLaps(t *testing.T) {
	r := Build(read(t), fixtureContext())
	var used []float64
	for _, f := range fixtureLaps {
		if f.class == "flying" {
			used = append(used, f.fuel)
		}
	}
	m := middle(sorted(used))
	require.Equal(t, len(used), r.Fuel.Laps)
	near(t, m, r.Fuel.PerLap, "per lap")
	var off []float64
	for _, x := range used {
		off = append(off, math.Abs(x-m))
	}
	near(t, middle(sorted(off)), r.Fuel.Spread, "spread")
	near(t, 2.60, r.Fuel.Least, "least")
	near(t, 2.68, r.Fuel.Most, "most")
	left := 34 - 2.6*7 // the account of lap 14
	near(t, left, r.Fuel.Left, "left")
	near(t, left/m, r.Fuel.LapsLeft, "laps left")
	require.Contains(t, strings.Join(r.Fuel.Meaning, " "), "Ten laps burn 26.3\u00a0l, twenty 52.6\u00a0l")
}

func TestColdPressuresAreThoseOfTheGasLaw(t *testing.T) {
	r := Build(read(t), fixtureContext())
	require.Len(t, r.Pressures, 2)
	hot := [2][3]float64{{42, 43, 44}, {41, 41, 42}} // rise in the last three flying laps
	require.Equal(t, []int{4, 5, 6}, r.Pressures[0].HotLaps)
	require.Equal(t, []int{12, 13, 14}, r.Pressures[1].HotLaps)
	for s, p := range r.Pressures {
		rise := (hot[s][0] + hot[s][1] + hot[s][2]) / 3
		for w, x := range p.Wheels {
			cold, up := fixtureCold[s][w], rise
			if w == int(channel.FR) {
				up *= 4.0 / 3
			}
			near(t, cold, x.Cold, "cold")
			near(t, cold+up, x.Hot, "hot")
			target := fixtureContext().HotTarget[w]
			wanted := (target+fixtureAir)*(cold+fixtureAir)/(cold+up+fixtureAir) - fixtureAir
			near(t, wanted, x.Wanted, "wanted")
			near(t, max(wanted, 132), x.Set, "never below the maker's minimum")
			require.Equal(t, wanted < 132, x.BelowMinimum)
		}
		require.True(t, p.Wheels[channel.FR].BelowMinimum)
		all := strings.Join(p.Notes, "\n")
		require.Contains(t, all, "The target for the front right tyre would need")
		require.Contains(t, all, "Front: ")
		require.Contains(t, all, "Rear: left and right alike.")
	}
}

// Worked example of the gas law with gauge pressures: a tyre set to 1.35 bar came in at 1.86 bar; for 1.75 bar hot it is
// set to 1.2595 bar in the same air at 1.01325 bar. The rule is that of OpenStax, College Physics, The Ideal
// Gas Law; the figure was computed from it outside this project.
func TestColdPressureWorkedExample(t *testing.T) {
	bar, _ := channel.UnitNamed("bar")
	nan := math.NaN()
	s := journal.NewStint()
	s.Number, s.Event = 1, "start"
	l := journal.NewLap()
	l.Number, l.Class, l.Valid, l.Stint = 1, "flying", true, 1
	for w := range 4 {
		s.TyrePressure[w], l.TyrePressure[w] = 135, 186
	}
	events := []journal.Event{{T: 0, Body: s}, {T: 100, Lap: 1, Body: l}}
	r := Build(events, Context{Pressure: bar, HotTarget: [4]float64{175, 175, 175, 175}, ColdMinimum: [4]float64{nan, nan, nan, nan}})
	require.Len(t, r.Pressures, 1)
	for _, x := range r.Pressures[0].Wheels {
		require.InDelta(t, 125.95, float64(x.Set), 0.005)
	}
	all := strings.Join(r.Pressures[0].Notes, "\n")
	require.True(t, r.Pressures[0].AirAssumed)
	require.Contains(t, all, "1.01\u00a0bar, sea level, is assumed")
	require.Contains(t, all, "Only 1 flying lap has pressures")
	require.Contains(t, all, "no minimum cold pressure")
	require.Contains(t, strings.Join(r.Summary, "\n"), "FL\u00a01.26, FR\u00a01.26, RL\u00a01.26, RR\u00a01.26 bar")
}

func TestPressuresThatCannotBeWorkedOutSayWhy(t *testing.T) {
	stint := func(cold, air float64, temp float64) *journal.Stint {
		s := journal.NewStint()
		s.Number, s.Event, s.AirTemperature, s.AirPressure = 1, "start", Num(air), 101
		for w := range 4 {
			s.TyrePressure[w], s.TyreTemperature[w] = Num(cold), Num(temp)
		}
		return s
	}
	lap := func(hot float64) *journal.Lap {
		l := journal.NewLap()
		l.Number, l.Class, l.Valid, l.Stint = 1, "flying", true, 1
		l.TyrePressure = journal.Wheels{Num(hot), Num(hot), Num(hot), Num(hot)}
		return l
	}
	goal := Context{HotTarget: [4]float64{175, 175, 175, 175}}
	nan := math.NaN()
	tests := []struct {
		name   string
		events []journal.Event
		ctx    Context
		want   string
	}{
		{"no cold", []journal.Event{{Body: stint(nan, 20, nan)}, {T: 9, Body: lap(180)}}, goal, "pressures before rolling are not in the journal"},
		{"no hot", []journal.Event{{Body: stint(135, 20, 20)}}, goal, "No flying lap of this stint has pressures"},
		{"no target", []journal.Event{{Body: stint(135, 20, 20)}, {T: 9, Body: lap(180)}}, Context{}, "no hot target in the car file"},
		{"warm at the start", []journal.Event{{Body: stint(135, 20, 62)}, {T: 9, Body: lap(180)}}, goal, "was not cold when the stint began (62\u00a0°C, air 20\u00a0°C)"},
		{"never warmed", []journal.Event{{Body: stint(135, 20, 20)}, {T: 9, Body: lap(134)}}, goal, "no higher hot than cold"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			require.Contains(t, strings.Join(Build(tt.events, tt.ctx).Pressures[0].Notes, "\n"), tt.want)
		})
	}
}

func TestCornersAreThoseOfThePasses(t *testing.T) {
	r := Build(read(t), fixtureContext())
	require.Len(t, r.Corners, 2, "the others show nothing")
	mill, weir := r.Corners[0], r.Corners[1]
	require.Equal(t, 3, mill.Number)
	require.Equal(t, "Mill", mill.Name)
	require.Equal(t, []int{3, 5, 6}, mill.MarkedLaps)
	require.Equal(t, []Tag{{"understeer", 3}}, mill.Tags)
	require.Equal(t, []Finding{{push, "mid-corner understeer", 4, 11, []int{3, 4, 5, 6}}}, mill.Findings)
	near(t, 1180, mill.Distance, "distance")
	require.Equal(t, 11, mill.Passes)
	require.Equal(t, 8, mill.UsualPasses)
	var balance, slowest []float64
	for _, f := range fixtureLaps {
		if f.class == "flying" && f.mark == "" {
			balance = append(balance, f.push*math.Pi/180)
			slowest = append(slowest, 26-f.push*0.5)
		}
	}
	near(t, middle(sorted(balance)), mill.Usual.Balance, "usual balance")
	near(t, middle(sorted(slowest)), mill.Usual.MinSpeed, "usual slowest")
	require.Len(t, mill.Marks, 3)
	near(t, 2.1*math.Pi/180, mill.Marks[1].Pass.Balance, "of the pass that was meant, not of another lap")
	near(t, 26-2.1*0.5, mill.Marks[1].Pass.MinSpeed, "slowest")
	near(t, 26*1.4, mill.Marks[1].Pass.ExitSpeed, "exit, which the mark itself does not know")
	require.Equal(t, []journal.Finding{push}, mill.Marks[1].Findings)
	// 26 − 1.05 = 24.95 m/s = 89.8 km/h against 26 − 0.25 = 25.75 m/s = 92.7 km/h.
	require.Equal(t, "Slowest point 90\u00a0km/h, 3\u00a0km/h slower than the median of 8 other flying passes, gear 2.", mill.Marks[1].Sentences[0])
	require.Contains(t, strings.Join(mill.Marks[1].Sentences, "\n"), "strong understeer, 2.1°; usually neutral (0.5° of understeer). That agrees with the mark.")

	require.Equal(t, 7, weir.Number)
	require.Empty(t, weir.Findings, "once is not again and again")
	all := strings.Join(weir.Marks[0].Sentences, "\n")
	require.Contains(t, all, "Rear right spinning: slip +0.31.")
	require.Contains(t, all, "oversteer, 1.4°")
	near(t, 3890, r.LapLength, "length")
}

func TestMarkAgainstTheData(t *testing.T) {
	pass := func(deg float64) *journal.Corner {
		c := journal.NewCorner()
		c.Number, c.Balance = 3, Num(deg*math.Pi/180)
		return c
	}
	m := journal.NewMark()
	m.Number, m.Corner, m.Tag = 1, 3, "Oversteer"
	for deg, want := range map[float64]string{2: "That is the opposite of the mark.", -2: "That agrees with the mark.", 0.2: "too small to confirm"} {
		r := Build([]journal.Event{{T: 50, Lap: 2, Body: pass(deg)}, {T: 51, Lap: 2, Body: m}}, Context{})
		require.Contains(t, strings.Join(r.Corners[0].Marks[0].Sentences, " "), want)
	}
	// The pass of the lap before is not the pass that the mark means.
	r := Build([]journal.Event{{T: 50, Lap: 2, Body: pass(2)}, {T: 150, Lap: 3, Body: m}}, Context{})
	require.Equal(t, []string{"The data say nothing about this place."}, r.Corners[0].Marks[0].Sentences)
}

func TestCuesAreCountedByVerdict(t *testing.T) {
	c := Build(read(t), fixtureContext()).Cues
	require.Equal(t, 13, c.Offered)
	require.Equal(t, 8, c.Said, "one was interrupted, and its beginning was heard")
	require.Equal(t, 1, c.Answers, "he asked")
	require.Equal(t, 5, c.NotSaid)
	require.Equal(t, []Share{{"warning", 1}, {"caution", 4}, {"advisory", 3}}, c.Priorities)
	require.Equal(t, RuleCues{"lap-time", 2, 2, "One forty-three six."}, c.Rules[0])
	require.Equal(t, Silence{"lap-time", "expired", "no_room", "no room before the next braking or turn-in point", 2, "One forty-three two."}, c.Silent[0])
	require.Equal(t, []string{"locking"}, c.Chatter, "520, 540 and 561 s")
	end := fixture()[len(fixture())-1].T
	require.InDelta(t, 8/end*600, float64(c.PerTenMinutes), 1e-3)
	require.Equal(t, 8, c.Busiest, "from 260 s to 562 s")
	require.Equal(t, 3, c.Periods)
	require.Zero(t, c.Floods)
}

// Load against the published figures of ANSI/ISA-18.2-2016: about 1 in ten minutes very likely acceptable, about 2 the
// most that is manageable, more than 10 a flood.
func TestCueLoad(t *testing.T) {
	said := func(n int, over float64) []journal.Event {
		events := []journal.Event{{T: 0, Body: &journal.Session{}}, {T: over, Body: healthLine("feed", "ok", "")}}
		for i := range n {
			c := journal.NewCue()
			c.Rule, c.Priority, c.Verdict, c.Start = "r", "caution", "said", Num(float64(i)*over/float64(n))
			events = append(events, journal.Event{T: float64(c.Start), Body: c})
		}
		return events
	}
	for _, tt := range []struct {
		n       int
		over    float64
		rate    float64
		busiest int
		floods  int
		want    string
	}{
		{6, 3600, 1, 1, 0, "very likely acceptable"},
		{12, 3600, 2, 2, 0, "the most manageable"},
		{13, 3600, 13.0 / 6, 3, 0, "more than the two"},
		{72, 3600, 12, 12, 6, "a flood"},
		{1, 300, 2, 1, 0, "reckoned from 5.0 minutes"},
		{1, 30, math.NaN(), 1, 0, "too short for a rate"},
	} {
		c := Build(said(tt.n, tt.over), Context{}).Cues
		require.Equal(t, math.IsNaN(tt.rate), c.PerTenMinutes.IsZero())
		if !math.IsNaN(tt.rate) {
			require.InDelta(t, tt.rate, float64(c.PerTenMinutes), 1e-9)
		}
		require.Equal(t, tt.busiest, c.Busiest, "%d in %g s", tt.n, tt.over)
		require.Equal(t, tt.floods, c.Floods, "%d in %g s", tt.n, tt.over)
		require.Contains(t, strings.Join(c.Load, "\n"), tt.want)
	}
}

func TestHealthPairsFallAndRecovery(t *testing.T) {
	h := Build(read(t), fixtureContext()).Health
	require.Len(t, h.Episodes, 2)
	require.Equal(t, "no datagram for 2 s", h.Episodes[0].Text)
	near(t, 4.5, h.Silent, "566.3 − 561.8")
	require.True(t, h.Episodes[1].To.IsZero(), "it never recovered")
}

func TestLapNumbersThatStartAgain(t *testing.T) {
	lap := func(time float64) *journal.Lap {
		l := journal.NewLap()
		l.Number, l.Class, l.Valid, l.Time = 1, "flying", true, Num(time)
		return l
	}
	c := func(v float64) *journal.Corner {
		c := journal.NewCorner()
		c.Number, c.MinSpeed, c.Findings = 1, Num(v), []journal.Finding{{Kind: "locking"}}
		return c
	}
	st := func() *journal.Stint { s := journal.NewStint(); s.Number, s.Event = 1, "start"; return s }
	r := Build([]journal.Event{{T: 0, Body: st()}, {T: 50, Lap: 1, Body: c(20)}, {T: 100, Lap: 1, Body: lap(100)}, {T: 500, Body: st()}, {T: 550, Lap: 1, Body: c(30)}, {T: 600, Lap: 1, Body: lap(99)}}, Context{})
	require.Len(t, r.Stints, 2)
	require.Equal(t, 1, r.Stints[0].Laps)
	require.Equal(t, 1, r.Stints[1].Laps)
	near(t, 25, r.Corners[0].Usual.MinSpeed, "both passes")
	require.Equal(t, 2, r.Corners[0].Findings[0].Count)
}

// Unknown is left out of the JSON; nothing that the events do not say appears as zero.
func TestUnknownIsLeftOut(t *testing.T) {
	l := journal.NewLap()
	l.Number, l.Class, l.Valid = 1, "flying", true
	b, err := json.Marshal(Build([]journal.Event{{T: 3, Lap: 1, Distance: journal.Unknown, Body: l}}, Context{}))
	require.NoError(t, err)
	for _, key := range []string{"best", "median", "potential", "time", "delta", "fuel_used", "per_lap", "cold_pressure", "tyre_pressure", "air_temperature", "duration", "per_ten_minutes", "lap_length", "feed_silent"} {
		require.NotContains(t, string(b), `"`+key+`":`)
	}
}

// What was never learned is said in place of "nothing showed".
func TestNeverLearned(t *testing.T) {
	learned := func(what string, at Num, lacks string) journal.Event {
		return journal.Event{T: 90, Lap: 1, Body: &journal.Learned{What: what, At: at, Lacks: lacks}}
	}
	r := Build([]journal.Event{learned("course", 60, ""), learned("slip_rear", journal.Unknown, "3.2 of 5 s at a steady speed on straights")}, Context{})
	want := "Slip of the rear wheels was never learned in this session, so their locking and spinning cannot show: 3.2 of 5 s at a steady speed on straights."
	require.Contains(t, r.Notes, want)
	for _, write := range []func(io.Writer, Report) error{WriteText, WriteHTML} {
		var b strings.Builder
		require.NoError(t, write(&b, r))
		require.Contains(t, strings.Join(strings.Fields(b.String()), " "), "No mark was made. "+want)
		require.NotContains(t, b.String(), "nothing showed")
	}
}

func TestForCar(t *testing.T) {
	c := ForCar(&car.Car{HotPressure: [4]float64{180, 181, 182, 183}, ColdMinimum: [4]float64{130, 131, 132, 133}})
	require.Equal(t, 183.0, c.HotTarget[channel.RR])
	require.Equal(t, 130.0, c.ColdMinimum[channel.FL])
	c = c.withDefaults() // a car file without limits
	require.Equal(t, -0.20, c.SlipLock)
	require.Equal(t, 0.15, c.SlipSpin)
	require.InDelta(t, math.Pi/180, c.BalanceLimit, 1e-12)
	require.Equal(t, "psi", c.Pressure.Spelling)
}

// A car that loses 0.1 s a lap to its tyres and burns 2 L, each worth 0.02 s, loses 0.06 s on the clock. The out-lap does not tell its burn.
func TestTrendTakesTheFuelOut(t *testing.T) {
	var events []journal.Event
	for i := range 8 {
		l := journal.NewLap()
		l.Number, l.Stint, l.Class, l.Valid = i+1, 1, "flying", true
		l.Time, l.FuelUsed = journal.Num(90+0.06*float64(i)), 2
		if i == 0 {
			l.Class, l.FuelUsed = "out", journal.Unknown
		}
		events = append(events, journal.Event{T: 90 * float64(i+1), Lap: i + 1, Body: l})
	}
	r := Build(events, Context{})
	require.InDelta(t, 0.06, float64(r.Stints[0].Trend.PerLap), 1e-9)
	require.Contains(t, r.Pace.TrendNote, "not corrected")
	r = Build(events, Context{FuelCost: 0.02})
	require.InDelta(t, 0.1, float64(r.Stints[0].Trend.PerLap), 1e-9)
	require.True(t, r.Stints[0].Trend.FuelTakenOut)
	require.Contains(t, r.Pace.TrendNote, "have taken out")
}

func TestAdviceHasItsPlace(t *testing.T) {
	ctx := fixtureContext()
	ctx.Advise = func(c Corner) []Advice {
		if c.Number != 3 {
			return nil
		}
		return []Advice{{Lever: "front bar one step softer", Why: "understeer mid-corner", SideEffect: "rolls more"}}
	}
	r := Build(read(t), ctx)
	require.Equal(t, "front bar one step softer", r.Corners[0].Advice[0].Lever)
	require.Empty(t, r.Corners[1].Advice)
}

// A time that is not exact is no best and says so; a record is told; what a corner cost and where the car went stand in
// its table.
func TestInexactLapsRecordsAndTimeLost(t *testing.T) {
	lap := func(number int, time float64, inexact string, record bool) journal.Event {
		l := journal.NewLap()
		l.Number, l.Time, l.Valid, l.Class, l.Inexact, l.Record = number, journal.Num(time), true, "flying", inexact, record
		return journal.Event{T: float64(number) * 100, Lap: number, Distance: journal.Unknown, Body: l}
	}
	pass := func(number int, lost, line float64) journal.Event {
		c := journal.NewCorner()
		c.Number, c.Time, c.Lost, c.LineApex, c.Findings = 3, 5, journal.Num(lost), journal.Num(line), []journal.Finding{push}
		return journal.Event{T: float64(number)*100 - 50, Lap: number, Distance: 500, Body: c}
	}
	m := journal.NewMark()
	m.Number, m.Corner = 1, 3
	mark := journal.Event{T: 251, Lap: 3, Distance: 510, Body: m}
	r := Build([]journal.Event{
		pass(1, math.NaN(), 0.5), lap(1, 60, "", false), pass(2, 0.25, 1.5), lap(2, 59, "no samples for 3.2 s", false),
		pass(3, 0.75, 2.5), mark, lap(3, 59.5, "", true),
	}, Context{})
	require.InDelta(t, 59.5, float64(r.Pace.Best), 1e-9)
	require.Equal(t, 2, r.Pace.Laps)
	var b strings.Builder
	require.NoError(t, WriteText(&b, r))
	require.Contains(t, b.String(), "flying, time not exact: no samples for 3.2 s")
	require.Contains(t, b.String(), "flying, best of all sessions")
	require.Contains(t, b.String(), "Lost s")
	require.Contains(t, b.String(), "+0.75", "the marked pass")
	require.Contains(t, b.String(), "+0.25", "the others")
	require.Contains(t, b.String(), "Line m")
	require.Contains(t, b.String(), "+2.5")
}
