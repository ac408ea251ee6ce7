package demo

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// A slow car among nine others: it is lapped under blue flags, and its race ends when it crosses the line after the leader has, with
// fewer laps than the race has.
func TestLappedByTheLeader(t *testing.T) {
	car := Baseline()
	car.Power *= 0.55
	s, all := run(t, Options{Seed: 3, Course: "saucer", Laps: 14, Rate: 10, Rivals: 9, Car: &car})
	truth := s.Truth()
	require.Positive(t, truth.Finished)
	require.Less(t, truth.Finished, 14)
	blue, passed := 0, false
	for i, x := range all {
		r := x.Row
		if r[channel.LapNumber] < 1 {
			require.True(t, math.IsNaN(r[channel.RacePosition]), "nobody has a position before the start")
			continue
		}
		p := r[channel.RacePosition]
		require.True(t, p >= 1 && p <= 10 && p == math.Trunc(p))
		require.Equal(t, p == 1, math.IsNaN(r[channel.GapAhead]), "nobody is ahead of the leader only")
		require.Equal(t, p == 10, math.IsNaN(r[channel.GapBehind]))
		require.False(t, r[channel.GapAhead] < 0 || r[channel.GapBehind] < 0)
		require.Equal(t, r[channel.SessionLapsLeft], r[channel.LeaderLapsLeft])
		if r[channel.Flag] == flagBlue {
			blue++
		}
		if i > 0 && all[i-1].Row[channel.LeaderLapsLeft] == 1 && r[channel.LeaderLapsLeft] == 0 {
			passed = true
			require.Equal(t, float64(truth.Finished), r[channel.LapNumber], "the leader finishes while the driver is in his last lap")
		}
		require.Equal(t, r[channel.LapNumber] > float64(truth.Finished), r[channel.Flag] == flagChequered, "shown from his own crossing on")
	}
	require.True(t, passed)
	require.Greater(t, blue, 10)
	require.Equal(t, 10, truth.Done[truth.Finished].Position, "and he is last")
}

// Between equal cars a gap is the time between two cars at one place. Checked where it can be: when the car behind is as quick, the gap
// at the line stays within the noise of the laps.
func TestGapsAreTimes(t *testing.T) {
	s, err := New(channel.NewSet(), Options{Seed: 5, Laps: 3, Rate: 20, Rivals: 4})
	require.NoError(t, err)
	var crossed float64 // when a rival that is ahead crossed the line last
	lap := -1
	for {
		before := make([]float64, 4)
		for i, c := range s.others.cars {
			before[i] = c.progress
		}
		x, ok := s.Next()
		if !ok {
			break
		}
		nearest := math.Inf(1)
		for i, c := range s.others.cars {
			if s.others.racing && math.Floor(c.progress) > math.Floor(before[i]) {
				crossed = x.At
			}
			if d := c.progress - s.others.own; d > 0 {
				nearest = min(nearest, d)
			}
		}
		now := int(x.Row[channel.LapNumber])
		if now > lap && lap >= 1 && now <= 3 && nearest*s.others.pace < 5 {
			// The one ahead crossed so long ago.
			require.InDelta(t, x.At-crossed, x.Row[channel.GapAhead], 0.15, "lap %d", now)
		}
		lap = now
	}
}

// A race by time ends for the leader at his first crossing after the clock has reached zero (FIA WEC sporting text, as in REFERENCES.md), and the clock
// is that of the samples.
func TestRaceByTime(t *testing.T) {
	t.Parallel()
	s, all := run(t, Options{Seed: 2, Course: "saucer", Duration: 240, Rate: 20})
	truth := s.Truth()
	start := truth.Done[0].End
	require.Greater(t, truth.Done[truth.Finished].End, start+240)
	require.Less(t, truth.Done[truth.Finished-1].End, start+240)
	require.Len(t, truth.Done, truth.Finished+2, "and the in-lap")
	require.Equal(t, "in", truth.Done[truth.Finished+1].Class)
	for _, x := range all {
		require.True(t, math.IsNaN(x.Row[channel.SessionLapsLeft]))
		want := 240.0
		if x.Row[channel.LapNumber] >= 1 {
			want = 240 - (x.At - start)
		}
		require.InDelta(t, want, x.Row[channel.SessionTimeLeft], 1e-9)
	}
	// With others the driver is flagged at his first crossing after the leader's, which comes after zero too.
	s, all = run(t, Options{Seed: 2, Course: "saucer", Duration: 240, Rate: 20, Rivals: 12})
	truth = s.Truth()
	require.Greater(t, truth.Done[truth.Finished].End, truth.Done[0].End+240)
	require.Equal(t, float64(flagChequered), all[len(all)-1].Row[channel.Flag])
}

