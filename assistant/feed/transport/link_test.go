package transport

import (
	"context"
	"errors"
	"fmt"
	"io"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// A fake connection brings what it is given and then ends.
type fake struct {
	pieces chan string
	closed chan struct{}
}

func newFake(pieces ...string) *fake {
	f := &fake{make(chan string, len(pieces)), make(chan struct{})}
	for _, p := range pieces {
		f.pieces <- p
	}
	close(f.pieces)
	return f
}

func (f *fake) Read(p []byte) (int, error) {
	select {
	case s, ok := <-f.pieces:
		if !ok {
			return 0, io.EOF
		}
		return copy(p, s), nil
	case <-f.closed:
		return 0, io.ErrClosedPipe
	}
}

func (f *fake) Close() error         { close(f.closed); return nil }
func (f *fake) name() string         { return "up" }
func (f *fake) why(err error) string { return "lost: " + err.Error() }

// Tries come at 0.25, 0.5, 1, 2, 4 and then every 8 seconds; one that brings something begins the row anew, one that is
// closed as soon as it is open does not. What stays the same is told once. In a bubble whose clock is its own.
func TestBackOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begin := time.Now()
		var tries []float64
		var told []string
		away := errors.New("away")
		plan := []any{away, away, away, away, away, away, away, newFake("a", "b"), newFake(), away, newFake("c"), away}
		l := &link{
			spec: Spec{Report: func(s State) {
				told = append(told, fmt.Sprintf("%.2f %v %s", time.Since(begin).Seconds(), s.Up, s.Text))
			}},
			open: func(ctx context.Context) (conn, error) {
				tries = append(tries, time.Since(begin).Seconds())
				if len(tries) > len(plan) {
					<-ctx.Done()
					return nil, context.Cause(ctx)
				}
				if c, ok := plan[len(tries)-1].(*fake); ok {
					return c, nil
				}
				return nil, away
			},
		}
		l.start(t.Context(), nil, nil)
		var got []string
		var when []float64
		for len(got) < 5 {
			p, arrived, err := l.Next(t.Context())
			if err != nil {
				require.Equal(t, ErrGap, err)
				p = []byte("GAP")
			} else {
				when = append(when, arrived)
			}
			got = append(got, string(p))
		}
		require.Equal(t, []string{"a", "b", "GAP", "c", "GAP"}, got)
		time.Sleep(time.Minute)
		require.Equal(t, Stats{Reconnects: 2}, l.Stats())
		require.NoError(t, l.Close())
		require.Equal(t, []float64{0, .25, .75, 1.75, 3.75, 7.75, 15.75, 23.75, 24, 24.5, 25.5, 25.75, 26.25}, tries)
		require.Equal(t, []float64{23.75, 23.75, 25.5}, when, "arrival counts from Open")
		require.Equal(t, []string{
			"0.00 false away", "23.75 true up", "23.75 false lost: EOF", "24.00 true up", "24.00 false lost: EOF", "24.50 false away",
			"25.50 true up", "25.50 false lost: EOF", "25.75 false away",
		}, told)
	})
}

// While it waits to try again, and while it reads from what is silent, the end of any context is heard at once, and
// nothing keeps running: a bubble ends only when all its goroutines have.
func TestTheEndIsHeardAtOnce(t *testing.T) {
	for _, silent := range []bool{false, true} {
		for _, which := range []string{"of Next", "of Open", "Close"} {
			synctest.Test(t, func(t *testing.T) {
				c := &fake{make(chan string), make(chan struct{})}
				l := &link{open: func(context.Context) (conn, error) {
					if silent {
						return c, nil
					}
					return nil, errors.New("away")
				}}
				opened, endOpen := context.WithCancel(t.Context())
				defer endOpen()
				ctx, end := context.WithCancel(t.Context())
				defer end()
				l.start(opened, nil, nil)
				time.Sleep(5 * time.Second)
				begin := time.Now()
				go map[string]func(){"of Next": end, "of Open": endOpen, "Close": func() { _ = l.Close() }}[which]()
				_, _, err := l.Next(ctx)
				require.Error(t, err)
				require.NotErrorIs(t, err, ErrGap)
				require.Zero(t, time.Since(begin))
				require.NoError(t, l.Close())
				if silent {
					<-c.closed
				}
			})
		}
	}
}

func TestLinkDoesNotAllocate(t *testing.T) {
	c := &endless{closed: make(chan struct{})}
	l := &link{open: func(context.Context) (conn, error) { return c, nil }}
	l.start(t.Context(), nil, nil)
	defer l.Close()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	require.Zero(t, testing.AllocsPerRun(500, func() {
		if p, _, err := l.Next(ctx); err != nil || len(p) != 100 {
			t.Fatal(err)
		}
	}))
}

// endless always has a hundred bytes.
type endless struct{ closed chan struct{} }

func (e *endless) Read([]byte) (int, error) {
	select {
	case <-e.closed:
		return 0, io.EOF
	default:
		return 100, nil
	}
}
func (e *endless) Close() error     { close(e.closed); return nil }
func (e *endless) name() string     { return "" }
func (e *endless) why(error) string { return "" }
