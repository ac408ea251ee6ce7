package spoken

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Wordings for an ear at speed are common practice, no source.
func TestForTheDriver(t *testing.T) {
	for _, tt := range []struct {
		say  func(float64) string
		want map[float64]string
	}{
		{func(x float64) string { return Brief(x, 1) }, map[float64]string{
			0.3: "point three", -0.3: "minus point three", 27.4: "twenty-seven point four", 0.04: "zero", -0.04: "zero", 0: "zero", 10: "ten point zero",
			0.96: "one point zero", math.NaN(): "unknown", 100.2: "one hundred point two",
		}},
		{func(x float64) string { return Brief(x, 2) }, map[float64]string{0.13: "point one three", 0.05: "point zero five", 0.1: "point one zero", 0.001: "zero"}},
		{Tens, map[float64]string{
			663: "six sixty", 694: "six ninety", 696: "seven hundred", 405: "four ten", 94: "ninety", 95: "one hundred", 104: "one hundred", 105: "one ten", 1004: "one thousand",
			1040: "ten forty", 4: "zero", -212: "minus two ten", 12340: "twelve thousand three hundred and forty", math.NaN(): "unknown",
		}},
		{LapBrief, map[float64]string{
			81.4: "twenty-one four", 82.76: "twenty-two eight", 81.02: "twenty-one flat", 102.3: "forty-two three", 51.7: "fifty-one seven", 70: "ten flat", 80.8: "twenty point eight", 70.3: "ten three",
			62: "one oh two point zero", 120.3: "two minutes point three", 59.97: "one minute flat", 3723.4: "one hour two minutes three point four",
			9.5: "nine point five", math.NaN(): "unknown",
		}},
		{Compared, map[float64]string{
			-0.8: "eight tenths quicker", 1.4: "one four slower", 0.04: "the same", -0.04: "the same", 0.06: "a tenth slower", -1: "one second quicker", 2.04: "two seconds slower",
			-0.97: "one second quicker", 12.3: "twelve three slower", math.NaN(): "unknown",
		}},
		{Laps, map[float64]string{
			0.5: "half a lap", 1: "one lap", 0.3: "point three laps", 1.5: "one and a half laps", 2.4: "two point four laps", 2: "two laps", 10: "ten laps", -0.5: "minus half a lap",
			0.02: "zero laps", 10.5: "ten and a half laps",
		}},
	} {
		for x, want := range tt.want {
			require.Equal(t, want, tt.say(x), "%v", x)
		}
	}
}
