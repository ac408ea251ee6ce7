// Package nmea decodes NMEA 0183, the lines of text in which satellite receivers tell
// position, speed and time: RMC, GGA, GNS, GLL, VTG, ZDA, GSA and HDT of any talker, from a
// stream or from datagrams.
//
// Each sentence that tells something mapped is one Record, stamped with the receiver's own
// time; the sentences of one epoch are several Records of the same time. So nothing waits for the
// end of an epoch, which no sentence marks. VTG, HDT and GSA carry no time: they have that
// of the timed sentence before them, which for receivers that send them first is the epoch before.
//
// Record.Time counts seconds from midnight UTC of the first day. The date, where RMC or ZDA tell it with a fix, decides
// the day; a time without a date belongs to the day that brings it nearest to the one before, so midnight passes either
// way. After a gap in the stream sentences without a time of their own are ignored until one with a time comes: they
// are of another epoch than the one before.
//
// Without a fix (status V, quality 0, mode N) position, speed, track and altitude are absent,
// whatever the sentence holds. A sentence with a time but without a fix is a Record of the time alone, so that
// the source's clock goes on and old readings grow stale. Other sentences, proprietary ones
// ($P…), those of ships (!…), comments (#…) and blank lines are ignored; a wrong checksum is refused.
//
// The package is pure: no goroutine, clock, file, network, lock or log.
package nmea

