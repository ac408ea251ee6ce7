package assistant_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/configs"
	"earshot/rules"
)

// seenChannels drives the demo car for some laps with the measured channels that keep allows, and tells which channels
// were ever given and which computed channels ever had a value.
func seenChannels(t *testing.T, keep func(name string) bool) (given []channel.ID, computed map[channel.ID]bool) {
	t.Helper()
	set := channel.NewSet()
	data, err := configs.Files.ReadFile("cars/demo.yaml")
	require.NoError(t, err)
	k, err := car.Parse("demo.yaml", data)
	require.NoError(t, err)
	none, err := rules.Compile(nil, assistant.NewVocabulary(set, nil, false, nil, nil))
	require.NoError(t, err)
	core := assistant.NewCore(assistant.Setup{Channels: set, Car: k, Rules: none, Voice: wordy{}})
	sim, err := demo.New(set, demo.Options{Seed: 5, Laps: 9, Rate: 30})
	require.NoError(t, err)
	allowed := make([]bool, set.Len())
	for i := range allowed {
		allowed[i] = keep(set.At(channel.ID(i)).Name)
	}
	had := make([]bool, set.Len())
	computed = make(map[channel.ID]bool)
	var out assistant.Output
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		for i, v := range s.Row {
			switch {
			case !allowed[i]:
				s.Row[i] = math.NaN()
			case !math.IsNaN(v):
				had[i] = true
			}
		}
		out.Reset()
		core.Step(assistant.Input{Kind: assistant.KindSample, At: s.At, Row: s.Row}, &out)
		for i, v := range core.Row() {
			if id := channel.ID(i); !math.IsNaN(v) && set.At(id).Origin == channel.Computed {
				computed[id] = true
			}
		}
	}
	for i, yes := range had {
		if yes {
			given = append(given, channel.ID(i))
		}
	}
	return given, computed
}

// What the vocabulary calls available comes to have a value, and what it calls unavailable never does: else a rule would be
// silently dead, or switched off though it could speak.
func TestVocabularyTellsTheTruth(t *testing.T) {
	without := func(parts ...string) func(string) bool {
		return func(name string) bool {
			return !slices.ContainsFunc(parts, func(p string) bool { return strings.HasPrefix(name, p) })
		}
	}
	// Never predicted on every drive: it needs a trend that is clear, or a shortage, or an unlucky tyre.
	optional := []channel.ID{channel.TyreLapsToReady, channel.TyresNeverReady, channel.LapDelta, channel.FuelSave, channel.FuelToAdd,
		channel.FuelState, channel.FuelStateLaps, channel.FuelTarget, channel.FuelOverTarget, channel.FuelSaving, channel.FuelBoxLaps, channel.StopWindow}
	// Has a value whether or not anything can change it.
	harmless := []channel.ID{
		channel.LapVoid, channel.Lap, channel.LapCompleted, channel.PersonalBest, channel.StintLaps, channel.Stint,
		channel.SectorCompleted, channel.PersonalRecord,
	}
	tests := []struct {
		name string
		keep func(string) bool
	}{
		{"everything", func(string) bool { return true }},
		{"no temperatures", without("tyre_", "brake_temperature")},
		{"no fuel", without("fuel_")},
		{"no end of the race", without("session_", "flag")}, // the chequered flag is an end too: nothing is to go then
		{"the chequered flag alone", without("session_", "leader_")},
		{"no line", without("lap_", "last_lap", "position_")},
		{"no steering", without("steering", "road_wheel")},
		{"no wheel speeds", without("wheel_speed")},
		{"speed and laps", func(name string) bool { return name == "speed" || name == "lap_number" }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			given, computed := seenChannels(t, tt.keep)
			set := channel.NewSet()
			voc := assistant.NewVocabulary(set, given, false, nil, nil)
			for i := range set.Len() {
				id := channel.ID(i)
				c := set.At(id)
				if c.Origin != channel.Computed {
					continue
				}
				n, ok := voc.Name(c.Name)
				require.True(t, ok)
				switch {
				case n.Available && !slices.Contains(optional, id):
					require.True(t, computed[id], "%s is called available and never had a value", c.Name)
				case !n.Available && !slices.Contains(harmless, id):
					require.False(t, computed[id], "%s is called unavailable (%s) and had a value", c.Name, n.Why)
				}
			}
		})
	}
}

// What the course file adds, and what is kept of other sessions, makes names available.
func TestVocabularyOfCourseFileAndBests(t *testing.T) {
	set := channel.NewSet()
	given := []channel.ID{channel.LapNumber, channel.Speed, channel.PositionX, channel.PositionY}
	for _, tt := range []struct {
		id      channel.ID
		prepare func(*assistant.Vocabulary)
		lacks   string
	}{
		{channel.PotentialLap, func(v *assistant.Vocabulary) { v.CourseFile(true, false) }, "no sector, or sectors in the course file"},
		{channel.LapVoid, func(v *assistant.Vocabulary) { v.CourseFile(false, true) }, "position with width in the course file"},
		{channel.DeltaReference, (*assistant.Vocabulary).KeepBests, "no saved lap"},
		{channel.RecordLap, (*assistant.Vocabulary).KeepBests, "no bests of other sessions"},
	} {
		v := assistant.NewVocabulary(set, given, false, nil, nil)
		n, ok := v.Name(set.At(tt.id).Name)
		require.True(t, ok)
		require.False(t, n.Available)
		require.Contains(t, n.Why, tt.lacks)
		tt.prepare(v)
		n, _ = v.Name(set.At(tt.id).Name)
		require.True(t, n.Available, n.Why)
	}
}
