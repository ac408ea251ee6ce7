package assistant

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"golang.org/x/sync/errgroup"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/feed"
	"earshot/assistant/hand"
	"earshot/assistant/journal"
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
}

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
	Save    func(*course.Map)         // is given each better course; returns at once; nil: none is kept

	Feed     Feed                  // for Run
	Commands <-chan Command        // for Run; nil: none
	Health   <-chan journal.Health // for Run; nil: none
	Rules    <-chan []rules.Source // for Run: changed rules; nil: they never change

	out Output
}

// Times of the live loop, on the local clock.
const (
	tickEvery   = 100 * time.Millisecond
	firstSample = 10 * time.Second // without a sample for so long after the start, say so
	statsEvery  = time.Second
	queueLength = 1024 // samples between the feed and the loop: 2.8 s at 360 Hz
)

// A moment is a sample on its way from the feed's goroutine to the loop.
type moment struct {
	at      float64
	arrived time.Time
	row     channel.Row
}

// Run carries a live feed until it ends or ctx is done. Everything has been handed to the journal and the
// recorder, and all goroutines have ended, when it returns. An end by ctx is no error.
func (a *Assistant) Run(ctx context.Context) error {
	samples := make(chan moment, queueLength)
	stats := make(chan feed.Stats, 1)
	dropped := make(chan int, 1)
	notices := make(chan journal.Health, 64)
	spare := make(chan channel.Row, queueLength+2)
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	g, gctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		defer close(samples)
		if err := a.read(gctx, samples, spare, stats, dropped, notices); err != nil {
			return fmt.Errorf("the feed: %w", err)
		}
		return nil
	})
	g.Go(func() error {
		defer stop() // the loop is the last to end: the feed has closed samples or ctx is done
		return a.loop(gctx, samples, spare, stats, dropped, notices)
	})
	return g.Wait()
}

// read is the feed's goroutine. Where the loop is late the oldest sample gives way.
func (a *Assistant) read(ctx context.Context, samples chan moment, spare chan channel.Row, stats chan feed.Stats, dropped chan int, notices chan<- journal.Health) error {
	lost := 0
	emit := func(s channel.Sample) {
		var row channel.Row
		select {
		case row = <-spare:
		default:
			row = make(channel.Row, len(s.Row))
		}
		copy(row, s.Row)
		m := moment{s.At, time.Now(), row}
		for {
			select {
			case samples <- m:
				return
			default:
			}
			select {
			case <-samples:
				lost++
				select {
				case <-dropped:
				default:
				}
				dropped <- lost
			default:
			}
		}
	}
	var told time.Time
	for {
		err := a.Feed.Read(ctx, emit)
		for _, n := range noticesOf(a.Feed) {
			select {
			case notices <- n.Health:
			case <-ctx.Done():
			}
		}
		if now := time.Now(); err != nil || now.Sub(told) >= statsEvery {
			told = now
			select {
			case <-stats:
			default:
			}
			stats <- a.Feed.Stats()
		}
		switch {
		case err == nil:
		case errors.Is(err, io.EOF), ctx.Err() != nil:
			return nil
		default:
			return err
		}
	}
}

// loop owns the core. It stamps every input with the feed's clock and waits in one place only.
func (a *Assistant) loop(ctx context.Context, samples <-chan moment, spare chan<- channel.Row, stats <-chan feed.Stats, dropped <-chan int, notices <-chan journal.Health) error {
	begin := time.Now()
	last := moment{at: 0, arrived: begin}
	heard, complained := false, false
	ticker := time.NewTicker(tickEvery)
	defer ticker.Stop()
	var watch statsWatch

	// now is the feed's clock between samples. It stands at zero until the first one.
	now := func() float64 {
		if !heard {
			return 0
		}
		return last.at + time.Since(last.arrived).Seconds()
	}
	if err := a.step(Input{Kind: KindStart, Session: &a.Session}); err != nil {
		return err
	}
	health := func(h *journal.Health) error {
		if h == nil {
			return nil
		}
		return a.step(Input{Kind: KindHealth, At: now(), Health: h})
	}
	var cause error
	done := false
	for !done && cause == nil {
		select {
		case m, ok := <-samples:
			if !ok {
				done = true
				break
			}
			last, heard = m, true
			cause = a.step(Input{Kind: KindSample, At: m.at, Row: m.row})
			select {
			case spare <- m.row:
			default:
			}
		case c := <-a.Commands:
			cause = a.step(Input{Kind: KindCommand, At: now(), Command: c.Name, Source: c.Source})
		case h := <-a.Health:
			cause = health(&h)
		case h := <-notices:
			cause = health(&h)
		case files := <-a.Rules:
			cause = a.step(Input{Kind: KindRules, At: now(), Rules: files})
		case s := <-stats:
			cause = health(watch.compare(s))
		case n := <-dropped:
			cause = health(&journal.Health{Part: "loop", State: "degraded", Text: fmt.Sprintf("%d samples dropped so far: the machine is too busy", n)})
		case <-ticker.C:
			switch {
			case !heard && !complained && time.Since(begin) > firstSample:
				complained = true
				cause = health(&journal.Health{Part: "feed", State: "lost", Text: "no sample has come yet: check that the source sends to the address in the feed file"})
			case heard && time.Since(last.arrived) >= tickEvery:
				cause = a.step(Input{Kind: KindTick, At: now()})
			}
		case <-ctx.Done():
			done = true
		}
	}
	// What had come before the end counts: nothing that was received is lost.
	for drained := false; !drained; {
		select {
		case m, ok := <-samples:
			if !ok {
				drained = true
				break
			}
			last, heard = m, true
			cause = errors.Join(cause, a.step(Input{Kind: KindSample, At: m.at, Row: m.row}))
		case h := <-notices:
			cause = errors.Join(cause, health(&h))
		case s := <-stats:
			cause = errors.Join(cause, health(watch.compare(s)))
		case c := <-a.Commands:
			cause = errors.Join(cause, a.step(Input{Kind: KindCommand, At: now(), Command: c.Name, Source: c.Source}))
		default:
			drained = true
		}
	}
	return errors.Join(cause, a.step(Input{Kind: KindEnd, At: now()}))
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

// A statsWatch turns what a decoder counted into health events: once when a trouble begins, then as it grows tenfold.
type statsWatch struct{ told int64 }

func (w *statsWatch) compare(s feed.Stats) *journal.Health {
	trouble := s.Bad + s.BadReadings + s.Lost + s.Reordered + s.Duplicate + s.ClockBack + s.ClockJumps + int64(len(s.Missing))
	if trouble == 0 || trouble < 10*w.told {
		return nil
	}
	w.told = trouble
	return &journal.Health{Part: "feed", State: "degraded", Text: describe(s)}
}

func describe(s feed.Stats) string {
	text := fmt.Sprintf("of %d %ss", s.Records, s.Record)
	for _, c := range []struct {
		n    int64
		what string
	}{
		{s.Bad, "refused"}, {s.Lost, "lost"}, {s.Reordered, "out of order"}, {s.Duplicate, "duplicate"},
		{s.BadReadings, "readings refused"}, {s.ClockBack, "steps back of the clock"}, {s.ClockJumps, "jumps of the clock"},
	} {
		if c.n > 0 {
			text += fmt.Sprintf(", %d %s", c.n, c.what)
		}
	}
	if len(s.Missing) > 0 {
		text += fmt.Sprintf(", columns that are missing: %v", s.Missing)
	}
	if s.LastBad != "" {
		text += "; last: " + s.LastBad
	}
	return text
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
