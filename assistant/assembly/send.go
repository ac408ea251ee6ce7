package assembly

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"slices"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
)

// The forms in which the demo is sent.
const (
	AsPacket = "packet" // configs/feeds/demo.yaml
	AsJSON   = "json"   // configs/feeds/demo-json.yaml
	AsNMEA   = "nmea"   // configs/feeds/demo-bus.yaml, source gps
	AsCAN    = "can"    // the same, source bus
	AsCSV    = "csv"    // the feed.yaml of --write
)

// SendForms lists them.
var SendForms = []string{AsPacket, AsJSON, AsNMEA, AsCAN, AsCSV}

// A Destination is a place to which the demo is sent.
type Destination struct {
	To, As  string
	Scheme  string // udp, tcp or file
	Address string
}

// AllFiles is true where all destinations are files, so that nothing needs to be sent in real time.
func AllFiles(list []Destination) bool {
	return !slices.ContainsFunc(list, func(d Destination) bool { return d.Scheme != "file" })
}

// A sender sends one form of the demo to one place.
type sender struct {
	Destination
	conn          io.WriteCloser
	w             *bufio.Writer // of a stream
	encode        func(s channel.Sample, send func([]byte)) error
	sent, refused int
}

func newSender(ctx context.Context, p *Parts, sim *demo.Sim, d Destination) (*sender, error) {
	s := &sender{Destination: d}
	if err := s.prepare(p, sim); err != nil {
		return nil, err
	}
	var err error
	if d.Scheme == "file" {
		s.conn, err = os.Create(d.Address)
	} else {
		s.conn, err = new(net.Dialer).DialContext(ctx, d.Scheme, d.Address)
	}
	if err != nil {
		return nil, fmt.Errorf("sending to %s: %w", d.To, err)
	}
	if d.Scheme != "udp" {
		s.w = bufio.NewWriterSize(s.conn, 1<<16)
	}
	return s, nil
}

// prepare makes what turns a sample into what is sent.
func (s *sender) prepare(p *Parts, sim *demo.Sim) error {
	var text []byte
	lines := func(add func([]byte, channel.Sample) []byte) {
		s.encode = func(x channel.Sample, send func([]byte)) error {
			if text = add(text[:0], x); len(text) > 0 {
				send(text)
			}
			return nil
		}
	}
	switch s.As {
	case AsPacket:
		e, err := feed.NewEncoder(p.Feed, p.Channels)
		if err != nil {
			return err
		}
		s.encode = e.Encode
	case AsJSON:
		object := demo.NewObject(p.Channels, sim)
		lines(func(b []byte, x channel.Sample) []byte { return append(object.Append(b, x), '\n') })
	case AsNMEA:
		lines(demo.NewReceiver().Append)
	case AsCAN:
		lines(demo.NewBus().Append)
	case AsCSV:
		table, begun := demo.NewTable(p.Channels, sim), false
		lines(func(b []byte, x channel.Sample) []byte {
			if !begun {
				b, begun = table.Begin(b), true
			}
			return table.Append(b, x)
		})
	}
	return nil
}

// put sends one datagram, or a piece of a stream. A datagram without a listener is lost and counted, as on any network.
// A broken stream is an error.
func (s *sender) put(p []byte) error {
	s.sent++
	if s.w != nil {
		_, err := s.w.Write(p)
		return err
	}
	if _, err := s.conn.Write(p); err != nil {
		s.refused++
	}
	return nil
}

func (s *sender) flush() error {
	if s.w == nil {
		return nil
	}
	return s.w.Flush()
}

// SendDemo sends the feed to other processes or into files, at so many times the speed of the clock, and tells how much
// it sent.
func (p *Parts) SendDemo(ctx context.Context, sim *demo.Sim, list []Destination, times float64,
	tell func(string)) (err error) {
	var senders []*sender
	defer func() {
		for _, s := range senders {
			err = errors.Join(err, s.conn.Close())
		}
	}()
	for _, d := range list {
		s, err := newSender(ctx, p, sim, d)
		if err != nil {
			return err
		}
		senders = append(senders, s)
	}
	pace, live := assistant.NewPacer(times), !AllFiles(list)
	for {
		x, ok := sim.Next()
		if !ok || !pace.Wait(ctx, x.At) {
			break
		}
		for _, s := range senders {
			var broken error
			err := s.encode(x, func(p []byte) { broken = errors.Join(broken, s.put(p)) })
			if live {
				broken = errors.Join(broken, s.flush())
			}
			if err := errors.Join(err, broken); err != nil {
				return fmt.Errorf("sending to %s: %w", s.To, err)
			}
		}
	}
	unheard := true
	for _, s := range senders {
		if err := s.flush(); err != nil {
			return fmt.Errorf("sending to %s: %w", s.To, err)
		}
		what := "pieces"
		if s.Scheme == "udp" {
			what = "datagrams"
		}
		tell(fmt.Sprintf("sent %d %s to %s, %d refused", s.sent, what, s.To, s.refused))
		unheard = unheard && s.sent > 0 && s.refused == s.sent
	}
	if unheard {
		return errors.New("nobody listened: start earshot run first")
	}
	return nil
}
