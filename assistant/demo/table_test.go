package demo_test

import (
	"encoding/json"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
)

// everything is a short drive in which every channel of the car has a reading.
func everything() demo.Options {
	return demo.Options{Seed: 11, Story: true, Laps: 3, Rate: 20, Course: "saucer"}
}

// What is written reads back through the csv codec as the same numbers, bit for bit.
func TestTableReadsBack(t *testing.T) {
	set := channel.NewSet()
	sim, err := demo.New(set, everything())
	require.NoError(t, err)
	table := demo.NewTable(set, sim)
	f, err := feedfile.Parse("feed.yaml", table.Feed("samples.csv"), set)
	require.NoError(t, err)
	require.ElementsMatch(t, sim.Gives(), f.Covers)
	decoder, err := feed.NewDecoder(f, set)
	require.NoError(t, err)

	text := table.Begin(nil)
	var want []channel.Sample
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		text = table.Append(text, s)
		want = append(want, channel.Sample{At: s.At, Row: slices.Clone(s.Row)})
	}
	n := 0
	emit := func(s channel.Sample) {
		w := want[n]
		require.Equal(t, w.At, s.At)
		for i, v := range w.Row {
			if v != s.Row[i] && !(math.IsNaN(v) && math.IsNaN(s.Row[i])) {
				t.Fatalf("sample %d: %s is %v, read back as %v", n, set.At(channel.ID(i)).Name, v, s.Row[i])
			}
		}
		n++
	}
	decoder.Decode(text, 0, emit)
	decoder.End(emit)
	require.Equal(t, len(want), n)
}

// Gives promises neither too much nor too little: what it lists is told, and nothing else is.
func TestGivesTellsTheTruth(t *testing.T) {
	set := channel.NewSet()
	sim, err := demo.New(set, everything())
	require.NoError(t, err)
	told := map[channel.ID]bool{}
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		for i, v := range s.Row {
			if !math.IsNaN(v) {
				told[channel.ID(i)] = true
			}
		}
	}
	for i := range set.Len() {
		id := channel.ID(i)
		require.Equal(t, slices.Contains(sim.Gives(), id), told[id], set.At(id).Name)
	}
}

func TestTableDoesNotAllocate(t *testing.T) {
	set := channel.NewSet()
	sim, err := demo.New(set, everything())
	require.NoError(t, err)
	table := demo.NewTable(set, sim)
	line := table.Begin(make([]byte, 0, 1<<14))
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		s, ok := sim.Next()
		if !ok {
			t.Fatal("over too early")
		}
		line = table.Append(line[:0], s)
	}))
}

// The truth as a file: what a reader of it relies on.
func TestTruthAsJSON(t *testing.T) {
	sim, err := demo.New(channel.NewSet(), everything())
	require.NoError(t, err)
	for _, ok := sim.Next(); ok; _, ok = sim.Next() {
	}
	data, err := json.Marshal(sim.Truth())
	require.NoError(t, err)
	var back demo.Truth
	require.NoError(t, json.Unmarshal(data, &back))
	want := sim.Truth()
	require.Equal(t, want.Done, back.Done, "lap times come back exactly")
	for i, f := range want.Faults {
		want.Faults[i].ToLap = max(f.FromLap, f.ToLap) // written out
	}
	require.Equal(t, want.Faults, back.Faults)
	require.Equal(t, want.Presses, back.Presses)
	require.Equal(t, want.Course.Corners, back.Course.Corners)
	require.Equal(t, want.Car, back.Car)
	require.Equal(t, demo.Version, back.Version)
	require.EqualValues(t, 11, back.Seed)
	for _, part := range []string{`"kind":"blocked_duct"`, `"wheel":"fr"`, `"from_lap"`, `"understeer_gradient"`} {
		require.Contains(t, string(data), part)
	}
}