// A stop: through the lane at its limit, as long as fuel and tyres take, with more fuel and cold new tyres afterwards.
func TestStop(t *testing.T) {
	s, all := run(t, Options{Seed: 4, Laps: 5, Rate: 20, Fuel: 20, Stops: []Stop{{Lap: 2, Fuel: 24, Tyres: true, Compound: 1}}})
	truth := s.Truth()
	require.Equal(t, []string{"out", "flying", "in", "out", "flying", "flying", "in"}, classesOf(truth))
	require.Equal(t, 5, truth.Finished)
	require.Equal(t, 1, truth.Done[3].Compound)
	require.InDelta(t, sumFuel(truth.Done), 20+24-truth.Done[6].FuelLeft, 0.1, "what was burnt and what was taken on add up")
	var stood, added, cold float64
	for i := 1; i < len(all); i++ {
		a, b := all[i-1].Row, all[i].Row
		lap := b[channel.LapNumber]
		if lap == 3 && b[channel.Speed] == 0 {
			stood += all[i].At - all[i-1].At
			require.InDelta(t, s.course.box, b[channel.LapDistance], 1)
			require.Equal(t, 1.0, b[channel.InPitLane])
			require.Zero(t, b[channel.PitLimiter])
		}
		if rise := b[channel.FuelVolume] - a[channel.FuelVolume]; rise > 0 {
			added += rise
			require.Less(t, rise/(all[i].At-all[i-1].At), refuelRate+1e-6)
		}
		if a[channel.Compound] != b[channel.Compound] {
			cold = b[channel.TyreCarcass]
			require.InDelta(t, truth.Car.ColdPressure[0], b[channel.TyrePressure], 1)
		}
		if lane := b[channel.InPitLane] == 1; lane && lap == 3 {
			require.LessOrEqual(t, b[channel.Speed], laneSpeed+0.2)
			if b[channel.Speed] > 1 {
				require.Equal(t, 1.0, b[channel.PitLimiter])
			}
		}
	}
	require.InDelta(t, 24/refuelRate+tyreTime, stood, 1.5)
	require.InDelta(t, 24, added, 0.1)
	require.InDelta(t, airTemperature, cold, 1)
	_, err := New(channel.NewSet(), Options{Laps: 5, Stops: []Stop{{Lap: 3}, {Lap: 3, Fuel: -1, Compound: 9}, {Lap: 5}}})
	require.ErrorContains(t, err, "Stops[1].Lap")
	require.ErrorContains(t, err, "Stops[1].Fuel")
	require.ErrorContains(t, err, "Stops[1].Compound")
	require.ErrorContains(t, err, "Stops[2].Lap")
}

func classesOf(truth Truth) (c []string) {
	for _, l := range truth.Done {
		c = append(c, l.Class)
	}
	return c
}

// Under a full-course caution everybody keeps to the limit, so that less is burnt and gaps stay as they are.
func TestFullCourseCaution(t *testing.T) {
	s, all := run(t, Options{Seed: 4, Laps: 5, Rate: 20, Rivals: 3, Faults: []Fault{{Kind: Caution, FromLap: 2, Corner: 10, Amount: 150}}})
	truth := s.Truth()
	begun, ended := math.NaN(), math.NaN()
	first, lastBehind := math.NaN(), math.NaN()
	for _, x := range all {
		if x.Row[channel.Flag] != flagCaution {
			continue
		}
		if math.IsNaN(begun) {
			begun = x.At
		}
		ended = x.At
		if x.At > begun+15 {
			require.Less(t, x.Row[channel.Speed], cautionSpeed+1)
			gap := x.Row[channel.GapAhead] + x.Row[channel.GapBehind]
			if math.IsNaN(first) {
				first = gap
			}
			lastBehind = gap
		}
	}
	require.InDelta(t, 150, ended-begun, 0.2)
	require.InDelta(t, first, lastBehind, 1.0)
	require.Greater(t, truth.Done[3].Time, truth.Done[2].Time+30)
	require.Less(t, truth.Done[3].FuelUsed, 0.75*truth.Done[2].FuelUsed)
	require.InDelta(t, truth.Done[1].Time, truth.Done[5].Time, 4, "and then they race again, on tyres that have cooled")
}

