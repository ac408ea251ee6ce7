package audio

import "math"

// A Biquad is a second-order filter in transposed direct form II. The zero value
// passes nothing; make one with a function below.
type Biquad struct {
	B0, B1, B2, A1, A2 float64
	z1, z2             float64
}

// Next filters one sample.
func (f *Biquad) Next(x float64) float64 {
	y := f.B0*x + f.z1
	f.z1 = f.B1*x - f.A1*y + f.z2
	f.z2 = f.B2*x - f.A2*y
	return y
}

// HighPass is a Butterworth high-pass at hz. Formulas of the three audio filters
// here: R. Bristow-Johnson, Audio EQ Cookbook (published as a W3C Working Group
// Note in 2021), quoted from memory.
func HighPass(rate int, hz float64) Biquad {
	w := 2 * math.Pi * hz / float64(rate)
	c, alpha := math.Cos(w), math.Sin(w)/math.Sqrt2
	return scaled((1+c)/2, -(1 + c), (1+c)/2, 1+alpha, -2*c, 1-alpha)
}

// Bell raises a band of the given quality around hz by gain decibels.
func Bell(rate int, hz, q, gain float64) Biquad {
	w := 2 * math.Pi * hz / float64(rate)
	c, alpha, a := math.Cos(w), math.Sin(w)/(2*q), math.Pow(10, gain/40)
	return scaled(1+alpha*a, -2*c, 1-alpha*a, 1+alpha/a, -2*c, 1-alpha/a)
}

// HighShelf raises all above hz by gain decibels, with a slope of 1.
func HighShelf(rate int, hz, gain float64) Biquad {
	w := 2 * math.Pi * hz / float64(rate)
	a := math.Pow(10, gain/40)
	c, s := math.Cos(w), math.Sin(w)*math.Sqrt2*math.Sqrt(a)
	return scaled(a*((a+1)+(a-1)*c+s), -2*a*((a-1)+(a+1)*c), a*((a+1)+(a-1)*c-s),
		(a+1)-(a-1)*c+s, 2*((a-1)-(a+1)*c), (a+1)-(a-1)*c-s)
}

func scaled(b0, b1, b2, a0, a1, a2 float64) Biquad {
	return Biquad{B0: b0 / a0, B1: b1 / a0, B2: b2 / a0, A1: a1 / a0, A2: a2 / a0}
}
