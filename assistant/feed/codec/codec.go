// Package codec holds what all codecs of a feed share: where a reading goes
// (Field), what a record brought (Record), what was counted (Counts), how a
// number is read, and how a stream is cut into lines.
//
// A codec turns bytes into records and knows nothing of files, sockets, YAML or
// clocks. Bad input is counted, never fatal, and never becomes a reading.
//
//	bytes ──▶ packet, json, csv, nmea, can ──Record──▶ feed (clock, range, derived) ──Sample──▶
//
// The codecs are pure: no goroutine, clock, file, network, lock or log.
package codec

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
)

// A Decoder turns bytes into records. The Record is the decoder's and valid only
// until emit returns.
type Decoder interface {
	// Decode takes one datagram, or the next bytes of a stream cut anywhere.
	Decode(p []byte, emit func(*Record))
	// End tells that the stream is over: what is left unfinished is decoded or counted.
	End(emit func(*Record))
	// Counts is the decoder's own, to be read between calls.
	Counts() *Counts
}

// Time is the ID of a Field that fills Record.Time instead of a channel.
const Time channel.ID = -1

// A Record is what one datagram or line told. Readings it does not bring are NaN.
type Record struct {
	slots []float64 // a Row, then the time: one store either way
	Row   channel.Row
}

// NewRecord returns a Record without readings, with a Row of n channels.
func NewRecord(n int) *Record {
	r := &Record{slots: make([]float64, n+1)}
	channel.Row(r.slots).Clear()
	r.Row = channel.Row(r.slots[:n:n])
	return r
}

// Time is the moment of the record in seconds on the source's own clock, NaN where it told none.
func (r *Record) Time() float64 { return r.slots[len(r.slots)-1] }

// Slots is the Row with the time after its last channel.
func (r *Record) Slots() []float64 { return r.slots }

// Slot is the index in Slots of id, which may be Time.
func (r *Record) Slot(id channel.ID) int {
	if id == Time {
		return len(r.slots) - 1
	}
	return int(id)
}

// A Reason says why something was refused.
type Reason int

// The reasons. The first ones refuse a whole record, the others a single reading.
const (
	UnknownKind Reason = iota
	TooShort
	WrongLength
	BadChecksum
	BadSyntax
	TooLong
	WrongCells
	NoColumn
	Unfinished
	NotANumber
	UnknownValue
	OutsideRange
	reasons
)

var reasonText = [reasons]string{
	"unknown kind of datagram", "too short", "wrong length", "checksum differs", "syntax", "longer than the limit", "wrong number of cells",
	"the mapped column is not in the header", "ended in the middle", "not a number", "value that the feed file does not map", "outside the range in the feed file",
}

func (r Reason) String() string {
	if r < 0 || r >= reasons {
		return "unknown reason"
	}
	return reasonText[r]
}

// Counts is what a decoder has seen since it was made. For every decoder
// Records == emitted + Ignored + Bad + Reordered + Duplicate.
type Counts struct {
	Records     int64 // datagrams or lines that were complete
	Bytes       int64
	Emitted     int64
	Ignored     int64 // blank lines, comments, headers, and records without a mapped reading
	Bad         int64 // records refused
	BadReadings int64 // readings refused within records that were taken
	Lost        int64 // records that the sequence number says never came
	Reordered   int64 // records that came after a later one, and were dropped
	Duplicate   int64 // records that came again, and were dropped
	Restarts    int64 // times that the sequence number began anew
	Skipped     int64 // bytes of a stream that are in no packet
	By          [reasons]int64
	Missing     []string // mapped columns that the header does not have
	Twice       []string // mapped columns that the header has more than once, and which is read

	lastReason Reason
	lastRecord int64
	lastName   string
	lastByte   int
	hasLast    bool
}

// Refuse counts a refused record; name is what it was about ("" if nothing special).
func (c *Counts) Refuse(why Reason, name string) {
	c.Bad++
	c.note(why, name)
}

// RefuseAt counts a refused record with the byte, from zero, where the trouble is.
func (c *Counts) RefuseAt(why Reason, at int) {
	c.Bad++
	c.note(why, "")
	c.lastByte = at
}

