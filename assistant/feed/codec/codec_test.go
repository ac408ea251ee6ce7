package codec

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The truth is strconv.ParseFloat, bit for bit, on everything that is a plain decimal.
func FuzzNumber(f *testing.F) {
	for _, s := range []string{"0", "-0", "12.5", "1672875115.41200042", "9007199254740993", "1e22", "1e23", "4.9e-324", "1e400", ".5", "5.", ".", "-", "1e", "0x10", "1_0", "inf", "123456789012345678901234567890", "+1.5"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, ok := ParseNumber([]byte(s), false)
		plain := strings.Trim(s, "0123456789+-.eE") == ""
		want, err := strconv.ParseFloat(s, 64)
		if ok != (plain && err == nil) {
			t.Fatalf("%q: accepted %v; strconv says %v", s, ok, err)
		}
		if ok && math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%q: %v, want %v", s, got, want)
		}
		if !strings.Contains(s, ",") {
			comma, okComma := ParseNumber([]byte(strings.ReplaceAll(s, ".", ",")), true)
			if okComma != ok || ok && comma != got {
				t.Fatalf("%q with a comma: %v %v", s, comma, okComma)
			}
		}
	})
}

func TestNumbersAreExact(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 50_000 {
		x := math.Float64frombits(r.Uint64())
		if math.IsNaN(x) || math.IsInf(x, 0) {
			continue
		}
		s := strconv.FormatFloat(x, 'g', r.IntN(18)-1, 64)
		want, err := strconv.ParseFloat(s, 64)
		got, ok := ParseNumber([]byte(s), false)
		require.Equal(t, err == nil, ok, s)
		if ok && got != want {
			t.Fatalf("%s: %v, want %v", s, got, want)
		}
	}
}

func TestClock(t *testing.T) {
	tests := []struct {
		text  string
		want  float64 // NaN: refused
		comma bool
	}{
		{"58.853", 58.853, false},
		{"1:52.875", 112.875, false},     // the second line of the sprint's timing: 58.853 + 54.022
		{"2:40:25.371", 9625.371, false}, // its winner's time
		{"12:11:35.565", 43895.565, false},
		{"0:12,50", 12.5, true},
		{"-1:30", -90, false},
		{"90", 90, false},
		{"1:60", math.NaN(), false},
		{"1:-5", math.NaN(), false},
		{"1.5:20", math.NaN(), false},
		{"1:2:3:4", math.NaN(), false},
		{":30", math.NaN(), false},
		{"1:", math.NaN(), false},
		{"1:2e1", math.NaN(), false},
		{"", math.NaN(), false},
	}
	for _, tt := range tests {
		got, ok := ParseClock([]byte(tt.text), tt.comma)
		require.Equal(t, !math.IsNaN(tt.want), ok, tt.text)
		if ok {
			require.InDelta(t, tt.want, got, 1e-9, tt.text)
		}
	}
	got, ok := ParseISO([]byte("2023-07-22T16:10:56.25Z"))
	require.True(t, ok)
	require.Equal(t, 1690042256.25, got) // the first line of the sprint's weather has both spellings
	_, ok = ParseISO([]byte("2023-07-22 16:10:56"))
	require.False(t, ok)
}

// The truth is bytes.Split on the whole.
func TestLinesAtAnyChunking(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := []byte(rapid.StringMatching(`([ab]{0,5}\r?\n?){0,20}`).Draw(t, "text"))
		var want []string
		for i, l := range bytes.Split(all, []byte("\n")) {
			if i == bytes.Count(all, []byte("\n")) && len(l) == 0 {
				break
			}
			want = append(want, string(bytes.TrimSuffix(l, []byte("\r"))))
		}
		var got []string
		var lines Lines
		line := func(b []byte) { got = append(got, string(b)) }
		for len(all) > 0 {
			n := rapid.IntRange(1, len(all)).Draw(t, "n")
			lines.Feed(all[:n], line, func() { t.Fatal("too long") })
			all = all[n:]
		}
		lines.End(line, func() { t.Fatal("too long") })
		if !slicesEqual(got, want) {
			t.Fatalf("%q, want %q", got, want)
		}
	})
}

func slicesEqual(a, b []string) bool {
	return strings.Join(a, "|") == strings.Join(b, "|") && len(a) == len(b)
}

func TestALineWithoutEndIsRefusedOnceAndTheNextOneRead(t *testing.T) {
	for _, size := range []int{LineLimit, LineLimit + 1, 3 * LineLimit} {
		for _, chunk := range []int{1000, LineLimit / 2, 4 * LineLimit} {
			var lines Lines
			var got []int
			long := 0
			all := append(bytes.Repeat([]byte("x"), size), "\nnext\n"...)
			for len(all) > 0 {
				n := min(chunk, len(all))
				lines.Feed(all[:n], func(b []byte) { got = append(got, len(b)) }, func() { long++ })
				all = all[n:]
			}
			if size > LineLimit {
				require.Equal(t, 1, long)
				require.Equal(t, []int{4}, got)
			} else {
				require.Zero(t, long)
				require.Equal(t, []int{size, 4}, got)
			}
		}
	}
}

func TestReasonsHaveTexts(t *testing.T) {
	for r := range reasons {
		require.NotEmpty(t, r.String())
	}
	require.Equal(t, "unknown reason", reasons.String())
	require.Equal(t, "unknown reason", Reason(-1).String())
}
