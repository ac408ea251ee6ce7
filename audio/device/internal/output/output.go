// Package output holds what all sound devices have in common: a mixer, the news
// of a loss, and an orderly end. The device itself only moves samples from the
// mixer to its hardware.
package output

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"earshot/audio"
)

// Errors that Play wraps.
var (
	ErrLost   = errors.New("the sound device is lost")
	ErrClosed = errors.New("the sound device is closed")
)

// CloseLimit bounds how long Close waits for what sounds: longer than a routine
// cue of 7 s, which is the longest there should be.
const CloseLimit = 8 * time.Second

// An Output is embedded by every device.
type Output struct {
	mixer  *audio.Mixer
	name   string
	lost   News
	gone   atomic.Bool
	closed atomic.Bool
	wake   chan struct{}

	ends sync.Once
	stop chan struct{}
	done chan struct{}
	err  error // valid after done is closed
}

// New returns an output that mixes at rate with so many channels.
func New(name string, rate, channels int) *Output {
	return &Output{
		mixer: audio.NewMixer(rate, channels), name: name,
		lost: NewNews(), wake: make(chan struct{}, 1),
		stop: make(chan struct{}), done: make(chan struct{}),
	}
}

// Mixer is for the goroutine of the device.
func (o *Output) Mixer() *audio.Mixer { return o.mixer }

// Play queues a clip.
func (o *Output) Play(c audio.Clip) error {
	switch {
	case o.closed.Load():
		return fmt.Errorf("%s: %w", o.name, ErrClosed)
	case o.gone.Load():
		return fmt.Errorf("%s: %w", o.name, ErrLost)
	}
	if err := o.mixer.Play(c); err != nil {
		return fmt.Errorf("%s: %w", o.name, err)
	}
	o.poke()
	return nil
}

// Stop fades out what sounds and forgets what waits.
func (o *Output) Stop() { o.mixer.Stop(); o.poke() }

// SetGain sets the gain in decibels.
func (o *Output) SetGain(decibels float64) { o.mixer.SetGain(decibels) }

// Lost gives losses and recoveries.
func (o *Output) Lost() <-chan error { return o.lost }

// Name is the device's name.
func (o *Output) Name() string { return o.name }

// Wake receives a value after Play or Stop: a device that has parked goes on.
func (o *Output) Wake() <-chan struct{} { return o.wake }

func (o *Output) poke() {
	select {
	case o.wake <- struct{}{}:
	default:
	}
}

// Ending is closed when the device's goroutine has to end.
func (o *Output) Ending() <-chan struct{} { return o.stop }

// Gone says whether the device has lost its hardware.
func (o *Output) Gone() bool { return o.gone.Load() }

// Lose tells the loss and forgets what waits.
func (o *Output) Lose(err error) {
	o.gone.Store(true)
	o.mixer.Stop()
	o.lost.Tell(fmt.Errorf("%s: %w: %w", o.name, ErrLost, err))
}

// Regain tells that the hardware is back.
func (o *Output) Regain() {
	o.gone.Store(false)
	o.lost.Tell(nil)
}

// News is a channel that holds the latest state only: an error when a device was lost, nil when it is there again.
type News chan error

// NewNews returns News without any.
func NewNews() News { return make(News, 1) }

// Tell puts the news in the place of older ones. Two may call it at the same time.
func (n News) Tell(err error) {
	for {
		select {
		case n <- err:
			return
		default:
		}
		select {
		case <-n:
		default:
		}
	}
}

// Ended is called once by the device's goroutine as its last act.
func (o *Output) Ended(err error) {
	o.err = err
	close(o.done)
}

// CloseAfter waits for what sounds and then for the latency between mixer and ear,
// ends the device's goroutine and returns its error.
func (o *Output) CloseAfter(latency time.Duration) error {
	o.ends.Do(func() {
		o.closed.Store(true)
		limit := time.NewTimer(CloseLimit)
		defer limit.Stop()
		sounded := !o.mixer.Idle()
		for late := false; !late && !o.mixer.Idle() && !o.gone.Load(); {
			select {
			case <-o.mixer.Quiet():
			case <-o.done: // it ended by itself
				late = true
			case <-time.After(50 * time.Millisecond): // it may have been lost meanwhile
			case <-limit.C:
				late = true
			}
		}
		if sounded && !o.gone.Load() {
			select {
			case <-time.After(latency):
			case <-o.done:
			}
		}
		close(o.stop)
	})
	<-o.done
	return o.err
}
