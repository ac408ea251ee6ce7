package spoken

import (
	"math"
	"strings"
)

// This file has what is short enough for the ear of someone who drives, and leaves out what he knows (common practice,
// no source).

// Brief is Number without the zero before the point, which is easily heard as "two" in noise: "point three". What
// rounds to nothing is "zero", whatever the decimals.
func Brief(x float64, decimals int) string {
	sign, s := cutMinus(Number(x, decimals))
	if rest, ok := strings.CutPrefix(s, "zero point "); ok {
		if strings.Trim(rest, "zero ") == "" {
			return "zero"
		}
		return sign + "point " + rest
	}
	return sign + s
}

// cutMinus takes the word for the sign off a spelled number.
func cutMinus(s string) (sign, rest string) {
	if rest, ok := strings.CutPrefix(s, "minus "); ok {
		return "minus ", rest
	}
	return "", s
}

// Tens spells x rounded to ten, with hundreds and tens side by side: "six sixty", "seven hundred", "ninety", "ten
// forty".
func Tens(x float64) string {
	if beyondWords(x) {
		return Number(x, 0)
	}
	n := int64(math.Round(x/10)) * 10
	switch {
	case n < 0:
		return "minus " + Tens(float64(-n))
	case n < 100 || n >= 10000 || n%100 == 0:
		return Cardinal(n)
	}
	return Cardinal(n/100) + " " + Cardinal(n%100)
}

// LapBrief spells a lap time with one decimal for a driver who knows the minute: "twenty-one four" is 1:21.4,
// "twenty-one flat" 1:21.0, "twenty point four" 1:20.4, which "twenty four" would not be. Below ten seconds past the
// minute and from an hour on it is as LapTime, since it is not clear then which minute it was.
func LapBrief(seconds float64) string {
	tenths := math.Round(seconds * 10)
	if !(tenths >= 100) || tenths >= 36000 || math.Mod(tenths, 600) < 100 { // NaN as well
		return LapTime(seconds, 1)
	}
	whole := int64(math.Mod(tenths, 600)) / 10
	part := "flat"
	if t := int64(math.Mod(tenths, 10)); t > 0 {
		part = small[t]
		if whole >= 20 && whole%10 == 0 {
			part = "point " + part
		}
	}
	return Cardinal(whole) + " " + part
}

// Compared spells how a lap or sector compares, positive is slower, in tenths: "two tenths quicker", "one four slower",
// "one second quicker". Less than half a tenth is "the same".
func Compared(seconds float64) string {
	if beyondWords(seconds) {
		return Number(seconds, 1)
	}
	word := " slower"
	if seconds < 0 {
		word = " quicker"
	}
	switch t := int64(math.Round(math.Abs(seconds) * 10)); {
	case t == 0:
		return "the same"
	case t < 10:
		return parts(t, "tenth") + word
	case t%10 == 0:
		return count(t/10, "second") + word
	default:
		return Cardinal(t/10) + " " + small[t%10] + word
	}
}

// Laps spells a number of laps, rounded to tenths: "half a lap", "one lap", "point three laps", "one and a half laps".
func Laps(x float64) string {
	sign, s := cutMinus(Brief(x, 1))
	if whole, ok := strings.CutSuffix(s, " point zero"); ok {
		s = whole
	}
	switch {
	case s == "point five":
		return sign + "half a lap"
	case s == "one":
		return sign + "one lap"
	case strings.HasSuffix(s, " point five"):
		s = strings.TrimSuffix(s, " point five") + " and a half"
	}
	return sign + s + " laps"
}
