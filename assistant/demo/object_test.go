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
	"earshot/configs"
)

// What is sent as JSON is described by the feed file that ships, whole, and reads back as the same numbers, bit for bit.
func TestObjectReadsBack(t *testing.T) {
	data, err := configs.Files.ReadFile("feeds/demo-json.yaml")
	require.NoError(t, err)
	set := channel.NewSet()
	f, err := feedfile.Parse("demo-json.yaml", data, set)
	require.NoError(t, err)
	var given []channel.ID
	for _, o := range []demo.Options{
		{Seed: 11, Story: true, Laps: 1, Rate: 20, Course: "saucer", Rivals: 5},
		{Seed: 11, Duration: 60, Rate: 20, Course: "saucer"},
	} {
		sim, err := demo.New(set, o)
		require.NoError(t, err)
		given = append(given, sim.Gives()...)
		decoder, err := feed.NewDecoder(f, set)
		require.NoError(t, err)
		object := demo.NewObject(set, sim)
		line := make([]byte, 0, 1<<13)
		n, back := 0, 0
		for s, ok := sim.Next(); ok; s, ok = sim.Next() {
			line = object.Append(line[:0], s)
			require.True(t, json.Valid(line), "%s", line)
			decoder.Decode(line, 0, func(got channel.Sample) {
				back++
				require.InDelta(t, s.At, got.At, 1e-9)
				for i, v := range s.Row {
					if v != got.Row[i] && !(math.IsNaN(v) && math.IsNaN(got.Row[i])) {
						t.Fatalf("sample %d: %s is %v, read back as %v", n, set.At(channel.ID(i)).Name, v, got.Row[i])
					}
				}
			})
			n++
		}
		require.Equal(t, n, back)
	}
	slices.Sort(given)
	require.ElementsMatch(t, slices.Compact(given), f.Covers, "the feed file maps what can be sent, and nothing else")
}

func TestObjectDoesNotAllocate(t *testing.T) {
	set := channel.NewSet()
	sim, err := demo.New(set, everything())
	require.NoError(t, err)
	object := demo.NewObject(set, sim)
	line := make([]byte, 0, 1<<14)
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		s, ok := sim.Next()
		if !ok {
			t.Fatal("over too early")
		}
		line = object.Append(line[:0], s)
	}))
}
