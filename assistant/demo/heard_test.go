package demo_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/debrief"
	"earshot/assistant/demo"
	"earshot/assistant/journal"
	"earshot/assistant/session/model"
	"earshot/configs"
	"earshot/rules"
)

// wordy is a phrasebook without a voice: a word takes 0.4 s.
type wordy struct{}

func (wordy) Duration(text string) (float64, bool) {
	return 0.4 * float64(len(strings.Fields(text))), true
}

// heard drives a session and returns the names of the rules that spoke, by lap.
func heard(t *testing.T, o demo.Options) map[string][]int {
	t.Helper()
	said := map[string][]int{}
	drive(t, o, func(lap int, e journal.Event) {
		if c, ok := e.Body.(*journal.Cue); ok && c.Verdict == "said" {
			said[c.Rule] = append(said[c.Rule], lap)
		}
	})
	return said
}

// drive drives a session with the rules and the car file that ship and gives each event to see, with the lap of the feed.
func drive(t *testing.T, o demo.Options, see func(lap int, e journal.Event)) {
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
	var out assistant.Output
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		out.Reset()
		core.Step(assistant.Input{Kind: assistant.KindSample, At: s.At, Row: s.Row}, &out)
		for _, e := range out.Events {
			see(int(s.Row[channel.LapNumber]), e)
		}
	}
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

// A fault of laps 4 to 6 is found in those laps and told of them; that it repeats is known from the third on.
func TestFindingsAreThoseOfTheirPass(t *testing.T) {
	t.Parallel()
	var events []journal.Event
	drive(t, demo.Options{Seed: 6, Laps: 9, Rate: 60, Faults: []demo.Fault{{Kind: demo.Understeer, FromLap: 4, ToLap: 6, Corner: 3, Amount: 0.35}}},
		func(_ int, e journal.Event) { events = append(events, e) })
	push := journal.Finding{Kind: journal.Understeer, Phase: "mid_corner"}
	var shown, repeated []int
	for _, p := range model.Of(events).Passes {
		if p.Number == 3 && slices.Contains(p.Findings, push) {
			shown = append(shown, p.LapNumber)
		}
		if p.Number == 3 && slices.Contains(p.Repeated, push) {
			repeated = append(repeated, p.LapNumber)
		}
	}
	require.Equal(t, []int{4, 5, 6}, shown)
	require.Equal(t, []int{6, 7, 8}, repeated)
	found := slices.IndexFunc(debrief.Build(events, debrief.Context{}).Corners, func(c debrief.Corner) bool {
		return c.Number == 3 && slices.ContainsFunc(c.Findings, func(f debrief.Finding) bool {
			return f.Finding == push && slices.Equal(f.Laps, []int{4, 5, 6})
		})
	})
	require.GreaterOrEqual(t, found, 0)
}
