package assistant_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/demo"
	"earshot/assistant/journal"
	"earshot/rules"
)

// The demo's course is driven anticlockwise. A course file that says otherwise is told once.
func TestWrongWayRoundIsTold(t *testing.T) {
	for direction, want := range map[string]int{"clockwise": 1, "anticlockwise": 0} {
		set := channel.NewSet()
		k, err := car.Parse("car.yaml", []byte("name: any\n"))
		require.NoError(t, err)
		f, err := course.ParseFile("c.yaml", []byte("name: ring\nline: {lap_distance: true}\ndirection: "+direction+"\n"))
		require.NoError(t, err)
		none, err := rules.Compile(nil, assistant.NewVocabulary(set, nil, nil, nil, nil))
		require.NoError(t, err)
		core := assistant.NewCore(assistant.Setup{Channels: set, Car: k, Course: f, Rules: none, Voice: wordy{}})
		sim, err := demo.New(set, demo.Options{Seed: 5, Laps: 3, Rate: 30})
		require.NoError(t, err)
		var out assistant.Output
		for s, ok := sim.Next(); ok; s, ok = sim.Next() {
			core.Step(assistant.Input{Kind: assistant.KindSample, At: s.At, Row: s.Row}, &out)
		}
		told := 0
		for _, h := range bodies[*journal.Health](out.Events) {
			if h.Part == "course" {
				told++
				require.Contains(t, h.Text, "turns anticlockwise, and its file says clockwise")
			}
		}
		require.Equal(t, want, told, direction)
		require.NotNil(t, core.Course())
	}
}
