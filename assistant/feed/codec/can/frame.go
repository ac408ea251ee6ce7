package can

import (
	"bytes"
	"math"

	"earshot/assistant/feed/codec"
)

// A Frame is what one line of candump holds.
type Frame struct {
	Time     float64 // s, NaN where the line has none
	ID       uint32  // 11 bits, or 29 if Extended
	Extended bool
	Remote   bool // asks for data and has none
	Error    bool // tells of an error on the bus
	Flexible bool // CAN FD
	Len      int
	Data     [64]byte
	Bus      []byte // name of the interface; part of the line
}

// Parse reads a line as candump writes it, in its log form (-l and -L) or in columns:
//
//	(1436509052.249713) can0 1F0#C006E000
//	(1436509052.249713) can0 18FEF100##1C006E000
//	(1436509052.249713)  can0  1F0   [4]  C0 06 E0 00
//	 can0  1F0   [4]  C0 06 E0 00
//
// An identifier of three digits has 11 bits, one of eight digits 29. It allocates nothing; on an
// error it tells the byte, from zero, at which the line makes no sense.
func (f *Frame) Parse(line []byte) (at int, ok bool) {
	s := scanner{p: line}
	f.Time, f.ID, f.Len, f.Bus = math.NaN(), 0, 0, nil
	f.Extended, f.Remote, f.Error, f.Flexible = false, false, false, false
	s.space()
	if s.peek() == '(' {
		s.i++
		t := s.until(')')
		x, ok := codec.ParseNumber(bytes.TrimSpace(t), false)
		if !ok || s.peek() != ')' {
			return s.i, false
		}
		s.i++
		f.Time = x
		s.space()
	}
	if f.Bus = s.word(); len(f.Bus) == 0 {
		return s.i, false
	}
	s.space()
	if !f.identifier(&s) {
		return s.i, false
	}
	if s.peek() == '#' {
		s.i++
		ok = f.log(&s)
	} else {
		ok = f.columns(&s)
	}
	return s.i, ok
}

// The flags that stand in an identifier of eight digits (linux/can.h).
const (
	flagError = 1 << 29
	maskLong  = 1<<29 - 1
	maskShort = 1<<11 - 1
)

func (f *Frame) identifier(s *scanner) bool {
	start := s.i
	var id uint32
	for s.i < len(s.p) && s.i-start < 9 {
		h := codec.Hex(s.p[s.i])
		if h > 15 {
			break
		}
		id = id<<4 | uint32(h)
		s.i++
	}
	switch s.i - start {
	case 3:
		if id > maskShort {
			s.i = start
			return false
		}
		f.ID = id
	case 8:
		f.Error, f.Extended, f.ID = id&flagError != 0, true, id&maskLong
		if id > flagError|maskLong {
			s.i = start
			return false
		}
	default:
		return false
	}
	return true
}

// log reads what follows ID# in the log form.
func (f *Frame) log(s *scanner) bool {
	limit := 8
	switch {
	case s.peek() == '#':
		if s.i++; codec.Hex(s.peek()) > 15 {
			return false // the flags, one digit
		}
		s.i++
		f.Flexible, limit = true, 64
	case s.peek() == 'R':
		f.Remote = true
		if s.i++; codec.Hex(s.peek()) <= 8 {
			s.i++
		}
	}
	for !f.Remote && s.i < len(s.p) && s.p[s.i] != ' ' && s.p[s.i] != '_' {
		if s.p[s.i] == '.' {
			s.i++
			continue
		}
		if !f.byte(s, limit) {
			return false
		}
	}
	if s.peek() == '_' { // the raw length code of frames with 8 bytes
		if s.i++; codec.Hex(s.peek()) > 15 {
			return false
		}
		s.i++
	}
	s.space()
	if c := s.peek(); c == 'R' || c == 'T' { // received or sent: candump -x
		s.i++
	}
	s.space()
	return s.i == len(s.p) && f.proper()
}

// columns reads [length] and the bytes.
func (f *Frame) columns(s *scanner) bool {
	s.space()
	if s.peek() != '[' {
		return false
	}
	s.i++
	n := s.until(']')
	f.Flexible = len(n) == 2
	want, ok := codec.ParseNumber(n, false)
	limit := 8
	if f.Flexible {
		limit = 64
	}
	if s.peek() != ']' || !ok || want < 0 || want > float64(limit) || want != math.Trunc(want) {
		return false
	}
	s.i++
	s.space()
	if bytes.HasPrefix(s.p[s.i:], []byte("remote request")) {
		f.Remote = true
		return true
	}
	for f.Len < int(want) {
		if !f.byte(s, limit) {
			return false
		}
		s.space()
	}
	switch c := s.peek(); {
	case s.i == len(s.p), c == '\'': // candump -a writes the bytes again as characters
	case bytes.HasPrefix(s.p[s.i:], []byte("ERRORFRAME")):
		f.Error = true
	default:
		return false
	}
	return f.proper()
}

// proper tells whether CAN FD has frames of this length.
func (f *Frame) proper() bool {
	switch f.Len {
	case 12, 16, 20, 24, 32, 48, 64:
		return true
	}
	return f.Len <= 8
}

func (f *Frame) byte(s *scanner, limit int) bool {
	if f.Len == limit || s.i+1 >= len(s.p) {
		return false
	}
	hi, lo := codec.Hex(s.p[s.i]), codec.Hex(s.p[s.i+1])
	if hi > 15 || lo > 15 {
		return false
	}
	f.Data[f.Len] = hi<<4 | lo
	f.Len++
	s.i += 2
	return true
}

// A scanner walks over a line.
type scanner struct {
	p []byte
	i int
}

func (s *scanner) peek() byte {
	if s.i < len(s.p) {
		return s.p[s.i]
	}
	return 0
}

func (s *scanner) space() {
	for s.i < len(s.p) && (s.p[s.i] == ' ' || s.p[s.i] == '\t') {
		s.i++
	}
}

func (s *scanner) until(end byte) []byte {
	start := s.i
	for s.i < len(s.p) && s.p[s.i] != end {
		s.i++
	}
	return s.p[start:s.i]
}

func (s *scanner) word() []byte {
	start := s.i
	for s.i < len(s.p) && s.p[s.i] != ' ' && s.p[s.i] != '\t' {
		s.i++
	}
	return s.p[start:s.i]
}
