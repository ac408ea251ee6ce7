package audio

import "math"

// Blocks of the loudness measure, ITU-R BS.1770-4: gating blocks of 400 ms that
// overlap by three quarters, so steps of 100 ms.
const (
	momentarySteps = 4
	absoluteGate   = -70.0
	relativeGate   = -10.0
)

// A Meter measures loudness by ITU-R BS.1770-4. It is not safe for use by two
// goroutines.
type Meter struct {
	weights []float64
	filters [][2]Biquad
	energy  []float64 // of the step under way, per channel
	filled  int       // frames in the step under way
	stepLen int
	steps   []float64 // weighted mean square of every step so far
}

// NewMeter returns a meter for interleaved sound. weights has one entry per
// channel: 1 for the front channels and for mono, 1.41 for surround channels, 0
// for one that does not count.
func NewMeter(rate int, weights ...float64) *Meter {
	m := &Meter{weights: weights, energy: make([]float64, len(weights)), stepLen: max(1, rate/10)}
	for range weights {
		m.filters = append(m.filters, kWeighting(rate))
	}
	return m
}

// kWeighting is the pair of filters of BS.1770-4 for any rate: the analogue
// prototypes that lead to the tabulated coefficients at 48 kHz, taken through the
// bilinear transform again.
func kWeighting(rate int) [2]Biquad {
	const (
		shelfHz, shelfGain, shelfQ = 1681.974450955533, 3.999843853973347, 0.7071752369554196
		passHz, passQ              = 38.13547087602444, 0.5003270373238773
		midExponent                = 0.4996667741545416
	)
	k := math.Tan(math.Pi * shelfHz / float64(rate))
	high := math.Pow(10, shelfGain/20)
	mid := math.Pow(high, midExponent)
	shelf := scaled(high+mid*k/shelfQ+k*k, 2*(k*k-high), high-mid*k/shelfQ+k*k, 1+k/shelfQ+k*k, 2*(k*k-1), 1-k/shelfQ+k*k)
	k = math.Tan(math.Pi * passHz / float64(rate))
	pass := scaled(1, 0, 0, 1+k/passQ+k*k, 2*(k*k-1), 1-k/passQ+k*k)
	pass.B0, pass.B1, pass.B2 = 1, -2, 1 // the standard leaves the gain of this stage as it is
	return [2]Biquad{shelf, pass}
}

// Write takes frames of interleaved samples. A frame that is not complete at the
// end of p is left out.
func (m *Meter) Write(p []float32) {
	n := len(m.weights)
	for ; n > 0 && len(p) >= n; p = p[n:] {
		for c := range n {
			y := m.filters[c][1].Next(m.filters[c][0].Next(float64(p[c])))
			m.energy[c] += y * y
		}
		if m.filled++; m.filled < m.stepLen {
			continue
		}
		var sum float64
		for c, e := range m.energy {
			sum += m.weights[c] * e / float64(m.stepLen)
			m.energy[c] = 0
		}
		m.steps = append(m.steps, sum)
		m.filled = 0
	}
}

// Integrated is the gated loudness in LUFS of all that was written; minus
// infinity when nothing passes the gates.
func (m *Meter) Integrated() float64 {
	var blocks []float64
	for i := momentarySteps; i <= len(m.steps); i++ {
		if b := mean(m.steps[i-momentarySteps : i]); lufs(b) > absoluteGate {
			blocks = append(blocks, b)
		}
	}
	if len(blocks) == 0 {
		return math.Inf(-1)
	}
	gate := lufs(mean(blocks)) + relativeGate
	loud := blocks[:0]
	for _, b := range blocks {
		if lufs(b) > gate {
			loud = append(loud, b)
		}
	}
	return lufs(mean(loud))
}

func mean(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// lufs turns a weighted mean square into loudness, BS.1770-4 formula 2.
func lufs(z float64) float64 { return -0.691 + 10*math.Log10(z) }

// Loudness is the integrated loudness of the clip in LUFS. A clip shorter than
// one gating block is measured as a whole, without gates.
func (c Clip) Loudness() float64 {
	if c.Seconds() < 0.4 {
		if len(c.Samples) == 0 {
			return math.Inf(-1)
		}
		k := kWeighting(c.Rate)
		var e float64
		for _, s := range c.Samples {
			y := k[1].Next(k[0].Next(float64(s)))
			e += y * y
		}
		return lufs(e / float64(len(c.Samples)))
	}
	m := NewMeter(c.Rate, 1)
	m.Write(c.Samples)
	return m.Integrated()
}
