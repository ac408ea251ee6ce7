package can

import (
	"fmt"
	"math"
)

// A Place says where in a frame a number stands, in the terms of DBC files: bits are counted
// eight a byte, bit 0 the least of byte 0. Start is the least significant bit of an Intel number and
// the most significant one of a Motorola number, which goes on towards bit 0 of its byte and
// then from bit 7 of the next.
type Place struct {
	Start, Length int
	Motorola      bool
	Signed        bool // two's complement
	Float         bool // IEEE 754, of 32 or 64 bits
}

// Check tells why there can be no such place, "" if there can.
func (p Place) Check() string {
	switch {
	case p.Length < 1 || p.Length > 64:
		return fmt.Sprintf("a signal has 1 to 64 bits, not %d", p.Length)
	case p.Start < 0 || p.Start >= 8*64 || p.End() > 64:
		return fmt.Sprintf("%d bits from bit %d end behind the 64 bytes of the longest frame", p.Length, p.Start)
	case p.Float && p.Length != 32 && p.Length != 64:
		return fmt.Sprintf("a floating-point signal has 32 or 64 bits, not %d", p.Length)
	}
	return ""
}

// last is the number of the last bit in the order in which bytes are read: for a Motorola number counted from
// the most significant bit of byte 0.
func (p Place) last() int {
	if p.Motorola {
		return p.Start&^7 + 7 - p.Start&7 + p.Length - 1
	}
	return p.Start + p.Length - 1
}

// End is the number of bytes that a frame needs to hold it.
func (p Place) End() int { return p.last()>>3 + 1 }

// Raw takes the bits out. The data must have End bytes.
func (p Place) Raw(data []byte) uint64 {
	first, last := p.Start>>3, p.last()>>3
	var v uint64
	var low byte // the byte with the least significant bit
	var shift int
	if p.Motorola {
		for _, b := range data[first:last] {
			v = v<<8 | uint64(b)
		}
		low, shift = data[last], 7-p.last()&7
	} else {
		for i := last; i > first; i-- {
			v = v<<8 | uint64(data[i])
		}
		low, shift = data[first], p.Start&7
	}
	v = v<<(8-shift) | uint64(low>>shift)
	return v & (math.MaxUint64 >> (64 - p.Length))
}

// Value is the number there.
func (p Place) Value(data []byte) float64 {
	v := p.Raw(data)
	switch {
	case p.Float && p.Length == 32:
		return float64(math.Float32frombits(uint32(v)))
	case p.Float:
		return math.Float64frombits(v)
	case p.Signed:
		return float64(int64(v<<(64-p.Length)) >> (64 - p.Length))
	}
	return float64(v)
}
