// Package pulse plays through a PulseAudio server, or PipeWire in its place, in
// pure Go. When the server goes away it tells so, forgets what waited, and
// connects again as soon as a server answers.
//
// It speaks the native protocol through jfreymuth/pulse/proto and keeps the
// stream itself, because the client on top of it cannot be asked for its state
// without a data race, may hang in Start, and loses the server's
// requests while a stream is paused.
package pulse

import (
	"context"
	"fmt"
	"time"

	"earshot/audio/device/internal/output"
)

// Rate is the sample rate of the stream; the server converts if its card wants
// another.
const Rate = 48000

const (
	// bufferLength is the sound under way to the server. 20 ms played without a
	// gap on two busy cores, 30 ms leaves some room; each costs as much latency.
	bufferLength = 30 * time.Millisecond

	// openLimit bounds a try to connect.
	openLimit = time.Second

	// stallLimit is how long a server may ask for no sound before it counts as lost.
	stallLimit = 2 * time.Second

	// parkAfter is how long nothing is said before the stream is corked, which
	// takes its cost from a few per cent of a core to none.
	parkAfter = 10 * time.Second

	firstWait, longestWait = 250 * time.Millisecond, 2 * time.Second
)

// A Device is a stream to the sound server.
type Device struct {
	*output.Output
	park time.Duration
}

// Open connects to the server that PULSE_SERVER names, else the one of this login
// session, within a second.
func Open(ctx context.Context) (*Device, error) { return open(ctx, parkAfter) }

func open(ctx context.Context, park time.Duration) (*Device, error) {
	d := &Device{output.New("pulse", Rate, 1), park}
	ctx, cancel := context.WithTimeout(ctx, openLimit)
	defer cancel()
	s, err := connect(ctx)
	if err != nil {
		return nil, fmt.Errorf("opening the sound device pulse: %w", err)
	}
	go d.run(s)
	return d, nil
}

// Close waits for what sounds and disconnects.
func (d *Device) Close() error { return d.CloseAfter(2 * bufferLength) }

// run owns the stream and the mixer.
func (d *Device) run(s *stream) {
	for {
		err := d.play(s)
		s.close()
		if err == nil {
			d.Ended(nil)
			return
		}
		d.Lose(err)
		if s = d.again(); s == nil {
			d.Ended(nil)
			return
		}
		d.Regain()
	}
}

// again connects, however long it takes; nil when the device has to end first.
func (d *Device) again() *stream {
	for wait := firstWait; ; wait = min(2*wait, longestWait) {
		select {
		case <-time.After(wait):
		case <-d.Ending():
			return nil
		}
		ctx, cancel := context.WithTimeout(context.Background(), openLimit)
		s, err := connect(ctx)
		cancel()
		if err == nil {
			return s
		}
	}
}

// play feeds the stream until the device has to end (nil) or the server is lost.
func (d *Device) play(s *stream) error {
	stall := time.NewTicker(stallLimit / 4)
	defer stall.Stop()
	asked := time.Now() // when the server last asked for sound
	quiet := asked      // since when nothing sounds
	parked := false
	for {
		select {
		case <-s.asked:
			asked = time.Now()
			if err := s.feed(d.Mixer()); err != nil {
				return err
			}
		case <-d.Wake():
			if parked {
				if err := s.cork(false); err != nil {
					return err
				}
				parked, asked = false, time.Now()
			}
			quiet = time.Now()
		case err := <-s.lost:
			return err
		case <-stall.C:
			now := time.Now()
			if !d.Mixer().Idle() {
				quiet = now
			}
			switch {
			case parked:
			case now.Sub(asked) > stallLimit:
				return fmt.Errorf("the sound server has asked for no sound for %v", stallLimit)
			case now.Sub(quiet) > d.park:
				if err := s.cork(true); err != nil {
					return err
				}
				parked = true
			}
		case <-d.Ending():
			return nil
		}
	}
}
