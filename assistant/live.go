package assistant

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/journal"
)

// Times of a live run, on the local clock.
const (
	tickEvery   = 100 * time.Millisecond
	firstSample = 10 * time.Second // without a sample for so long after the start, say so
	statsEvery  = time.Second
)

// A live is a Core on a live feed. The goroutine that reads the feed carries each sample through the core itself: handing it to another
// one costs more than all the rest. The one that attends to the driver takes the core in between.
type live struct {
	a     *Assistant
	begin time.Time

	turn       sync.Mutex // who holds it has the core and what follows
	at         float64    // of the last sample
	arrived    time.Time  // when that was
	heard      bool       // a sample has come
	complained bool       // that none has come

	watch  statsWatch
	unsaid *feed.Stats // with troubles that have not been told
	told   time.Time   // when the last were

	counted int64 // troubles up to the last look of the reader, whose it is
}

// Run carries a live feed until it ends or ctx is done. Everything has been handed to the journal and the
// recorder, and all goroutines have ended, when it returns. An end by ctx is no error.
func (a *Assistant) Run(ctx context.Context) error {
	begin := time.Now()
	l := &live{a: a, begin: begin, arrived: begin}
	if err := a.step(Input{Kind: KindStart, Session: &a.Session}); err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	g, gctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		defer stop() // without a feed there is nothing to attend to
		return l.read(gctx)
	})
	g.Go(func() error {
		defer stop()
		return l.attend(gctx)
	})
	err := g.Wait()
	err = errors.Join(err, l.rest())
	return errors.Join(err, a.step(Input{Kind: KindEnd, At: l.now()}))
}

// now is the feed's clock between samples. It stands at zero until the first one. The caller has the turn.
func (l *live) now() float64 {
	if !l.heard {
		return 0
	}
	return l.at + time.Since(l.arrived).Seconds()
}

// read is the goroutine of the feed. While it is late the samples wait with their source, or with the system.
func (l *live) read(ctx context.Context) error {
	var broken error
	emit := func(s channel.Sample) {
		l.turn.Lock()
		defer l.turn.Unlock()
		l.at, l.arrived, l.heard = s.At, time.Now(), true
		broken = errors.Join(broken, l.a.step(Input{Kind: KindSample, At: s.At, Row: s.Row}))
	}
	for {
		err := l.a.Feed.Read(ctx, emit)
		if broken == nil {
			broken = l.report()
		}
		switch {
		case broken != nil:
			return broken
		case err == nil:
		case errors.Is(err, io.EOF), ctx.Err() != nil:
			return nil
		default:
			return fmt.Errorf("the feed: %w", err)
		}
	}
}

// report passes on what the feed says of itself. What it counted waits for the next tick; a picture of it is taken each time that it has
// doubled, so that a flood costs little.
func (l *live) report() error {
	var err error
	for _, n := range noticesOf(l.a.Feed) {
		err = errors.Join(err, l.health(&n.Health))
	}
	if n := troublesOf(l.a.Feed); n > 0 && n >= 2*l.counted {
		l.counted = n
		s := l.a.Feed.Stats()
		l.turn.Lock()
		l.unsaid = &s
		l.turn.Unlock()
	}
	return err
}

func troublesOf(f Feed) int64 {
	if w, ok := f.(Watched); ok {
		return w.Troubles()
	}
	s := f.Stats()
	return s.Troubles()
}

// counts tells of the troubles that wait. The caller has the turn.
func (l *live) counts(now float64) error {
	s := l.unsaid
	l.unsaid, l.told = nil, time.Now()
	if s == nil {
		return nil
	}
	if h := l.watch.compare(*s); h != nil {
		return l.a.step(Input{Kind: KindHealth, At: now, Health: h})
	}
	return nil
}

func (l *live) health(h *journal.Health) error {
	if h == nil {
		return nil
	}
	return l.do(func(now float64) error { return l.a.step(Input{Kind: KindHealth, At: now, Health: h}) })
}

// do takes the turn for what comes between samples.
func (l *live) do(f func(now float64) error) error {
	l.turn.Lock()
	defer l.turn.Unlock()
	return f(l.now())
}

// attend is the goroutine of the driver and of the clock.
func (l *live) attend(ctx context.Context) error {
	ticker := time.NewTicker(tickEvery)
	defer ticker.Stop()
	for {
		var err error
		select {
		case c := <-l.a.Commands:
			err = l.command(c)
		case h := <-l.a.Health:
			err = l.health(&h)
		case files := <-l.a.Rules:
			err = l.do(func(now float64) error { return l.a.step(Input{Kind: KindRules, At: now, Rules: files}) })
		case <-ticker.C:
			err = l.do(l.tick)
		case <-ctx.Done():
			return nil
		}
		if err != nil {
			return err
		}
	}
}

func (l *live) command(c Command) error {
	return l.do(func(now float64) error {
		return l.a.step(Input{Kind: KindCommand, At: now, Command: c.Name, Source: c.Source})
	})
}

func (l *live) tick(now float64) error {
	var err error
	if l.unsaid != nil && time.Since(l.told) >= statsEvery {
		err = l.counts(now)
	}
	switch {
	case !l.heard && !l.complained && time.Since(l.begin) > firstSample:
		l.complained = true
		err = errors.Join(err, l.a.step(Input{Kind: KindHealth, At: now, Health: &journal.Health{Part: "feed", State: "lost", Text: l.whyNothing()}}))
	case l.heard && time.Since(l.arrived) >= tickEvery:
		err = errors.Join(err, l.a.step(Input{Kind: KindTick, At: now}))
	}
	return err
}

// whyNothing says what may be wrong while no sample has come.
func (l *live) whyNothing() string {
	if w, ok := l.a.Feed.(Watched); ok {
		if n := w.Foreign(); n > 0 {
			return fmt.Sprintf("no sample has come yet: %d came from senders that the feed file does not name", n)
		}
	}
	return "no sample has come yet: check that the source sends to the address in the feed file"
}

// rest takes in what had come before the end: nothing that the driver pressed is lost.
func (l *live) rest() error {
	var err error
	for {
		select {
		case c := <-l.a.Commands:
			err = errors.Join(err, l.command(c))
		case h := <-l.a.Health:
			err = errors.Join(err, l.health(&h))
		default:
			return errors.Join(err, l.do(l.counts))
		}
	}
}

// A statsWatch turns what a decoder counted into health events: once when a trouble begins, then as it grows tenfold.
type statsWatch struct{ told int64 }

func (w *statsWatch) compare(s feed.Stats) *journal.Health {
	trouble := s.Troubles()
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
		{s.Foreign, "from senders that the feed file does not name"}, {s.Oversized, "larger than the feed file allows"}, {s.Reconnects, "connections made anew"},
	} {
		if c.n > 0 {
			text += fmt.Sprintf(", %d %s", c.n, c.what)
		}
	}
	if len(s.Missing) > 0 {
		text += fmt.Sprintf(", columns that are missing: %v", s.Missing)
	}
	if len(s.Twice) > 0 {
		text += fmt.Sprintf(", columns of the same name: %v", s.Twice)
	}
	if s.LastBad != "" {
		text += "; last: " + s.LastBad
	}
	return text
}
