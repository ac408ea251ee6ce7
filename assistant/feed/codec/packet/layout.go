// Package packet decodes and encodes binary datagrams whose layout is data: kinds
// told apart by discriminators and length, and in each kind integers, floats,
// bit fields and texts at fixed places.
//
// A Layout is compiled once into flat lists, one per kind and type, so that a
// datagram costs one tight loop per type that occurs in it and no allocation. The same
// Layout drives the Encoder.
//
// The package is pure: no goroutine, clock, file, network, lock or log.
package packet

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"

	"earshot/assistant/feed/codec"
)

// A Type is how a number or text is stored.
type Type string

// The types. F16, F32 and F64 are the binary16, binary32 and binary64 of IEEE 754.
const (
	U8   Type = "u8"
	U16  Type = "u16"
	U24  Type = "u24"
	U32  Type = "u32"
	U64  Type = "u64"
	I8   Type = "i8"
	I16  Type = "i16"
	I24  Type = "i24"
	I32  Type = "i32"
	I64  Type = "i64"
	F16  Type = "f16"
	F32  Type = "f32"
	F64  Type = "f64"
	Text Type = "text"
)

// Types lists every type.
func Types() []Type {
	return []Type{U8, U16, U24, U32, U64, I8, I16, I24, I32, I64, F16, F32, F64, Text}
}

// Size is the number of bytes of t, 0 for Text and for what is no type.
func (t Type) Size() int {
	switch t {
	case U8, I8:
		return 1
	case U16, I16, F16:
		return 2
	case U24, I24:
		return 3
	case U32, I32, F32:
		return 4
	case U64, I64, F64:
		return 8
	}
	return 0
}

// Unsigned tells whether t is an unsigned integer.
func (t Type) Unsigned() bool { return t.Size() > 0 && t[0] == 'u' }

// Integer tells whether t is an integer.
func (t Type) Integer() bool { return t.Size() > 0 && t[0] != 'f' }

// A Match is a number that a datagram of a kind holds at a fixed place.
type Match struct {
	At   int
	Type Type // unsigned or signed integer
	Big  bool // most significant byte first
	Is   int64
}

// A Counter is the running number of datagrams, from which loss is known.
type Counter struct {
	At   int
	Type Type // unsigned, up to 32 bits
	Big  bool
}

// A Sum is the kind of a checksum.
type Sum string

// The sums: all bytes combined by exclusive or; added modulo 256; the 16-bit CRC with
// polynomial 0x1021 and initial value 0xFFFF, not reflected; the 32-bit CRC of
// ISO/IEC 8802-3 (Ethernet).
const (
	Xor8       Sum = "xor8"
	Sum8       Sum = "sum8"
	CRC16CCITT Sum = "crc16-ccitt"
	CRC32      Sum = "crc32"
)

// Sums lists every sum.
func Sums() []Sum { return []Sum{Xor8, Sum8, CRC16CCITT, CRC32} }

// Size is the number of bytes of the sum.
func (s Sum) Size() int {
	switch s {
	case Xor8, Sum8:
		return 1
	case CRC16CCITT:
		return 2
	case CRC32:
		return 4
	}
	return 0
}

// A Check is a checksum over bytes From up to To of a datagram. Negative places count from its end; To 0 is the end.
type Check struct {
	Sum      Sum
	At       int
	From, To int
	Big      bool
}

// A Field is a number or text at a fixed place and what becomes of it.
type Field struct {
	codec.Field
	At         int
	Type       Type
	Big        bool
	Bit, Width int  // if Width > 0, only these bits of the integer, bit 0 being the least significant
	Signed     bool // of a bit field
	Length     int  // of a text in bytes; ends at the first zero byte, spaces around it do not count
}

func (f *Field) size() int {
	if f.Type == Text {
		return f.Length
	}
	return f.Type.Size()
}

// A Kind is one kind of datagram.
type Kind struct {
	Name     string
	When     []Match
	Length   int     // exact number of bytes; 0: any that holds all fields
	Period   float64 // s between two of this kind as the source sends them; 0: every time. Only the Encoder asks
	Fields   []Field
	Sequence *Counter // nil: none
	Check    *Check   // nil: none
}

// A Layout is all kinds of one source.
type Layout struct {
	Kinds    []Kind
	Sequence *Counter // shared by the kinds that have none of their own
}

// End is the number of bytes that a datagram of kind k has at least.
func (k *Kind) End(shared *Counter) int {
	end := k.Length
	reach := func(at, n int) {
		if at >= 0 {
			end = max(end, at+n)
		} else {
			end = max(end, -at)
		}
	}
	for i := range k.Fields {
		reach(k.Fields[i].At, k.Fields[i].size())
	}
	for _, m := range k.When {
		reach(m.At, m.Type.Size())
	}
	if k.Sequence != nil {
		shared = k.Sequence
	}
	if shared != nil {
		reach(shared.At, shared.Type.Size())
	}
	if c := k.Check; c != nil {
		if c.At < 0 && k.Length == 0 {
			end += -c.At // behind the fields
		}
		reach(c.At, c.Sum.Size())
		reach(c.From, 0)
		reach(c.To, 0)
	}
	return end
}

