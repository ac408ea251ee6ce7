package hear

import (
	"math"
	"math/rand/v2"

	"earshot/audio"
)

// InEngineNoise mixes the clip with noise like that in a racing car, so that the
// ratio of their powers over the clip is snr decibels, and 0.3 s of noise before and
// after. The noise is synthetic: harmonics of a firing frequency that rises and
// falls, falling 6 dB an octave, over wind noise; the same seed gives the same
// noise. How real cars sound differs; it makes runs comparable and no more.
func InEngineNoise(c audio.Clip, snr float64, seed uint64) audio.Clip {
	pad := c.Rate * 3 / 10
	x := make([]float64, len(c.Samples)+2*pad)
	r := rand.New(rand.NewPCG(seed, 99))
	base := 110 + 60*r.Float64() // Hz
	phase, wind := 0.0, 0.0
	for i := range x {
		t := float64(i) / float64(c.Rate)
		phase += 2 * math.Pi * base * (1 + 0.25*math.Sin(2*math.Pi*0.4*t)) / float64(c.Rate)
		for h := 1; h <= 24; h++ {
			x[i] += math.Sin(float64(h)*phase+float64(h*h)) / float64(h)
		}
		wind += 0.15 * (r.NormFloat64() - wind) // one pole at about 400 Hz
		x[i] += 1.5*wind + 0.08*r.NormFloat64()
	}
	var noise float64
	for _, v := range x {
		noise += v * v
	}
	noise = math.Sqrt(noise / float64(len(x)))
	k := c.RMS() / noise * math.Pow(10, -snr/20)
	out := make([]float32, len(x))
	for i := range x {
		out[i] = float32(x[i] * k)
	}
	for i, s := range c.Samples {
		out[pad+i] += s
	}
	return audio.Clip{Rate: c.Rate, Samples: out}
}
