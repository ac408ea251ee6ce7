package assistant

import (
	"context"
	"errors"
	"io"

	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/journal"
)

// A Feed gives the samples of one source. It belongs to one goroutine.
type Feed interface {
	// Read waits for the next bytes and calls emit for every sample in them. The row is good until emit returns. The
	// error is io.EOF at the end of the source, and ctx's when ctx is done.
	Read(ctx context.Context, emit func(channel.Sample)) error
	// Stats is what was counted so far.
	Stats() feed.Stats
}

// A Watched feed also tells which of its parts failed or recovered. feed.Stream is one.
type Watched interface {
	// Notices returns what happened since the last call. Only the goroutine that calls Read may call it.
	Notices() []feed.Notice
	// Troubles is Stats().Troubles() at little cost. Only the goroutine that calls Read may call it.
	Troubles() int64
	// Foreign is Stats().Foreign, for any goroutine: while only unknown senders send, Read does not return.
	Foreign() int64
}

var _ Watched = (*feed.Stream)(nil)

// noticesOf asks a feed that watches itself.
func noticesOf(f Feed) []feed.Notice {
	if w, ok := f.(Watched); ok {
		return w.Notices()
	}
	return nil
}

// An Assistant is a Core with its surroundings. Set the fields, then call Run or Replay once.
type Assistant struct {
	Core    *Core
	Session journal.Session
	Sinks   []Sink // each gets every step, in this order

	Feed Feed  // for Run
	Door *Door // for Run: all other inputs; nil: there are none

	out Output
}

// step runs the core on one input and gives the result to the sinks. heard gets the error of each, nil included.
func (a *Assistant) step(in Input, heard func(sink int, err error)) {
	a.out.Reset()
	a.Core.Step(in, &a.out)
	x := Step{In: in, Out: &a.out, Now: a.Core.Now()}
	for i, s := range a.Sinks {
		heard(i, s.Take(x))
	}
}

// Inputs are the inputs of a replay in their order, stamped. The error is io.EOF after the last one. A row is good
// until the next call.
type Inputs interface {
	Next() (Input, error)
}

// Replay carries inputs to their end or until ctx is done, at so many times the speed of the feed's clock; 0 is as fast
// as it goes. It adds a start and an end where the inputs have none. A sink that fails ends it.
func (a *Assistant) Replay(ctx context.Context, inputs Inputs, speed float64) error {
	var broken error
	step := func(in Input) error {
		a.step(in, func(_ int, err error) { broken = errors.Join(broken, err) })
		return broken
	}
	pace := NewPacer(speed)
	started, ended := false, false
	for ctx.Err() == nil && !ended {
		in, err := inputs.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return errors.Join(err, step(Input{Kind: KindEnd, At: a.Core.Now()}))
		}
		if !started && in.Kind != KindStart {
			if err := step(Input{Kind: KindStart, Session: &a.Session}); err != nil {
				return err
			}
		}
		started, ended = true, in.Kind == KindEnd
		if !pace.Wait(ctx, in.At) {
			break
		}
		if err := step(in); err != nil {
			return err
		}
	}
	if ended {
		return nil
	}
	return step(Input{Kind: KindEnd, At: a.Core.Now()})
}