// RefuseReading counts a refused reading of the channel of that name.
func (c *Counts) RefuseReading(why Reason, name string) {
	c.BadReadings++
	c.note(why, name)
}

func (c *Counts) note(why Reason, name string) {
	c.By[why]++
	c.lastReason, c.lastRecord, c.lastName, c.lastByte, c.hasLast = why, c.Records, name, -1, true
}

// Last tells about the refusal before this moment: which record, counted from one, what and why. Empty if there was
// none.
func (c *Counts) Last(record string) string {
	if !c.hasLast {
		return ""
	}
	if c.lastByte >= 0 {
		return fmt.Sprintf("%s %d, byte %d: %s", record, c.lastRecord, c.lastByte+1, c.lastReason)
	}
	if c.lastName == "" {
		return fmt.Sprintf("%s %d: %s", record, c.lastRecord, c.lastReason)
	}
	return fmt.Sprintf("%s %d: %s: %s", record, c.lastRecord, c.lastName, c.lastReason)
}

// A Format is how a time or number is written in text.
type Format string

// The formats.
const (
	Plain Format = ""      // 12.5
	Clock Format = "clock" // 12.5, 1:42.317 or 2:40:25.371
	ISO   Format = "iso"   // 2023-07-22T16:10:56.25Z (RFC 3339)
)

// A Value pairs a raw number with what it stands for, in the unit used inside.
type Value struct{ Raw, Is float64 }

// A Field says what becomes of one raw reading: inside = raw*A + B.
type Field struct {
	Name   string     // the channel's, for messages
	ID     channel.ID // or Time
	A, B   float64
	Lo, Hi float64 // a reading outside is refused; NaN where there is no limit

	Values     []Value            // if not nil, raw numbers are looked up here and A and B do not apply
	Texts      map[string]float64 // texts that stand for a value
	Labelled   bool               // a choice: a bare number is not an answer
	Absent     []float64          // raw numbers that mean no reading
	AbsentText []string
	Format     Format
}

// Simple tells whether a number needs nothing but A and B.
func (f *Field) Simple() bool {
	return f.Values == nil && f.Absent == nil && !f.Labelled && math.IsNaN(f.Lo) && math.IsNaN(f.Hi)
}

// FromNumber turns a raw number into a reading; NaN where there is none. A refusal is counted in c.
func (f *Field) FromNumber(raw float64, c *Counts) float64 {
	for _, a := range f.Absent {
		if raw == a {
			return math.NaN()
		}
	}
	if f.Values != nil || f.Labelled {
		for i := range f.Values {
			if f.Values[i].Raw == raw {
				return f.Values[i].Is
			}
		}
		c.RefuseReading(UnknownValue, f.Name)
		return math.NaN()
	}
	v := float64(raw*f.A) + f.B // the conversion keeps every machine from fusing the two steps
	if v < f.Lo || v > f.Hi {
		c.RefuseReading(OutsideRange, f.Name)
		return math.NaN()
	}
	return v
}

// FromText turns a text into a reading: one of Texts, or a number. A refusal is counted in c.
func (f *Field) FromText(b []byte, decimalComma bool, c *Counts) float64 {
	for _, a := range f.AbsentText {
		if string(b) == a {
			return math.NaN()
		}
	}
	if f.Texts != nil { // most fields have none, and to look in vain takes time
		if v, ok := f.Texts[string(b)]; ok {
			return v
		}
	}
	if len(b) == 3 && b[0]|0x20 == 'n' && b[1]|0x20 == 'a' && b[2]|0x20 == 'n' {
		return math.NaN() // how programs write that there is no number
	}
	var raw float64
	var ok bool
	switch f.Format {
	case Clock:
		raw, ok = ParseClock(b, decimalComma)
	case ISO:
		raw, ok = ParseISO(b)
	default:
		raw, ok = ParseNumber(b, decimalComma)
	}
	if !ok {
		why := NotANumber
		if f.Texts != nil {
			why = UnknownValue
		}
		c.RefuseReading(why, f.Name)
		return math.NaN()
	}
	return f.FromNumber(raw, c)
}
