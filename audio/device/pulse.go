package device

import (
	"context"
	"fmt"
	"time"
)

const (
	// pulseBuffer is the sound under way to the server. 20 ms played without a
	// gap on two busy cores, 30 ms leaves some room; each costs as much latency.
	pulseBuffer = 30 * time.Millisecond

	// openLimit bounds a try to connect.
	openLimit = time.Second

	// parkAfter is how long nothing is said before the stream is corked, which
	// takes its cost from a few per cent of a core to none.
	parkAfter = 10 * time.Second

	firstWait, longestWait = 250 * time.Millisecond, 2 * time.Second
)

// A pulse plays through a PulseAudio server, or PipeWire in its place, in pure Go. When the server goes away it tells
// so, forgets what waited, and connects again as soon as a server answers.
//
// It speaks the native protocol through jfreymuth/pulse/proto and keeps the stream itself, because the client on top of
// it cannot be asked for its state without a data race, may hang in Start, and loses the server's requests while a
// stream is paused.
type pulse struct {
	*output
	park time.Duration
}

// openPulse connects to the server that PULSE_SERVER names, else the one of this login
// session, within a second.
func openPulse(ctx context.Context, park time.Duration) (Device, error) {
	d := &pulse{newOutput("pulse", cardRate), park}
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
func (d *pulse) Close() error { return d.closeAfter(2 * pulseBuffer) }

// run owns the stream and the mixer.
func (d *pulse) run(s *stream) {
	for {
		err := d.play(s)
		s.close()
		if err == nil {
			d.ended(nil)
			return
		}
		d.lose(err)
		if s = d.again(); s == nil {
			d.ended(nil)
			return
		}
		d.regain()
	}
}

// again connects, however long it takes; nil when the device has to end first.
func (d *pulse) again() *stream {
	for wait := firstWait; ; wait = min(2*wait, longestWait) {
		select {
		case <-time.After(wait):
		case <-d.ending:
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
func (d *pulse) play(s *stream) error {
	stall := time.NewTicker(stallLimit / 4)
	defer stall.Stop()
	asked := time.Now() // when the server last asked for sound
	quiet := asked      // since when nothing sounds
	parked := false
	for {
		select {
		case <-s.asked:
			asked = time.Now()
			if err := s.feed(d.mixer); err != nil {
				return err
			}
		case <-d.wake:
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
			if !d.mixer.Idle() {
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
		case <-d.ending:
			return nil
		}
	}
}
