package transport

import (
	"context"
	"errors"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"
)

// How long a link waits before it tries again.
const (
	firstPause   = 250 * time.Millisecond
	longestPause = 8 * time.Second
)

// pause is how long to wait after the n-th failure in a row, from 1: it doubles up to a limit. A device or server that
// comes back is heard within eight seconds, and one that stays away is not pestered.
func pause(n int) time.Duration {
	p := firstPause
	for ; n > 1 && p < longestPause; n-- {
		p *= 2
	}
	return min(p, longestPause)
}

// A conn is a connection of a link. Close ends a Read that waits.
type conn interface {
	io.ReadCloser
	// name says for people what it is connected to; why makes people's words of an error of Read.
	name() string
	why(err error) string
}

// A link is a stream whose connection comes and goes. Its goroutine opens, reads and waits, until the context of Open
// is done or the link closed; it owns the connection, and the buffer as a stream does.
type link struct {
	*stream
	spec Spec
	open func(context.Context) (conn, error)
	// eager: after a loss it opens again at once, since open itself waits for the other side
	eager bool
	stop  context.CancelCauseFunc
	group sync.WaitGroup
	end   func() // closes what open uses

	foreign    atomic.Int64
	reconnects atomic.Int64
}

// errAway marks that a device is not there, which may change.
var errAway = errors.New("away")

// openDevice opens a link to a device. What is wrong for good is told at once; a device that is not there yet may be
// plugged in.
func openDevice(ctx context.Context, s Spec, open func(context.Context) (conn, error)) (Source, error) {
	c, err := open(ctx)
	if err != nil && !errors.Is(err, errAway) {
		return nil, err
	}
	l := &link{spec: s, open: open}
	l.start(ctx, c, err)
	return l, nil
}

// start runs the link. first, if not nil, is a connection that is open already; why is what keeps it from being.
func (l *link) start(ctx context.Context, first conn, why error) {
	l.stream = makeStream()
	ctx, l.stop = context.WithCancelCause(ctx)
	l.group.Go(func() {
		l.run(ctx, first, why)
		l.tell(context.Cause(ctx))
	})
}

func (l *link) run(ctx context.Context, c conn, err error) {
	failures, told, lost := 0, "", false
	buf := make([]byte, chunk)
	for ; ; c, err = nil, nil {
		if c == nil && err == nil {
			c, err = l.open(ctx)
		}
		if ctx.Err() != nil {
			if c != nil {
				_ = c.Close() // nobody reads it any more
			}
			return
		}
		if c != nil {
			if lost {
				l.reconnects.Add(1)
			}
			lost, told = true, ""
			l.spec.report(true, "%s", c.name())
			heard, end := l.read(ctx, c, buf)
			if ctx.Err() != nil {
				return
			}
			l.spec.report(false, "%s", c.why(end))
			if heard {
				failures = 0 // one that is closed as soon as it is open does not end the row
				if !l.tell(ErrGap) {
					return
				}
			}
		} else if text := err.Error(); text != told { // once, not with every try
			l.spec.report(false, "%s", text)
			told = text
		}
		failures++
		if (c == nil || !l.eager) && !sleep(ctx, pause(failures)) {
			return
		}
	}
}

// read hands on what c brings until it ends; heard tells whether it brought anything. It closes c.
func (l *link) read(ctx context.Context, c conn, buf []byte) (heard bool, err error) {
	stop := context.AfterFunc(ctx, func() { _ = c.Close() })
	defer func() {
		if stop() {
			_ = c.Close() // what was read counts, not how it ended
		}
	}()
	for {
		n, err := c.Read(buf)
		if n > 0 {
			heard = true
			if !l.give(buf[:n]) {
				return heard, nil
			}
		}
		if err != nil {
			return heard, err
		}
	}
}

func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

func (l *link) Stats() Stats {
	return Stats{Foreign: l.foreign.Load(), Reconnects: l.reconnects.Load()}
}

// Close waits until the goroutine has ended.
func (l *link) Close() error {
	_ = l.stream.Close()
	l.stop(os.ErrClosed)
	if l.end != nil {
		l.end()
	}
	l.group.Wait()
	return nil
}
