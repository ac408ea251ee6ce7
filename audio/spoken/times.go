package spoken

import (
	"math"
	"strconv"
	"strings"
)

// LapTime spells a time, rounded to the given decimals, as a pit wall reads it
// (common practice, no source):
//
//	  51.7    fifty-one point seven
//	 102.3    one forty-two point three
//	  62.0    one oh two point zero
//	  60.0    one minute flat
//	  60.3    one minute point three
//	3723.4    one hour two minutes three point four
//
// Rounding carries: 59.97 with one decimal is "one minute flat". A negative time
// has "minus" in front. NaN is "unknown", an infinity "out of range".
func LapTime(seconds float64, decimals int) string {
	if beyondWords(seconds) {
		return Number(seconds, decimals)
	}
	s := fixed(seconds, decimals)
	sign := ""
	if rest, ok := strings.CutPrefix(s, "-"); ok {
		sign, s = "minus ", rest
	}
	whole, frac, _ := strings.Cut(s, ".")
	n, _ := strconv.ParseInt(whole, 10, 64) // digits only and below 1e15 by now
	return sign + clock(n/3600, n/60%60, n%60, frac)
}

// clock reads hours, minutes, seconds and the digits after the point.
func clock(hours, minutes, seconds int64, frac string) string {
	point := ""
	if frac != "" {
		point = " point " + oneByOne(frac)
	}
	flat := strings.Trim(frac, "0") == ""
	switch {
	case hours > 0:
		s := count(hours, "hour")
		if minutes > 0 {
			s += " " + count(minutes, "minute")
		}
		if seconds == 0 && flat {
			return s
		}
		return s + " " + Cardinal(seconds) + point
	case minutes == 0:
		return Cardinal(seconds) + point
	case seconds == 0 && flat:
		return count(minutes, "minute") + " flat"
	case seconds == 0:
		return count(minutes, "minute") + point
	case seconds < 10:
		return Cardinal(minutes) + " oh " + Cardinal(seconds) + point
	default:
		return Cardinal(minutes) + " " + Cardinal(seconds) + point
	}
}

func count(n int64, thing string) string {
	if n == 1 {
		return "one " + thing
	}
	return Cardinal(n) + " " + thing + "s"
}

// Gap spells a time between two cars or two laps as a pit wall reads it (common
// practice, no source). The sign is read as "minus": a caller that says "up" or
// "behind" passes the magnitude.
//
//	below 0.005            nothing
//	below 0.095            a hundredth, four hundredths
//	0.125 up to 0.175      a tenth and a half
//	below 0.95             a tenth, two tenths
//	whole seconds          one second, two seconds
//	below a minute         one point one
//	beyond                 as LapTime with one decimal
//
// NaN is "unknown", an infinity "out of range".
func Gap(seconds float64) string {
	if beyondWords(seconds) {
		return Number(seconds, 1)
	}
	// Thousandths are as fine as timing goes; working on them keeps the borders
	// where the table above has them, whatever the binary value.
	ms := math.Round(math.Abs(seconds) * 1000)
	sign := ""
	if seconds < 0 && ms >= 5 {
		sign = "minus "
	}
	switch {
	case ms < 5:
		return "nothing"
	case ms < 95:
		return sign + parts(int64(math.Floor((ms+5)/10)), "hundredth")
	case ms >= 125 && ms < 175:
		return sign + "a tenth and a half"
	case ms < 950:
		return sign + parts(int64(math.Floor((ms+50)/100)), "tenth")
	case ms >= 59950:
		return sign + LapTime(ms/1000, 1)
	}
	if t := int64(math.Floor((ms + 50) / 100)); t%10 == 0 {
		return sign + count(t/10, "second")
	}
	return sign + Number(ms/1000, 1)
}

func parts(n int64, thing string) string {
	if n == 1 {
		return "a " + thing
	}
	return Cardinal(n) + " " + thing + "s"
}
