package audio

import "math"

const (
	// crossings is the half width of the interpolation kernel in zero crossings
	// of the sinc. Sixteen with a Kaiser window of beta 8 keep images and aliases
	// more than 70 dB down and the band flat to about 0.9 of the lower Nyquist
	// frequency, which the tests measure.
	crossings = 16
	beta      = 8
	// mostPhases bounds the table of kernels; rates with a larger ratio are not
	// sound-card rates and take the slow way.
	mostPhases = 1024
)

// Resample returns the clip at another rate, by windowed-sinc interpolation
// without delay. The clip itself is returned when nothing has to be done. Both
// rates must be positive.
func (c Clip) Resample(rate int) Clip {
	if rate == c.Rate || len(c.Samples) == 0 || rate <= 0 || c.Rate <= 0 {
		return Clip{Rate: rate, Samples: c.Samples}
	}
	g := gcd(rate, c.Rate)
	up, down := rate/g, c.Rate/g
	n := (len(c.Samples)*up + down - 1) / down

	// Going down, the kernel is stretched so that it also removes what the lower
	// rate cannot hold.
	cutoff := min(1, float64(rate)/float64(c.Rate))
	half := int(math.Ceil(crossings / cutoff))
	taps := 2 * half
	table := make([][]float32, min(up, mostPhases))
	kernel := func(phase int, k []float32) {
		frac := float64(phase) / float64(up)
		var sum float64
		for i := range k {
			x := (float64(i-half+1) - frac) * cutoff
			w := sinc(x) * kaiser(x/crossings)
			k[i] = float32(w)
			sum += w
		}
		for i := range k {
			k[i] = float32(float64(k[i]) / sum) // direct current passes exactly
		}
	}
	scratch := make([]float32, taps)
	out := make([]float32, n)
	for i := range out {
		pos := i * down
		at, phase := pos/up, pos%up
		k := scratch
		if phase < len(table) && up <= mostPhases {
			if table[phase] == nil {
				table[phase] = make([]float32, taps)
				kernel(phase, table[phase])
			}
			k = table[phase]
		} else {
			kernel(phase, k)
		}
		first := at - half + 1
		lo, hi := max(0, -first), min(taps, len(c.Samples)-first)
		var sum float32
		for j := lo; j < hi; j++ {
			sum += c.Samples[first+j] * k[j]
		}
		out[i] = sum
	}
	return Clip{Rate: rate, Samples: out}
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// kaiser is the Kaiser window at x from -1 to 1.
func kaiser(x float64) float64 {
	if x <= -1 || x >= 1 {
		return 0
	}
	return bessel(beta*math.Sqrt(1-x*x)) / bessel(beta)
}

// bessel is the modified Bessel function of the first kind and order zero, by its
// power series (Abramowitz and Stegun 9.6.12).
func bessel(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-12*sum; k++ {
		term *= x / 2 / k * x / 2 / k
		sum += term
	}
	return sum
}
