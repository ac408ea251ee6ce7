package rules_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/rules"
)

func shipped(t testing.TB) []rules.Source {
	t.Helper()
	paths, err := filepath.Glob("../configs/rules/*.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	var out []rules.Source
	for _, p := range paths {
		b, err := os.ReadFile(p)
		require.NoError(t, err)
		out = append(out, rules.Source{Name: filepath.ToSlash(p), Data: b})
	}
	return out
}

func TestShippedFilesCompile(t *testing.T) {
	set, err := rules.Compile(shipped(t), car())
	require.NoError(t, err)
	for _, r := range set.Rules() {
		if r.Name == "sector-best" { // too much for most
			require.Len(t, r.Why, 1)
			require.Contains(t, r.Why[0], "switched off in")
			continue
		}
		require.True(t, r.Active, r.Name)
		require.Empty(t, r.Why, r.Name)
	}
	require.Equal(t, []string{"brakes", "fuel", "lap", "delta", "gap", "tyres"}, set.Asks())
}

// A poor feed switches rules off with a reason; it makes none of them wrong.
func TestShippedFilesWithAPoorFeed(t *testing.T) {
	voc := car()
	for _, n := range voc.Names() {
		if n != "speed" && n != "lap_completed" && n != "feed_silence" && n != "fuel_laps_left" && n != "fuel_box_laps" {
			voc.absent[n] = "the feed has only speed"
		}
	}
	set, err := rules.Compile(shipped(t), voc)
	require.NoError(t, err)
	var on []string
	for _, r := range set.Rules() {
		if r.Active {
			on = append(on, r.Name)
		} else {
			require.NotEmpty(t, r.Why, r.Name)
		}
	}
	require.Equal(t, []string{"fuel-box", "feed-silent"}, on)
	text, _, ok := set.Answer("tyres", voc.row(t, nil))
	require.True(t, ok)
	require.Equal(t, "Tyres unknown.", text)
}

// The voice starts with the condition and not with filler, and is short: at 160 words a minute (NHTSA 1996, preliminary
// guidelines, 2.4.6.7: about 156) a call of seven seconds has 18 words. Seven seconds is common practice, no source.
func TestShippedWordsAreFew(t *testing.T) {
	set, err := rules.Compile(shipped(t), car())
	require.NoError(t, err)
	for _, p := range set.Phrases() {
		require.LessOrEqual(t, len(strings.Fields(p)), 6, p)
		require.NotRegexp(t, `\d`, p)
	}
}

// How the driver stands, in words that the voice has: against the best lap of the session, else against the saved one.
func TestShippedAnswersAboutLaps(t *testing.T) {
	voc := car()
	set, err := rules.Compile(shipped(t), voc)
	require.NoError(t, err)
	for _, tt := range []struct {
		ask  string
		env  map[string]float64
		want string
	}{
		{"delta", map[string]float64{"delta_best": -0.31, "delta_reference": 1}, "Three tenths quicker."},
		{"delta", map[string]float64{"delta_best": 0.31}, "Three tenths slower."},
		{"delta", map[string]float64{"delta_reference": -0.2}, "Two tenths quicker than the saved lap."},
		{"delta", map[string]float64{"delta_reference": 0.2}, "Two tenths slower than the saved lap."},
		{"delta", nil, "No lap yet."},
		{"lap", map[string]float64{"completed_lap_time": 103, "best_lap_time": 102.5, "potential_lap_time": 102.1},
			"Last forty-three flat. Best forty-two five. By sector, forty-two one."},
		{"lap", map[string]float64{"completed_lap_time": 103, "best_lap_time": 102.5, "potential_lap_time": 102.5},
			"Last forty-three flat. Best forty-two five."},
	} {
		got, _, ok := set.Answer(tt.ask, voc.row(t, tt.env))
		require.True(t, ok)
		require.Equal(t, tt.want, got)
	}
}

// What ships switched off is switched on by its name.
func TestShippedRuleIsSwitchedOn(t *testing.T) {
	own := rules.Source{Name: "own.yaml", Data: []byte("rules: [{name: sector-best, off: false}, {name: lap-void, off: true}]")}
	set, err := rules.Compile(append(shipped(t), own), car())
	require.NoError(t, err)
	for _, r := range set.Rules() {
		switch r.Name {
		case "sector-best":
			require.True(t, r.Active, r.Why)
		case "lap-void":
			require.False(t, r.Active)
		}
	}
}
