package audio

import (
	"encoding/binary"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// steady is a clip of one value, by which its samples can be told apart.
func steady(v float32, n int) Clip {
	x := make([]float32, n)
	for i := range x {
		x[i] = v
	}
	return Clip{Rate: 1000, Samples: x}
}

func mixed(m *Mixer, n int) []float32 {
	out := make([]float32, n)
	for i := range out {
		out[i] = 9 // has to be overwritten
	}
	m.Mix(out)
	return out
}

func TestMixerPlaysOneAfterTheOther(t *testing.T) {
	m := NewMixer(1000)
	require.True(t, m.Idle())
	require.NoError(t, m.Play(steady(0.1, 3)))
	require.NoError(t, m.Play(Clip{Rate: 1000}))
	require.NoError(t, m.Play(steady(0.2, 2)))
	require.False(t, m.Idle())
	require.Equal(t, []float32{0.1, 0.1}, mixed(m, 2))
	require.Equal(t, []float32{0.1, 0.2, 0.2, 0, 0}, mixed(m, 5))
	require.True(t, m.Idle())
	<-m.Quiet()
}

func TestMixerStopFadesAndForgets(t *testing.T) {
	m := NewMixer(1000)
	require.NoError(t, m.Play(steady(0.5, 200)))
	require.NoError(t, m.Play(steady(0.4, 200)))
	mixed(m, 10)
	m.Stop()
	require.NoError(t, m.Play(steady(0.1, 3)))
	out := mixed(m, 40)
	// 25 ms at 1 kHz are 25 samples, each a little softer, then the clip from after the stop.
	require.Equal(t, float32(0.5), out[0])
	for i := 1; i < 25; i++ {
		require.Less(t, out[i], out[i-1])
	}
	require.InDelta(t, 0.02, out[24], 1e-6)
	require.Equal(t, []float32{0.1, 0.1, 0.1, 0, 0}, out[25:30])
	require.True(t, m.Idle())

	m.Stop() // of nothing
	require.NoError(t, m.Play(steady(0.1, 1)))
	require.Equal(t, []float32{0.1, 0}, mixed(m, 2))
}

func TestMixerRefuses(t *testing.T) {
	m := NewMixer(48000)
	require.ErrorIs(t, m.Play(Clip{Rate: 0, Samples: []float32{1}}), ErrClip)
	require.ErrorIs(t, m.Play(Clip{Rate: 16000, Samples: []float32{float32(math.NaN())}}), ErrClip)
	for range queueLength {
		require.NoError(t, m.Play(steady(0.1, 1)))
	}
	require.ErrorIs(t, m.Play(steady(0.1, 1)), ErrQueueFull)
	m.Stop()
	mixed(m, 1) // a stop empties the queue at once
	require.True(t, m.Idle())
	require.NoError(t, m.Play(steady(0.1, 1)))
}

func TestMixerLimits(t *testing.T) {
	m := NewMixer(16000)
	m.SetGain(20)
	require.NoError(t, m.Play(tone(16000, 440, 0.8, 0.5)))
	out := Clip{Rate: 16000, Samples: mixed(m, 8000)}
	require.Less(t, out.Peak(), math.Pow(10, -1.0/20))
	require.Greater(t, part(out, 440), 0.6, "still loud")
	// Afterwards a soft clip is as loud as the gain says: the limiter has let go.
	require.NoError(t, m.Play(tone(16000, 440, 0.02, 1)))
	mixed(m, 8000)
	require.InDelta(t, 0.2, Clip{Rate: 16000, Samples: mixed(m, 4000)}.Peak(), 0.002)
}

// truePeak is the greatest value between the samples too, in dB of full scale: by four times as many samples, as ITU-R
// BS.1770-4, Annex 2, asks for, here from a windowed sinc of 32 samples to either side.
func truePeak(x []float32) float64 {
	const side = 32
	top := 0.0
	for i := range x {
		for q := range 4 {
			at, sum := float64(q)/4, 0.0
			for k := max(0, i-side+1); k <= min(len(x)-1, i+side); k++ {
				d := float64(k-i) - at
				w := 1.0
				if d != 0 {
					w = math.Sin(math.Pi*d) / (math.Pi * d)
				}
				sum += float64(x[k]) * w * (0.5 + 0.5*math.Cos(math.Pi*d/(side+1)))
			}
			top = max(top, math.Abs(sum))
		}
	}
	return 20 * math.Log10(top)
}

// However much the driver turns it up, the true peak stays at -1 dBTP or below (EBU R 128, 2020: maximum permitted true
// peak level).
func TestMixerKeepsToTheTruePeakOfR128(t *testing.T) {
	require.InDelta(t, 0, truePeak(tone(48000, 12000, 1, 0.01).Samples), 0.1, "a tone at a quarter of the rate, whatever its phase")
	worst := math.Inf(-1)
	for _, rate := range []int{16000, 44100, 48000} {
		for _, hz := range []float64{200, 997, 2000, 3000, 4000, 6000} {
			for _, gain := range []float64{3, 12, 24} {
				m := NewMixer(rate)
				m.SetGain(gain)
				c := tone(16000, hz, 0.8, 0.1)
				for i := range c.Samples { // louder and softer, as speech
					c.Samples[i] *= float32(0.6 + 0.4*math.Sin(float64(i)/40))
				}
				require.NoError(t, m.Play(c))
				peak := truePeak(mixed(m, rate/8))
				worst = max(worst, peak)
				require.Greater(t, peak, -9.0, "and it is still loud")
			}
		}
	}
	t.Logf("%.2f dBTP", worst)
	require.LessOrEqual(t, worst, -1.0)
}

func TestMixerReadGivesWholeSamples(t *testing.T) {
	m := NewMixer(1000)
	require.NoError(t, m.Play(steady(0.25, 300)))
	p := make([]byte, 4*300+3) // a torn sample at the end stays out
	n, err := m.Read(p)
	require.NoError(t, err)
	require.Equal(t, 4*300, n)
	for i := 0; i < n; i += 4 {
		require.Equal(t, float32(0.25), math.Float32frombits(binary.LittleEndian.Uint32(p[i:])))
	}
}

func TestMixDoesNotAllocate(t *testing.T) {
	m := NewMixer(48000)
	c := tone(48000, 440, 0.5, 0.001)
	out, p := make([]float32, 480), make([]byte, 1920)
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		_ = m.Play(c)
		m.Mix(out)
		m.Stop()
		_, _ = m.Read(p)
	}))
}

