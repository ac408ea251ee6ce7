package demo_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/journal"
	"earshot/configs"
	"earshot/rules"
)

// wordy is a phrasebook without a voice: a word takes 0.4 s.
type wordy struct{}

func (wordy) Duration(text string) (float64, bool) {
	return 0.4 * float64(len(strings.Fields(text))), true
}

// heard drives a session with the rules and the car file that ship and returns the names of the rules that spoke, by lap.
func heard(t *testing.T, o demo.Options) map[string][]int {
	t.Helper()
	set := channel.NewSet()
	sim, err := demo.New(set, o)
	require.NoError(t, err)
	data, err := configs.Files.ReadFile("cars/demo.yaml")
	require.NoError(t, err)
	k, err := car.Parse("demo.yaml", data)
	require.NoError(t, err)
	var sources []rules.Source
	entries, err := configs.Files.ReadDir("rules")
	require.NoError(t, err)
	for _, e := range entries {
		data, err := configs.Files.ReadFile("rules/" + e.Name())
		require.NoError(t, err)
		if strings.HasSuffix(e.Name(), ".yaml") && !strings.HasSuffix(e.Name(), "_test.yaml") {
			sources = append(sources, rules.Source{Name: e.Name(), Data: data})
		}
	}
	shipped, err := rules.Compile(sources, assistant.NewVocabulary(set, sim.Gives(), k, nil, nil))
	require.NoError(t, err)
	core := assistant.NewCore(assistant.Setup{Channels: set, Car: k, Rules: shipped, Voice: wordy{}})
	said := map[string][]int{}
	var out assistant.Output
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		out.Reset()
		core.Step(assistant.Input{Kind: assistant.KindSample, At: s.At, Row: s.Row}, &out)
		for _, e := range out.Events {
			if c, ok := e.Body.(*journal.Cue); ok && c.Verdict == "said" {
				said[c.Rule] = append(said[c.Rule], int(s.Row[channel.LapNumber]))
			}
		}
	}
	return said
}

// What the world can do is heard through the rules that ship, in the laps where it happens, and not without it.
func TestTheWorldIsHeard(t *testing.T) {
	t.Parallel()
	quiet := heard(t, demo.Options{Seed: 6, Course: "ledger", Laps: 5, Rate: 30})
	for _, rule := range []string{"oil-hot", "oil-pressure-low", "coolant-hot", "yellow-flag", "full-course-caution", "blue-flag", "gap-ahead", "gap-behind", "limiter-off-in-lane", "limiter-on-course"} {
		require.Empty(t, quiet[rule], rule)
	}
	require.Equal(t, []int{6}, quiet["chequered-flag"])

	slow := demo.Baseline()
	slow.Power *= 0.5
	said := heard(t, demo.Options{Seed: 6, Course: "ledger", Laps: 9, Rate: 30, Rivals: 9, Car: &slow, Stops: []demo.Stop{{Lap: 7, Fuel: 20}}, Faults: []demo.Fault{
		{Kind: demo.Yellow, FromLap: 2, Corner: 3, Amount: 0.2},
		{Kind: demo.Caution, FromLap: 3, Corner: 4, Amount: 60},
		{Kind: demo.OilLoss, FromLap: 5, Amount: 0.75},
		{Kind: demo.Radiator, FromLap: 5, ToLap: 8, Amount: 0.5},
	}})
	require.Contains(t, said["yellow-flag"], 2)
	require.Contains(t, said["full-course-caution"], 3)
	require.Contains(t, said["oil-pressure-low"], 5)
	require.False(t, slices.Contains(said["oil-pressure-low"], 4))
	require.NotEmpty(t, said["coolant-hot"])
	require.NotEmpty(t, said["blue-flag"])
	require.NotEmpty(t, said["gap-ahead"])
	require.NotEmpty(t, said["gap-behind"])
	require.Empty(t, said["limiter-off-in-lane"], "the driver uses it")
	require.Empty(t, said["limiter-on-course"])
	t.Log(said)
}
