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
	s := makeStream()
	go s.read(r)
	return s
}

func makeStream() *stream {
	return &stream{begin: time.Now(), pieces: make(chan piece), again: make(chan struct{}), done: make(chan struct{})}
}

func (s *stream) read(r io.Reader) {
	buf := make([]byte, chunk)
	for {
		n, err := r.Read(buf)
		if n > 0 && !s.give(buf[:n]) {
			return
		}
		if err != nil {
			s.tell(err)
			return
		}
	}
}

// give hands a piece over and waits until its buffer is given back; false when the stream is closed.
func (s *stream) give(p []byte) bool {
	select {
	case s.pieces <- piece{p, time.Since(s.begin).Seconds(), nil}:
	case <-s.done:
		return false
	}
	select {
	case <-s.again:
		return true
	case <-s.done:
		return false
	}
}

// tell hands an error over; false when the stream is closed.
func (s *stream) tell(err error) bool {
	select {
	case s.pieces <- piece{nil, unknown, err}:
		return true
	case <-s.done:
		return false
	}
}

func (s *stream) Next(ctx context.Context) ([]byte, float64, error) {
	if err := context.Cause(ctx); err != nil {
		return nil, unknown, err
	}
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
		if p.err != ErrGap {
			s.ended = p.err
		}
		return p.p, p.arrived, p.err
	case <-s.done:
		return nil, unknown, os.ErrClosed
	case <-ctx.Done():
		return nil, unknown, context.Cause(ctx)
	}
}

// Stats has nothing to tell of the standard input.
func (s *stream) Stats() Stats { return Stats{} }

func (s *stream) Close() error {
	s.once.Do(func() { close(s.done) })
	return nil
}
