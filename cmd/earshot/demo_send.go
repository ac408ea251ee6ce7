package main

import (
	"errors"
	"fmt"
	"net"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
)

// The forms in which the demo is sent.
const (
	asPacket = "packet" // configs/feeds/demo.yaml
	asJSON   = "json"   // configs/feeds/demo-json.yaml
)

// sendAddress takes udp://HOST:PORT or plain HOST:PORT.
func sendAddress(c *cobra.Command, to string) (string, error) {
	scheme, rest, ok := strings.Cut(to, "://")
	if !ok {
		return to, nil
	}
	if scheme != "udp" {
		return "", usage(c, "--send %s: the demo can be sent by udp only: write udp://HOST:PORT", to)
	}
	return strings.TrimSuffix(rest, "/"), nil
}

// demoEncoder returns what turns a sample into datagrams.
func demoEncoder(c *cobra.Command, l *loaded, sim *demo.Sim, as string) (func(channel.Sample, func([]byte)) error, error) {
	switch as {
	case asPacket:
		e, err := feed.NewEncoder(l.feed, l.channels)
		if err != nil {
			return nil, err
		}
		return e.Encode, nil
	case asJSON:
		object, line := demo.NewObject(l.channels, sim), []byte(nil)
		return func(s channel.Sample, send func([]byte)) error {
			line = object.Append(line[:0], s)
			send(line)
			return nil
		}, nil
	}
	return nil, usage(c, "--as %s: write packet or json", as)
}

// sendDemo sends the feed to another process.
func sendDemo(c *cobra.Command, l *loaded, sim *demo.Sim, to, as string, times float64) error {
	encode, err := demoEncoder(c, l, sim, as)
	if err != nil {
		return err
	}
	address, err := sendAddress(c, to)
	if err != nil {
		return err
	}
	conn, err := net.Dial("udp", address)
	if err != nil {
		return fmt.Errorf("sending to %s: %w", to, err)
	}
	defer conn.Close()
	pace := assistant.NewPace(times)
	sent, refused := 0, 0
	for {
		s, ok := sim.Next()
		if !ok || !pace.Wait(c.Context(), s.At) {
			break
		}
		err := encode(s, func(p []byte) {
			// A datagram that nobody listens to is lost, as on any network; the next one may be heard.
			if _, err := conn.Write(p); err != nil {
				refused++
			}
			sent++
		})
		if err != nil {
			return err
		}
	}
	fmt.Fprintf(c.ErrOrStderr(), "sent %d datagrams to %s, %d refused\n", sent, to, refused)
	if sent > 0 && refused == sent {
		return errors.New("nobody listened: start earshot run first")
	}
	return nil
}
