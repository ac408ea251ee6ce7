package spoken

import (
	"math"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Values of the Unicode CLDR number spelling rules for English, as ICU 72.1 gives
// them. Where the default rules and cardinal-verbose differ (the British "and"),
// the verbose form is written here: it adds "and" before what is under a hundred.
func TestCardinalAgreesWithCLDR(t *testing.T) {
	for n, want := range map[int64]string{
		0: "zero", 13: "thirteen", 21: "twenty-one", -12: "minus twelve", 1000000: "one million", 100: "one hundred",
		101:   "one hundred and one",                          // ICU, cardinal-verbose
		1234:  "one thousand two hundred and thirty-four",     // ICU, cardinal-verbose
		999:   "nine hundred and ninety-nine",                 // default rules: nine hundred ninety-nine
		1001:  "one thousand and one",                         // default rules: one thousand one
		12345: "twelve thousand three hundred and forty-five", // default rules: without and
	} {
		require.Equal(t, want, Cardinal(n))
	}
	// No published value for the ends; they must not overflow.
	require.True(t, strings.HasPrefix(Cardinal(math.MinInt64), "minus nine quintillion"))
	require.True(t, strings.HasPrefix(Cardinal(math.MaxInt64), "nine quintillion"))
}

// The decimals of the same table.
func TestNumberAgreesWithCLDR(t *testing.T) {
	tests := []struct {
		x        float64
		decimals int
		want     string
	}{
		{0.5, 1, "zero point five"}, {27.5, 1, "twenty-seven point five"}, {88.8, 1, "eighty-eight point eight"},
		{1.8, 1, "one point eight"}, {1.05, 2, "one point zero five"}, {-0.4, 1, "minus zero point four"}, {0.05, 2, "zero point zero five"},
		{102.3, 1, "one hundred and two point three"}, // with the verbose "and"
	}
	for _, tt := range tests {
		require.Equal(t, tt.want, Number(tt.x, tt.decimals))
	}
}

func TestNumberRounds(t *testing.T) {
	tests := []struct {
		x        float64
		decimals int
		want     string
	}{
		{-0.04, 1, "zero point zero"}, {-0.05, 1, "minus zero point one"}, {math.Copysign(0, -1), 0, "zero"},
		{0.35, 1, "zero point four"}, // in binary a little less than 0.35
		{99.95, 1, "one hundred point zero"}, {999.5, 0, "one thousand"}, {27, 2, "twenty-seven point zero zero"},
		{112.4, 0, "one hundred and twelve"}, {5e-324, 3, "zero point zero zero zero"},
		{1e15, 0, "out of range"}, {math.Inf(-1), 0, "out of range"}, {math.NaN(), 1, "unknown"}, {2.5, -3, "three"},
	}
	for _, tt := range tests {
		require.Equal(t, tt.want, Number(tt.x, tt.decimals), "%v with %d decimals", tt.x, tt.decimals)
	}
}

// CLDR, English spellout-ordinal.
func TestOrdinalAgreesWithCLDR(t *testing.T) {
	for n, want := range map[int]string{
		1: "first", 2: "second", 3: "third", 5: "fifth", 8: "eighth", 12: "twelfth", 21: "twenty-first", 100: "one hundredth",
		101: "one hundred and first", // with the verbose "and"
		20:  "twentieth", 4: "fourth", 9: "ninth", 0: "zeroth", -3: "minus third",
	} {
		require.Equal(t, want, Ordinal(n))
	}
}

// Pit-lane reading is common practice, no source; 1:42.3 is named in the trade notes.
func TestLapTime(t *testing.T) {
	tests := []struct {
		s        float64
		decimals int
		want     string
	}{
		{102.3, 1, "one forty-two point three"}, {51.7, 1, "fifty-one point seven"}, {62, 1, "one oh two point zero"},
		{59.97, 1, "one minute flat"}, {60.3, 1, "one minute point three"}, {119.999, 2, "two minutes flat"},
		{102, 0, "one forty-two"}, {102.345, 3, "one forty-two point three four five"}, {599.96, 1, "ten minutes flat"},
		{3723.4, 1, "one hour two minutes three point four"}, {3600, 1, "one hour"}, {3599.96, 1, "one hour"}, {7205, 0, "two hours five"},
		{0, 1, "zero point zero"}, {-61.5, 1, "minus one oh one point five"}, {-0.01, 1, "zero point zero"},
		{math.NaN(), 1, "unknown"}, {math.Inf(1), 1, "out of range"},
	}
	for _, tt := range tests {
		require.Equal(t, tt.want, LapTime(tt.s, tt.decimals), "%v with %d decimals", tt.s, tt.decimals)
	}
}

func TestGap(t *testing.T) {
	for s, want := range map[float64]string{
		0.2: "two tenths", 0.1: "a tenth", 0.15: "a tenth and a half", 0.125: "a tenth and a half", 0.175: "two tenths",
		0.01: "a hundredth", 0.04: "four hundredths", 0.094: "nine hundredths", 0.095: "a tenth", 0.004: "nothing", -0.004: "nothing", 0: "nothing",
		1.1: "one point one", 0.949: "nine tenths", 0.95: "one second", 1: "one second", 1.96: "two seconds", 12.34: "twelve point three",
		-0.3: "minus three tenths", 59.96: "one minute flat", 63.2: "one oh three point two",
		math.NaN(): "unknown", math.Inf(1): "out of range",
	} {
		require.Equal(t, want, Gap(s), "%v", s)
	}
	require.Equal(t, "unknown", Gap(math.NaN()))
}

func TestText(t *testing.T) {
	for in, want := range map[string]string{
		"Front left 112 °C, 27.4 psi.": "Front left one hundred and twelve degrees, twenty-seven point four P S I.",
		"Lap 1:42.3, -0.2.":            "Lap one forty-two point three, minus zero point two.",
		"no digits here, none.":        "no digits here, none.",
		"save 0.15 l/lap":              "save zero point one five litres a lap",
		"brakes down 6 %":              "brakes down six per cent",
		"1 lap at 250 km/h, 1 l":       "one lap at two hundred and fifty kilometres per hour, one litre",
		"turn 4-5, T4, P3 (2nd)":       "turn four to five, T four, P three (second)",
		"+0.3 and −2.5":                "plus zero point three and minus two point five",
		"ABS off, TC 3, FL hot":        "A B S off, T C three, front left hot",
		"car 007, 12,345 m, 1,5":       "car zero zero seven, twelve thousand three hundred and forty-five metres, one, five",
		"20-25 laps.":                  "twenty to twenty-five laps.",
		"1:02:03.4":                    "one hour two minutes three point four",
		"at 9:75":                      "at nine: seventy-five",
		"99999999999999999999":         strings.TrimSuffix(strings.Repeat("nine ", 20), " "),
		"half .5":                      "half zero point five",
		"21st 22nd 113th 11st":         "twenty-first twenty-second one hundred and thirteenth eleven st",
		"2 °C spread, 50%":             "two degrees spread, fifty per cent",
		"3/4 of 8":                     "three over four of eight",
		"5 metres":                     "five metres",
		"minus\xff5":                   "minus five",
	} {
		require.Equal(t, want, Text(in), "%q", in)
	}
}

// Whatever the package says itself is in Words.
func TestWordsAreComplete(t *testing.T) {
	have := Words()
	require.True(t, slices.IsSorted(have))
	check := func(t interface {
		require.TestingT
		Helper()
	}, text string) {
		t.Helper()
		for _, w := range strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return r == ' ' || r == '-' }) {
			_, ok := slices.BinarySearch(have, w)
			require.True(t, ok, "%q of %q is not in Words", w, text)
		}
	}
	for _, u := range units {
		check(t, u[0])
		check(t, u[1])
	}
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64().Draw(t, "x")
		d := rapid.IntRange(-1, 10).Draw(t, "decimals")
		check(t, Number(x, d))
		check(t, LapTime(x, d))
		check(t, Gap(x))
		check(t, Brief(x, d))
		check(t, Tens(x))
		check(t, LapBrief(x))
		check(t, Compared(x))
		check(t, Laps(x))
		n := rapid.Int64().Draw(t, "n")
		check(t, Cardinal(n))
		check(t, Ordinal(int(n)))
	})
}

func FuzzText(f *testing.F) {
	for _, s := range []string{"Front left 112 °C", "1:42.3", "-3", "20-25", "1,234", "FL", "\xff1", "٣", "1st", "0.5l/lap", "P3-", "−−4.5.6.7:1:2:3"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		out := Text(s)
		if strings.ContainsAny(out, "0123456789") {
			t.Fatalf("%q still has digits: %q", s, out)
		}
		if utf8.ValidString(s) && !utf8.ValidString(out) {
			t.Fatalf("%q became invalid: %q", s, out)
		}
		if again := Text(out); again != out && utf8.ValidString(s) {
			t.Fatalf("%q is not at rest: %q then %q", s, out, again)
		}
	})
}

func BenchmarkText(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		Text("Front left 112 °C, 27.4 psi.")
	}
}

func BenchmarkLapTime(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		LapTime(102.345, 1)
	}
}
