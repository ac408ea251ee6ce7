package packet

import (
	"bytes"
	"errors"
	"fmt"

	"earshot/assistant/feed/codec"
)

// A Frame says how packets stand in a stream of bytes. One of Size, Length and End is given.
type Frame struct {
	Size   int     // every packet has that many bytes
	Length *Length // every packet says how long it is
	End    []byte  // these bytes stand behind every packet and nowhere within

	Start   []byte // every packet begins with these bytes, which are a part of it
	Largest int    // bytes of the longest packet, 0 for DefaultLargest; what claims to be longer is none
}

// What bounds a packet: DefaultLargest where its Frame does not, for of a packet with a wrong length up to that many
// bytes are waited for; mostLargest in any case.
const (
	DefaultLargest = 4096
	mostLargest    = 65535
)

// A Length is a number in the packet from which its length follows.
type Length struct {
	At    int
	Type  Type // unsigned, up to 32 bits
	Big   bool
	Rest  bool // it counts the bytes behind it; otherwise the whole packet
	Extra int  // bytes that it does not count, or if negative counts too much
}

func (l *Length) end() int { return l.At + l.Type.Size() }

// Validate tells what is impossible in the frame, all at once.
func (f *Frame) Validate() (problems []error) {
	bad := func(format string, args ...any) { problems = append(problems, fmt.Errorf(format, args...)) }
	ways := 0
	for _, has := range []bool{f.Size != 0, f.Length != nil, len(f.End) > 0} {
		if has {
			ways++
		}
	}
	largest := f.largest()
	if ways != 1 {
		bad("a frame has one of size, length and end")
	}
	if f.Size < 0 || f.Size > mostLargest || f.Largest < 0 || f.Largest > mostLargest {
		bad("a packet has 1 to %d bytes", mostLargest)
	}
	if f.Size != 0 && f.Size < len(f.Start) {
		bad("a packet of %d bytes does not hold its start of %d", f.Size, len(f.Start))
	}
	if f.Size > 0 && f.Largest > 0 {
		bad("the size is the largest already")
	}
	if l := f.Length; l != nil {
		if !l.Type.Unsigned() || l.Type == U64 || l.At < 0 {
			bad("a length is one of u8, u16, u24, u32 at a place from 0 on")
		} else if l.end() > largest {
			bad("the length ends at byte %d, and the largest packet has %d", l.end(), largest)
		} else if l.At < len(f.Start) {
			bad("the length stands in the start of the packet")
		}
	}
	return problems
}

func (f *Frame) largest() int {
	switch {
	case f.Size > 0:
		return f.Size
	case f.Largest > 0:
		return f.Largest
	}
	return DefaultLargest
}

// A Framer cuts a stream into packets and decodes them. It is a codec.Decoder.
//
// A piece is taken for a packet where its frame fits. It is given up, and the search goes on one byte behind its
// beginning, when it is of no kind though the bytes behind it do not begin a packet either, or when its checksum or
// length is wrong. What lies between packets is counted in Skipped. It keeps at most one packet and a piece of the
// stream.
type Framer struct {
	d       *Decoder
	f       Frame
	checked bool
	largest int

	buf    []byte
	synced bool // what came before this place was a packet, or the beginning
	long   bool // with End: the rest of what is too long is thrown away
}

// NewFramer compiles the layout and the frame for Rows of n channels. The error joins all problems.
func NewFramer(l Layout, f Frame, n int) (*Framer, error) {
	d, err := NewDecoder(l, n)
	if err := errors.Join(append([]error{err}, f.Validate()...)...); err != nil {
		return nil, err
	}
	r := &Framer{d: d, f: f, largest: f.largest(), synced: true}
	for i := range d.kinds {
		r.checked = r.checked || d.kinds[i].check != nil
	}
	return r, nil
}

// Counts implements codec.Decoder. Bytes are those of the stream.
func (r *Framer) Counts() *codec.Counts { return r.d.Counts() }

// Decode takes the next bytes of the stream, cut anywhere.
func (r *Framer) Decode(p []byte, emit func(*codec.Record)) {
	c := &r.d.counts
	total := c.Bytes + int64(len(p))
	r.buf = append(r.buf, p...)
	r.cut(emit, false)
	c.Bytes = total
}

// End takes what is left: packets behind a false beginning, and of one that is unfinished it is counted that it was.
func (r *Framer) End(emit func(*codec.Record)) {
	total := r.d.counts.Bytes
	r.cut(emit, true)
	r.d.counts.Bytes = total
}

// Gap tells that the stream was torn: what is unfinished is dropped and counted, and the next byte begins anew.
func (r *Framer) Gap() {
	if len(r.buf) > 0 {
		r.refuse(codec.Unfinished)
		r.d.counts.Skipped += int64(len(r.buf))
	}
	r.buf = r.buf[:0]
	r.synced, r.long = true, false
}

// refuse counts a piece of the stream that cannot be decoded.
func (r *Framer) refuse(why codec.Reason) {
	r.d.counts.Records++
	r.d.counts.Refuse(why, "")
}

// What becomes of the bytes at a place.
type step int

