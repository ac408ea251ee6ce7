package course

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// An arc of a made-up course: length in metres and radius, left positive, 0 for straight.
type arc struct{ length, radius float64 }

// bent returns the map of a line of those arcs. It need not close: kinds and straights go by the curvature alone.
func bent(arcs ...arc) *Map {
	var k []float64
	for _, a := range arcs {
		for range int(math.Round(a.length / mapStep)) {
			if a.radius == 0 {
				k = append(k, 0)
			} else {
				k = append(k, 1/a.radius)
			}
		}
	}
	m := &Map{Length: float64(len(k)) * mapStep, Step: mapStep, K: smoothLoop(k, mapStep, smoothing)}
	m.Corners = findCorners(m.K, m.Step, usual)
	m.describe()
	return m
}

func kinds(m *Map) []Kind {
	var out []Kind
	for _, c := range m.Corners {
		out = append(out, c.Kind)
	}
	return out
}

func TestKindsByConstruction(t *testing.T) {
	run := arc{400, 0}
	tests := []struct {
		name string
		arcs []arc
		want []Kind
	}{
		{"a bend", []arc{run, {80, 50}, run}, []Kind{Single}},
		{"a bend that opens to half its curvature and tightens again", []arc{run, {50, 40}, {50, 80}, {50, 40}, run}, []Kind{DoubleApex}},
		{"a bend that only opens", []arc{run, {50, 40}, {80, 80}, run}, []Kind{Single}},
		{"a bend that opens to nine tenths", []arc{run, {50, 40}, {50, 44}, {50, 40}, run}, []Kind{Single}},
		{"a ripple in a gentle bend", []arc{run, {16, 60}, {16, 150}, {16, 60}, run}, []Kind{Single}},
		{"a second apex that is hardly one", []arc{run, {50, 30}, {60, 240}, {40, 150}, run}, []Kind{Single}},
		{"opening to a tenth makes two", []arc{run, {50, 40}, {60, 400}, {50, 40}, run}, []Kind{Single, Single}},
		{"nearly straight between makes two", []arc{run, {50, 40}, {70, 900}, {50, 40}, run}, []Kind{Single, Single}},
		{"a chicane of two", []arc{run, {40, -30}, {20, 0}, {40, 30}, run}, []Kind{Chicane, Chicane}},
		{"a chicane of three", []arc{run, {30, 40}, {10, 0}, {45, -40}, {10, 0}, {30, 40}, run}, []Kind{Chicane, Chicane, Chicane}},
		{"the same hand twice", []arc{run, {40, 30}, {60, 0}, {40, 30}, run}, []Kind{Single, Single}},
		{"too far apart", []arc{run, {40, -30}, {120, 0}, {40, 30}, run}, []Kind{Single, Single}},
		{"slow and not close: neither", []arc{run, {40, -30}, {70, 0}, {40, 30}, run}, []Kind{Single, Single}},
		{"four in a row", []arc{run, {60, 60}, {20, 0}, {60, -60}, {20, 0}, {60, 60}, {20, 0}, {60, -60}, run},
			[]Kind{Esse, Esse, Esse, Esse}},
		{"two fast ones", []arc{run, {140, 150}, {20, 0}, {140, -150}, run}, []Kind{Esse, Esse}},
		{"a hairpin belongs to no chain", []arc{run, {40, -30}, {20, 0}, {90, 30}, run}, []Kind{Single, Single}},
		{"across the line", []arc{{40, 30}, run, run, {40, -30}, {10, 0}}, []Kind{Chicane, Chicane}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { require.Equal(t, tt.want, kinds(bent(tt.arcs...))) })
	}
}

func TestStraightsByConstruction(t *testing.T) {
	const wide = 2 * 2 * smoothing // what the smoothing widens two sudden ends by, at most
	m := bent(arc{200, 0}, arc{80, 50}, arc{300, 0}, arc{80, 50}, arc{90, 0}, arc{80, 50}, arc{260, 0})
	require.Len(t, m.Corners, 3)
	require.Len(t, m.Straights, 2)
	require.InDelta(t, 300-wide/2, m.Straights[0].Length, wide/2)
	require.Equal(t, Straight{m.Corners[0].Exit, m.Corners[1].Entry, m.Straights[0].Length}, m.Straights[0])
	require.InDelta(t, 460-wide/2, m.Straights[1].Length, wide/2, "across the line")
	require.Greater(t, m.Straights[1].From, m.Straights[1].To)
	one := bent(arc{300, 0}, arc{80, 50}, arc{300, 0})
	require.Len(t, one.Straights, 1)
	require.InDelta(t, 600-wide/2, one.Straights[0].Length, wide/2)
	require.Empty(t, bent(arc{900, 0}).Straights, "no corner, nothing to be between")
	require.Empty(t, bent(arc{314, 50}).Straights, "a circle")
}
