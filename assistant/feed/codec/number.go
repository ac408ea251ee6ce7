package codec

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"time"
)

var pow10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// ParseNumber reads a decimal number: sign, digits, fraction, exponent, nothing
// else (no hexadecimal, no infinity, no underscores). With comma, the decimal sign is ","
// instead of ".". The result is the nearest float64; what is too large for one is refused.
func ParseNumber(b []byte, comma bool) (float64, bool) {
	point := byte('.')
	if comma {
		point = ','
	}
	i, neg := 0, false
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		neg = b[i] == '-'
		i++
	}
	var mant uint64
	digits, exp, exact := 0, 0, true
	for ; i < len(b) && b[i]-'0' <= 9; i++ {
		digits++
		if mant < 1e17 {
			mant = mant*10 + uint64(b[i]-'0')
		} else {
			exact = false
		}
	}
	if i < len(b) && b[i] == point {
		i++
		for ; i < len(b) && b[i]-'0' <= 9; i++ {
			digits++
			if mant < 1e17 {
				mant = mant*10 + uint64(b[i]-'0')
				exp--
			} else {
				exact = false
			}
		}
	}
	if digits == 0 {
		return 0, false
	}
	if i < len(b) && (b[i] == 'e' || b[i] == 'E') {
		i++
		eneg := false
		if i < len(b) && (b[i] == '-' || b[i] == '+') {
			eneg = b[i] == '-'
			i++
		}
		if i == len(b) {
			return 0, false
		}
		e := 0
		for ; i < len(b) && b[i]-'0' <= 9; i++ {
			if e < 10000 {
				e = e*10 + int(b[i]-'0')
			}
		}
		if eneg {
			e = -e
		}
		exp += e
	}
	if i != len(b) {
		return 0, false
	}
	// One rounding only: an exact integer times or by an exact power of ten is the
	// nearest float64 (Clinger 1990, the fast case). All else goes the long way.
	if exact && mant < 1<<53 && exp >= -22 && exp <= 22 {
		x := float64(mant)
		if exp < 0 {
			x /= pow10[-exp]
		} else {
			x *= pow10[exp]
		}
		if neg {
			x = -x
		}
		return x, true
	}
	s := string(b)
	if comma {
		s = strings.ReplaceAll(s, ",", ".")
	}
	x, err := strconv.ParseFloat(s, 64)
	return x, err == nil
}

// ParseClock reads seconds written S, M:SS or H:MM:SS, each with a fraction or without:
// 12:11:35.565 is 43895.565 s. Minutes and seconds after a colon are below 60.
func ParseClock(b []byte, comma bool) (float64, bool) {
	neg := false
	if len(b) > 0 && b[0] == '-' {
		neg, b = true, b[1:]
	}
	total, parts := 0.0, 0
	for {
		colon := bytes.IndexByte(b, ':')
		part := b
		if colon >= 0 {
			part = b[:colon]
		}
		if len(part) == 0 || part[0]-'0' > 9 {
			return 0, false // a sign or nothing
		}
		if colon >= 0 || parts > 0 { // whole numbers, but for the last
			for i, c := range part {
				if c-'0' > 9 && (colon >= 0 || i == 0 || c != '.' && c != ',') {
					return 0, false
				}
			}
		}
		x, ok := ParseNumber(part, comma)
		if !ok || parts > 0 && x >= 60 {
			return 0, false
		}
		total = total*60 + x
		parts++
		if colon < 0 {
			break
		}
		if parts == 3 {
			return 0, false
		}
		b = b[colon+1:]
	}
	if neg {
		total = -total
	}
	return total, true
}

// ParseISO reads a date and time of RFC 3339 as seconds since 1970-01-01 UTC.
func ParseISO(b []byte) (float64, bool) {
	t, err := time.Parse(time.RFC3339Nano, string(b))
	if err != nil {
		return math.NaN(), false
	}
	return float64(t.Unix()) + float64(t.Nanosecond())/1e9, true
}

// Hex returns the value of a hexadecimal digit of either case, 255 of anything else.
func Hex(b byte) byte {
	switch {
	case b-'0' <= 9:
		return b - '0'
	case b|0x20 >= 'a' && b|0x20 <= 'f':
		return b | 0x20 - 'a' + 10
	}
	return 255
}
