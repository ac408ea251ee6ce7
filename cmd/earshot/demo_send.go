package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant"
	"earshot/assistant/assembly"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
)

// The forms in which the demo is sent.
const (
	asPacket = "packet" // configs/feeds/demo.yaml
	asJSON   = "json"   // configs/feeds/demo-json.yaml
	asNMEA   = "nmea"   // configs/feeds/demo-bus.yaml, source gps
	asCAN    = "can"    // the same, source bus
	asCSV    = "csv"    // the feed.yaml of --write
)

var sendForms = []string{asPacket, asJSON, asNMEA, asCAN, asCSV}

// A destination is a place to which the demo is sent.
type destination struct {
	to, as  string
	scheme  string // udp, tcp or file
	address string
}

// destinations reads the lists of --send and --as.
func destinations(c *cobra.Command, send, as string) ([]destination, error) {
	tos, forms := strings.Split(send, ","), strings.Split(as, ",")
	if len(forms) == 1 {
		forms = slices.Repeat(forms, len(tos))
	}
	if len(forms) != len(tos) {
		return nil, usage(c, "--send has %d places and --as %d forms: give one form for all, or one for each place "+
			"in the same order", len(tos), len(forms))
	}
	var list []destination
	for i := range tos {
		d := destination{to: strings.TrimSpace(tos[i]), as: strings.TrimSpace(forms[i]), scheme: "udp"}
		if !slices.Contains(sendForms, d.as) {
			return nil, usage(c, "--as %s: write one of %s", d.as, strings.Join(sendForms, ", "))
		}
		if path, ok := strings.CutPrefix(d.to, "file:"); ok {
			d.scheme, d.address = "file", strings.TrimPrefix(path, "//")
		} else if scheme, rest, ok := strings.Cut(d.to, "://"); ok {
			d.scheme, d.address = scheme, strings.TrimSuffix(rest, "/")
		} else {
			d.address = d.to
		}
		switch {
		case !slices.Contains([]string{"udp", "tcp", "file"}, d.scheme) || d.address == "":
			return nil, usage(c, "--send %s: write udp://HOST:PORT, tcp://HOST:PORT or file:PATH", d.to)
		case d.as == asPacket && d.scheme != "udp":
			return nil, usage(c, "--send %s: packets are sent by udp only, since nothing in a stream would tell "+
				"where one ends: write --as json, nmea, can or csv", d.to)
		case d.as == asCSV && d.scheme == "udp":
			return nil, usage(c, "--send %s: a table begins with its header, which one who listens later would "+
				"miss: send it to a file:PATH or tcp://HOST:PORT", d.to)
		}
		list = append(list, d)
	}
	return list, nil
}

// allFiles is true where all destinations are files, so that nothing needs to be sent in real time.
func allFiles(list []destination) bool {
	return !slices.ContainsFunc(list, func(d destination) bool { return d.scheme != "file" })
}

// A sender sends one form of the demo to one place.
type sender struct {
	destination
	conn          io.WriteCloser
	w             *bufio.Writer // of a stream
	encode        func(s channel.Sample, send func([]byte)) error
	sent, refused int
}

func newSender(ctx context.Context, p *assembly.Parts, sim *demo.Sim, d destination) (*sender, error) {
	s := &sender{destination: d}
	if err := s.prepare(p, sim); err != nil {
		return nil, err
	}
	var err error
	if d.scheme == "file" {
		s.conn, err = os.Create(d.address)
	} else {
		s.conn, err = new(net.Dialer).DialContext(ctx, d.scheme, d.address)
	}
	if err != nil {
		return nil, fmt.Errorf("sending to %s: %w", d.to, err)
	}
	if d.scheme != "udp" {
		s.w = bufio.NewWriterSize(s.conn, 1<<16)
	}
	return s, nil
}

// prepare makes what turns a sample into what is sent.
func (s *sender) prepare(p *assembly.Parts, sim *demo.Sim) error {
	var text []byte
	lines := func(add func([]byte, channel.Sample) []byte) {
		s.encode = func(x channel.Sample, send func([]byte)) error {
			if text = add(text[:0], x); len(text) > 0 {
				send(text)
			}
			return nil
		}
	}
	switch s.as {
	case asPacket:
		e, err := feed.NewEncoder(p.Feed, p.Channels)
		if err != nil {
			return err
		}
		s.encode = e.Encode
	case asJSON:
		object := demo.NewObject(p.Channels, sim)
		lines(func(b []byte, x channel.Sample) []byte { return append(object.Append(b, x), '\n') })
	case asNMEA:
		lines(demo.NewReceiver().Append)
	case asCAN:
		lines(demo.NewBus().Append)
	case asCSV:
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

// sendDemo sends the feed to other processes or into files.
func sendDemo(c *cobra.Command, p *assembly.Parts, sim *demo.Sim, list []destination, times float64) (err error) {
	var senders []*sender
	defer func() {
		for _, s := range senders {
			err = errors.Join(err, s.conn.Close())
		}
	}()
	for _, d := range list {
		s, err := newSender(c.Context(), p, sim, d)
		if err != nil {
			return err
		}
		senders = append(senders, s)
	}
	pace, live := assistant.NewPacer(times), !allFiles(list)
	for {
		x, ok := sim.Next()
		if !ok || !pace.Wait(c.Context(), x.At) {
			break
		}
		for _, s := range senders {
			var broken error
			err := s.encode(x, func(p []byte) { broken = errors.Join(broken, s.put(p)) })
			if live {
				broken = errors.Join(broken, s.flush())
			}
			if err := errors.Join(err, broken); err != nil {
				return fmt.Errorf("sending to %s: %w", s.to, err)
			}
		}
	}
	unheard := true
	for _, s := range senders {
		if err := s.flush(); err != nil {
			return fmt.Errorf("sending to %s: %w", s.to, err)
		}
		what := "pieces"
		if s.scheme == "udp" {
			what = "datagrams"
		}
		fmt.Fprintf(c.ErrOrStderr(), "sent %d %s to %s, %d refused\n", s.sent, what, s.to, s.refused)
		unheard = unheard && s.sent > 0 && s.refused == s.sent
	}
	if unheard {
		return errors.New("nobody listened: start earshot run first")
	}
	return nil
}
