package course_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/demo"
)

// A moment is one sample of a drive: the room that was claimed, and whether the driver was busy.
type moment struct {
	at, room     float64
	busy, counts bool
}

// excess returns, sorted, by how many seconds the claimed room exceeds the true time to the next moment in which the
// driver is busy, for all moments that count.
func excess(all []moment) []float64 {
	var list []float64
	next := math.NaN()
	for _, m := range slices.Backward(all) {
		if m.busy {
			next = m.at
		}
		if m.counts && !m.busy && !math.IsNaN(next) {
			list = append(list, m.room-(next-m.at))
		}
	}
	slices.Sort(list)
	return list
}

// shareAbove is the share of a sorted list that lies above a value.
func shareAbove(sorted []float64, value float64) float64 {
	i, _ := slices.BinarySearch(sorted, value)
	return float64(len(sorted)-i) / float64(len(sorted))
}

// onDemo drives a session of the demonstration. The driver is busy where he brakes, and from where the bend of a
// corner, as it was drawn, has reached 30 % of its tightest to where it falls below that. Counted is what lies behind
// the first lap, while the car is on its way; not the last lap, at whose end the driver brakes early for the way to the
// pits, which nobody can know.
func onDemo(t *testing.T, o demo.Options) []moment {
	sim, err := demo.New(set, o)
	require.NoError(t, err)
	drawn, err := demo.LoadCourse(o.Course)
	require.NoError(t, err)
	tightest := map[int]float64{}
	for s := 0.0; s < drawn.Length; s++ {
		k, _ := drawn.Curvature(s)
		tightest[drawn.CornerAt(s)] = max(tightest[drawn.CornerAt(s)], math.Abs(k))
	}
	c := newCar(nil)
	hold := channel.NewHold(set)
	c.row = hold.Row
	var all []moment
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		hold.Update(s)
		c.at = s.At
		c.step(0)
		d, lap := c.row[channel.LapDistance], c.row[channel.Lap]
		k, _ := drawn.Curvature(d)
		n := drawn.CornerAt(d)
		all = append(all, moment{
			at: s.At, room: c.row[channel.RoomToTalk],
			busy:   c.row[channel.Brake] > 0.05 || n > 0 && math.Abs(k) > 0.3*tightest[n],
			counts: c.maps > 0 && lap >= 2 && lap < float64(o.Laps) && c.row[channel.InPits] != 1 && c.row[channel.Speed] > 1,
		})
	}
	require.NotNil(t, c.learner.Map())
	return all
}

// A cue that begins in time must end in time: after one lap the room that is claimed exceeds the time that there is by
// more than half a second in less than one sample of a hundred, whether the driver pushes, lifts to save fuel or
// follows at a caution's pace. And it is no less than what there is by much: in the middle of the samples by a quarter
// of a second for one who pushes.
func TestRoomIsHonest(t *testing.T) {
	t.Parallel()
	kinds := []struct {
		name   string
		least  float64 // s: the middle of the excess
		faults []demo.Fault
	}{
		{"clean", -0.25, nil},
		{"saving fuel", -1.6, []demo.Fault{{Kind: demo.Save, FromLap: 3, ToLap: 5, Amount: 100}}},
		{"caution", -1.1, []demo.Fault{{Kind: demo.Caution, FromLap: 3, Corner: 2, Amount: 120}}},
	}
	for _, name := range demo.Courses() {
		for _, kind := range kinds {
			for seed := range uint64(2) {
				list := excess(onDemo(t, demo.Options{Course: name, Seed: seed + 7, Rate: 60, Laps: 6, Faults: kind.faults}))
				t.Logf("%-8s %-12s %6d moments: %.2f %% too long by 0.5 s; excess from %.2f (p5) by %.2f (p50) to %.2f s (p99)", name,
					kind.name,
					len(list), 100*shareAbove(list, 0.5), list[len(list)/20], list[len(list)/2], list[len(list)*99/100])
				require.Less(t, shareAbove(list, 0.5), 0.01, "%s, %s", name, kind.name)
				require.Greater(t, list[len(list)/2], kind.least, "%s, %s", name, kind.name)
			}
		}
	}
}

