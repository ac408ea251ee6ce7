//go:build cgo || windows || (darwin && arm64)

// Package oto plays through the system's sound by way of the oto library: ALSA on
// Linux (which needs cgo), the native interfaces of Windows and macOS.
//
// The library allows one context in the life of a process. It is kept, silent,
// when the device is closed, and taken up again when the device is opened once
// more. A context that has failed cannot be had back: the device stays lost.
package oto

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"sync/atomic"
	"time"

	"github.com/hajimehoshi/oto/v2"

	"earshot/audio/device/internal/output"
)

// Rate is the sample rate of the stream; the system converts if its card wants another.
const Rate = 48000

const (
	// bufferLength is what the library holds. At 20 ms busy cores made gaps, at
	// 40 ms they did not.
	bufferLength = 40 * time.Millisecond

	// stallLimit is how long the library may ask for no sound before it counts
	// as lost.
	stallLimit = 2 * time.Second
)

var one struct {
	sync.Mutex
	context *oto.Context
	inUse   bool
}

// errInUse is for a second device at the same time.
var errInUse = errors.New("the system's sound is open already in this process, and can be only once")

// A Device is a player of the library.
type Device struct {
	*output.Output
	player oto.Player
	system *oto.Context
	asked  atomic.Int64 // when the library last asked for sound, ns since begin
	begin  time.Time
}

// Open starts the system's sound within the time of ctx and at most 3 s.
func Open(ctx context.Context) (*Device, error) {
	ctx, cancel := context.WithTimeout(ctx, 3*time.Second)
	defer cancel()
	c, err := take(ctx)
	if err != nil {
		return nil, fmt.Errorf("opening the sound device oto: %w", err)
	}
	d := &Device{Output: output.New("oto", Rate, 1), system: c, begin: time.Now()}
	d.player = c.NewPlayer(reader{d})
	if p, ok := d.player.(oto.BufferSizeSetter); ok {
		p.SetBufferSize(int(bufferLength.Seconds()*Rate) * 4)
	}
	d.player.Play()
	go d.watch()
	return d, nil
}

func take(ctx context.Context) (*oto.Context, error) {
	one.Lock()
	defer one.Unlock()
	if one.inUse {
		return nil, errInUse
	}
	if one.context != nil {
		if err := one.context.Err(); err != nil {
			return nil, fmt.Errorf("it failed earlier and needs a new start of the program: %w", err)
		}
		if err := one.context.Resume(); err != nil {
			return nil, err
		}
		one.inUse = true
		return one.context, nil
	}
	if err := hardware(); err != nil {
		return nil, err
	}
	c, ready, err := oto.NewContextWithOptions(&oto.NewContextOptions{SampleRate: Rate, ChannelCount: 1, Format: oto.FormatFloat32LE, BufferSize: bufferLength})
	if err != nil {
		return nil, err
	}
	one.context = c
	select {
	case <-ready:
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	one.inUse = true
	return c, nil
}

// reader gives the mixer to the library and notes when it asked.
type reader struct{ d *Device }

func (r reader) Read(p []byte) (int, error) {
	r.d.asked.Store(int64(time.Since(r.d.begin)))
	select {
	case <-r.d.Ending():
		return 0, io.EOF
	default:
		return r.d.Mixer().Read(p)
	}
}

// watch tells a loss: the library reports that it plays for ever, so its error and the
// time of its last question count.
func (d *Device) watch() {
	tick := time.NewTicker(stallLimit / 8)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			err := d.system.Err()
			if err == nil && time.Since(d.begin)-time.Duration(d.asked.Load()) > stallLimit {
				err = fmt.Errorf("the system has asked for no sound for %v", stallLimit)
			}
			if err != nil && !d.Gone() {
				d.Lose(err)
			}
		case <-d.Ending():
			err := d.player.Close()
			one.Lock()
			one.inUse = false
			if !d.Gone() {
				err = errors.Join(err, d.system.Suspend())
			}
			one.Unlock()
			d.Ended(err)
			return
		}
	}
}

// Close waits for what sounds and silences the library.
func (d *Device) Close() error { return d.CloseAfter(2*bufferLength + 20*time.Millisecond) }
