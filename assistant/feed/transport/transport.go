// Package transport brings the bytes of a feed: datagrams from a socket, or the
// chunks of a file or of the standard input. It never looks into them.
//
// A Source belongs to one goroutine, which calls Next until it returns an error
// (io.EOF at the end of a stream) and then Close. Further transports (serial,
// TCP, multicast) add a Kind here and a case in Open.
package transport

import (
	"context"
	"errors"
	"fmt"
	"math"
)

// A Kind is a way in which bytes come.
type Kind string

// The kinds.
const (
	UDP   Kind = "udp"
	File  Kind = "file"
	Stdin Kind = "stdin"
)

// Kinds lists the kinds that Open knows.
func Kinds() []Kind { return []Kind{UDP, File, Stdin} }

// A Spec says where bytes come from.
type Spec struct {
	Kind   Kind
	Listen string // udp: host:port; without a host it is the loopback, so nothing is open to the network unasked
	Path   string // file: plain, gzip or zstd, told apart by content
}

// Datagrams tells whether Next returns whole datagrams rather than pieces of a stream.
func (s Spec) Datagrams() bool { return s.Kind == UDP }

// A Source gives the bytes.
type Source interface {
	// Next waits for the next datagram or piece of the stream. The bytes are valid
	// until the next call. arrived is in seconds on the local monotonic clock
	// since Open, NaN for a file. io.EOF is the end of the stream; the
	// cause of ctx when that is done.
	Next(ctx context.Context) (p []byte, arrived float64, err error)
	Close() error
}

// ErrUnavailable is wrapped by every error of Open.
var ErrUnavailable = errors.New("source unavailable")

// An Error says which source did not open, why, and what to do.
type Error struct {
	What string // "udp 127.0.0.1:47119", "file laps.csv"
	Msg  string
	Hint string
	Err  error // the system's error, may be nil
}

func (e *Error) Error() string {
	if e.Hint == "" {
		return fmt.Sprintf("%s: %s", e.What, e.Msg)
	}
	return fmt.Sprintf("%s: %s\n\thint: %s", e.What, e.Msg, e.Hint)
}

// Unwrap gives ErrUnavailable and the system's error.
func (e *Error) Unwrap() []error {
	if e.Err == nil {
		return []error{ErrUnavailable}
	}
	return []error{ErrUnavailable, e.Err}
}

// Open opens the source. When ctx is done the source closes. The error is an *Error.
func Open(ctx context.Context, s Spec) (Source, error) {
	switch s.Kind {
	case UDP:
		return openUDP(ctx, s.Listen)
	case File:
		return openFile(s.Path)
	case Stdin:
		return openStdin(), nil
	}
	return nil, &Error{What: "transport", Msg: fmt.Sprintf("unknown kind %q", s.Kind), Hint: fmt.Sprintf("use one of %v", Kinds())}
}

// unknown is the time of arrival of what was not seen arriving.
var unknown = math.NaN()
