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
	"earshot/assistant/health"
	"earshot/assistant/journal"
)

// Times of a live run, on the local clock.
const (
	tickEvery   = 100 * time.Millisecond
	firstSample = 10 * time.Second // without a sample for so long after the start, say so
	statsEvery  = time.Second
)

// A live is a Core on a live feed. The goroutine that reads the feed runs the core on each sample itself: handing the
// sample to another goroutine costs more than all the rest. The goroutine of the door and the clock runs it in between.
type live struct {
	a     *Assistant
	begin time.Time

	turn       sync.Mutex        // guards the core and the fields below
	at         float64           // of the last sample
	arrived    time.Time         // when that was
	heard      bool              // a sample has come
	complained bool              // it was told that none has come
	failing    []bool            // by sink
	sick       []*journal.Health // changes of sinks, not yet told

	teller troubleTeller
	unsaid *feed.Stats // with troubles not yet told
	told   time.Time   // when troubles were told last

	counted int64 // troubles when the reader last looked; only the reader uses it
}

// Run runs the core on a live feed until the feed ends or ctx is done. When it returns, the sinks have everything and
// all goroutines have ended. The error is the feed's: ctx being done is none, and a sink that fails is told as health
// and ends nothing.
func (a *Assistant) Run(ctx context.Context) error {
	begin := time.Now()
	if a.Door == nil {
		a.Door = NewDoor()
	}
	l := &live{a: a, begin: begin, arrived: begin, failing: make([]bool, len(a.Sinks))}
	l.step(Input{Kind: KindStart, Session: &a.Session})
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	g, gctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		defer stop() // without a feed there is nothing to wait for
		return l.read(gctx)
	})
	g.Go(func() error {
		l.attend(gctx)
		return nil
	})
	err := g.Wait()
	l.admit(a.Door.close()) // nothing that the driver pressed before the end is lost
	l.counts(l.now())
	l.step(Input{Kind: KindEnd, At: l.now()})
	return err
}

// step runs the core and the sinks on an input. The caller has the turn, except at the start.
func (l *live) step(in Input) {
	l.a.step(in, l.hear)
	for len(l.sick) > 0 && in.Kind != KindEnd { // nothing comes after the end
		h := l.sick[0]
		l.sick = l.sick[1:]
		l.a.step(Input{Kind: KindHealth, At: in.At, Health: h}, l.hear)
	}
}

// hear notes whether a sink works. A change waits to be told.
func (l *live) hear(sink int, err error) {
	if (err != nil) == l.failing[sink] {
		return
	}
	l.failing[sink] = err != nil
	part := l.a.Sinks[sink].Part()
	h := part.Is(health.OK, "it works again")
	if err != nil {
		h = part.Is(health.Lost, err.Error())
	}
	l.sick = append(l.sick, h)
}

// now is the feed's clock between samples. It stands at zero until the first one. The caller has the turn.
func (l *live) now() float64 {
	if !l.heard {
		return 0
	}
	return l.at + time.Since(l.arrived).Seconds()
}

// read is the goroutine of the feed. While it is busy, samples wait in the operating system or at their source.
func (l *live) read(ctx context.Context) error {
	emit := func(s channel.Sample) {
		l.turn.Lock()
		defer l.turn.Unlock()
		l.at, l.arrived, l.heard = s.At, time.Now(), true
		l.step(Input{Kind: KindSample, At: s.At, Row: s.Row})
	}
	for {
		err := l.a.Feed.Read(ctx, emit)
		l.report()
		switch {
		case err == nil:
		case errors.Is(err, io.EOF), ctx.Err() != nil:
			return nil
		default:
			return fmt.Errorf("the feed: %w", err)
		}
	}
}

// report passes on the feed's notices. What the feed counted waits for the next tick; it is copied only when the count
// has doubled, so that a flood costs little.
func (l *live) report() {
	for _, n := range noticesOf(l.a.Feed) {
		l.do(func(now float64) { l.step(Input{Kind: KindHealth, At: now, Health: &n.Health}) })
	}
	if n := troublesOf(l.a.Feed); n > 0 && n >= 2*l.counted {
		l.counted = n
		s := l.a.Feed.Stats()
		l.turn.Lock()
		l.unsaid = &s
		l.turn.Unlock()
	}
}

func troublesOf(f Feed) int64 {
	if w, ok := f.(Watched); ok {
		return w.Troubles()
	}
	s := f.Stats()
	return s.Troubles()
}

// counts tells the troubles that wait. The caller has the turn.
func (l *live) counts(now float64) {
	s := l.unsaid
	l.unsaid, l.told = nil, time.Now()
	if s == nil {
		return
	}
	if h := l.teller.compare(*s); h != nil {
		l.step(Input{Kind: KindHealth, At: now, Health: h})
	}
}

// do calls f with the turn, between samples.
func (l *live) do(f func(now float64)) {
	l.turn.Lock()
	defer l.turn.Unlock()
	f(l.now())
}

// attend is the goroutine of the door and the clock.
func (l *live) attend(ctx context.Context) {
	ticker := time.NewTicker(tickEvery)
	defer ticker.Stop()
	for {
		select {
		case <-l.a.Door.wake:
			l.admit(l.a.Door.waiting())
		case <-ticker.C:
			l.do(l.tick)
		case <-ctx.Done():
			return
		}
	}
}

// admit stamps what came in at the door and steps through it.
func (l *live) admit(list []arrival) {
	for _, a := range list {
		l.do(func(now float64) {
			a.in.At = now
			if r := a.in.Request; r != nil && l.heard {
				if ago := time.Since(a.pressed).Seconds(); ago > 0 {
					r.Pressed = now - ago
				}
			}
			l.step(a.in)
		})
	}
}

func (l *live) tick(now float64) {
	if l.unsaid != nil && time.Since(l.told) >= statsEvery {
		l.counts(now)
	}
	switch {
	case !l.heard && !l.complained && time.Since(l.begin) > firstSample:
		l.complained = true
		l.step(Input{Kind: KindHealth, At: now, Health: feed.Whole.Is(health.Lost, l.whyNothing())})
	case l.heard && time.Since(l.arrived) >= tickEvery:
		l.step(Input{Kind: KindTick, At: now})
	}
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

// A troubleTeller makes health events of what a decoder counted: when a trouble begins, and each time it has grown
// tenfold.
type troubleTeller struct{ told int64 }

func (w *troubleTeller) compare(s feed.Stats) *journal.Health {
	trouble := s.Troubles()
	if trouble == 0 || trouble < 10*w.told {
		return nil
	}
	w.told = trouble
	return feed.Whole.Is(health.Degraded, describe(s))
}

func describe(s feed.Stats) string {
	text := fmt.Sprintf("of %d %ss", s.Records, s.Record)
	for _, c := range []struct {
		n    int64
		what string
	}{
		{s.Bad, "refused"}, {s.Lost, "lost"}, {s.Reordered, "out of order"}, {s.Duplicate, "duplicate"},
		{s.BadReadings, "readings refused"}, {s.ClockBack, "steps back of the clock"},
		{s.ClockJumps, "jumps of the clock"},
		{s.Foreign, "from senders that the feed file does not name"}, {s.Oversized, "larger than the feed file allows"},
		{s.Reconnects, "connections made anew"},
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
