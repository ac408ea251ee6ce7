package voice

import (
	"math"

	"earshot/audio"
)

// TargetLoudness is how loud a clip is, in LUFS measured over the parts where the
// voice sounds. It leaves the device's gain for the driver to set.
const TargetLoudness = -16.0

// Figures of the processing. Boosting the consonants and holding the level steady
// is what makes a voice understood over an engine; they were chosen by the word
// error rate of a recogniser in noise, not by taste.
const (
	lowCut         = 200.0  // Hz, applied twice
	presence       = 2800.0 // Hz
	presenceGain   = 7.0    // dB
	presenceQ      = 0.9
	treble         = 4500.0 // Hz
	trebleGain     = 4.0    // dB
	threshold      = -30.0  // dB, relative to the peak
	ratio          = 4.0
	attackSeconds  = 0.003
	releaseSeconds = 0.040
	silence        = -36.0 // dB, relative to the loudest 10 ms
	peak           = 0.89  // -1 dBFS
	leadSeconds    = 0.008 // kept before the first sound
	tailSeconds    = 0.020 // and after the last
)

// Polish makes a raw synthesised or recorded clip fit for the pack: at the given
// rate, filtered and compressed for understanding in noise, without silence at its
// ends, at TargetLoudness, faded at both ends for joining. Silence gives an empty
// clip.
func Polish(c audio.Clip, rate int) audio.Clip {
	x := append([]float32(nil), c.Resample(rate).Samples...)
	equalise(x, rate)
	x = trim(x, rate) // before the compression lifts the background
	compress(x, rate)
	level(x, rate)
	fade(x, rate)
	return audio.Clip{Rate: rate, Samples: x}
}

func equalise(x []float32, rate int) {
	highest := 0.4 * float64(rate) // a band beyond half the rate has no filter
	filters := []audio.Biquad{
		audio.HighPass(rate, lowCut), audio.HighPass(rate, lowCut),
		audio.Bell(rate, min(presence, highest), presenceQ, presenceGain),
		audio.HighShelf(rate, min(treble, highest), trebleGain),
	}
	for i, s := range x {
		y := float64(s)
		for k := range filters {
			y = filters[k].Next(y)
		}
		x[i] = float32(y)
	}
}

// compress holds the level steady: above the threshold it passes only one part in
// ratio of a change in decibels.
func compress(x []float32, rate int) {
	top := audio.Clip{Rate: rate, Samples: x}.Peak()
	if top == 0 {
		return
	}
	limit := top * math.Pow(10, threshold/20)
	attack := math.Exp(-1 / (attackSeconds * float64(rate)))
	release := math.Exp(-1 / (releaseSeconds * float64(rate)))
	env := 0.0
	for i, s := range x {
		a := math.Abs(float64(s))
		k := release
		if a > env {
			k = attack
		}
		env = a + k*(env-a)
		if env > limit {
			x[i] = float32(float64(s) * math.Pow(env/limit, 1/ratio-1))
		}
	}
}

// frames gives the mean square of each 10 ms.
func frames(x []float32, rate int) []float64 {
	n := rate / 100
	var out []float64
	for ; len(x) > 0; x = x[min(n, len(x)):] {
		var e float64
		b := x[:min(n, len(x))]
		for _, s := range b {
			e += float64(s) * float64(s)
		}
		out = append(out, e/float64(len(b)))
	}
	return out
}

func trim(x []float32, rate int) []float32 {
	f := frames(x, rate)
	var top float64
	for _, e := range f {
		top = max(top, e)
	}
	if top == 0 {
		return nil
	}
	gate := top * math.Pow(10, silence/10)
	first, last := 0, len(f)-1
	for f[first] < gate {
		first++
	}
	for f[last] < gate {
		last--
	}
	n := rate / 100
	from := max(0, first*n-int(leadSeconds*float64(rate)))
	to := min(len(x), (last+1)*n+int(tailSeconds*float64(rate)))
	return x[from:to]
}

// level brings the K-weighted level of the sounding parts to the target. A limiter
// of its own kind follows: a smooth curve for the few peaks beyond the ceiling,
// because a unit is too short for one with a release.
func level(x []float32, rate int) {
	for range 3 { // the curve takes a little away; twice more brings it back
		gain := math.Pow(10, (TargetLoudness-sounding(x, rate))/20)
		if math.IsInf(gain, 0) || math.IsNaN(gain) {
			return
		}
		for i, s := range x {
			x[i] = float32(soft(float64(s) * gain))
		}
	}
}

// soft is straight up to half of the peak and bends towards it beyond.
func soft(y float64) float64 {
	const knee = 0.5 * peak
	a := math.Abs(y)
	if a <= knee {
		return y
	}
	return math.Copysign(knee+(peak-knee)*math.Tanh((a-knee)/(peak-knee)), y)
}

// sounding is the loudness of the frames within 20 dB of the loudest.
func sounding(x []float32, rate int) float64 {
	f := frames(x, rate)
	var top float64
	for _, e := range f {
		top = max(top, e)
	}
	n := rate / 100
	var loud []float32
	for i, e := range f {
		if e > top/100 {
			loud = append(loud, x[i*n:min(len(x), (i+1)*n)]...)
		}
	}
	// Measured in one piece of at most 0.4 s at a time, so that short and long
	// clips are measured alike, without gates.
	var sum float64
	pieces := 0
	for len(loud) > 0 {
		k := min(len(loud), rate*399/1000)
		sum += math.Pow(10, audio.Clip{Rate: rate, Samples: loud[:k]}.Loudness()/10) * float64(k)
		pieces += k
		loud = loud[k:]
	}
	return 10 * math.Log10(sum/float64(pieces))
}

func fade(x []float32, rate int) {
	in, out := int(leadSeconds*float64(rate)), int(overlapSeconds*float64(rate))
	for i := range min(in, len(x)) {
		x[i] *= float32(i) / float32(in)
	}
	for i := range min(out, len(x)) {
		x[len(x)-1-i] *= float32(i) / float32(out)
	}
}
