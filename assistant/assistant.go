package assistant

import (
	"context"
	"errors"
	"io"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/feed"
	"earshot/assistant/hand"
	"earshot/assistant/journal"
	"earshot/assistant/timing"
	"earshot/rules"
)

// A Feed gives the samples of one source. It belongs to one goroutine.
type Feed interface {
	// Read waits for the next bytes and calls emit for every sample in them; the row is good until emit
	// returns. The error is io.EOF where the source has ended, and ctx's where it is done.
	Read(ctx context.Context, emit func(channel.Sample)) error
	// Stats is what was counted so far.
	Stats() feed.Stats
}

// A Watched feed also tells which part of it fell ill or recovered. feed.Stream is one.
type Watched interface {
	// Notices returns what happened since the last call, for the goroutine that calls Read.
	Notices() []feed.Notice
	// Troubles is that of Stats at little cost, for the goroutine that calls Read.
	Troubles() int64
	// Foreign is that of Stats, for any goroutine: while only strangers send, Read does not return.
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

// A Speaker makes utterances heard. Its methods return at once.
type Speaker interface {
	Say(u Utterance)
	Hush(at float64) // cuts what is sounding
}

// A Command is a press of the driver on its way to the loop.
type Command struct {
	Name   hand.Command
	Source string
}

// An Assistant is a Core with its surroundings. Set the fields, then call Run or Replay once.
type Assistant struct {
	Core    *Core
	Session journal.Session
	Speaker Speaker                   // nil: nothing is said
	Journal func(journal.Event) error // nil: nothing is kept
	Record  func(Input) error         // nil: nothing is recorded
	Bests   func(*timing.Bests)       // is given better laps than all before; it returns at once. nil: they are forgotten
	Save    func(*course.Map)         // is given each better course; returns at once; nil: none is kept

	Feed     Feed                  // for Run
	Commands <-chan Command        // for Run; nil: none
	Health   <-chan journal.Health // for Run; nil: none
	Rules    <-chan []rules.Source // for Run: changed rules; nil: they never change

	out Output
}

// step hands one input to the recorder and the core, and what follows from it to the journal and
// the speaker.
func (a *Assistant) step(in Input) error {
	var err error
	if a.Record != nil {
		err = a.Record(in)
	}
	a.out.Reset()
	a.Core.Step(in, &a.out)
	if a.Journal != nil {
		for i := range a.out.Events {
			err = errors.Join(err, a.Journal(a.out.Events[i]))
		}
	}
	if a.Bests != nil && a.out.Bests != nil {
		a.Bests(a.out.Bests)
	}
	if a.Save != nil && a.out.Course != nil {
		a.Save(a.out.Course)
	}
	if a.Speaker != nil {
		if a.out.Hush {
			a.Speaker.Hush(a.Core.Now())
		}
		if a.out.Say != nil {
			a.Speaker.Say(*a.out.Say)
		}
	}
	return err
}

// A Tape gives inputs in their order, stamped. The error is io.EOF after the last one. A row is
// good until the next call.
type Tape interface {
	Next() (Input, error)
}

// Replay carries a tape to its end or until ctx is done, at so many times the speed of the feed's clock;
// 0 is as fast as it goes. A tape that has no start and end of its own gets them.
func (a *Assistant) Replay(ctx context.Context, tape Tape, speed float64) error {
	pace := NewPace(speed)
	started, ended := false, false
	for ctx.Err() == nil && !ended {
		in, err := tape.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return errors.Join(err, a.step(Input{Kind: KindEnd, At: a.Core.Now()}))
		}
		if !started && in.Kind != KindStart {
			if err := a.step(Input{Kind: KindStart, Session: &a.Session}); err != nil {
				return err
			}
		}
		started, ended = true, in.Kind == KindEnd
		if !pace.Wait(ctx, in.At) {
			break
		}
		if err := a.step(in); err != nil {
			return err
		}
	}
	if ended {
		return nil
	}
	return a.step(Input{Kind: KindEnd, At: a.Core.Now()})
}
