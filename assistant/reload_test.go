package assistant_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/journal"
	"earshot/rules"
)

// A rule that is changed under way keeps what it remembers where only its words changed; rules with a mistake leave the
// old ones in force and say why; the change is an input like any other, so it survives a recording.
func TestRulesChangeUnderWay(t *testing.T) {
	set := channel.NewSet()
	k, err := car.Parse("car.yaml", []byte("name: any\n"))
	require.NoError(t, err)
	names := assistant.NewVocabulary(set, []channel.ID{channel.Speed}, nil, nil, nil)
	file := func(limit, say string) []rules.Source {
		return []rules.Source{{Name: "r.yaml", Data: []byte(
			"rules:\n  - {name: quick, when: speed > " + limit + ", on_delay: 5 s, say: " + say + ", repeat: 20 s}\n")}}
	}
	shipped, err := rules.Compile(file("50 m/s", "Quick."), names)
	require.NoError(t, err)
	core := assistant.NewCore(assistant.Setup{Channels: set, Car: k, Rules: shipped, Names: names, Voice: wordy{}})
	var out assistant.Output
	row := set.NewRow()
	row[channel.Speed] = 60
	at := 0.0
	drive := func(seconds float64) {
		for end := at + seconds; at < end; at += 0.1 {
			core.Step(assistant.Input{Kind: assistant.KindSample, At: at, Row: row}, &out)
		}
	}
	change := func(files []rules.Source) *journal.Health {
		in := assistant.Input{Kind: assistant.KindRules, At: at, Rules: files}
		data, err := in.Encode()
		require.NoError(t, err)
		in, err = assistant.DecodeInput("rules", at, data)
		require.NoError(t, err)
		core.Step(in, &out)
		health := bodies[*journal.Health](out.Events)
		return health[len(health)-1]
	}
	said := func() (texts []string) {
		for _, c := range bodies[*journal.Cue](out.Events) {
			if c.Verdict == "said" {
				texts = append(texts, c.Text)
			}
		}
		return texts
	}
	drive(4)
	require.Empty(t, said())
	require.Equal(t, "ok", change(file("50 m/s", "Very quick.")).State)
	drive(3) // the on-delay of 5 s goes on counting through the change
	require.Equal(t, []string{"Very quick."}, said())

	h := change(file("50 furlongs", "Never."))
	require.Equal(t, "degraded", h.State)
	require.Contains(t, h.Text, "r.yaml:2:")
	require.Contains(t, h.Text, "furlongs")
	drive(20)
	require.Equal(t, []string{"Very quick.", "Very quick."}, said(), "the old rules are in force")

	require.Equal(t, "ok", change(file("70 m/s", "Far too quick.")).State)
	drive(30)
	require.Equal(t, []string{"Very quick.", "Very quick."}, said())
}
