package audio

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The tabulated filter of ITU-R BS.1770-4 at 48 kHz (tables 1 and 2).
func TestKWeightingAgreesWithBS1770(t *testing.T) {
	k := kWeighting(48000)
	for i, want := range []float64{1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585} {
		require.InDelta(t, want, []float64{k[0].B0, k[0].B1, k[0].B2, k[0].A1, k[0].A2}[i], 1e-11)
	}
	for i, want := range []float64{1, -2, 1, -1.99004745483398, 0.99007225036621} {
		require.InDelta(t, want, []float64{k[1].B0, k[1].B1, k[1].B2, k[1].A1, k[1].A2}[i], 1e-11)
	}
}

// BS.1770-4: a 0 dBFS sine of 997 Hz in one front channel reads -3.01 LKFS. The
// tolerance is the rounding of that figure; at other rates the filter is warped a
// little.
func TestFullScaleSine(t *testing.T) {
	for rate, tolerance := range map[int]float64{48000: 0.005, 44100: 0.02, 16000: 0.05} {
		require.InDelta(t, -3.01, tone(rate, 997, 1, 2).Loudness(), tolerance, "%d Hz", rate)
		require.InDelta(t, -3.01, tone(rate, 997, 1, 0.3).Loudness(), 0.1, "%d Hz, shorter than a block", rate)
	}
}

// segments are lengths in seconds and peaks in dBFS, one per channel.
type segment struct {
	seconds float64
	peaks   []float64
}

func stereo(seconds, peak float64) segment { return segment{seconds, []float64{peak, peak}} }

// play writes a 1 kHz sine with continuous phase, and calls after every 100 ms.
func play(m *Meter, segments []segment, every func(at float64)) {
	const rate = 48000
	n := 0
	for _, s := range segments {
		frame := make([]float32, len(s.peaks))
		for range int(math.Round(s.seconds * rate)) {
			x := math.Sin(2 * math.Pi * 1000 * float64(n) / rate)
			for c, p := range s.peaks {
				frame[c] = float32(x * math.Pow(10, p/20))
			}
			m.Write(frame)
			if n++; every != nil && n%(rate/10) == 0 {
				every(float64(n) / rate)
			}
		}
	}
}

// EBU Tech 3341, table 1 (minimum requirements): signals and readings, each within
// 0.1 LU. The cases are those of references/ebu3341.csv in the reference notes; 9 and
// 12 must hold steady.
func TestEBUTech3341(t *testing.T) {
	repeat := func(n int, s ...segment) (out []segment) {
		for range n {
			out = append(out, s...)
		}
		return out
	}
	integrated := map[string][]segment{
		"1": {stereo(20, -23)},
		"3": {stereo(10, -36), stereo(60, -23), stereo(10, -36)},
		"4": {stereo(10, -72), stereo(10, -36), stereo(60, -23), stereo(10, -36), stereo(10, -72)},
		"5": {stereo(20, -26), stereo(20.1, -20), stereo(20, -26)},
	}
	for name, s := range integrated {
		m := NewMeter(48000, 1, 1)
		play(m, s, nil)
		require.InDelta(t, -23.0, m.Integrated(), 0.1, "case %s", name)
		if name == "1" {
			require.InDelta(t, -23.0, m.Momentary(), 0.1)
			require.InDelta(t, -23.0, m.ShortTerm(), 0.1)
		}
	}
	m := NewMeter(48000, 1, 1)
	play(m, []segment{stereo(20, -33)}, nil)
	require.InDelta(t, -33.0, m.Integrated(), 0.1, "case 2")
	require.InDelta(t, -33.0, m.Momentary(), 0.1, "case 2")

	m = NewMeter(48000, 1, 1, 1, 1.41, 1.41) // L R C Ls Rs
	play(m, []segment{{20, []float64{-28, -28, -24, -30, -30}}}, nil)
	require.InDelta(t, -23.0, m.Integrated(), 0.1, "case 6")

	m = NewMeter(48000, 1, 1)
	play(m, repeat(5, stereo(1.34, -20), stereo(1.66, -30)), func(at float64) {
		if at >= 3 {
			require.InDelta(t, -23.0, m.ShortTerm(), 0.1, "case 9 at %.1f s", at)
		}
	})
	m = NewMeter(48000, 1, 1)
	play(m, repeat(25, stereo(0.18, -20), stereo(0.22, -30)), func(at float64) {
		if at >= 1 {
			require.InDelta(t, -23.0, m.Momentary(), 0.1, "case 12 at %.1f s", at)
		}
	})
}

// What lies under the absolute gate of -70 LUFS counts for nothing, even alone. (EBU's
// case 4 reads the same without that gate, as the relative one takes its quiet parts.)
func TestAbsoluteGate(t *testing.T) {
	for peak, want := range map[float64]float64{-68: -68, -72: math.Inf(-1)} {
		m := NewMeter(48000, 1, 1)
		play(m, []segment{stereo(2, peak)}, nil)
		if math.IsInf(want, -1) {
			require.Equal(t, want, m.Integrated())
			continue
		}
		require.InDelta(t, want, m.Integrated(), 0.1)
	}
}

func TestLoudnessOfNothing(t *testing.T) {
	require.True(t, math.IsInf(Clip{Rate: 16000}.Loudness(), -1))
	require.True(t, math.IsInf(Clip{Rate: 16000, Samples: make([]float32, 32000)}.Loudness(), -1))
}

// A filter's gain at a frequency, measured with a tone.
func gainAt(f Biquad, rate int, hz float64) float64 {
	c := tone(rate, hz, 1, 1)
	for i, s := range c.Samples {
		c.Samples[i] = float32(f.Next(float64(s)))
	}
	return 20 * math.Log10(part(c, hz))
}

// What a filter is for can be told without its formula.
func TestFilters(t *testing.T) {
	require.InDelta(t, -3.01, gainAt(HighPass(16000, 200), 16000, 200), 0.02, "Butterworth: half the power at the corner")
	require.InDelta(t, -24, gainAt(HighPass(16000, 200), 16000, 50), 0.5, "12 dB an octave")
	require.InDelta(t, 0, gainAt(HighPass(16000, 200), 16000, 3000), 0.01)
	require.InDelta(t, 7, gainAt(Bell(16000, 2800, 0.9, 7), 16000, 2800), 0.02)
	require.InDelta(t, 0, gainAt(Bell(16000, 2800, 0.9, 7), 16000, 100), 0.1)
	require.InDelta(t, 2, gainAt(HighShelf(16000, 4500, 4), 16000, 4500), 0.02, "half the decibels at the corner")
	require.InDelta(t, 4, gainAt(HighShelf(16000, 4500, 4), 16000, 7800), 0.05)
}

func BenchmarkMeter(b *testing.B) {
	c := tone(48000, 997, 0.5, 1)
	m := NewMeter(48000, 1)
	for b.Loop() {
		m.Write(c.Samples)
	}
}

// Momentary is the loudness of the last 400 ms in LUFS, to the last full 100 ms.
func (m *Meter) Momentary() float64 { return m.last(momentarySteps) }

const shortTermSteps = 30 // 3 s (EBU Tech 3341)

// ShortTerm is the loudness of the last 3 s in LUFS, to the last full 100 ms.
func (m *Meter) ShortTerm() float64 { return m.last(shortTermSteps) }

func (m *Meter) last(n int) float64 {
	if len(m.steps) < n {
		return math.Inf(-1)
	}
	return lufs(mean(m.steps[len(m.steps)-n:]))
}
