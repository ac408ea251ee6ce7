package spoken

import (
	"cmp"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// units maps the spelling of a unit after a number to its words, for exactly
// one and for any other number. A unit is spoken only after a number.
var units = map[string][2]string{
	"%": {"per cent", "per cent"}, "°C": {"degree", "degrees"}, "°": {"degree", "degrees"}, "degC": {"degree", "degrees"},
	"deg": {"degree", "degrees"},
	"°F":  {"degree fahrenheit", "degrees fahrenheit"}, "K": {"degree", "degrees"},
	"km/h": {"kilometre per hour", "kilometres per hour"}, "kph": {"kilometre per hour", "kilometres per hour"},
	"mph": {"mile per hour", "miles per hour"},
	"m/s": {"metre per second", "metres per second"}, "rpm": {"R P M", "R P M"},
	"psi": {"P S I", "P S I"}, "kPa": {"kilopascal", "kilopascals"}, "bar": {"bar", "bar"},
	"mbar": {"millibar", "millibar"},
	"mm":   {"millimetre", "millimetres"}, "m": {"metre", "metres"}, "km": {"kilometre", "kilometres"},
	"s": {"second", "seconds"}, "ms": {"millisecond", "milliseconds"}, "min": {"minute", "minutes"},
	"h": {"hour", "hours"},
	"l": {"litre", "litres"}, "L": {"litre", "litres"}, "l/lap": {"litre a lap", "litres a lap"},
	"L/lap": {"litre a lap", "litres a lap"},
	"kg":    {"kilogram", "kilograms"}, "g": {"G", "G"}, "s/lap": {"second a lap", "seconds a lap"},
}

// unitsByLength has the longest spelling first, so that "km/h" is not read as "km".
var unitsByLength = func() []string {
	return slices.SortedFunc(maps.Keys(units), func(a, b string) int {
		return cmp.Or(len(b)-len(a), strings.Compare(a, b))
	})
}()

// shorts are written in capitals and spoken as something else. Those not here
// are spelled when they have no vowel, and read as a word otherwise.
var shorts = map[string]string{
	"FL": "front left", "FR": "front right", "RL": "rear left", "RR": "rear right",
	"ABS": "A B S", "ECU": "E C U", "TC": "T C", "RPM": "R P M", "PSI": "P S I", "ERS": "E R S", "OK": "okay",
}

// Text puts words in place of the digits, signs, units after numbers and capital
// abbreviations in s, and leaves the rest, with its punctuation, as it is:
//
//	Front left 112 °C, 27.4 psi.  →  Front left one hundred and twelve degrees, twenty-seven point four P S I.
//	Lap 1:42.3, -0.2.             →  Lap one forty-two point three, minus zero point two.
//
// Digits after a point are read as written. A hyphen between two numbers is
// "to". A comma before exactly three digits groups thousands. Text holds no
// ASCII digit afterwards.
func Text(s string) string {
	if !strings.ContainsFunc(s, func(r rune) bool {
		return r < utf8.RuneSelf && !unicode.IsLower(r) && r != ' ' ||
			r >= utf8.RuneSelf
	}) {
		return s
	}
	t := &texter{in: s}
	for t.i < len(t.in) {
		t.step()
	}
	return t.out.String()
}

type texter struct {
	in  string
	i   int
	out strings.Builder
}

// word writes w with a space before it unless there is one or an opening bracket.
func (t *texter) word(w string) {
	if o := t.out.String(); o != "" {
		last, _ := utf8.DecodeLastRuneInString(o)
		if unicode.IsLetter(last) || unicode.IsDigit(last) || strings.ContainsRune(".,;:!?)", last) {
			t.out.WriteByte(' ')
		}
	}
	t.out.WriteString(w)
}

func digitAt(s string, i int) bool { return i >= 0 && i < len(s) && s[i] >= '0' && s[i] <= '9' }

func (t *texter) step() {
	r, size := utf8.DecodeRuneInString(t.in[t.i:])
	rest := t.in[t.i:]
	switch {
	case digitAt(t.in, t.i):
		t.number()
	case (r == '-' || r == '−') && digitAt(t.in, t.i+size):
		t.i += size
		switch {
		case size == 1 && digitAt(t.in, t.i-2):
			t.word("to")
		case t.i-size > 0 && letterBefore(t.in, t.i-size):
			t.out.WriteByte(' ') // "turn-4"
		default:
			t.word("minus")
		}
	case r == '+' && digitAt(t.in, t.i+1):
		t.i++
		t.word("plus")
	case r == '/' && digitAt(t.in, t.i-1) && digitAt(t.in, t.i+1):
		t.i++
		t.word("over")
	case r == '.' && digitAt(t.in, t.i+1) && !digitAt(t.in, t.i-1):
		t.number()
	case unicode.IsLetter(r):
		n := strings.IndexFunc(rest, func(r rune) bool { return !unicode.IsLetter(r) })
		if n < 0 {
			n = len(rest)
		}
		t.i += n
		w := expand(rest[:n])
		if digitAt(t.in, t.i-n-1) {
			t.word(w)
		} else {
			t.out.WriteString(w)
		}
	default:
		t.i += size
		switch {
		case r == utf8.RuneError && size == 1:
			t.out.WriteByte(' ')
		case r == '%':
			t.word("per cent")
		case r == '°':
			t.word("degrees")
		case r == '&':
			t.word("and")
		default:
			t.out.WriteRune(r)
		}
	}
}

func letterBefore(s string, i int) bool {
	r, _ := utf8.DecodeLastRuneInString(s[:i])
	return unicode.IsLetter(r)
}

// expand reads an abbreviation in capitals.
func expand(w string) string {
	if w == "OK" || len(w) >= 2 && len(w) <= 4 && w == strings.ToUpper(w) && isASCII(w) {
		if s, ok := shorts[w]; ok {
			return s
		}
		if !strings.ContainsAny(w, "AEIOUY") {
			return strings.Join(strings.Split(w, ""), " ")
		}
	}
	return w
}

func isASCII(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return r >= utf8.RuneSelf })
}

