package device

import (
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"earshot/audio"
)

// closeLimit bounds how long Close waits for what sounds: longer than a routine
// cue of 7 s, which is the longest there should be.
const closeLimit = 8 * time.Second

// An output is what all devices have in common, embedded by every one of them: a mixer, the news of a loss, and an
// orderly end. The device itself only moves samples from the mixer to its hardware, on a goroutine of its own.
type output struct {
	mixer  *audio.Mixer
	name   string
	lost   news
	gone   atomic.Bool
	closed atomic.Bool
	wake   chan struct{} // receives a value after Play or Stop: a device that has parked goes on

	ends   sync.Once
	ending chan struct{} // closed when the device's goroutine has to end
	done   chan struct{}
	err    error // valid after done is closed
}

// newOutput returns an output that mixes at rate.
func newOutput(name string, rate int) *output {
	return &output{
		mixer: audio.NewMixer(rate), name: name,
		lost: newNews(), wake: make(chan struct{}, 1),
		ending: make(chan struct{}), done: make(chan struct{}),
	}
}

// Play queues a clip.
func (o *output) Play(c audio.Clip) error {
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
func (o *output) Stop() { o.mixer.Stop(); o.poke() }

// SetGain sets the gain in decibels.
func (o *output) SetGain(decibels float64) { o.mixer.SetGain(decibels) }

// Lost gives losses and recoveries.
func (o *output) Lost() <-chan error { return o.lost }

// Name is the device's name.
func (o *output) Name() string { return o.name }

func (o *output) poke() {
	select {
	case o.wake <- struct{}{}:
	default:
	}
}

// lose tells the loss and forgets what waits.
func (o *output) lose(err error) {
	o.gone.Store(true)
	o.mixer.Stop()
	o.lost.tell(fmt.Errorf("%s: %w: %w", o.name, ErrLost, err))
}

// regain tells that the hardware is back.
func (o *output) regain() {
	o.gone.Store(false)
	o.lost.tell(nil)
}

// news is a channel that holds the latest state only: an error when a device was lost, nil when it is there again.
type news chan error

func newNews() news { return make(news, 1) }

// tell puts the news in the place of older ones. Two may call it at the same time.
func (n news) tell(err error) {
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

// ended is called once by the device's goroutine as its last act.
func (o *output) ended(err error) {
	o.err = err
	close(o.done)
}

// closeAfter waits for what sounds and then for the latency between mixer and ear,
// ends the device's goroutine and returns its error.
func (o *output) closeAfter(latency time.Duration) error {
	o.ends.Do(func() {
		o.closed.Store(true)
		limit := time.NewTimer(closeLimit)
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
		close(o.ending)
	})
	<-o.done
	return o.err
}
