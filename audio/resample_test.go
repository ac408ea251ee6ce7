package audio

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// tone is a sine of that peak.
func tone(rate int, hz, peak, seconds float64) Clip {
	x := make([]float32, int(seconds*float64(rate)))
	for i := range x {
		x[i] = float32(peak * math.Sin(2*math.Pi*hz*float64(i)/float64(rate)))
	}
	return Clip{Rate: rate, Samples: x}
}

// part is the amplitude of one frequency in the middle of a clip, by correlation over
// a Hann window; it is exact for a tone alone.
func part(c Clip, hz float64) float64 {
	x := c.Samples[len(c.Samples)/8 : len(c.Samples)*7/8]
	var re, im, sum float64
	for i, s := range x {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(len(x)))
		a := 2 * math.Pi * hz * float64(i) / float64(c.Rate)
		re += w * float64(s) * math.Cos(a)
		im += w * float64(s) * math.Sin(a)
		sum += w
	}
	return 2 * math.Hypot(re, im) / sum
}

func TestResampleKeepsTheBand(t *testing.T) {
	for _, rates := range [][2]int{{16000, 48000}, {16000, 44100}, {44100, 48000}, {48000, 16000}, {48000, 44100}, {22050, 16000}} {
		for _, share := range []float64{0.05, 0.5, 0.85} {
			hz := share * float64(min(rates[0], rates[1])) / 2
			out := tone(rates[0], hz, 0.5, 0.5).Resample(rates[1])
			require.Equal(t, rates[1], out.Rate)
			require.InDelta(t, 0.5, out.Seconds(), 1.5/float64(rates[1]))
			require.InDelta(t, 0, 20*math.Log10(part(out, hz)/0.5), 0.1, "%v at %.0f Hz", rates, hz)
		}
	}
}

func TestResampleAddsNothing(t *testing.T) {
	// Going up, the image of 3 kHz about 16 kHz; going down, 13 kHz would fold to 3 kHz.
	up := tone(16000, 3000, 0.5, 0.5).Resample(48000)
	require.Less(t, 20*math.Log10(part(up, 13000)/0.5), -70.0)
	down := tone(48000, 13000, 0.5, 0.5).Resample(16000)
	down.Samples = down.Samples[1000:7000] // a tone that begins at once is no tone
	require.Less(t, 20*math.Log10(down.RMS()/0.35), -70.0)
}

// The output is on time: a resampled tone minus the tone made at that rate leaves nothing.
func TestResampleDoesNotDelay(t *testing.T) {
	got, want := tone(16000, 440, 0.5, 0.25).Resample(48000), tone(48000, 440, 0.5, 0.25)
	require.Len(t, got.Samples, len(want.Samples))
	for i := 1000; i < len(want.Samples)-1000; i++ {
		require.InDelta(t, want.Samples[i], got.Samples[i], 0.002)
	}
}

func TestResampleOddRates(t *testing.T) {
	for _, to := range []int{1000, 11025, 15999, 47999, 192000} {
		out := tone(16000, 200, 0.5, 0.5).Resample(to)
		require.InDelta(t, 0.5, part(out, 200), 0.01, "%d Hz", to)
	}
	require.Empty(t, Clip{Rate: 16000}.Resample(48000).Samples)
}

func BenchmarkResample(b *testing.B) {
	for _, to := range []int{48000, 44100} {
		b.Run(fmt.Sprintf("to=%d", to), func(b *testing.B) {
			c := tone(16000, 440, 0.5, 2)
			b.ReportAllocs()
			for b.Loop() {
				c.Resample(to)
			}
		})
	}
}
