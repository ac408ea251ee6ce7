package course_test

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/course"
)

// The rate of the feed, from 10 to 360 Hz, and where in the lap the samples fall change neither the number nor the
// hands of the corners of twelve surveyed centre lines (TUM racetrack-database), driven by the ideal car.
//
// Length: a chord of D metres is shorter than its arc of curvature k by k²D³/24. Points that are kept lie at most D = 1
// m + v/rate apart, so the map is shorter than the line by at most the sum of k²D²/24 along it. The lines are polygons,
// though, with h = 5 m between their points: a chord over a point that turns by θ = k·h cuts up to D·θ²/8, so k²hD/8
// along the line where that is more. Half a metre is for where the lap is closed between two samples. Apex: joining
// chords by straight lines spreads each change of heading over D to either side, so a bend with one tightest place
// moves by no more than D and the step of the map at each end; one of more than 120 m may have several, and its apex
// stays in it.
func TestRateDoesNotMoveTheCourse(t *testing.T) {
	truth, root := readTracks(t)
	type known struct {
		name string
		car  *idealCar
		file *course.File
		m    *course.Map
	}
	var all []known
	for _, row := range truth {
		p := surveyed(t, root, row[0])
		k := known{name: row[0], car: newIdealCar(p), file: &course.File{Line: course.Line{Source: course.ByGate, Gate: p.gateAt(0)}}}
		k.m = k.car.learn(k.file, 360, 0, &receiver{}, false).learner.Map()
		all = append(all, k)
	}
	rapid.Check(t, func(t *rapid.T) {
		x := all[rapid.IntRange(0, len(all)-1).Draw(t, "course")]
		rate := 10 * math.Pow(36, rapid.Float64Range(0, 1).Draw(t, "rate, as a power"))
		offset := rapid.Float64Range(0, 7).Draw(t, "offset")
		m := x.car.learn(x.file, rate, offset, &receiver{}, false).learner.Map()
		const spaced = 5.0
		short := 0.5
		for i, k := range x.car.k {
			d := 1 + x.car.v[i]/rate
			short += k * k * max(d*d/24, d*spaced/8) * x.car.metres
		}
		require.InDelta(t, x.car.line.length, m.Length, short, x.name)
		require.Len(t, m.Corners, len(x.m.Corners), "%s at %.1f Hz", x.name, rate)
		for i, c := range m.Corners {
			w := x.m.Corners[i]
			require.Equal(t, w.Hand, c.Hand)
			if d := x.m.Wrap(w.Exit - w.Entry); d > long {
				require.LessOrEqual(t, x.m.Wrap(c.Apex-w.Entry+15), d+30)
				continue
			}
			d := 1 + x.car.v[int(w.Apex/x.car.metres)%len(x.car.v)]/rate
			require.InDelta(t, 0, math.Remainder(c.Apex-w.Apex, x.m.Length), d+2*m.Step, "%s %d at %.1f Hz", x.name, i+1, rate)
		}
	})
}

// An ideal car round each of the twelve lines: the length of the map is within 0.3 % of the official one and the
// direction right (f1db, CC BY 4.0, by truth.csv of the open data; the length of the street course is general knowledge
// and its direction that of the line).
func TestIdealCarRoundEachLine(t *testing.T) {
	truth, root := readTracks(t)
	require.Len(t, truth, 12)
	for _, row := range truth {
		p := surveyed(t, root, row[0])
		f := &course.File{Line: course.Line{Source: course.ByGate, Gate: p.gateAt(0)}}
		m := newIdealCar(p).learn(f, 60, 0, &receiver{}, false).learner.Map()
		require.NotNil(t, m, row[0])
		official, err := strconv.ParseFloat(row[3], 64)
		require.NoError(t, err)
		require.InEpsilon(t, official, m.Length, 0.003, row[0])
		clockwise := row[6] == "CLOCKWISE" || row[6] == "" && row[7] == "CLOCKWISE"
		turn := 2 * math.Pi
		if clockwise {
			turn = -turn
		}
		require.InDelta(t, turn, m.Turning, 0.01, row[0])
	}
}
