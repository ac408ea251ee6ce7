package course_test

import (
	"fmt"
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

// overSurvey drives a point over a surveyed centre line at 50 m/s, one lap from line to line.
func overSurvey(t *testing.T, root, name string) *car {
	p := surveyed(t, root, name)
	c := newCar(&course.File{Name: name, Line: course.Line{Source: course.ByGate, Gate: p.gateAt(0)}})
	const v, dt = 50.0, 0.02
	for s := p.length - 51; s < 2*p.length+20; s += v * dt {
		c.row[channel.PositionX], c.row[channel.PositionY] = p.at(s)
		c.step(dt)
	}
	return c
}

// Twelve surveyed centre lines (TUM racetrack-database, LGPL-3.0, from OpenStreetMap, ODbL) driven by a point at 50 Hz,
// against official length, direction and number of turns (f1db, CC BY 4.0). An official number of turns is a
// convention: all eleven within two is the aim. TestCountsHoldWhenTheYardstickChanges shows that it hangs on no figure,
// TestFinderOnSyntheticCourses has other courses.
func TestSurveyedCentreLines(t *testing.T) {
	truth, root := readTracks(t)
	require.Len(t, truth, 12)
	near, counted := 0, 0
	table := fmt.Sprintf("%-14s %9s %9s %7s %6s %6s\n", "course", "length", "official", "error", "turns", "found")
	for _, row := range truth {
		c := overSurvey(t, root, row[0])
		m := c.learner.Map()
		require.NotNil(t, m, row[0])
		official, err := strconv.ParseFloat(row[3], 64)
		require.NoError(t, err)
		require.InEpsilon(t, official, m.Length, 0.003, row[0])
		require.InEpsilon(t, official, c.laps[0].Length, 0.003, row[0])
		clockwise := row[6] == "CLOCKWISE" || row[6] == "" && row[7] == "CLOCKWISE"
		require.Equal(t, clockwise, m.Turning < 0, row[0])
		require.InDelta(t, 2*math.Pi, math.Abs(m.Turning), 0.01, row[0])
		turns, err := strconv.Atoi(row[5])
		if err == nil {
			counted++
			if d := len(m.Corners) - turns; d >= -2 && d <= 2 {
				near++
			}
			require.InDelta(t, turns, len(m.Corners), 2, row[0])
		}
		table += fmt.Sprintf("%-14s %9.1f %9.1f %6.2f%% %6s %6d\n", row[0], m.Length, official, 100*(m.Length/official-1), row[5],
			len(m.Corners))
	}
	t.Log("\n" + table)
	require.Equal(t, 11, counted)
	require.Equal(t, 11, near, "corners within two of the official number")
}

// What drivers call the corners of three of the surveyed courses (kinds from memory). Files are named as in the open
// data; numbers are as found, which are the official ones of the first and one more from the ninth on at the second.
func TestKindsOfSurveyedCourses(t *testing.T) {
	_, root := readTracks(t)
	for name, want := range map[string]map[course.Kind][]int{
		"Monza":       {course.Chicane: {1, 2, 4, 5}, course.Single: {6, 7}},
		"Silverstone": {course.Esse: {11, 12, 13, 14, 15}, course.Chicane: {17, 18}, course.Single: {3, 4, 7}},
		"Montreal":    {course.Chicane: {4, 5, 10, 11, 14, 15}, course.Single: {12}},
	} {
		m := overSurvey(t, root, name).learner.Map()
		for kind, numbers := range want {
			for _, n := range numbers {
				c, ok := m.CornerNumbered(n)
				require.True(t, ok)
				require.Equal(t, kind, c.Kind, "%s %d", name, n)
			}
		}
		// All of a lap is corners, straights and gaps that are too short to be straights.
		sum, short := 0.0, 0
		for i, c := range m.Corners {
			sum += m.Wrap(c.Exit - c.Entry)
			next := m.Corners[(i+1)%len(m.Corners)]
			if g := m.Wrap(next.Entry - c.Exit); g <= 100 {
				sum += g
				short++
			}
		}
		for _, s := range m.Straights {
			require.Greater(t, s.Length, 100.0)
			require.Zero(t, m.CornerAt(m.Wrap(s.From+s.Length/2)))
			sum += s.Length
		}
		require.InDelta(t, m.Length, sum, 1e-6, name)
		require.Len(t, m.Corners, len(m.Straights)+short)
	}
}
