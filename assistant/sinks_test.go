package assistant_test

import (
	"errors"
	"io/fs"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/hand"
	"earshot/assistant/health"
	"earshot/assistant/journal"
	"earshot/assistant/words"
	"earshot/audio/voice"
	"earshot/configs"
)

// heard keeps what a driver hears.
type heard struct{ texts []string }

func (h *heard) Say(u assistant.Utterance) { h.texts = append(h.texts, u.Text) }
func (h *heard) Hush(float64)              {}

// A journal that cannot be written for a while is told once, aloud too, and once that it works again. The run goes on,
// the other sinks get everything, and a replay of what was recorded gives what they got.
func TestASinkThatFailsEndsNothing(t *testing.T) {
	var inputs []assistant.Input
	var lived []journal.Event
	ears := &heard{}
	synctest.Test(t, func(t *testing.T) {
		core, set := newCore(t)
		sim, err := demo.New(set, demo.Options{Seed: 7, Story: true, Rate: 10})
		require.NoError(t, err)
		begin := time.Now()
		broken := func(journal.Event) error {
			if s := time.Since(begin); s > 30*time.Second && s < 60*time.Second {
				return errors.New("no space left on device")
			}
			return nil
		}
		a := &assistant.Assistant{
			Core: core, Session: journal.Session{ID: "live", Feed: "demo"}, Feed: &drive{sim: sim, until: 150},
			Sinks: append(keepAll(&inputs, &lived), assistant.JournalTo(broken), assistant.SpeakTo(ears)),
		}
		require.NoError(t, a.Run(t.Context()))
	})
	told := slices.DeleteFunc(bodies[*journal.Health](lived), func(h *journal.Health) bool { return h.Part != "journal" })
	require.GreaterOrEqual(t, len(told), 2)
	require.Equal(t, &journal.Health{Part: "journal", State: "lost", Text: "no space left on device"}, told[0])
	require.Equal(t, "ok", told[len(told)-1].State)
	require.LessOrEqual(t, len(told), 6, "however often it fails")
	require.Contains(t, ears.texts, "Journal stopped.")
	require.Equal(t, "end", string(inputs[len(inputs)-1].Kind))

	core, _ := newCore(t)
	var out assistant.Output
	for _, in := range recorded(t, inputs) {
		core.Step(in, &out)
	}
	require.Equal(t, journalText(t, lived), journalText(t, out.Events))
}

// A replay whose journal cannot be written has failed.
func TestASinkThatFailsEndsAReplay(t *testing.T) {
	core, _ := newCore(t)
	full := errors.New("no space left on device")
	a := &assistant.Assistant{Core: core, Sinks: []assistant.Sink{assistant.JournalTo(func(journal.Event) error { return full })}}
	inputs := assistant.NewFeedReplay(&lumps{size: 1, samples: []channel.Sample{{At: 1, Row: channel.NewSet().NewRow()}}}, nil)
	require.ErrorIs(t, a.Replay(t.Context(), inputs, 0), full)
}

// Nobody waits at the door: what does not fit is refused, and so is what comes after the end.
func TestTheDoorIsBounded(t *testing.T) {
	door := assistant.NewDoor()
	n := 0
	for ; n < 100000; n++ {
		if err := door.Ask(hand.Request{Name: hand.Mark}, time.Time{}); err != nil {
			require.ErrorIs(t, err, assistant.ErrFull)
			break
		}
	}
	require.Equal(t, 1024, n)
	var inputs []assistant.Input
	var lived []journal.Event
	core, _ := newCore(t)
	a := &assistant.Assistant{Core: core, Feed: &lumps{size: 1}, Door: door, Sinks: keepAll(&inputs, &lived)}
	require.NoError(t, a.Run(t.Context()))
	require.Len(t, bodies[*journal.Mark](lived), n, "what came before the end is taken in")
	require.ErrorIs(t, door.Health(*assistant.SoundPart.Is(health.OK, "")), assistant.ErrShut)
}

// Every part has a line for documents, its own name, and words where it is to be heard, which the voice that ships has.
func TestPartsAreDeclared(t *testing.T) {
	pack, err := fs.Sub(configs.Files, "voices/clear")
	require.NoError(t, err)
	v, err := voice.Open(pack, nil)
	require.NoError(t, err)
	seen, suffix := map[string]bool{}, map[bool]string{true: " one of many"}
	for _, p := range assistant.Parts() {
		require.False(t, seen[p.Name], p.Name)
		seen[p.Name] = true
		require.NotEmpty(t, p.About, p.Name)
		require.Equal(t, p.Name, health.Named(assistant.Parts(), p.Name+suffix[p.Many]).Name)
	}
	for _, text := range assistant.Phrases(words.English, nil) {
		require.NotEmpty(t, text, "a part has words that are in no table")
		_, covered := v.Duration(text)
		require.True(t, covered, text)
	}
}
