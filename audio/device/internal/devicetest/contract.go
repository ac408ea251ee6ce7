// Package devicetest is the contract of a sound device as a test that every device
// passes.
package devicetest

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/audio"
	"earshot/audio/device/internal/output"
)

// A Device is what package device wants of one. It stands here once more so that
// the devices' own tests do not import the package that imports them.
type Device interface {
	Play(audio.Clip) error
	Stop()
	SetGain(decibels float64)
	Lost() <-chan error
	Name() string
	Close() error
}

// Tone is a sine of that peak.
func Tone(rate int, hz, peak, seconds float64) audio.Clip {
	x := make([]float32, int(seconds*float64(rate)))
	for i := range x {
		x[i] = float32(peak * math.Sin(2*math.Pi*hz*float64(i)/float64(rate)))
	}
	return audio.Clip{Rate: rate, Samples: x}
}

// Contract checks a device that open gives. The limits are wide, as machines that
// run tests are busy: it tells a device that waits from one that does not, not a fast
// from a slow one.
func Contract(t *testing.T, open func(t *testing.T) Device) {
	t.Helper()
	t.Run("play returns at once, clips queue, close waits for both", func(t *testing.T) {
		d := open(t)
		require.NotEmpty(t, d.Name())
		begin := time.Now()
		require.NoError(t, d.Play(Tone(16000, 440, 0.1, 0.5)))
		require.NoError(t, d.Play(Tone(48000, 440, 0.1, 0.5)))
		require.Less(t, time.Since(begin), 400*time.Millisecond)
		require.NoError(t, d.Close())
		took := time.Since(begin)
		require.Greater(t, took, 900*time.Millisecond, "one behind the other they last 1 s")
		require.Less(t, took, 6*time.Second)
	})
	t.Run("stop ends the sound and the wait", func(t *testing.T) {
		d := open(t)
		require.NoError(t, d.Play(Tone(16000, 440, 0.1, 30)))
		require.NoError(t, d.Play(Tone(16000, 440, 0.1, 30)))
		d.Stop()
		begin := time.Now()
		require.NoError(t, d.Close())
		require.Less(t, time.Since(begin), 4*time.Second, "the clips last a minute")
	})
	t.Run("stop from another goroutine ends a close that waits", func(t *testing.T) {
		d := open(t)
		require.NoError(t, d.Play(Tone(16000, 440, 0.1, 30)))
		begin := time.Now()
		closed := make(chan error)
		go func() { closed <- d.Close() }()
		d.Stop()
		require.NoError(t, <-closed)
		require.Less(t, time.Since(begin), 4*time.Second)
	})
	t.Run("a closed device says so", func(t *testing.T) {
		d := open(t)
		require.NoError(t, d.Close())
		require.NoError(t, d.Close(), "twice is no mistake")
		require.ErrorIs(t, d.Play(Tone(16000, 440, 0.1, 0.1)), output.ErrClosed)
		d.Stop()
		d.SetGain(-3)
	})
	t.Run("bad clips are refused, good ones still play", func(t *testing.T) {
		d := open(t)
		require.ErrorIs(t, d.Play(audio.Clip{Rate: 5, Samples: []float32{1}}), audio.ErrClip)
		require.ErrorIs(t, d.Play(audio.Clip{Rate: 16000, Samples: []float32{float32(math.Inf(1))}}), audio.ErrClip)
		require.NoError(t, d.Play(audio.Clip{Rate: 16000}))
		require.NoError(t, d.Play(Tone(16000, 440, 0.1, 0.05)))
		select {
		case err := <-d.Lost():
			t.Fatalf("lost: %v", err)
		default:
		}
		require.NoError(t, d.Close())
	})
	t.Run("a queue that overflows is told", func(t *testing.T) {
		d := open(t)
		var err error
		for range 1000 {
			if err = d.Play(Tone(48000, 440, 0.1, 1)); err != nil {
				break
			}
		}
		require.ErrorIs(t, err, audio.ErrQueueFull)
		d.Stop()
		require.NoError(t, d.Close())
	})
}

// Heard finds a tone in a recording: how long something sounds, the strongest
// frequency and its peak.
func Heard(samples []float32, rate int) (seconds, hz, peak float64, err error) {
	first, last := -1, 0
	for i, s := range samples {
		if s > 0.005 || s < -0.005 {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	if first < 0 {
		return 0, 0, 0, errors.New("nothing is to be heard")
	}
	x := samples[first : last+1]
	crossings, from, to := 0, 0.0, 0.0
	for i := 1; i < len(x); i++ {
		if x[i-1] < 0 && x[i] >= 0 {
			at := float64(i) - float64(x[i])/float64(x[i]-x[i-1])
			if crossings == 0 {
				from = at
			}
			to = at
			crossings++
		}
		peak = max(peak, math.Abs(float64(x[i])))
	}
	if crossings > 1 {
		hz = float64(crossings-1) / (to - from) * float64(rate)
	}
	return float64(len(x)) / float64(rate), hz, peak, nil
}
