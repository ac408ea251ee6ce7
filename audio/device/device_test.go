package device

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/audio"
	"earshot/audio/device/soundtest"
)

func opener(name string) func(t *testing.T) Device {
	return func(t *testing.T) Device {
		t.Helper()
		d, err := Open(t.Context(), name, nil)
		require.NoError(t, err)
		t.Cleanup(func() { d.Stop(); _ = d.Close() })
		return d
	}
}

func TestSilentKeepsTheContract(t *testing.T) { keepsTheContract(t, opener("silent")) }

func TestWAVKeepsTheContract(t *testing.T) {
	keepsTheContract(t, opener("wav:"+filepath.Join(t.TempDir(), "x.wav")))
}

func TestWAVHoldsWhatWasPlayed(t *testing.T) {
	file := filepath.Join(t.TempDir(), "x.wav")
	d := opener("wav:" + file)(t)
	d.SetGain(-6)
	require.NoError(t, d.Play(tone(44100, 1000, 0.5, 0.5)))
	require.NoError(t, d.Close())
	f, err := os.Open(file)
	require.NoError(t, err)
	defer f.Close()
	c, err := audio.ReadWAV(f)
	require.NoError(t, err)
	got, err := heard(c.Samples, c.Rate)
	require.NoError(t, err)
	require.InDelta(t, 0.5, got.Seconds, 0.01)
	require.InDelta(t, 1000, got.Hz, 1)
	require.InDelta(t, 0.25, got.Peak, 0.005)
	require.Zero(t, got.Holes)
}

func TestOpenRefuses(t *testing.T) {
	for name, want := range map[string]string{
		"trumpet": `unknown sound device "trumpet"; there are auto, pulse, oto, portaudio, wav:FILE, silent`,
		"wav:":    "unknown sound device: wav needs a file, as in wav:" + filepath.Join("out", "cues.wav"),
	} {
		d, err := Open(t.Context(), name, nil)
		require.Nil(t, d)
		require.ErrorIs(t, err, ErrName)
		require.EqualError(t, err, want)
	}
	_, err := Open(t.Context(), "wav:"+filepath.Join(t.TempDir(), "no", "x.wav"), nil)
	require.ErrorIs(t, err, os.ErrNotExist)
}

// Without a server and a card there is silence and one sentence, and the program goes on.
func TestAutoGoesOnWithoutADevice(t *testing.T) {
	if cards, _ := filepath.Glob("/dev/snd/pcm*p"); len(cards) > 0 {
		t.Skip("this machine has a sound card: the test would play on it")
	}
	t.Setenv("PULSE_SERVER", "")
	t.Setenv("PULSE_RUNTIME_PATH", t.TempDir())
	t.Setenv("XDG_RUNTIME_DIR", t.TempDir())
	var said []string
	d, err := Open(t.Context(), "auto", func(s string) { said = append(said, s) })
	require.NoError(t, err)
	defer d.Close()
	if d.Name() == "pulse" {
		t.Skip("this user has a sound server")
	}
	require.Equal(t, "none yet", d.Name())
	require.Len(t, said, 1)
	require.Contains(t, said[0], "no sound: opening the sound device pulse: no sound server answers")
	require.Contains(t, said[0], "start a sound server")
	_, err = Open(t.Context(), "pulse", nil)
	require.ErrorContains(t, err, "set PULSE_SERVER or start one")
}

func TestAutoTakesTheServer(t *testing.T) {
	soundtest.Start(t).Setenv(t)
	d, err := Open(t.Context(), "auto", func(s string) { t.Errorf("said %q", s) })
	require.NoError(t, err)
	require.Equal(t, "pulse", d.Name())
	require.NoError(t, d.Close())
}

// A server that is started later is taken up.
func TestAutoTakesTheServerThatComesLate(t *testing.T) {
	if cards, _ := filepath.Glob("/dev/snd/pcm*p"); len(cards) > 0 {
		t.Skip("this machine has a sound card: the test would play on it")
	}
	card := soundtest.Start(t)
	card.Setenv(t)
	card.Kill()
	d, err := Open(t.Context(), "auto", nil)
	require.NoError(t, err)
	require.ErrorIs(t, <-d.Lost(), ErrLost)
	card.Restart(t)
	require.NoError(t, <-d.Lost())
	require.Equal(t, "pulse", d.Name())
	require.NoError(t, d.Play(tone(16000, 440, 0.1, 0.1)))
	require.NoError(t, d.Close())
}
