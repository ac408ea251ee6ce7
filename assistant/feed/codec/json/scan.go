package json

import (
	"bytes"
	"unicode/utf16"
	"unicode/utf8"
)

// depthLimit bounds the nesting of arrays and objects.
const depthLimit = 200

// A token is a value that a path points at, still as it was written.
type token struct {
	hit  int32
	kind byte // '"' string, 0 number, 't' 'f' 'n' literals, '{' '[' what cannot be a reading
	b    []byte
}

// A scanner walks once over a value of RFC 8259, checks all of it and notes what the paths
// point at. It keeps to the grammar exactly.
type scanner struct {
	p      []byte
	i      int
	depth  int
	tokens []token
	key    []byte // scratch for keys with escapes
}

func (s *scanner) space() {
	for s.i < len(s.p) {
		switch s.p[s.i] {
		case ' ', '\t', '\n', '\r':
			s.i++
		default:
			return
		}
	}
}

// value scans one value; n is nil where no path leads.
func (s *scanner) value(n *node) bool {
	if s.i >= len(s.p) {
		return false
	}
	start := s.i
	kind := s.p[start]
	ok := false
	switch {
	case kind == '{':
		s.note(n, kind, nil)
		return s.object(n)
	case kind == '[':
		s.note(n, kind, nil)
		return s.array(n)
	case kind == '"':
		ok = s.str()
	case kind == 't':
		ok = s.literal("true")
	case kind == 'f':
		ok = s.literal("false")
	case kind == 'n':
		ok = s.literal("null")
	default:
		kind = 0
		ok = s.number()
	}
	if ok {
		s.note(n, kind, s.p[start:s.i])
	}
	return ok
}

func (s *scanner) note(n *node, kind byte, b []byte) {
	if n == nil {
		return
	}
	for _, h := range n.hits {
		s.tokens = append(s.tokens, token{h, kind, b})
	}
}

func (s *scanner) literal(want string) bool {
	if len(s.p)-s.i < len(want) || string(s.p[s.i:s.i+len(want)]) != want {
		return false
	}
	s.i += len(want)
	return true
}

func (s *scanner) object(n *node) bool {
	if s.depth++; s.depth > depthLimit {
		return false
	}
	s.i++
	s.space()
	next := 0
	for first := true; ; first = false {
		if s.i >= len(s.p) {
			return false
		}
		if first && s.p[s.i] == '}' {
			break
		}
		if s.p[s.i] != '"' {
			return false
		}
		start := s.i
		if !s.str() {
			return false
		}
		var child *node
		if n != nil {
			key := s.p[start+1 : s.i-1]
			if bytes.IndexByte(key, '\\') >= 0 {
				s.key = unescape(s.key[:0], key)
				key = s.key
			}
			child = n.find(key, &next)
		}
		s.space()
		if s.i >= len(s.p) || s.p[s.i] != ':' {
			return false
		}
		s.i++
		s.space()
		if !s.value(child) {
			return false
		}
		s.space()
		if s.i >= len(s.p) {
			return false
		}
		if s.p[s.i] == '}' {
			break
		}
		if s.p[s.i] != ',' {
			return false
		}
		s.i++
		s.space()
	}
	s.i++
	s.depth--
	return true
}

func (s *scanner) array(n *node) bool {
	if s.depth++; s.depth > depthLimit {
		return false
	}
	s.i++
	s.space()
	for index := 0; ; index++ {
		if s.i >= len(s.p) {
			return false
		}
		if index == 0 && s.p[s.i] == ']' {
			break
		}
		var child *node
		if n != nil {
			child = n.at(index)
		}
		if !s.value(child) {
			return false
		}
		s.space()
		if s.i >= len(s.p) {
			return false
		}
		if s.p[s.i] == ']' {
			break
		}
		if s.p[s.i] != ',' {
			return false
		}
		s.i++
		s.space()
	}
	s.i++
	s.depth--
	return true
}

// str scans a string, from its quote to behind the other.
func (s *scanner) str() bool {
	for i := s.i + 1; i < len(s.p); i++ {
		switch c := s.p[i]; {
		case c == '"':
			s.i = i + 1
			return true
		case c < 0x20:
			s.i = i
			return false
		case c == '\\':
			i++
			if i >= len(s.p) {
				s.i = i
				return false
			}
			switch s.p[i] {
			case '"', '\\', '/', 'b', 'f', 'n', 'r', 't':
			case 'u':
				for range 4 {
					i++
					if i >= len(s.p) || hexDigit(s.p[i]) < 0 {
						s.i = min(i, len(s.p))
						return false
					}
				}
			default:
				s.i = i
				return false
			}
		}
	}
	s.i = len(s.p)
	return false
}

func (s *scanner) number() bool {
	i, p := s.i, s.p
	digits := func() bool {
		start := i
		for i < len(p) && p[i]-'0' <= 9 {
			i++
		}
		return i > start
	}
	if i < len(p) && p[i] == '-' {
		i++
	}
	if i < len(p) && p[i] == '0' {
		i++
	} else if !digits() {
		s.i = i
		return false
	}
	if i < len(p) && p[i] == '.' {
		i++
		if !digits() {
			s.i = i
			return false
		}
	}
	if i < len(p) && (p[i] == 'e' || p[i] == 'E') {
		i++
		if i < len(p) && (p[i] == '+' || p[i] == '-') {
			i++
		}
		if !digits() {
			s.i = i
			return false
		}
	}
	s.i = i
	return true
}

func hexDigit(c byte) int {
	switch {
	case c >= '0' && c <= '9':
		return int(c - '0')
	case c >= 'a' && c <= 'f':
		return int(c-'a') + 10
	case c >= 'A' && c <= 'F':
		return int(c-'A') + 10
	}
	return -1
}

// unescape appends the text of a checked string without its quotes.
func unescape(dst, b []byte) []byte {
	for i := 0; i < len(b); i++ {
		if b[i] != '\\' {
			dst = append(dst, b[i])
			continue
		}
		i++
		switch b[i] {
		case 'b':
			dst = append(dst, '\b')
		case 'f':
			dst = append(dst, '\f')
		case 'n':
			dst = append(dst, '\n')
		case 'r':
			dst = append(dst, '\r')
		case 't':
			dst = append(dst, '\t')
		case 'u':
			r := hex4(b[i+1:])
			i += 4
			if utf16.IsSurrogate(r) {
				var low rune = -1
				if i+6 < len(b) && b[i+1] == '\\' && b[i+2] == 'u' {
					low = hex4(b[i+3:])
				}
				if both := utf16.DecodeRune(r, low); both != utf8.RuneError {
					r = both
					i += 6
				} else {
					r = utf8.RuneError
				}
			}
			dst = utf8.AppendRune(dst, r)
		default:
			dst = append(dst, b[i])
		}
	}
	return dst
}

func hex4(b []byte) rune {
	return rune(hexDigit(b[0])<<12 | hexDigit(b[1])<<8 | hexDigit(b[2])<<4 | hexDigit(b[3]))
}
