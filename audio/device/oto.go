//go:build cgo || windows || (darwin && arm64)

package device

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"sync/atomic"
	"time"

	"github.com/hajimehoshi/oto/v2"
)

// otoBuffer is what the library holds. At 20 ms busy cores made gaps, at 40 ms they did not.
const otoBuffer = 40 * time.Millisecond

// otoContext is the one that the library allows in the life of a process.
var otoContext struct {
	sync.Mutex
	context *oto.Context
	inUse   bool
}

// errInUse is for a second device at the same time.
var errInUse = errors.New("the system's sound is open already in this process, and can be only once")

// An otoDevice plays through the system's sound by way of the oto library: ALSA on Linux (which needs cgo), the native
// interfaces of Windows and macOS.
//
// The library allows one context in the life of a process. It is kept, silent, when the device is closed, and taken up
// again when the device is opened once more. A context that has failed cannot be had back: the device stays lost.
type otoDevice struct {
	*output
	player oto.Player
	system *oto.Context
	asked  atomic.Int64 // when the library last asked for sound, ns since begin
	begin  time.Time
}

// openOto starts the system's sound within the time of ctx and at most 3 s.
func openOto(ctx context.Context) (Device, error) {
	ctx, cancel := context.WithTimeout(ctx, 3*time.Second)
	defer cancel()
	c, err := takeContext(ctx)
	if err != nil {
		return nil, fmt.Errorf("opening the sound device oto: %w", err)
	}
	d := &otoDevice{output: newOutput("oto", cardRate), system: c, begin: time.Now()}
	d.player = c.NewPlayer(otoReader{d})
	if p, ok := d.player.(oto.BufferSizeSetter); ok {
		p.SetBufferSize(int(otoBuffer.Seconds()*cardRate) * 4)
	}
	d.player.Play()
	go d.watch()
	return d, nil
}

func takeContext(ctx context.Context) (*oto.Context, error) {
	otoContext.Lock()
	defer otoContext.Unlock()
	if otoContext.inUse {
		return nil, errInUse
	}
	if otoContext.context != nil {
		if err := otoContext.context.Err(); err != nil {
			return nil, fmt.Errorf("it failed earlier and needs a new start of the program: %w", err)
		}
		if err := otoContext.context.Resume(); err != nil {
			return nil, err
		}
		otoContext.inUse = true
		return otoContext.context, nil
	}
	if err := hardware(); err != nil {
		return nil, err
	}
	c, ready, err := oto.NewContextWithOptions(&oto.NewContextOptions{SampleRate: cardRate, ChannelCount: 1,
		Format: oto.FormatFloat32LE, BufferSize: otoBuffer})
	if err != nil {
		return nil, err
	}
	otoContext.context = c
	select {
	case <-ready:
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	otoContext.inUse = true
	return c, nil
}

// otoReader gives the mixer to the library and notes when it asked.
type otoReader struct{ d *otoDevice }

func (r otoReader) Read(p []byte) (int, error) {
	r.d.asked.Store(int64(time.Since(r.d.begin)))
	select {
	case <-r.d.ending:
		return 0, io.EOF
	default:
		return r.d.mixer.Read(p)
	}
}

// watch tells a loss: the library reports that it plays for ever, so its error and the
// time of its last question count.
func (d *otoDevice) watch() {
	tick := time.NewTicker(stallLimit / 8)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			err := d.system.Err()
			if err == nil && time.Since(d.begin)-time.Duration(d.asked.Load()) > stallLimit {
				err = fmt.Errorf("the system has asked for no sound for %v", stallLimit)
			}
			if err != nil && !d.gone.Load() {
				d.lose(err)
			}
		case <-d.ending:
			err := d.player.Close()
			otoContext.Lock()
			otoContext.inUse = false
			if !d.gone.Load() {
				err = errors.Join(err, d.system.Suspend())
			}
			otoContext.Unlock()
			d.ended(err)
			return
		}
	}
}

// Close waits for what sounds and silences the library.
func (d *otoDevice) Close() error { return d.closeAfter(2*otoBuffer + 20*time.Millisecond) }