// The others slow down for a yellow as the driver does: so the gaps stay, although everybody loses many seconds.
func TestRivalsHeedYellow(t *testing.T) {
	t.Parallel()
	o := Options{Seed: 4, Laps: 4, Rate: 20, Rivals: 6}
	after := func(faults ...Fault) (ahead, time float64) { // s by which the field is ahead of the driver on the whole
		o.Faults = faults
		s, err := New(channel.NewSet(), o)
		require.NoError(t, err)
		for s.lap < 4 {
			_, ok := s.Next()
			require.True(t, ok)
		}
		for _, c := range s.others.cars {
			ahead += (c.progress - s.others.own) * s.others.pace / float64(o.Rivals)
		}
		return ahead, s.Truth().Done[3].Time
	}
	green, free := after()
	for _, corner := range []int{0, 4} {
		yellow, slow := after(Fault{Kind: Yellow, FromLap: 3, Corner: corner, Amount: 0.4})
		t.Logf("corner %d: the lap is %.1f s longer, the field %.2f s nearer", corner, slow-free, green-yellow)
		require.Greater(t, slow, free+2)
		require.InDelta(t, green, yellow, 0.1*(slow-free)+0.2)
	}
}

// Where the driver stops the others do, within two laps of him: each loses the time of the stop and of the lane, once.
func TestRivalsStop(t *testing.T) {
	t.Parallel()
	o := Options{Seed: 4, Course: "saucer", Laps: 10, Rate: 10, Rivals: 6}
	s, _ := run(t, o)
	o.Stops = []Stop{{Lap: 5, Fuel: 12, Tyres: true}}
	p, all := run(t, o)
	lost := 12/refuelRate + tyreTime + p.others.lane
	require.Greater(t, p.others.lane, 5.0)
	for i := range s.others.cars {
		// Laps that the end came later, less those that the car has done more: the time that it has stood.
		stood := (p.t-s.t)/p.others.pace - (p.others.cars[i].progress - s.others.cars[i].progress)
		require.InDelta(t, lost/p.others.pace, stood, 0.05, "car %d", i)
	}
	own := p.Truth().Done[5].Time + p.Truth().Done[6].Time - s.Truth().Done[5].Time - s.Truth().Done[6].Time
	require.InDelta(t, own-10, lost, 5, "about as much as the driver loses, but for his cold tyres and braking for the lane")
	positions := map[float64]bool{}
	for _, x := range all {
		if lap := x.Row[channel.LapNumber]; lap >= 4 && lap <= 8 {
			positions[x.Row[channel.RacePosition]] = true
		}
	}
	require.Greater(t, len(positions), 2, "places change while some have stopped and others have not")
}

// A local yellow is shown in its corner and nowhere else, and the driver slows down there by what he means to.
func TestLocalYellow(t *testing.T) {
	s, all := runTo(t, Options{Seed: 4, Laps: 4, Rate: 40, Faults: []Fault{{Kind: Yellow, FromLap: 3, Corner: 8, Amount: 0.3}}}, 4)
	slowest := map[int]float64{}
	for _, x := range all {
		r := x.Row
		lap, part := int(r[channel.LapNumber]), s.driver.parts[int(r[channel.LapDistance]/s.course.gap)]
		require.Equal(t, lap == 3 && part == 8, r[channel.Flag] == flagYellow)
		if s.course.CornerAt(r[channel.LapDistance]) == 8 {
			if _, ok := slowest[lap]; !ok {
				slowest[lap] = 999
			}
			slowest[lap] = min(slowest[lap], r[channel.Speed])
		}
	}
	require.InEpsilon(t, 0.7, slowest[3]/slowest[4], 0.05)
	require.InEpsilon(t, slowest[2], slowest[4], 0.05)
}

