//go:build cgo && linux

// Package portaudio plays through the PortAudio library, for those whose sound
// works with it and not otherwise. It needs cgo and is built on Linux only; a
// stream that has stopped cannot be had back and stays lost. It stays open while
// nothing is said. Of what the library writes to the terminal the part of ALSA is dropped.
//
// A program built with -race dies when it opens a second stream, because the binding
// carries numbers in pointers, unless it is built with -gcflags=all=-d=checkptr=0.
package portaudio

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gordonklaus/portaudio"

	"earshot/audio/device/internal/alsa"
	"earshot/audio/device/internal/output"
)

const (
	rate         = 48000
	bufferLength = 20 * time.Millisecond
	stallLimit   = 2 * time.Second
	endLimit     = 2 * time.Second
)

// library keeps two openings apart: initialising is not safe at the same time.
var library sync.Mutex

// A Device is a stream of the library.
type Device struct {
	*output.Output
	stream *portaudio.Stream
	asked  atomic.Int64
	begin  time.Time
}

// Open starts a stream on the default output. ctx is looked at before the opening
// only: the library cannot be interrupted.
func Open(ctx context.Context) (*Device, error) {
	if err := context.Cause(ctx); err != nil {
		return nil, fmt.Errorf("opening the sound device portaudio: %w", err)
	}
	library.Lock()
	defer library.Unlock()
	alsa.Quiet()
	if err := portaudio.Initialize(); err != nil {
		return nil, fmt.Errorf("opening the sound device portaudio: %w", err)
	}
	d := &Device{Output: output.New("portaudio", rate, 1), begin: time.Now()}
	s, err := portaudio.OpenDefaultStream(0, 1, rate, int(bufferLength.Seconds()*rate), d.fill)
	if err == nil {
		if err = s.Start(); err != nil {
			err = errors.Join(err, s.Close())
		}
	}
	if err != nil {
		return nil, fmt.Errorf("opening the sound device portaudio: %w", errors.Join(err, portaudio.Terminate()))
	}
	d.stream = s
	go d.watch()
	return d, nil
}

// fill runs on the library's thread.
func (d *Device) fill(out []float32) {
	d.asked.Store(int64(time.Since(d.begin)))
	d.Mixer().Mix(out)
}

func (d *Device) watch() {
	tick := time.NewTicker(stallLimit / 8)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			if time.Since(d.begin)-time.Duration(d.asked.Load()) > stallLimit && !d.Gone() {
				d.Lose(fmt.Errorf("the library has asked for no sound for %v", stallLimit))
			}
		case <-d.Ending():
			d.Ended(d.end())
			return
		}
	}
}

// end gives the stream back; a stream whose server died may never return.
func (d *Device) end() error {
	ended := make(chan error, 1)
	go func() {
		library.Lock()
		defer library.Unlock()
		ended <- errors.Join(d.stream.Abort(), d.stream.Close(), portaudio.Terminate())
	}()
	select {
	case err := <-ended:
		if d.Gone() {
			return nil // it was told; closing what is broken fails as a matter of course
		}
		return err
	case <-time.After(endLimit):
		return fmt.Errorf("closing the sound device portaudio: the library did not return within %v", endLimit)
	}
}

// Close waits for what sounds and ends the stream.
func (d *Device) Close() error { return d.CloseAfter(3 * bufferLength) }
