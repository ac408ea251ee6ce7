//go:build cgo && linux

package device

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gordonklaus/portaudio"
)

const (
	portAudioBuffer   = 20 * time.Millisecond
	portAudioEndLimit = 2 * time.Second
)

// portAudioLibrary keeps two openings apart: initialising is not safe at the same time.
var portAudioLibrary sync.Mutex

// A portAudio plays through the PortAudio library, for those whose sound works with it and not otherwise. It needs cgo
// and is built on Linux only; a stream that has stopped cannot be had back and stays lost. It stays open while nothing
// is said. Of what the library writes to the terminal the part of ALSA is dropped.
//
// A program built with -race dies when it opens a second stream, because the binding carries numbers in pointers,
// unless it is built with -gcflags=all=-d=checkptr=0.
type portAudio struct {
	*output
	stream *portaudio.Stream
	asked  atomic.Int64
	begin  time.Time
}

// openPortAudio starts a stream on the default output. ctx is looked at before the opening
// only: the library cannot be interrupted.
func openPortAudio(ctx context.Context) (Device, error) {
	if err := context.Cause(ctx); err != nil {
		return nil, fmt.Errorf("opening the sound device portaudio: %w", err)
	}
	portAudioLibrary.Lock()
	defer portAudioLibrary.Unlock()
	quietALSA()
	if err := portaudio.Initialize(); err != nil {
		return nil, fmt.Errorf("opening the sound device portaudio: %w", err)
	}
	d := &portAudio{output: newOutput("portaudio", cardRate), begin: time.Now()}
	s, err := portaudio.OpenDefaultStream(0, 1, cardRate, int(portAudioBuffer.Seconds()*cardRate), d.fill)
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
func (d *portAudio) fill(out []float32) {
	d.asked.Store(int64(time.Since(d.begin)))
	d.mixer.Mix(out)
}

func (d *portAudio) watch() {
	tick := time.NewTicker(stallLimit / 8)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			if time.Since(d.begin)-time.Duration(d.asked.Load()) > stallLimit && !d.gone.Load() {
				d.lose(fmt.Errorf("the library has asked for no sound for %v", stallLimit))
			}
		case <-d.ending:
			d.ended(d.end())
			return
		}
	}
}

// end gives the stream back; a stream whose server died may never return.
func (d *portAudio) end() error {
	ended := make(chan error, 1)
	go func() {
		portAudioLibrary.Lock()
		defer portAudioLibrary.Unlock()
		ended <- errors.Join(d.stream.Abort(), d.stream.Close(), portaudio.Terminate())
	}()
	select {
	case err := <-ended:
		if d.gone.Load() {
			return nil // it was told; closing what is broken fails as a matter of course
		}
		return err
	case <-time.After(portAudioEndLimit):
		return fmt.Errorf("closing the sound device portaudio: the library did not return within %v", portAudioEndLimit)
	}
}

// Close waits for what sounds and ends the stream.
func (d *portAudio) Close() error { return d.closeAfter(3 * portAudioBuffer) }