// Rain: grip goes, so in a corner v² falls with it (v² = mu g R, from equilibrium; downforce makes it a little less); the road cools the tyres; wet tyres are better
// then and worse in the dry.
func TestRain(t *testing.T) {
	t.Parallel()
	lap := func(compound int, w Weather) (Lap, float64) {
		car := Baseline()
		car.Compound = compound
		s, all := runTo(t, Options{Seed: 4, Laps: 5, Rate: 20, Car: &car, Weather: w}, 5)
		slow := math.Inf(1)
		for _, x := range all {
			if x.Row[channel.LapNumber] == 5 && s.course.CornerAt(x.Row[channel.LapDistance]) == 4 {
				slow = min(slow, x.Row[channel.Speed])
			}
		}
		return s.Truth().Done[5], slow
	}
	rain := Weather{Rain: []Shower{{From: 0, To: 9999, Amount: 1}}}
	slickDry, slickDryV := lap(3, Weather{})
	slickWet, slickWetV := lap(3, rain)
	wetDry, _ := lap(5, Weather{})
	wetWet, _ := lap(5, rain)
	require.Zero(t, slickDry.Wet)
	require.Greater(t, slickWet.Wet, 0.9)
	require.InEpsilon(t, math.Sqrt(1-0.38*slickWet.Wet), slickWetV/slickDryV, 0.06)
	require.Greater(t, slickWet.Time, slickDry.Time+5)
	require.Less(t, wetWet.Time, slickWet.Time-3)
	require.Greater(t, wetDry.Time, slickDry.Time+1.5)
	for w := range 4 {
		require.Less(t, slickWet.Carcass[w], slickDry.Carcass[w]-15, "rain cools")
		require.Less(t, wetWet.Carcass[w], wetDry.Carcass[w]-10)
	}
}

func TestWeatherDrifts(t *testing.T) {
	t.Parallel()
	s, all := run(t, Options{Seed: 4, Laps: 2, Rate: 10, Course: "ledger", Weather: Weather{AirDrift: 6, RoadDrift: -12}})
	last := all[len(all)-1]
	hours := last.At / 3600
	require.InDelta(t, airTemperature+6*hours, last.Row[channel.AirTemperature], 0.01)
	// The road follows with a lag of soaking seconds: a ramp lags by rate times lag, less what the beginning leaves.
	lag := soaking * (1 - math.Exp(-last.At/soaking))
	require.InDelta(t, roadTemperature-12*(last.At-lag)/3600, last.Row[channel.TrackTemperature], 0.05)
	require.NotEmpty(t, s.Truth().Done)

	_, cloudy := runTo(t, Options{Seed: 4, Laps: 2, Rate: 10, Course: "ledger", Weather: Weather{Cloud: 4}}, 1)
	_, again := runTo(t, Options{Seed: 4, Laps: 2, Rate: 10, Course: "ledger", Weather: Weather{Cloud: 4}}, 1)
	_, other := runTo(t, Options{Seed: 5, Laps: 2, Rate: 10, Course: "ledger", Weather: Weather{Cloud: 4}}, 1)
	i := len(cloudy) / 2
	require.Equal(t, cloudy[i].Row[channel.TrackTemperature], again[i].Row[channel.TrackTemperature])
	require.NotEqual(t, cloudy[i].Row[channel.TrackTemperature], other[i].Row[channel.TrackTemperature])

	_, err := New(channel.NewSet(), Options{Weather: Weather{AirDrift: 99, Cloud: -1, Rain: []Shower{{From: 5, To: 4, Amount: 2}}}, Rivals: 99, Duration: 5})
	for _, want := range []string{"Weather.AirDrift", "Weather.Cloud", "Weather.Rain[0]", "Rain[0].Amount", "Rivals", "Duration"} {
		require.ErrorContains(t, err, want)
	}
}

