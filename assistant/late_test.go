package assistant_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/hand"
	"earshot/assistant/journal"
)

// Samples that come all at once, faster than they can be carried through, are all taken in, in order, and a press among them is too.
func TestLateLoopLosesNothing(t *testing.T) {
	core, set := newCore(t)
	const n = 20000
	f := &lumps{size: n}
	for i := range n {
		f.samples = append(f.samples, channel.Sample{At: float64(i) * 0.01, Row: set.NewRow()})
	}
	commands := make(chan assistant.Command, 1)
	var samples []float64
	pressed := 0
	a := &assistant.Assistant{
		Core: core, Session: journal.Session{ID: "late"}, Feed: f, Commands: commands,
		Record: func(in assistant.Input) error {
			switch in.Kind {
			case assistant.KindSample:
				if samples = append(samples, in.At); len(samples) == n/2 {
					commands <- assistant.Command{Name: hand.Mark, Source: "test"}
				}
			case assistant.KindCommand:
				pressed++
			}
			return nil
		},
	}
	require.NoError(t, a.Run(t.Context()))
	require.Equal(t, n, len(samples))
	for i, at := range samples {
		require.Equal(t, float64(i)*0.01, at)
	}
	require.Equal(t, 1, pressed)
}
