package speaker

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/audio"
	"earshot/audio/device"
	"earshot/audio/voice"
)

// slow makes clips of so many samples as the text has letters, in a second each.
type slow struct{ making time.Duration }

func (slow) Ready() error { return nil }
func (s slow) Say(ctx context.Context, text string) (audio.Clip, voice.Report, error) {
	select {
	case <-time.After(s.making):
	case <-ctx.Done():
		return audio.Clip{}, voice.Report{}, ctx.Err()
	}
	if text == "broken" {
		return audio.Clip{}, voice.Report{}, errors.New("no clip")
	}
	return audio.Clip{Rate: 16000, Samples: make([]float32, len(text))}, voice.Report{}, nil
}

// loud is a device that keeps in order what is asked of it.
type loud struct {
	mu   sync.Mutex
	done []any // the length of a clip, or "stop"
	err  error
}

func (l *loud) keep(what any) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.done = append(l.done, what)
}
func (l *loud) Play(c audio.Clip) error { l.keep(len(c.Samples)); return l.err }
func (l *loud) Stop()                   { l.keep("stop") }
func (l *loud) SetGain(float64)         {}
func (l *loud) Lost() <-chan error      { return nil }
func (l *loud) Name() string            { return "loud" }
func (l *loud) Close() error            { return nil }

func TestSpeaker(t *testing.T) {
	tests := []struct {
		name    string
		making  time.Duration
		err     error
		do      func(s *Speaker)
		want    []any
		trouble []error
	}{
		{"in order", 0, nil, func(s *Speaker) { s.Say("a"); s.Say("bb"); s.Say("ccc") }, []any{1, 2, 3}, nil},
		{"hush stops the device at once, and what waits", time.Second, nil, func(s *Speaker) {
			s.Say("a")
			time.Sleep(1500 * time.Millisecond) // the first is playing
			s.Say("bb")
			s.Say("ccc")
			s.Hush()
			s.Say("dddd")
		}, []any{1, "stop", 4}, nil},
		{"a clip under way is not played after hush", time.Second, nil, func(s *Speaker) {
			s.Say("a")
			time.Sleep(500 * time.Millisecond)
			s.Hush()
		}, []any{"stop"}, nil},
		{"the oldest gives way", time.Second, nil, func(s *Speaker) {
			s.Say("a")
			time.Sleep(500 * time.Millisecond)
			for _, text := range []string{"bb", "ccc", "dddd", "eeeee", "ffffff"} {
				s.Say(text)
			}
		}, []any{1, 3, 4, 5, 6}, []error{ErrBehind}},
		{"a text that cannot be said is told, a lost device not", 0, device.ErrLost, func(s *Speaker) { s.Say("broken"); s.Say("bb") }, []any{2},
			[]error{errors.New("no clip")}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := &loud{err: tt.err}
				var trouble []error
				s := New(slow{tt.making}, d, func(err error) { trouble = append(trouble, err) })
				tt.do(s)
				require.NoError(t, s.Close())
				require.Equal(t, tt.want, d.done)
				require.Len(t, trouble, len(tt.trouble))
				for i := range trouble {
					require.ErrorContains(t, trouble[i], tt.trouble[i].Error())
				}
			})
		})
	}
}

// tone is a voice that hums for half a minute, whatever it is given.
type tone struct{}

func (tone) Ready() error { return nil }
func (tone) Say(context.Context, string) (audio.Clip, voice.Report, error) {
	return audio.Clip{Rate: 16000, Samples: slices.Repeat([]float32{0.3, -0.3, -0.3, 0.3}, 30*4000)}, voice.Report{}, nil
}

// told is a device that tells when it was given a clip.
type told struct {
	device.Device
	played chan struct{}
}

func (d told) Play(c audio.Clip) error {
	defer close(d.played)
	return d.Device.Play(c)
}

// What is hushed ends in a real device too: its file holds a fraction of the hum. Without the hush it holds the eight
// seconds and more that closing waits.
func TestHushEndsTheSound(t *testing.T) {
	path := filepath.Join(t.TempDir(), "heard.wav")
	d, err := device.Open(t.Context(), "wav:"+path, nil)
	require.NoError(t, err)
	sounding := make(chan struct{})
	s := New(tone{}, told{d, sounding}, func(err error) { t.Error(err) })
	s.Say("hum")
	<-sounding
	s.Hush()
	require.NoError(t, s.Close())
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	c, err := audio.ReadWAV(f)
	require.NoError(t, err)
	require.Less(t, c.Seconds(), 5.0)
}
