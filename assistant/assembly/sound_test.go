package assembly

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/audio"
	"earshot/audio/speaker"
	"earshot/audio/voice"
)

type mute struct{}

func (mute) Ready() error { return nil }
func (mute) Say(context.Context, string) (audio.Clip, voice.Report, error) {
	return audio.Clip{Rate: 16000, Samples: make([]float32, 16)}, voice.Report{}, nil
}

// counted counts what is asked of a device.
type counted struct{ played, stopped chan bool }

func (c counted) Play(audio.Clip) error { c.played <- true; return nil }
func (c counted) Stop()                 { c.stopped <- true }
func (c counted) SetGain(float64)       {}
func (c counted) Lost() <-chan error    { return nil }
func (c counted) Name() string          { return "counted" }
func (c counted) Close() error          { return nil }

// What the core says reaches the device, and what it cuts is cut there.
func TestWordsAndTheirEndReachTheDevice(t *testing.T) {
	d := counted{make(chan bool, 9), make(chan bool, 9)}
	s := speaker.New(mute{}, d, func(err error) { t.Error(err) })
	sink := assistant.SpeakTo(deviceSpeaker{s})
	require.NoError(t, sink.Take(assistant.Step{Out: &assistant.Output{Say: &assistant.Utterance{Text: "Marked."}}}))
	<-d.played
	require.Empty(t, d.stopped)
	require.NoError(t, sink.Take(assistant.Step{Out: &assistant.Output{Hush: true, Say: &assistant.Utterance{Text: "Stop the engine."}}}))
	require.Len(t, d.stopped, 1)
	<-d.played
	require.NoError(t, s.Close())
}