const (
	wait step = iota // more bytes are needed
	skip             // they are no packet: go on behind them
	took             // they were one
)

// cut takes packets out of buf as far as they are complete, or if final as far as it goes.
func (r *Framer) cut(emit func(*codec.Record), final bool) {
	c := &r.d.counts
	at, told := 0, false
	for at < len(r.buf) {
		n, s := r.next(r.buf[at:], final, emit)
		if s == wait {
			if !final {
				break
			}
			if !told && r.synced {
				told = true
				r.refuse(codec.Unfinished)
			}
			n, s = 1, skip
			if len(r.f.End) > 0 {
				n = len(r.buf) - at // nothing is to be found in it
			}
		}
		if s == skip {
			c.Skipped += int64(n)
			r.synced = len(r.f.End) > 0 && len(r.f.Start) == 0 // then the ends alone tell where packets are
		} else {
			r.synced = true
		}
		at += n
	}
	r.buf = r.buf[:copy(r.buf, r.buf[at:])]
}

// next looks at the bytes b and tells how many of them are done with.
func (r *Framer) next(b []byte, final bool, emit func(*codec.Record)) (int, step) {
	if len(r.f.End) > 0 {
		return r.delimited(b, emit)
	}
	if n := r.search(b); n > 0 {
		return n, skip
	}
	if len(b) < len(r.f.Start) {
		return 0, wait
	}
	size, s := r.size(b)
	if s != took {
		return size, s
	}
	if len(b) < size {
		return 0, wait
	}
	return r.judge(b, size, final, emit)
}

// search tells how many bytes in front of the next place where a packet may start are none.
func (r *Framer) search(b []byte) int {
	start := r.f.Start
	if len(start) == 0 || bytes.HasPrefix(b, start) {
		return 0
	}
	if n := bytes.Index(b, start); n >= 0 {
		return n
	}
	keep := min(len(start)-1, len(b)) // the end may be the beginning of a start
	for ; keep > 0 && !bytes.HasPrefix(start, b[len(b)-keep:]); keep-- {
	}
	return len(b) - keep
}

// size is that of the packet at b with its frame.
func (r *Framer) size(b []byte) (int, step) {
	if r.f.Size > 0 {
		return r.f.Size, took
	}
	l := r.f.Length
	if len(b) < l.end() {
		return 0, wait
	}
	size := int64(load(b, l.At, l.Type, l.Big)) + int64(l.Extra)
	if l.Rest {
		size += int64(l.end())
	}
	if size >= int64(l.end()) && size <= int64(r.largest) {
		return int(size), took
	}
	return 1, skip
}

// judge decodes the packet of that size at b, and tells whether it was one.
func (r *Framer) judge(b []byte, size int, final bool, emit func(*codec.Record)) (int, step) {
	c := &r.d.counts
	before := *c
	r.d.Decode(b[:size], emit)
	if c.Bad == before.Bad {
		return size, took
	}
	sure := false // that it was a packet all the same
	start := r.f.Start
	switch {
	case c.By[codec.UnknownKind] == before.By[codec.UnknownKind]: // the checksum or the length is wrong
		sure = r.f.Size == 0 && len(start) == 0 && !r.checked
	case len(start) > 0: // a kind that the file does not describe is followed by the next packet
		if len(b) < size+len(start) && !final {
			*c = before
			return 0, wait
		}
		sure = bytes.HasPrefix(b[size:], start) || r.synced && len(b) == size
	default:
		sure = r.f.Size == 0
	}
	if sure {
		return size, took
	}
	if !r.synced {
		*c = before // in what is no packet anyway
	}
	return 1, skip
}

// delimited takes the packet up to the next End.
func (r *Framer) delimited(b []byte, emit func(*codec.Record)) (int, step) {
	start := r.f.Start
	if n := r.search(b); n > 0 {
		return n, skip
	}
	if len(b) < len(start) {
		return 0, wait
	}
	n := bytes.Index(b[len(start):], r.f.End) + len(start)
	missing := n < len(start)
	switch {
	case missing && len(b) < r.largest+len(r.f.End) && !r.long:
		return 0, wait
	case (missing || n > r.largest) && len(start) > 0: // the end of this one was lost
		if r.synced {
			r.refuse(codec.TooLong)
		}
		return 1, skip
	case missing:
		if !r.long {
			r.refuse(codec.TooLong)
		}
		r.long = true
		if n = len(b) - len(r.f.End) + 1; n <= 0 {
			return 0, wait
		}
		return n, skip
	}
	whole := n + len(r.f.End)
	if r.long || n > r.largest {
		if !r.long {
			r.refuse(codec.TooLong)
		}
		r.long = false
		return whole, skip
	}
	if n == 0 {
		return whole, took // two ends in a row, as when one stands before every packet too
	}
	c := &r.d.counts
	before := *c
	r.d.Decode(b[:n], emit)
	if c.Bad > before.Bad && len(start) > 0 && bytes.Contains(b[1:n], start) { // this start may be none
		if !r.synced {
			*c = before
		}
		return 1, skip
	}
	return whole, took
}