import (
	"bytes"
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

// An Item is something that sentences tell.
type Item int

// The items, in the units used inside.
const (
	Latitude    Item = iota // rad, north positive
	Longitude               // rad, east positive
	Speed                   // m/s over ground
	Track                   // rad, counter-clockwise from east (NMEA's is clockwise from true north)
	Altitude                // m above mean sea level
	TrueHeading             // rad, where the car points, counter-clockwise from east (HDT)
	Satellites              // used for the fix
	Quality                 // of the fix, as GGA numbers it: 0 none, 1 plain, 2 differential, 4 and 5 real-time kinematic, 6 estimated
	Fix                     // as GSA numbers it: 1 none, 2 flat, 3 with altitude
	PDOP                    // dilutions of precision
	HDOP
	VDOP
	items
)

var itemNames = [items]string{"latitude", "longitude", "speed", "track", "altitude", "true_heading", "satellites", "quality", "fix", "pdop", "hdop", "vdop"}

var itemQuantities = [items]channel.Quantity{
	channel.Angle, channel.Angle, channel.Velocity, channel.Angle, channel.Length, channel.Angle,
	channel.None, channel.None, channel.None, channel.None, channel.None, channel.None,
}

// Items lists the names of the items in their order.
func Items() []string { return append([]string(nil), itemNames[:]...) }

// Quantity is what the item measures.
func (i Item) Quantity() channel.Quantity { return itemQuantities[i] }

// Together lists the items of each kind of sentence: what comes in one Record.
func Together() [][]Item {
	return [][]Item{
		{Latitude, Longitude, Speed, Track}, {Latitude, Longitude, Altitude, Satellites, Quality, HDOP}, {Latitude, Longitude}, {Speed, Track},
		{Fix, PDOP, HDOP, VDOP}, {TrueHeading},
	}
}

// A Field sends an item to a channel.
type Field struct {
	ID   channel.ID
	Item Item
}

// A Layout is what is mapped of one receiver.
type Layout struct {
	Datagrams        bool // every datagram ends its last line
	ChecksumOptional bool // a sentence without a checksum is taken; a wrong one never is
	Fields           []Field
}

// MaxSentence is the longest sentence that is taken, in bytes. The standard's 82 are exceeded by receivers of
// high precision (94 in the measured logs of the tests).
const MaxSentence = 256

const maxFields = 40

// A Decoder turns sentences into records. It is a codec.Decoder.
type Decoder struct {
	codec.LineDecoder
	layout Layout
	rec    *codec.Record

	value  [items]float64 // what the sentence at hand tells
	mapped [items]bool
	f      [maxFields][]byte
	n      int // fields of the sentence at hand

	judged bool // a sentence has told whether there is a fix
	fix    bool // the last of them told that there is one

	now      float64 // s since midnight of the first day
	timed    bool
	torn     bool  // now is from before a gap
	firstDay int64 // days since 1970-01-01
	dated    bool  // firstDay is known
}

// NewDecoder prepares a decoder for Rows of n channels.
func NewDecoder(l Layout, n int) *Decoder {
	d := &Decoder{layout: l, rec: codec.NewRecord(n), now: math.NaN()}
	for _, f := range l.Fields {
		d.mapped[f.Item] = true
	}
	d.Start(l.Datagrams, d.line)
	return d
}

// Gap tells that the stream was torn.
func (d *Decoder) Gap() {
	d.LineDecoder.Gap()
	d.torn = d.timed
}

func (d *Decoder) line(p []byte) {
	c := &d.Tally
	p = bytes.TrimSpace(p)
	if len(p) == 0 || p[0] == '#' || p[0] == '!' {
		c.Ignored++
		return
	}
	// Other protocols of the receiver, a tag block or the rest of a torn sentence may stand before.
	start := bytes.LastIndexByte(p, '$')
	if start < 0 {
		c.Refuse(codec.BadSyntax, "no $")
		return
	}
	p = p[start:]
	if len(p) > MaxSentence {
		c.Refuse(codec.TooLong, "")
		return
	}
	if len(p) > 1 && p[1] == 'P' {
		c.Ignored++
		return
	}
	body, why := d.checked(p[1:])
	switch {
	case why != "" && d.Last:
		c.Refuse(codec.Unfinished, "")
		return
	case why != "":
		c.Refuse(codec.BadChecksum, why)
		return
	}
	if d.split(body); len(d.f[0]) != 5 {
		c.Refuse(codec.BadSyntax, "address")
		return
	}
	for i := range d.value {
		d.value[i] = math.NaN()
	}
	d.sentence()
}

// checked takes the checksum off; why tells what is wrong with it.
func (d *Decoder) checked(p []byte) (body []byte, why string) {
	star := bytes.LastIndexByte(p, '*')
	if star < 0 {
		if d.layout.ChecksumOptional && !d.Last { // without a line end nothing tells that it is whole
			return p, ""
		}
		return nil, "missing"
	}
	if len(p) != star+3 {
		return nil, "not two digits"
	}
	hi, lo := codec.Hex(p[star+1]), codec.Hex(p[star+2])
	var sum byte
	for _, b := range p[:star] {
		sum ^= b
	}
	if hi > 15 || lo > 15 || hi<<4|lo != sum {
		return nil, "wrong"
	}
	return p[:star], ""
}

// split cuts the sentence at its commas. Fields beyond the most that any sentence has are dropped.
func (d *Decoder) split(p []byte) {
	d.n = 0
	for d.n < maxFields {
		i := bytes.IndexByte(p, ',')
		if i < 0 {
			d.f[d.n] = p
			d.n++
			return
		}
		d.f[d.n], p = p[:i], p[i+1:]
		d.n++
	}
}

// field is the i-th field behind the address, empty where the sentence is shorter.
func (d *Decoder) field(i int) []byte {
	if i >= d.n {
		return nil
	}
	return d.f[i]
}

func (d *Decoder) letter(i int) byte {
	if f := d.field(i); len(f) > 0 {
		return f[0]
	}
	return 0
}

// done emits what the sentence told. own tells that it had a time of its own.
func (d *Decoder) done(own bool, about ...Item) {
	slots := d.rec.Slots()
	relevant := false
	for _, i := range about {
		relevant = relevant || d.mapped[i]
	}
	any := false
	for i := range d.layout.Fields {
		f := &d.layout.Fields[i]
		v := d.value[f.Item]
		slots[f.ID] = v
		any = any || !math.IsNaN(v)
	}
	slots[len(slots)-1] = d.now
	d.Give(d.rec, (any || relevant && own) && !d.torn)
}