// Before the course is known there is room once the car has gone straight for a while without braking, whatever the
// throttle: an out-lap is driven gently.
func TestRoomBeforeTheMap(t *testing.T) {
	nan := math.NaN()
	tests := []struct {
		name                string
		lateral, yaw, brake float64
		speed, fall         float64 // m/s, and m/s²
		first, later        float64
	}{
		{name: "straight on", lateral: 0.5, yaw: nan, speed: 50, first: 0, later: 2.5},
		{name: "straight on by the yaw rate", lateral: nan, yaw: 0.01, speed: 50, first: 0, later: 2.5},
		{name: "cornering", lateral: 9, yaw: nan, speed: 50},
		{name: "cornering by the yaw rate", lateral: nan, yaw: -0.3, speed: 30},
		{name: "braking", lateral: 0, yaw: nan, brake: 0.3, speed: 50},
		{name: "braking by the speed", lateral: 0, yaw: nan, brake: nan, speed: 50, fall: 8},
		{name: "straight on by the speed", lateral: 0, yaw: nan, brake: nan, speed: 50, later: 2.5},
		{name: "nothing is known of the bend", lateral: nan, yaw: nan, speed: 50, first: nan, later: nan},
		{name: "nothing is known of the pace", lateral: 0, yaw: nan, brake: nan, speed: nan, first: nan, later: nan},
		{name: "standing", lateral: 0, yaw: 0, brake: 1, first: course.Standing, later: course.Standing},
	}
	for _, tt := range tests {
		row := set.NewRow()
		p := course.NewPasses()
		for i := range 100 {
			at := float64(i) * 0.01
			row[channel.AccelerationLat], row[channel.YawRate], row[channel.Brake], row[channel.Speed] = tt.lateral, tt.yaw, tt.brake,
				tt.speed-tt.fall*at
			p.Step(at, row, nil)
			want := tt.first
			if i > 50 {
				want = tt.later
			}
			if i == 50 || tt.fall > 0 && i < 50 { // about the moment, or while the fall of speed is smoothed
				continue
			}
			if got := row[channel.RoomToTalk]; got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
				t.Fatalf("%s, %d: %g, want %g", tt.name, i, got, want)
			}
		}
	}
}

// The same on twelve surveyed centre lines (TUM racetrack-database) for an ideal car whose driver gets quicker by 7 %
// and then varies by 3 %. He is busy where he brakes and where the car does 8 m/s² or more to the side: the lines have
// flat-out bends that are no corners.
func TestRoomIsHonestOnSurveyedLines(t *testing.T) {
	truth, root := readTracks(t)
	pace := []float64{0.93, 0.93, 0.97, 1, 0.99, 1, 0.97, 1} // at the beginning of each lap
	for _, row := range truth {
		p := surveyed(t, root, row[0])
		ideal, c := newIdealCar(p), newCar(&course.File{Line: course.Line{Source: course.ByGate, Gate: p.gateAt(0)}})
		var all []moment
		const dt = 0.05
		v := 30.0
		for s := p.length - 51; s < 7*p.length-1; {
			lap := int(s / p.length)
			at := func() int { return int(math.Mod(s, p.length)/ideal.metres) % len(ideal.v) }
			was := v
			v = ideal.v[at()] * (pace[lap] + (pace[lap+1]-pace[lap])*(s/p.length-float64(lap)))
			s += v * dt
			c.row[channel.PositionX], c.row[channel.PositionY] = p.at(s)
			c.row[channel.Speed], c.row[channel.YawRate], c.row[channel.Brake] = v, v*ideal.k[at()], 0
			if was-v > 2*dt {
				c.row[channel.Brake] = 0.5
			}
			c.step(dt)
			busy := c.row[channel.Brake] > 0 || math.Abs(v*c.row[channel.YawRate]) > 8
			all = append(all, moment{c.at, c.row[channel.RoomToTalk], busy, lap >= 2})
		}
		list := excess(all)
		t.Logf("%-14s %5d moments: %.2f %% too long by 0.5 s; excess from %.2f (p5) by %.2f (p50) to %.2f s (p99); the longest room is "+
			"%.1f s", row[0],
			len(list), 100*shareAbove(list, 0.5), list[len(list)/20], list[len(list)/2], list[len(list)*99/100],
			c.learner.Map().LongestRoom())
		require.Less(t, shareAbove(list, 0.5), 0.01, row[0])
		require.Greater(t, list[len(list)/2], -0.5, row[0])
	}
}