// A healthy engine keeps its temperatures and pressure; a blocked radiator and a loss of oil pressure show where they should and only there.
func TestEngineHealth(t *testing.T) {
	t.Parallel()
	s, all := runTo(t, Options{Seed: 4, Laps: 4, Rate: 20}, 4)
	least := math.Inf(1)
	for _, x := range all {
		if x.Row[channel.Throttle] > 0.5 && x.Row[channel.EngineSpeed] > rpm(3000) {
			least = min(least, x.Row[channel.OilPressure])
		}
	}
	last := s.Truth().Done[4]
	require.InDelta(t, 92, last.Coolant, 8)
	require.InDelta(t, 100, last.Oil, 15)
	require.Greater(t, least, 250.0)

	s, all = runTo(t, Options{Seed: 4, Laps: 4, Rate: 20, Faults: []Fault{{Kind: Radiator, FromLap: 2, ToLap: 9, Amount: 0.45}, {Kind: OilLoss, FromLap: 3, ToLap: 3, Amount: 0.7}}}, 4)
	require.InDelta(t, 92, s.Truth().Done[1].Coolant, 8)
	require.Greater(t, s.Truth().Done[4].Coolant, 110.0)
	low := map[int]bool{}
	for _, x := range all {
		if x.Row[channel.Throttle] > 0.5 && x.Row[channel.OilPressure] < 200 && x.Row[channel.EngineSpeed] > rpm(3000) {
			low[int(x.Row[channel.LapNumber])] = true
		}
	}
	require.Equal(t, map[int]bool{3: true}, low)

	// The end state of two bodies with constant heat is that of two linear equations: q1 + E (To-Tc) = G (Tc-Ta), q2 - E (To-Tc) = H (To-Ta).
	for _, blocked := range []float64{0, 0.5} {
		var e engine
		e.begin()
		for range 20000 {
			e.step(1.3e6, 40, 24, blocked, 0.1)
		}
		g, h := (1-blocked)*(radiator+radiatorAir*40), oilCooler+oilAir*40
		q1, q2 := toCoolant*1.3e6, toOil*1.3e6
		det := (g+exchange)*(h+exchange) - exchange*exchange
		require.InDelta(t, 24+(q1*(h+exchange)+q2*exchange)/det, e.coolant.T, 0.1)
		require.InDelta(t, 24+(q2*(g+exchange)+q1*exchange)/det, e.oil.T, 0.1)
	}
}

// Lifting early saves fuel for little time: the throttle closes well before the brakes, and all of it only in the laps that are meant.
func TestSaving(t *testing.T) {
	t.Parallel()
	s, all := runTo(t, Options{Seed: 4, Laps: 6, Rate: 60, Faults: []Fault{{Kind: Save, FromLap: 4, ToLap: 5, Amount: 60}}}, 6)
	rolled := map[int]float64{}
	for _, x := range all {
		if r := x.Row; r[channel.Throttle] == 0 && r[channel.Brake] == 0 && r[channel.Speed] > 30 {
			rolled[int(r[channel.LapNumber])] += 1.0 / 60
		}
	}
	d := s.Truth().Done
	require.Less(t, d[4].FuelUsed, 0.92*d[3].FuelUsed)
	require.Less(t, d[5].FuelUsed, 0.92*d[3].FuelUsed)
	require.InEpsilon(t, d[3].FuelUsed, d[6].FuelUsed, 0.02)
	require.Less(t, d[5].Time, d[3].Time+2.5)
	require.Greater(t, rolled[4], rolled[3]+1.5, "s of rolling: %v", rolled)
}

// The springs carry what the tyres carry, and a hollow brings the car down to the road.
func TestBottoming(t *testing.T) {
	t.Parallel()
	_, all := runTo(t, Options{Seed: 4, Laps: 3, Rate: 60, Faults: []Fault{{Kind: Bottoming, FromLap: 2, Corner: 8, Amount: 0.06}}}, 3)
	touched := map[int]int{}
	for _, x := range all {
		for w := range channel.ID(4) {
			h := x.Row[channel.RideHeight+w]
			require.InDelta(t, rideHeight[w/2], h+x.Row[channel.SuspensionTravel+w], 1e-12)
			if h == 0 {
				touched[int(x.Row[channel.LapNumber])]++
			}
		}
	}
	require.Len(t, touched, 1)
	require.Positive(t, touched[2])
}

// The whole world at once: the same seed gives the same samples, and no rate gives others.
func TestWorldIsDeterministic(t *testing.T) {
	t.Parallel()
	o := Options{Seed: 9, Course: "saucer", Laps: 5, Rate: 20, Rivals: 8, Stops: []Stop{{Lap: 2, Fuel: 10, Tyres: true, Compound: 5}},
		Weather: Weather{Cloud: 3, Rain: []Shower{{From: 100, To: 300, Amount: 0.8}}}, Faults: []Fault{{Kind: Caution, FromLap: 3, Corner: 1, Amount: 60}}}
	_, a := run(t, o)
	_, b := run(t, o)
	require.Equal(t, len(a), len(b))
	o.Rate = 40
	_, fine := run(t, o)
	for i := range a {
		require.True(t, same(a[i].Row, b[i].Row), "sample %d differs", i)
		require.True(t, same(a[i].Row, fine[2*i].Row), "sample %d differs by the rate", i)
	}
}
