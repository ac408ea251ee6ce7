//go:build cgo && linux

package device

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/audio/device/soundtest"
)

// The library has one context in the life of a process, so all of it is one test: on
// ALSA's default device, which leads to the virtual card.
func TestOto(t *testing.T) {
	card := soundtest.Start(t)
	card.Setenv(t)
	open := func(t *testing.T) Device {
		d, err := openOto(t.Context())
		require.NoError(t, err, "ALSA reaches the virtual card through libasound2-plugins: is that installed?")
		t.Cleanup(func() { d.Stop(); _ = d.Close() })
		return d
	}
	t.Run("tone", func(t *testing.T) {
		wanted := tone(16000, 1000, 0.25, 0.8)
		judge(t, card, wanted, 2, func() {
			d := open(t)
			require.NoError(t, d.Play(wanted))
			require.NoError(t, d.Close())
		})
	})
	t.Run("contract", func(t *testing.T) {
		keepsTheContract(t, func(t *testing.T) Device { return open(t) })
	})
	t.Run("one at a time", func(t *testing.T) {
		open(t)
		_, err := openOto(t.Context())
		require.ErrorIs(t, err, errInUse)
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
		require.ErrorIs(t, d.Play(tone(16000, 440, 0.2, 0.1)), ErrLost)
		require.NoError(t, d.Close())
		_, err := openOto(t.Context())
		require.ErrorContains(t, err, "needs a new start of the program")
	})
}
