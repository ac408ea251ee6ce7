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
	m := NewMixer(1000, 1)
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
	m := NewMixer(1000, 1)
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
	m := NewMixer(48000, 1)
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
	m := NewMixer(16000, 1)
	m.SetGain(20)
	require.NoError(t, m.Play(tone(16000, 440, 0.8, 0.5)))
	out := Clip{Rate: 16000, Samples: mixed(m, 8000)}
	require.InDelta(t, ceiling, out.Peak(), 1e-5)
	require.Greater(t, part(out, 440), 0.7, "still loud")
	// Afterwards a soft clip is as loud as the gain says: the limiter has let go.
	require.NoError(t, m.Play(tone(16000, 440, 0.02, 1)))
	mixed(m, 8000)
	require.InDelta(t, 0.2, Clip{Rate: 16000, Samples: mixed(m, 4000)}.Peak(), 0.002)
}

func TestMixerReadGivesFramesOnAllChannels(t *testing.T) {
	m := NewMixer(1000, 2)
	require.NoError(t, m.Play(steady(0.25, 300)))
	p := make([]byte, 8*300+5) // a torn frame at the end stays out
	n, err := m.Read(p)
	require.NoError(t, err)
	require.Equal(t, 8*300, n)
	for i := 0; i < n; i += 4 {
		require.Equal(t, float32(0.25), math.Float32frombits(binary.LittleEndian.Uint32(p[i:])))
	}
}

func TestMixDoesNotAllocate(t *testing.T) {
	m := NewMixer(48000, 1)
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
		m := NewMixer(1000, 1)
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
	m := NewMixer(48000, 1)
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
