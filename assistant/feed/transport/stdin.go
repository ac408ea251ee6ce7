package transport

import (
	"context"
	"io"
	"os"
	"sync"
	"time"
)

// A stream reads in a goroutine of its own, since a read of the standard input
// cannot be called off. The goroutine owns the buffer until it hands a piece over, and
// again from the next call of Next on. After Close it ends with the read it is in.
type stream struct {
	begin  time.Time
	pieces chan piece
	again  chan struct{}
	done   chan struct{}
	once   sync.Once
	out    bool // a piece is out and its buffer not yet given back
	ended  error
}

type piece struct {
	p       []byte
	arrived float64
	err     error
}

func openStdin() Source { return newStream(os.Stdin) }

func newStream(r io.Reader) *stream {
	s := &stream{begin: time.Now(), pieces: make(chan piece), again: make(chan struct{}), done: make(chan struct{})}
	go s.read(r)
	return s
}

func (s *stream) read(r io.Reader) {
	buf := make([]byte, chunk)
	for {
		n, err := r.Read(buf)
		if n > 0 {
			select {
			case s.pieces <- piece{buf[:n], time.Since(s.begin).Seconds(), nil}:
			case <-s.done:
				return
			}
			select {
			case <-s.again:
			case <-s.done:
				return
			}
		}
		if err != nil {
			select {
			case s.pieces <- piece{nil, unknown, err}:
			case <-s.done:
			}
			return
		}
	}
}

func (s *stream) Next(ctx context.Context) ([]byte, float64, error) {
	if s.ended != nil {
		return nil, unknown, s.ended
	}
	if s.out {
		select {
		case s.again <- struct{}{}: // the reader waits for exactly this
			s.out = false
		case <-s.done:
		}
	}
	select {
	case p := <-s.pieces:
		s.out = p.err == nil
		s.ended = p.err
		return p.p, p.arrived, p.err
	case <-s.done:
		return nil, unknown, os.ErrClosed
	case <-ctx.Done():
		return nil, unknown, context.Cause(ctx)
	}
}

func (s *stream) Close() error {
	s.once.Do(func() { close(s.done) })
	return nil
}