// number reads the numeral at the cursor: a clock time, an ordinal, or a decimal
// with the unit that follows it.
func (t *texter) number() {
	start := t.i
	for digitAt(t.in, t.i) {
		t.i++
	}
	whole := t.in[start:t.i]
	for len(whole) <= 15 && t.i < len(t.in) && t.in[t.i] == ',' && grouped(t.in, start, t.i) {
		whole += t.in[t.i+1 : t.i+4]
		t.i += 4
	}
	if t.clock(whole) || t.ordinal(whole) {
		return
	}
	numeral := whole
	if t.i < len(t.in) && t.in[t.i] == '.' && digitAt(t.in, t.i+1) {
		end := t.i + 1
		for digitAt(t.in, end) {
			end++
		}
		numeral += t.in[t.i:end]
		t.i = end
	}
	t.word(digits(numeral))
	t.unit(numeral == "1")
}

// grouped says whether the comma at i, in the numeral that starts at start,
// groups thousands.
func grouped(s string, start, i int) bool {
	first := strings.IndexByte(s[start:i+1], ',')
	return first <= 3 && s[start] != '0' && digitAt(s, i+1) && digitAt(s, i+2) && digitAt(s, i+3) && !digitAt(s, i+4)
}

// clock reads m:ss, m:ss.f and h:mm:ss.
func (t *texter) clock(first string) bool {
	fields := []string{first}
	i := t.i
	for i < len(t.in) && t.in[i] == ':' && digitAt(t.in, i+1) && digitAt(t.in, i+2) && !digitAt(t.in, i+3) &&
		len(fields) < 3 {
		fields = append(fields, t.in[i+1:i+3])
		i += 3
	}
	if len(fields) == 1 {
		return false
	}
	n := make([]int64, 3)
	for k, f := range fields {
		v, err := strconv.ParseInt(f, 10, 64)
		if err != nil || k > 0 && v >= 60 {
			return false
		}
		n[3-len(fields)+k] = v
	}
	frac := ""
	if i < len(t.in) && t.in[i] == '.' && digitAt(t.in, i+1) {
		end := i + 1
		for digitAt(t.in, end) {
			end++
		}
		frac, i = t.in[i+1:end], end
	}
	t.i = i
	// 75:00 is written for an hour and a quarter; reading it as minutes is right too.
	t.word(clock(n[0], n[1], n[2], frac))
	return true
}

func (t *texter) ordinal(whole string) bool {
	if len(whole) > 9 || t.i+2 > len(t.in) {
		return false
	}
	n, err := strconv.Atoi(whole)
	if err != nil {
		return false
	}
	want := "th"
	if n/10%10 != 1 {
		switch n % 10 {
		case 1:
			want = "st"
		case 2:
			want = "nd"
		case 3:
			want = "rd"
		}
	}
	if t.in[t.i:t.i+2] != want || letterAt(t.in, t.i+2) {
		return false
	}
	t.i += 2
	t.word(Ordinal(n))
	return true
}

func letterAt(s string, i int) bool {
	if i >= len(s) {
		return false
	}
	r, _ := utf8.DecodeRuneInString(s[i:])
	return unicode.IsLetter(r) || digitAt(s, i)
}

// unit reads a unit directly after a number or after one space.
func (t *texter) unit(one bool) {
	i := t.i
	for _, space := range []string{" ", "\u00a0", "\u202f"} {
		if strings.HasPrefix(t.in[i:], space) {
			i += len(space)
			break
		}
	}
	for _, u := range unitsByLength {
		if !strings.HasPrefix(t.in[i:], u) || letterAt(t.in, i+len(u)) || strings.HasPrefix(t.in[i+len(u):], "/") {
			continue
		}
		t.i = i + len(u)
		if one {
			t.word(units[u][0])
		} else {
			t.word(units[u][1])
		}
		return
	}
}

// Words lists, in order and without double entries, every word that this package
// can put into a text: lower case, hyphenated numbers taken apart. The letters of
// the alphabet are among them, since abbreviations are spelled.
func Words() []string {
	all := []string{
		"minus", "plus", "point", "and", "hundred", "hundredth", "unknown", "out", "of", "range", "oh", "flat", "nothing",
		"a", "half", "to", "over",
		"hour", "hours", "minute", "minutes", "second", "seconds", "tenth", "tenths", "hundredths",
		"the", "same", "slower", "quicker", "lap", "laps",
	}
	numbers := slices.Concat(small[:], tens[2:])
	for _, s := range scales {
		numbers = append(numbers, s.name)
	}
	for _, n := range numbers {
		all = append(all, n, ordinalOf(n))
	}
	for _, u := range units {
		all = append(all, strings.Fields(u[0]+" "+u[1])...)
	}
	for _, s := range shorts {
		all = append(all, strings.Fields(s)...)
	}
	for c := 'a'; c <= 'z'; c++ {
		all = append(all, string(c))
	}
	for i := range all {
		all[i] = strings.ToLower(all[i])
	}
	slices.Sort(all)
	return slices.Compact(all)
}
