package assistant_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/demo"
	"earshot/configs"
	"earshot/rules"
)

// measured is what a drive of the demo car gives.
func measured(t *testing.T, set *channel.Set, o demo.Options) []channel.Sample {
	sim, err := demo.New(set, o)
	require.NoError(t, err)
	var samples []channel.Sample
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		samples = append(samples, channel.Sample{At: s.At, Row: slices.Clone(s.Row)})
	}
	return samples
}

// drive takes the core through samples of which only the channels in keep are left, and tells which channels were
// ever given and which computed channels ever had a value, 0 not counted where it means that nothing of the kind has
// happened.
func driveWith(t *testing.T, set *channel.Set, k *car.Car, samples []channel.Sample, keep []bool) (given []channel.ID, seen,
	stirred []bool) {
	none, err := rules.Compile(nil, assistant.NewVocabulary(set, nil, nil, nil, nil))
	require.NoError(t, err)
	core := assistant.NewCore(assistant.Setup{Channels: set, Car: k, Rules: none, Voice: wordy{}})
	had := make([]bool, set.Len())
	seen, stirred = make([]bool, set.Len()), make([]bool, set.Len())
	row := set.NewRow()
	var out assistant.Output
	for _, s := range samples {
		for i, v := range s.Row {
			if !keep[i] {
				v = math.NaN()
			}
			row[i] = v
			had[i] = had[i] || !math.IsNaN(v)
		}
		out.Reset()
		core.Step(assistant.Input{Kind: assistant.KindSample, At: s.At, Row: row}, &out)
		for i, v := range core.Row() {
			seen[i] = seen[i] || !math.IsNaN(v)
			stirred[i] = stirred[i] || !math.IsNaN(v) && v != 0
		}
	}
	for i, yes := range had {
		if yes {
			given = append(given, channel.ID(i))
		}
	}
	return given, seen, stirred
}

// What the stages declare is what they do: a channel that is declared available comes to have a value, and one that
// is not never does. Else a rule would be silently dead, or switched off though it could speak. Each drive lacks
// channels and keys of the car file at random.
func TestStagesDoWhatTheyDeclare(t *testing.T) {
	data, err := configs.Files.ReadFile("cars/demo.yaml")
	require.NoError(t, err)
	set := channel.NewSet()
	drives := [][]channel.Sample{
		measured(t, set, demo.Options{Seed: 5, Laps: 8, Rate: 20}),
		measured(t, set, demo.Options{Seed: 6, Duration: 500, Rate: 20}),
	}
	keys := []string{"wheelbase", "steering_ratio", "  density", "  tyre_low"}
	drive := func(name string, samples []channel.Sample, lost []string, keep func(name string) bool) {
		t.Run(name, func(t *testing.T) {
			text := string(data)
			for _, key := range lost { // a comment has the same lines
				text = strings.Replace(text, "\n"+key+":", "\n"+strings.Repeat(" ", len(key)-len(strings.TrimLeft(key, " ")))+"#"+key+":",
					1)
			}
			k, err := car.Parse("demo.yaml", []byte(text))
			require.NoError(t, err)
			kept := make([]bool, set.Len())
			for i := range kept {
				kept[i] = keep(set.At(channel.ID(i)).Name)
			}
			given, seen, stirred := driveWith(t, set, k, samples, kept)
			voc := assistant.NewVocabulary(set, given, k, nil, nil)
			declared := assistant.Declared(set)
			for i := range set.Len() {
				id := channel.ID(i)
				c := set.At(id)
				if c.Origin != channel.Computed {
					continue
				}
				d := declared[id]
				require.NotNil(t, d, "%s is declared by no stage", c.Name)
				n, ok := voc.Name(c.Name)
				require.True(t, ok)
				switch {
				case n.Available && !d.Seldom:
					require.True(t, seen[i], "%s is declared available and never had a value; given %v", c.Name, namesOf(set, given))
				case !n.Available && d.Resting:
					require.False(t, stirred[i], "%s is declared unavailable (%s) and stirred; given %v", c.Name, n.Why,
						namesOf(set, given))
				case !n.Available:
					require.False(t, seen[i], "%s is declared unavailable (%s) and had a value; given %v", c.Name, n.Why,
						namesOf(set, given))
				}
			}
		})
	}
	for seed := range uint64(30) {
		random := rand.New(rand.NewPCG(seed, 0))
		often := 0.5 + 0.45*random.Float64()
		var lost []string
		for _, key := range keys {
			if random.Float64() < 0.2 {
				lost = append(lost, key)
			}
		}
		drive(fmt.Sprintf("seed %d", seed), drives[seed%2], lost, func(string) bool { return random.Float64() < often })
	}
	only := func(names ...string) func(string) bool {
		return func(n string) bool { return slices.Contains(names, n) }
	}
	drive("everything", drives[0], nil, func(string) bool { return true })
	drive("speed and laps", drives[0], nil, only("speed", "lap_number"))
	drive("speed alone", drives[1], nil, only("speed"))
	drive("the chequered flag alone", drives[0], nil, only("speed", "lap_distance", "flag", "fuel_volume"))
	drive("the clock and no line", drives[1], nil, only("speed", "session_time_left", "fuel_volume"))
}

func namesOf(set *channel.Set, ids []channel.ID) (names []string) {
	for _, id := range ids {
		names = append(names, set.At(id).Name)
	}
	return names
}

// What the course file adds, and what is kept of other sessions, makes names available.
func TestVocabularyOfCourseFileAndBests(t *testing.T) {
	set := channel.NewSet()
	given := []channel.ID{channel.LapNumber, channel.Speed, channel.PositionX, channel.PositionY}
	courseWith := func(more string) *course.File {
		f, err := course.ParseFile("c.yaml", []byte("name: ring\nline: {lap_distance: true}\n"+more))
		require.NoError(t, err)
		return f
	}
	for _, tt := range []struct {
		id    channel.ID
		file  *course.File
		bests bool
		lacks string
	}{
		{channel.PotentialLap, courseWith("sectors: [1 km]\n"), false, "no sector or course_distance with sectors in the course file"},
		{channel.LapVoid, courseWith("width: 12 m\n"), false, "position_x and position_y with width in the course file"},
		{channel.DeltaReference, nil, true, "no bests of other sessions"},
		{channel.RecordLap, nil, true, "no bests of other sessions"},
	} {
		v := assistant.NewVocabulary(set, given, nil, nil, nil)
		n, ok := v.Name(set.At(tt.id).Name)
		require.True(t, ok)
		require.False(t, n.Available)
		require.Contains(t, n.Why, tt.lacks)
		v = assistant.NewVocabulary(set, given, nil, tt.file, nil)
		if tt.bests {
			v.KeepBests()
		}
		n, _ = v.Name(set.At(tt.id).Name)
		require.True(t, n.Available, n.Why)
	}
}
