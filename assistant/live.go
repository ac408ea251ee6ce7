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

	watch statsWatch // the reader's
	told  time.Time
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
			broken = l.report(err != nil)
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

// report tells of the troubles of the feed.
func (l *live) report(last bool) error {
	var err error
	for _, n := range noticesOf(l.a.Feed) {
		err = errors.Join(err, l.health(&n.Health))
	}
	if now := time.Now(); last || now.Sub(l.told) >= statsEvery {
		l.told = now
		err = errors.Join(err, l.health(l.watch.compare(l.a.Feed.Stats())))
	}
	return err
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
	switch {
	case !l.heard && !l.complained && time.Since(l.begin) > firstSample:
		l.complained = true
		return l.a.step(Input{Kind: KindHealth, At: now, Health: &journal.Health{
			Part: "feed", State: "lost", Text: "no sample has come yet: check that the source sends to the address in the feed file"}})
	case l.heard && time.Since(l.arrived) >= tickEvery:
		return l.a.step(Input{Kind: KindTick, At: now})
	}
	return nil
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
			return err
		}
	}
}

// A statsWatch turns what a decoder counted into health events: once when a trouble begins, then as it grows tenfold.
type statsWatch struct{ told int64 }

func (w *statsWatch) compare(s feed.Stats) *journal.Health {
	trouble := s.Bad + s.BadReadings + s.Lost + s.Reordered + s.Duplicate + s.ClockBack + s.ClockJumps + s.Foreign + s.Oversized + int64(len(s.Missing))
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
	if s.LastBad != "" {
		text += "; last: " + s.LastBad
	}
	return text
}
