package course_test

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/course"
)

// What is saved comes back: the line within a millimetre, corners and their points likewise, and the bytes are the same
// again.
func TestSavedCourseComesBack(t *testing.T) {
	s := surveyedLines(t)[6]
	for _, how := range []sense{byXY, byGeo, byBend} {
		m := learn(t, s, how)
		m.Corners[0].Name, m.Corners[0].Braking = "Mill", 12.3456
		b, err := course.Saved{Map: m, Feed: "f", Car: "c", Updated: "2031-05-04T12:00:00Z"}.Encode()
		require.NoError(t, err)
		got, err := course.DecodeSaved("x", b)
		require.NoError(t, err)
		require.Equal(t, "f c 2031-05-04T12:00:00Z", got.Feed+" "+got.Car+" "+got.Updated)
		require.InDelta(t, m.Length, got.Map.Length, 1e-3)
		require.InDelta(t, m.Turning, got.Map.Turning, 1e-6)
		require.Equal(t, m.Placed, got.Map.Placed)
		require.Len(t, got.Map.X, len(m.X))
		bend := 2e-4 // 1/m: what millimetres make of it
		if how == byBend {
			bend = 6e-3 // reckoned: closing the lap has moved the points a little
		}
		for i := range m.X {
			require.InDelta(t, m.X[i], got.Map.X[i], 1e-3)
			require.InDelta(t, m.Y[i], got.Map.Y[i], 1e-3)
			require.InDelta(t, m.K[i], got.Map.K[i], bend)
		}
		require.Len(t, got.Map.Corners, len(m.Corners))
		for i, c := range m.Corners {
			g := got.Map.Corners[i]
			require.Equal(t, c.Name, g.Name)
			require.Equal(t, c.Hand, g.Hand)
			require.InDelta(t, c.Apex, g.Apex, 1e-3)
			require.InDelta(t, c.Angle, g.Angle, 1e-4)
			require.Equal(t, math.IsNaN(c.Braking), math.IsNaN(g.Braking))
		}
		require.InDelta(t, 12.346, got.Map.Corners[0].Braking, 1e-9)
		k, err := course.Glance("x", b)
		require.NoError(t, err)
		require.Equal(t, []any{s.name, m.Laps, "f", "c"}, []any{k.Name, k.Laps, k.Feed, k.Car})
		again, err := got.Encode()
		require.NoError(t, err)
		require.Equal(t, string(b), string(again))
	}
}

func TestDecodeSavedTellsEveryMistake(t *testing.T) {
	_, err := course.DecodeSaved("a.json", []byte("{"))
	require.ErrorIs(t, err, course.ErrSaved)
	require.ErrorContains(t, err, "a.json")
	_, err = course.DecodeSaved("a.json", []byte(`{"format": "other"}`))
	require.ErrorContains(t, err, `format is "other"`)
	_, err = course.DecodeSaved("a.json", []byte(`{"format": "earshot course", "version": 9}`))
	require.ErrorContains(t, err, "version is 9")
	_, err = course.DecodeSaved("a.json", []byte(`{"format": "earshot course", "version": 1, "length": 1000, "x": [1,2], "y": [1], "plane": {"kind": "geographic"},
		"corners": [{"number": 2, "hand": "up", "entry": -1, "exit": 2000}]}`))
	for _, want := range []string{"it has no name", "2 and 1 coordinates", "the origin of the plane", "corner 1 has the number 2",
		`hand is "up"`, "entry is -1 m", "exit is 2000 m"} {
		require.ErrorContains(t, err, want)
	}
}

// Corners that cannot be driven one after the other are refused: calls would come anywhere else.
func TestDecodeSavedRefusesCornersThatCannotBe(t *testing.T) {
	m := learn(t, surveyedLines(t)[6], byXY)
	decode := func(change func(m *course.Map)) error {
		other := *m
		other.Corners = slices.Clone(m.Corners)
		change(&other)
		b, err := course.Saved{Map: &other}.Encode()
		require.NoError(t, err)
		_, err = course.DecodeSaved("a.json", b)
		return err
	}
	require.NoError(t, decode(func(*course.Map) {}))
	require.ErrorContains(t, decode(func(m *course.Map) {
		c := &m.Corners[1]
		c.Entry, c.Exit = c.Exit, c.Entry
	}), "corner 2: from entry")
	require.ErrorContains(t, decode(func(m *course.Map) {
		m.Corners[0], m.Corners[2] = m.Corners[2], m.Corners[0]
		m.Corners[0].Number, m.Corners[2].Number = 1, 3
	}), "do not follow each other")
	require.ErrorContains(t, decode(func(m *course.Map) {
		for i := range 20000 {
			c := m.Corners[0]
			c.Number = i + 1
			m.Corners = append(m.Corners[:i], c)
		}
	}), "20000 corners: no course has more than 500")
}

func FuzzDecodeSaved(f *testing.F) {
	m := &course.Map{Name: "a", Length: 400, Step: 50, X: []float64{0, 50, 100, 150, 150, 100, 50, 0},
		Y: []float64{0, 0, 0, 0, 50, 50, 50, 50}}
	m.Corners = []course.Corner{{Number: 1, Hand: course.Left, Entry: 1, Apex: 2, Exit: 399.9999, Braking: math.NaN(), TurnIn: 0.5,
		Slowest: 2, MinSpeed: 20}}
	b, err := course.Saved{Map: m}.Encode()
	require.NoError(f, err)
	f.Add(b)
	f.Add([]byte(`{"format":"earshot course","version":1,"name":"a","length":400,"plane":{"kind":"geographic","latitude":1,"longitude":180},"x":[1e9],"y":[null]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		k, glanced := course.Glance("f", b)
		s, err := course.DecodeSaved("f", b)
		if err != nil {
			if !errors.Is(err, course.ErrSaved) {
				t.Fatalf("refused with %v", err)
			}
			return
		}
		if glanced != nil || k.Name != s.Map.Name {
			t.Fatalf("all of it is right, and its beginning is not: %v", glanced)
		}
		out, err := s.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := course.DecodeSaved("f", out); err != nil {
			t.Fatalf("what was accepted is refused when written: %v", err)
		}
		if !json.Valid(out) {
			t.Fatal("not JSON")
		}
		s.Map.Room(1, 50, 1)
	})
}
