// Package feedfile reads feed files: YAML that says where the bytes of a source come from, how they are laid out, and
// which field is which channel in which unit. Package feed streams what a File describes, and package probe writes one.
//
//	YAML ── Parse ──▶ File: transport, layout of the codec, clock, derived channels, sources
//
// Every mistake is told at once, each with its place and the way out. A unit that is not written is a mistake of the
// file, not a guess. So is a sum or comparison of different quantities in a derived channel; products and quotients
// are not followed further than by numbers and ratios. The language of derived channels is that of rules/expression.
//
// The package is pure. It opens no source, decodes no byte, and reads the files that a feed file refers to only by the
// function that its caller gives it.
package feedfile

import (
	"fmt"
	"slices"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/packet"
	"earshot/assistant/feed/transport"
	"earshot/rules/expression"
)

// A File is a feed file that has been read and checked. What it holds is not to be changed, except Transport.
type File struct {
	Path      string         // of the file, for messages
	Name      string         // how the feed is called, for people
	Car       string         // the car file that goes with it: a name, or a path from this file; empty where it says none
	Transport transport.Spec // a replay puts its own here
	Codec     string         // packet, json, csv, nmea or can
	Layout    any            // of that codec: a *packet.Layout, *json.Layout, *csv.Layout, *nmea.Layout or *can.Layout
	Frame     *packet.Frame  // how packets stand in a stream; nil where they do not
	Clock     Clock
	Covers    []channel.ID // what the feed supplies, the derived ones included, in the order of a Row
	Derived   []Derived    // each from channels of the feed and from those before it
	Changes   []Change

	Parts  []Part               // several sources instead of all the above but Name to Car, Covers and Derived
	Prefer map[channel.ID][]int // the Parts that give a channel, the best first, where there are several

	includes []Included
}

// A Clock says where the time of a record comes from.
type Clock struct {
	Own     bool    // a field is mapped to time
	Jump    float64 // s by which the source's time may step before the step is not believed
	Period  float64 // s between records that have no time, 0: the arrival counts
	Modulus float64 // s after which the source's time wraps around, 0: never
}

// JumpLimit is the Jump, in seconds, of a file that says nothing.
const JumpLimit = 5.0

// A Derived channel is worked out from others of the same record.
type Derived struct {
	ID    channel.ID
	Needs []channel.ID
	Is    *expression.Expression // over a Row
}

// A Change is a channel of which a repeated value is no new reading, as when a receiver's last position stands in
// every line of a faster table.
type Change struct {
	ID    channel.ID
	Group string // channels with the same one are read together: when one changes all are new
}

// A Part is one of several sources of a feed file.
type Part struct {
	Name   string
	Offset float64 // s by which the source tells late
	File   *File   // its transport, codec, clock and channels
}

// A Named is a source of a feed file.
type Named struct {
	Name      string // "" where the file has one source
	Transport transport.Spec
}

// Sources lists the sources of the file in their order.
func (f *File) Sources() []Named {
	if f.Parts == nil {
		return []Named{{"", f.Transport}}
	}
	var list []Named
	for _, s := range f.Parts {
		list = append(list, Named{s.Name, s.File.Transport})
	}
	return list
}

// Includes lists the files that the feed file refers to, in their order. The Data are not copies.
func (f *File) Includes() []Included {
	list := slices.Clone(f.includes)
	for _, s := range f.Parts {
		for _, i := range s.File.includes {
			list = withFile(list, i)
		}
	}
	return list
}

// Unready tells why the file cannot be decoded over its transport and the way out, "" if it can.
func (f *File) Unready() (msg, hint string) {
	switch {
	case f.Codec == "packet" && !f.Transport.Datagrams() && f.Frame == nil:
		return fmt.Sprintf("codec packet needs whole datagrams, and transport %s is a stream", f.Transport.Kind),
			"write packet: {frame: {…}}, how the packets stand in the stream, or use kind: udp"
	case f.Transport.Kind == transport.CAN && f.Codec != "can":
		return "transport can brings the frames of a bus, which codec can reads", "write codec: can"
	case f.Transport.Kind == transport.File && !f.Clock.Own && f.Clock.Period == 0:
		return "a file does not tell when its records were made",
			"map a field to time, or write clock: {period: 10 ms} if they are evenly spaced"
	}
	return "", ""
}