// Whatever is played and stopped in whatever blocks: never two clips at once, and
// never one that was stopped before it began.
func TestMixerNeverTwoAtOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := NewMixer(1000)
		var heard []float32
		id, stopped := 0, 0
		began := map[int]bool{}
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			switch rapid.IntRange(0, 3).Draw(t, "step") {
			case 0:
				// Clip k is all k/1000 with a fixed sign bit pattern: a sum of two would not be on the grid of one
				// that is still to come, as numbers only grow.
				if m.Play(steady(float32(id+1)/100, rapid.IntRange(1, 50).Draw(t, "length"))) == nil {
					id++
				}
			case 1:
				m.Stop()
				stopped = id
			default:
				block := mixed(m, rapid.IntRange(1, 40).Draw(t, "block"))
				for i, s := range block {
					k := int(math.Round(float64(s) * 100))
					full := math.Abs(float64(s)*100-float64(k)) < 1e-4 && k > 0
					if k > id {
						t.Fatalf("sample %v is louder than any clip", s)
					}
					if full && i > 0 && s == block[i-1] && k > stopped {
						began[k] = true
					}
					if full && k <= stopped && !began[k] && i > 0 && block[i-1] == 0 {
						t.Fatalf("clip %d began after it was stopped", k)
					}
				}
				heard = append(heard, block...)
			}
		}
		mixed(m, 60*50+100)
		if !m.Idle() {
			t.Fatalf("not idle after everything must have sounded: %d samples", len(heard))
		}
	})
}

func BenchmarkMix(b *testing.B) {
	m := NewMixer(48000)
	c := tone(48000, 440, 0.5, 1)
	out := make([]float32, 480)
	b.ReportAllocs()
	begin, blocks := time.Now(), 0
	for b.Loop() {
		if m.Idle() {
			_ = m.Play(c)
		}
		m.Mix(out)
		blocks++
	}
	b.ReportMetric(100*time.Since(begin).Seconds()/(float64(blocks)*0.01), "%ofcore")
}
