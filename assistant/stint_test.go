package assistant_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/demo"
	"earshot/assistant/hand"
	"earshot/assistant/journal"
)

// The driver's own key ends a stint and begins the next wherever the car is.
func TestDriversKeyBeginsAStint(t *testing.T) {
	core, set := newCore(t)
	sim, err := demo.New(set, demo.Options{Seed: 4, Laps: 2, Rate: 20})
	require.NoError(t, err)
	var all []journal.Event
	var out assistant.Output
	pressed := false
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		out.Reset()
		core.Step(assistant.Input{Kind: assistant.KindSample, At: s.At, Row: s.Row}, &out)
		if s.At > 150 && !pressed {
			pressed = true
			core.Step(assistant.Input{Kind: assistant.KindCommand, At: s.At, Request: &hand.Request{Name: hand.Stint, Source: "test"}},
				&out)
		}
		all = append(all, out.Events...)
	}
	var story []string
	for _, s := range bodies[*journal.Stint](all) {
		story = append(story, s.Event+string(rune('0'+s.Number)))
	}
	require.Equal(t, []string{"start1", "end1", "start2", "end2"}, story)
	said := false
	for _, c := range bodies[*journal.Cue](all) {
		said = said || c.Rule == "stint" && c.Text == "New stint." && c.Verdict == "said"
	}
	require.True(t, said)
}
