package spoken

import (
	"math"
	"strconv"
	"strings"
)

// largest is the first magnitude that Number no longer spells out: beyond it a
// float64 cannot hold every whole number, and nobody at a wheel wants to hear it.
const largest = 1e15

// maxDecimals bounds what is read after the point.
const maxDecimals = 9

var small = [...]string{
	"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
	"eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
}

var tens = [...]string{2: "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"}

var scales = []struct {
	value uint64
	name  string
}{
	{1e18, "quintillion"}, {1e15, "quadrillion"}, {1e12, "trillion"}, {1e9, "billion"}, {1e6, "million"},
	{1e3, "thousand"},
}

// Number spells x, rounded to the given number of decimals (0 to 9), half away
// from zero as the decimal digits of x stand: "twenty-seven point four". A
// negative number that rounds to zero loses its sign. NaN is "unknown"; an
// infinity or a magnitude of 1e15 or more is "out of range".
func Number(x float64, decimals int) string {
	if math.IsNaN(x) {
		return "unknown"
	}
	if math.Abs(x) >= largest {
		return "out of range"
	}
	return digits(fixed(x, decimals))
}

// beyondWords tells whether Number has no figures for x, but "unknown" or "out of range".
func beyondWords(x float64) bool { return math.IsNaN(x) || math.Abs(x) >= largest }

// fixed writes x with the given decimals. It rounds the shortest decimal that
// stands for x and not its binary value, so that 0.35 becomes 0.4 as a reader of
// the screen expects.
func fixed(x float64, decimals int) string {
	decimals = min(max(decimals, 0), maxDecimals)
	s := strconv.FormatFloat(math.Abs(x), 'f', -1, 64)
	whole, frac, _ := strings.Cut(s, ".")
	if len(frac) > decimals {
		up := frac[decimals] >= '5'
		all := []byte(whole + frac[:decimals])
		for i := len(all) - 1; up && i >= 0; i-- {
			if all[i]++; all[i] > '9' {
				all[i] = '0'
				continue
			}
			up = false
		}
		s = string(all)
		if up {
			s = "1" + s
		}
		whole, frac = s[:len(s)-decimals], s[len(s)-decimals:]
	}
	for len(frac) < decimals {
		frac += "0"
	}
	if x < 0 && strings.Trim(whole+frac, "0") != "" {
		whole = "-" + whole
	}
	if decimals == 0 {
		return whole
	}
	return whole + "." + frac
}

// digits spells a decimal numeral such as -27.40, reading every digit after
// the point that is written.
func digits(numeral string) string {
	var b strings.Builder
	if rest, ok := strings.CutPrefix(numeral, "-"); ok {
		b.WriteString("minus ")
		numeral = rest
	}
	whole, frac, point := strings.Cut(numeral, ".")
	n, err := strconv.ParseUint(whole, 10, 63)
	switch {
	case whole == "":
		b.WriteString("zero")
	case err != nil || len(whole) > 1 && whole[0] == '0':
		// A leading zero marks a label, such as a car number, and a numeral
		// beyond any magnitude is not one either: both are read digit by digit.
		b.WriteString(oneByOne(whole))
	default:
		cardinal(&b, n)
	}
	if point && frac != "" {
		b.WriteString(" point " + oneByOne(frac))
	}
	return b.String()
}

func oneByOne(numeral string) string {
	var words []string
	for _, digit := range numeral {
		words = append(words, small[digit-'0'])
	}
	return strings.Join(words, " ")
}

// Cardinal spells a whole number: "one hundred and twelve", "minus twelve".
func Cardinal(n int64) string {
	var b strings.Builder
	u := uint64(n)
	if n < 0 {
		b.WriteString("minus ")
		u = -u
	}
	cardinal(&b, u)
	return b.String()
}

func cardinal(b *strings.Builder, n uint64) {
	for _, s := range scales {
		if n >= s.value {
			cardinal(b, n/s.value)
			b.WriteByte(' ')
			b.WriteString(s.name)
			rest(b, n%s.value)
			return
		}
	}
	switch {
	case n >= 100:
		b.WriteString(small[n/100])
		b.WriteString(" hundred")
		rest(b, n%100)
	case n >= 20:
		b.WriteString(tens[n/10])
		if n%10 > 0 {
			b.WriteByte('-')
			b.WriteString(small[n%10])
		}
	default:
		b.WriteString(small[n])
	}
}

// rest spells what follows hundreds or a scale; British use puts "and" before
// what is less than a hundred.
func rest(b *strings.Builder, n uint64) {
	if n == 0 {
		return
	}
	if n < 100 {
		b.WriteString(" and")
	}
	b.WriteByte(' ')
	cardinal(b, n)
}

var ordinals = map[string]string{
	"one": "first", "two": "second", "three": "third", "five": "fifth", "eight": "eighth", "nine": "ninth",
	"twelve": "twelfth",
}

// Ordinal spells the place n: "first", "twenty-first", "one hundredth".
// A negative n is spelled with "minus" in front.
func Ordinal(n int) string {
	s := Cardinal(int64(n))
	i := strings.LastIndexAny(s, " -") + 1
	return s[:i] + ordinalOf(s[i:])
}

func ordinalOf(word string) string {
	if o, ok := ordinals[word]; ok {
		return o
	}
	if stem, ok := strings.CutSuffix(word, "y"); ok {
		return stem + "ieth"
	}
	return word + "th"
}
