package audio

import (
	"errors"
	"fmt"
	"math"
)

// A Clip is mono sound. Full scale is -1 to 1.
type Clip struct {
	Rate    int // samples a second
	Samples []float32
}

// Seconds is how long the clip sounds; 0 for a clip without a rate.
func (c Clip) Seconds() float64 {
	if c.Rate <= 0 {
		return 0
	}
	return float64(len(c.Samples)) / float64(c.Rate)
}

// Peak is the largest magnitude of any sample.
func (c Clip) Peak() float64 {
	var p float32
	for _, s := range c.Samples {
		p = max(p, s, -s)
	}
	return float64(p)
}

// RMS is the root mean square of the samples, 0 for an empty clip.
func (c Clip) RMS() float64 {
	if len(c.Samples) == 0 {
		return 0
	}
	var e float64
	for _, s := range c.Samples {
		e += float64(s) * float64(s)
	}
	return math.Sqrt(e / float64(len(c.Samples)))
}

// ErrClip is wrapped by the errors about a clip that cannot be played.
var ErrClip = errors.New("unusable clip")

// Check says what makes the clip unplayable: a rate outside 1 kHz to 384 kHz, or
// a sample that is not a number.
func (c Clip) Check() error {
	if c.Rate < 1000 || c.Rate > 384000 {
		return fmt.Errorf("%w: its rate is %d Hz; it must be between 1000 and 384000", ErrClip, c.Rate)
	}
	for i, s := range c.Samples {
		if s != s || s > math.MaxFloat32 || s < -math.MaxFloat32 {
			return fmt.Errorf("%w: sample %d is %v", ErrClip, i, s)
		}
	}
	return nil
}