// Validate tells what is impossible in the layout, all at once; where is the kind and
// the field's name.
func (l *Layout) Validate() (problems []error) {
	bad := func(format string, args ...any) { problems = append(problems, fmt.Errorf(format, args...)) }
	if len(l.Kinds) == 0 {
		bad("there is no kind of datagram")
	}
	counter := func(where string, c *Counter) {
		if c != nil && (!c.Type.Unsigned() || c.Type == U64 || c.At < 0) {
			bad("%s: a sequence number is one of u8, u16, u24, u32 at a place from 0 on", where)
		}
	}
	counter("sequence", l.Sequence)
	seen := map[string]string{}
	for i := range l.Kinds {
		k := &l.Kinds[i]
		counter("kind "+k.Name, k.Sequence)
		for _, m := range k.When {
			if !m.Type.Integer() || m.At < 0 {
				bad("kind %s: a discriminator is an integer at a place from 0 on", k.Name)
			} else if lo, hi := m.Type.limits(); m.Type != U64 && (float64(m.Is) < lo || float64(m.Is) > hi) {
				bad("kind %s: %d does not fit in %s, so no datagram is of this kind", k.Name, m.Is, m.Type)
			}
		}
		key := fmt.Sprint(k.When, k.Length)
		if other, ok := seen[key]; ok {
			bad("kinds %s and %s have the same discriminators and length: a datagram could be either", other, k.Name)
		}
		seen[key] = k.Name
		for j := range k.Fields {
			f := &k.Fields[j]
			if f.size() <= 0 || f.At < 0 {
				bad("kind %s: %s: impossible type, length or place", k.Name, f.Name)
				continue
			}
			if f.Width > 0 && (!f.Type.Integer() || f.Bit < 0 || f.Bit+f.Width > 8*f.Type.Size()) {
				bad("kind %s: %s: bits %d to %d are not in %s", k.Name, f.Name, f.Bit, f.Bit+f.Width-1, f.Type)
			}
			switch {
			case k.Length == 0 && f.At+f.size() > mostLargest:
				bad("kind %s: %s ends at byte %d, and no packet has so many", k.Name, f.Name, f.At+f.size())
			case k.Length > 0 && f.At+f.size() > k.Length:
				bad("kind %s: %s ends at byte %d, and the datagram has %d", k.Name, f.Name, f.At+f.size(), k.Length)
			}
		}
		if c := k.Check; c != nil && c.Sum.Size() == 0 {
			bad("kind %s: unknown checksum %q", k.Name, c.Sum)
		}
	}
	return problems
}

// limits are the least and the greatest value of an integer type.
func (t Type) limits() (lo, hi float64) {
	bits := float64(8 * t.Size())
	if t.Unsigned() {
		return 0, math.Exp2(bits) - 1
	}
	return -math.Exp2(bits - 1), math.Exp2(bits-1) - 1
}

// load reads an integer of any type as 64 bits, sign extended where it is signed.
func load(p []byte, at int, t Type, big bool) uint64 {
	n := t.Size()
	b := p[at : at+n]
	var u uint64
	switch {
	case n == 8 && big:
		u = binary.BigEndian.Uint64(b)
	case n == 8:
		u = binary.LittleEndian.Uint64(b)
	case big:
		for _, x := range b {
			u = u<<8 | uint64(x)
		}
	default:
		for i := n - 1; i >= 0; i-- {
			u = u<<8 | uint64(b[i])
		}
	}
	if !t.Unsigned() && t.Integer() {
		shift := 64 - 8*n
		u = uint64(int64(u<<shift) >> shift)
	}
	return u
}

func store(p []byte, at int, t Type, big bool, u uint64) {
	n := t.Size()
	for i := range n {
		j := at + i
		if big {
			j = at + n - 1 - i
		}
		p[j] = byte(u >> (8 * i))
	}
}

// half converts a binary16 of IEEE 754.
func half(h uint16) float64 {
	frac, exp := float64(h&0x3ff), int(h>>10&0x1f)
	var x float64
	switch exp {
	case 0:
		x = math.Ldexp(frac, -24)
	case 31:
		if h&0x3ff != 0 {
			return math.NaN()
		}
		x = math.Inf(1)
	default:
		x = math.Ldexp(frac+1024, exp-25)
	}
	if h&0x8000 != 0 {
		return -x
	}
	return x
}

// toHalf is the nearest binary16, ties to even.
func toHalf(x float64) uint16 {
	if math.IsNaN(x) {
		return 0x7e00
	}
	var sign uint16
	if math.Signbit(x) {
		sign, x = 0x8000, -x
	}
	if x >= 65520 {
		return sign | 0x7c00
	}
	if x < 0x1p-14 {
		return sign | uint16(math.RoundToEven(math.Ldexp(x, 24)))
	}
	_, e := math.Frexp(x) // x in [2^(e-1), 2^e)
	m := math.RoundToEven(math.Ldexp(x, 11-e))
	return sign | uint16((e+14)<<10) + uint16(m) - 1024 // a mantissa that rounds up to 2048 carries into the exponent
}

// check computes the sum of the datagram as the number that is stored.
func (c *Check) compute(p []byte) (uint64, bool) {
	from, to := c.From, c.To
	if from < 0 {
		from += len(p)
	}
	if to <= 0 {
		to += len(p)
	}
	if from < 0 || to > len(p) || from > to {
		return 0, false
	}
	return sum(c.Sum, p[from:to]), true
}

func (c *Check) place(n int) int {
	if c.At < 0 {
		return n + c.At
	}
	return c.At
}

func (c *Check) typ() Type { return map[int]Type{1: U8, 2: U16, 4: U32}[c.Sum.Size()] }

// trimText cuts a fixed text at its first zero byte and takes spaces away.
func trimText(b []byte) []byte {
	if i := bytes.IndexByte(b, 0); i >= 0 {
		b = b[:i]
	}
	return bytes.Trim(b, " ")
}
