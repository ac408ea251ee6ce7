// Package transport brings the bytes of a feed: datagrams from a socket, or the pieces of a stream from a connection,
// a serial device, a file or the standard input. It never looks into them.
//
//	udp ────────────────┐
//	tcp serial can ─link┼─▶ Source.Next ─▶ bytes, or ErrGap where a stream was torn
//	stdin file ─────────┘        └──────▶ Spec.Report: lost, why, waiting, back again
//
// A Source belongs to one goroutine, which calls Next until it returns an error that is not ErrGap (io.EOF at the end
// of a stream) and then Close. What can come back is waited for until the context is done: a connection that broke,
// a serial device that was unplugged, a file that was replaced.
//
// Nothing listens beyond this machine unless the Spec names an address that does; see Spec.Exposed.
//
// A further transport is a Kind here, a case in Open and a file.
package transport

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net"
	"net/netip"
)

// A Kind is a way in which bytes come.
type Kind string

// The kinds.
const (
	UDP    Kind = "udp"
	TCP    Kind = "tcp"
	Serial Kind = "serial"
	CAN    Kind = "can"
	File   Kind = "file"
	Stdin  Kind = "stdin"
)

// Kinds lists the kinds that Open knows.
func Kinds() []Kind { return []Kind{UDP, TCP, Serial, CAN, File, Stdin} }

// LargestDatagram is the most that a UDP datagram over IPv4 carries, in bytes (RFC 768 and RFC 791: 65,535 without the
// two headers).
const LargestDatagram = 65507

// A Spec says where bytes come from. What does not belong to its Kind is not looked at.
type Spec struct {
	Kind Kind

	// Listen is host:port of udp and of a tcp server; without a host it is the loopback, so nothing is open to the
	// network unasked. A tcp server has one sender at a time: a new connection replaces the one before, since a sender
	// that was cut off leaves a connection behind that looks alive.
	Listen  string
	Connect string // tcp client: host:port, in place of Listen

	// Group is a multicast group, host:port, in place of Listen; Interface is the name of the network interface to join
	// on, "" for the system's choice. The system also delivers what is sent to that port directly: name the senders in
	// From.
	Group     string
	Interface string // also that of can, where it must be

	From    []netip.Prefix // udp, tcp server: the senders that are listened to; none: all
	Largest int            // udp: larger datagrams are dropped and counted; bytes, 0 for LargestDatagram

	Device   string // serial: /dev/ttyUSB0, COM3
	Baud     int    // bit/s
	DataBits int    // 5 to 8, 0 for 8
	Parity   string // none, even, odd, mark or space; "" for none
	StopBits string // 1, 1.5 or 2; "" for 1

	Path   string // file: plain, gzip or zstd, told apart by content
	Follow bool   // file: what is appended later comes too, and the file may be shortened or replaced; plain only

	// Report is told of every change: nil if nobody asks. It is called from the goroutine of Open and Next or from one
	// of the Source's own, never twice at once, and must not block. Udp and stdin have nothing to report.
	Report func(State)
}

// A State tells how the source is now.
type State struct {
	Up   bool
	Text string // for people: "connected to 127.0.0.1:4000", "the device is gone; waiting for it"
}

// Stats is what a Source has counted so far.
type Stats struct {
	Foreign    int64 // datagrams and connections of senders that are not in From
	Oversized  int64 // datagrams larger than Largest
	Reconnects int64 // times that the source came back after it was lost, and sources that began anew
}

// Datagrams tells whether Next returns whole datagrams rather than pieces of a stream.
func (s Spec) Datagrams() bool { return s.Kind == UDP }

// Live tells whether bytes come as they are made, rather than all at once from a file that is complete.
func (s Spec) Live() bool { return s.Kind != File || s.Follow }

// Exposed is the address on which others than this machine can send to the feed, "" if there is none.
func (s Spec) Exposed() string {
	switch {
	case s.Kind == UDP && s.Group != "":
		return s.Group
	case s.Kind == UDP, s.Kind == TCP && s.Connect == "":
		host, _, err := net.SplitHostPort(s.Listen)
		if ip := net.ParseIP(host); err == nil && host != "" && host != "localhost" && !(ip != nil && ip.IsLoopback()) {
			return s.Listen
		}
	}
	return ""
}

// String names the source for people: "udp 127.0.0.1:47119", "serial /dev/ttyUSB0".
func (s Spec) String() string {
	where := map[Kind]string{UDP: s.Listen, TCP: s.Listen, Serial: s.Device, CAN: s.Interface, File: s.Path}[s.Kind]
	switch {
	case s.Kind == UDP && s.Group != "":
		where = s.Group
	case s.Kind == TCP && s.Connect != "":
		where = s.Connect
	}
	if where == "" {
		return string(s.Kind)
	}
	return string(s.Kind) + " " + where
}

func (s Spec) report(up bool, format string, args ...any) {
	if s.Report != nil {
		s.Report(State{up, fmt.Sprintf(format, args...)})
	}
}

// A Source gives the bytes.
type Source interface {
	// Next waits for the next datagram or piece of the stream. The bytes are valid
	// until the next call. arrived is in seconds on the local monotonic clock
	// since Open, NaN for a file.
	//
	// The error is ErrGap, without bytes, where a stream was torn and more may follow: what is unfinished of it must
	// not be joined to what comes next (the decoder's Gap), and Next is called again. It is io.EOF at the end of a
	// stream, and the cause of ctx soon after that is done.
	Next(ctx context.Context) (p []byte, arrived float64, err error)
	// Stats may be called from any goroutine.
	Stats() Stats
	Close() error
}

// ErrGap is returned by Next, once each time, where a stream was torn: the connection broke, the file was replaced.
var ErrGap = errors.New("the stream was torn")

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

// Open opens the source. When ctx is done the source closes. The error is an *Error. A server that is not there yet, a
// device that is not plugged in or a followed file that does not exist is none: it is reported and waited for.
func Open(ctx context.Context, s Spec) (Source, error) {
	switch s.Kind {
	case UDP:
		return openUDP(ctx, s)
	case TCP:
		return openTCP(ctx, s)
	case Serial:
		return openSerial(ctx, s)
	case CAN:
		return openCAN(ctx, s)
	case File:
		if s.Follow {
			return openFollow(ctx, s)
		}
		return openFile(s.Path)
	case Stdin:
		return openStdin(), nil
	}
	return nil, &Error{What: "transport", Msg: fmt.Sprintf("unknown kind %q", s.Kind), Hint: fmt.Sprintf("use one of %v", Kinds())}
}

// unknown is the time of arrival of what was not seen arriving.
var unknown = math.NaN()
