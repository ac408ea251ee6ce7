//go:build cgo && linux && !race

// Not with the race detector: its pointer checks end the program at the second stream, because the
// binding carries numbers in pointers. -gcflags=all=-d=checkptr=0 lets it run.

package device

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/audio/device/soundtest"
)

func TestPortaudio(t *testing.T) {
	card := soundtest.Start(t)
	card.Setenv(t)
	open := func(t *testing.T) Device {
		d, err := openPortAudio(t.Context())
		require.NoError(t, err, "ALSA reaches the virtual card through libasound2-plugins: is that installed?")
		t.Cleanup(func() { d.Stop(); _ = d.Close() })
		return d
	}
	t.Run("tone", func(t *testing.T) {
		wanted := tone(16000, 1000, 0.25, 0.8)
		judge(t, card, wanted, 10, func() {
			d := open(t)
			require.NoError(t, d.Play(wanted))
			require.NoError(t, d.Close())
		})
	})
	t.Run("contract", func(t *testing.T) {
		keepsTheContract(t, func(t *testing.T) Device { return open(t) })
	})
	t.Run("the server dies", func(t *testing.T) {
		d := open(t)
		require.NoError(t, d.Play(tone(16000, 440, 0.2, 60)))
		card.Kill()
		select {
		case err := <-d.Lost():
			require.ErrorIs(t, err, ErrLost)
		case <-time.After(20 * time.Second):
			t.Fatal("the loss was not noticed")
		}
		begin := time.Now()
		_ = d.Close() // it may say that the library did not return
		require.Less(t, time.Since(begin), 10*time.Second)
	})
}
