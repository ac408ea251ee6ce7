package audio

import (
	"encoding/binary"
	"errors"
	"math"
	"sync/atomic"
)

const (
	// queueLength is more cues than anyone could listen to; a queue that is full
	// means that the device has stopped reading.
	queueLength = 32

	// fadeSeconds is short enough to make room for a warning and long enough not
	// to click (common practice, no source).
	fadeSeconds = 0.025

	// ceiling keeps the true peak at -1 dBTP, which EBU R 128 asks for: between samples that are held to -2.4 dBFS speech
	// peaks up to 1.2 dB higher.
	ceiling = 0.7586

	// releaseSeconds is how fast the limiter lets go.
	releaseSeconds = 0.06
)

// ErrQueueFull says that the device did not take the clips that were given to it.
var ErrQueueFull = errors.New("the sound device is not taking sound: its queue is full")

// A Mixer is what a sound device reads: one clip at a time, silence in between.
// Play, Stop, SetGain and Idle may be called from any goroutine; Mix and Read only
// from the device's, which owns the rest of the state.
type Mixer struct {
	rate int

	in      chan queued
	stops   atomic.Uint64 // clips from before the latest stop carry a smaller number
	pending atomic.Int64  // clips queued or sounding
	gain    atomic.Uint32 // float32 bits
	quiet   chan struct{}

	now      queued // sounding, if it has samples
	at       int    // its next sample
	fade     int    // samples left of a fade that is under way
	fadeLen  int
	limit    float32 // gain of the limiter
	recovery float32
}

type queued struct {
	samples []float32
	stops   uint64
}

// NewMixer returns a mixer that gives mono samples at rate, which must be positive.
func NewMixer(rate int) *Mixer {
	m := &Mixer{
		rate:     rate,
		in:       make(chan queued, queueLength),
		quiet:    make(chan struct{}, 1),
		fadeLen:  max(1, int(fadeSeconds*float64(rate))),
		limit:    1,
		recovery: float32(math.Exp(1 / (releaseSeconds * float64(rate)))),
	}
	m.SetGain(0)
	return m
}

// SetGain makes everything louder or softer by so many decibels. True peaks beyond
// -1 dBTP are limited.
func (m *Mixer) SetGain(decibels float64) {
	m.gain.Store(math.Float32bits(float32(math.Pow(10, decibels/20))))
}

// Play puts a clip behind those that wait or sound. It returns at once, after
// resampling; the error is about an unusable clip or is ErrQueueFull. The clip's
// samples must not be changed afterwards.
func (m *Mixer) Play(c Clip) error {
	if err := c.Check(); err != nil {
		return err
	}
	if len(c.Samples) == 0 {
		return nil
	}
	m.pending.Add(1)
	select {
	case m.in <- queued{c.Resample(m.rate).Samples, m.stops.Load()}:
		return nil
	default:
		m.done()
		return ErrQueueFull
	}
}

// Stop fades out what sounds within 25 ms and forgets what waits. A clip played
// afterwards sounds after the fade.
func (m *Mixer) Stop() { m.stops.Add(1) }

// Idle says whether nothing waits and nothing sounds.
func (m *Mixer) Idle() bool { return m.pending.Load() == 0 }

// Quiet receives a value some time after the mixer has become idle. It is for one
// receiver, who asks Idle again.
func (m *Mixer) Quiet() <-chan struct{} { return m.quiet }

func (m *Mixer) done() {
	if m.pending.Add(-1) == 0 {
		select {
		case m.quiet <- struct{}{}:
		default:
		}
	}
}

// Mix fills dst. It runs on the goroutine of the device, so it does not block, allocate, lock or log.
func (m *Mixer) Mix(dst []float32) {
	stops := m.stops.Load()
	gain := math.Float32frombits(m.gain.Load())
	for i := range dst {
		dst[i] = m.limited(m.next(stops) * gain)
	}
}

// next is the next sample of the one clip that sounds.
func (m *Mixer) next(stops uint64) float32 {
	for m.at >= len(m.now.samples) {
		if m.now.samples != nil {
			m.now.samples = nil
			m.at, m.fade = 0, 0
			m.done()
		}
		select {
		case q := <-m.in:
			m.now = q
			if q.stops < stops { // it never began: drop it without a fade
				m.at = len(q.samples)
			}
		default:
			return 0
		}
	}
	s := m.now.samples[m.at]
	m.at++
	if m.now.stops < stops {
		if m.fade == 0 {
			m.fade = m.fadeLen + 1
		}
		m.fade--
		s *= float32(m.fade) / float32(m.fadeLen)
		if m.fade <= 1 {
			m.at = len(m.now.samples)
		}
	}
	return s
}

// limited keeps a sample under the ceiling: the gain falls at once and recovers
// slowly.
func (m *Mixer) limited(s float32) float32 {
	if m.limit < 1 {
		m.limit = min(1, m.limit*m.recovery)
	}
	if a := max(s, -s); a*m.limit > ceiling {
		m.limit = ceiling / a
	}
	return s * m.limit
}

// Read fills p with little-endian float32 samples and never fails. It keeps the promises of Mix.
func (m *Mixer) Read(p []byte) (int, error) {
	var block [256]float32
	total := len(p) / 4 * 4
	for n := 0; n < total; {
		b := block[:min((total-n)/4, len(block))]
		m.Mix(b)
		for _, s := range b {
			binary.LittleEndian.PutUint32(p[n:], math.Float32bits(s))
			n += 4
		}
	}
	return total, nil
}
