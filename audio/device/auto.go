package device

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"earshot/audio"
)

// lookEvery is how often a device is looked for while there is none. That costs two calls of the system.
const lookEvery = 2 * time.Second

// An auto plays through the first device that can be had. While there is none, at the start or after a loss that is
// for good, it looks for one and takes up what appears.
type auto struct {
	find finder
	news news

	mu   sync.Mutex
	now  Device // nil: there is none
	gain float64

	closing sync.Once
	stop    chan struct{}
	done    chan struct{}
	err     error
}

// A finder opens the best device that there is. The error says why it is not a better one, or none.
type finder func(context.Context) (Device, error)

func openAuto(ctx context.Context, say func(string), find finder, every time.Duration) (Device, error) {
	a := &auto{find: find, news: newNews(), stop: make(chan struct{}), done: make(chan struct{})}
	d, err := find(ctx)
	switch {
	case d != nil && err != nil:
		say("playing straight to the sound card: " + oneLine(err))
	case context.Cause(ctx) != nil:
		return nil, fmt.Errorf("opening a sound device: %w", context.Cause(ctx))
	case d == nil:
		say("no sound: " + oneLine(err) + ". Nothing will be heard until you " + advice() +
			"; it is taken up when it is there")
		a.news.tell(fmt.Errorf("auto: %w: there is none yet", ErrLost))
	}
	a.now = d
	go a.run(every)
	return a, nil
}

func advice() string {
	if runtime.GOOS == "linux" {
		return "start a sound server (PulseAudio, or PipeWire with pipewire-pulse) in this login session or plug in a card"
	}
	return "plug in a sound output and enable it in the system's settings"
}

func oneLine(err error) string { return strings.ReplaceAll(err.Error(), "\n", "; ") }

// first opens the sound server where one answers, else the system's sound. It is a finder.
func first(ctx context.Context) (Device, error) {
	var why []error
	if runtime.GOOS == "linux" {
		d, err := openPulse(ctx, parkAfter)
		if err == nil {
			return d, nil
		}
		why = append(why, err)
	}
	if !hasCard() {
		return nil, errors.Join(append(why, errors.New("there is no sound card"))...)
	}
	d, err := openOto(ctx)
	if err != nil {
		return nil, errors.Join(append(why, err)...)
	}
	return d, errors.Join(why...)
}

// hasCard tells whether the system has a sound card; where that cannot be known cheaply it is taken to have one. The
// oto library can be started only once in a process, so it is not to be tried in vain.
func hasCard() bool {
	if runtime.GOOS != "linux" {
		return true
	}
	cards, _ := filepath.Glob("/dev/snd/pcm*p")
	return len(cards) > 0
}

// run waits for the device to be lost or for one to appear.
func (a *auto) run(every time.Duration) {
	defer close(a.done)
	for {
		d := a.device()
		if d == nil {
			select {
			case <-time.After(every):
			case <-a.stop:
				return
			}
			a.look()
			continue
		}
		select {
		case err := <-d.Lost():
			if _, comesBack := d.(*pulse); err != nil && !comesBack {
				a.take(nil)
				_ = d.Close()
			}
			a.news.tell(err)
		case <-a.stop:
			return
		}
	}
}

func (a *auto) look() {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if d, _ := a.find(ctx); d != nil {
		a.take(d)
		a.news.tell(nil)
	}
}

func (a *auto) device() Device {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.now
}

func (a *auto) take(d Device) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.now = d; d != nil {
		d.SetGain(a.gain)
	}
}

// Play queues a clip; where there is no device the error wraps ErrLost.
func (a *auto) Play(c audio.Clip) error {
	d := a.device()
	if d == nil {
		return fmt.Errorf("auto: %w: there is none yet", ErrLost)
	}
	return d.Play(c)
}

// Stop fades out what sounds and forgets what waits.
func (a *auto) Stop() {
	if d := a.device(); d != nil {
		d.Stop()
	}
}

// SetGain makes everything louder or softer, also through a device that appears later.
func (a *auto) SetGain(decibels float64) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.gain = decibels; a.now != nil {
		a.now.SetGain(decibels)
	}
}

// Lost tells that there is no device, and nil when there is one.
func (a *auto) Lost() <-chan error { return a.news }

// Name is that of the device.
func (a *auto) Name() string {
	if d := a.device(); d != nil {
		return d.Name()
	}
	return "none yet"
}

// Close waits for what sounds and gives the device back.
func (a *auto) Close() error {
	a.closing.Do(func() {
		close(a.stop)
		<-a.done
		if d := a.device(); d != nil {
			a.err = d.Close()
		}
	})
	return a.err
}
