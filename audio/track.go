package audio

import (
	"fmt"
	"io"
	"math"
)

// A Track is what the driver would have heard, on the clock of the session: the
// same queueing, fading and limiting as a Mixer, but at given times. It writes as
// it goes, so that hours of session do not sit in memory. Times are seconds from
// the beginning of the track and must not step back.
type Track struct {
	w     *WAVWriter
	mixer *Mixer
	block []float32
	last  float64
	err   error
}

// NewTrack begins a track as a mono 16-bit WAV at rate. w stays the caller's to
// close after Close.
func NewTrack(w io.WriteSeeker, rate int) (*Track, error) {
	if rate < 1000 || rate > 384000 {
		return nil, fmt.Errorf("a track at %d Hz: the rate must be between 1000 and 384000", rate)
	}
	ww, err := NewWAVWriter(w, rate)
	if err != nil {
		return nil, fmt.Errorf("beginning the track: %w", err)
	}
	return &Track{w: ww, mixer: NewMixer(rate), block: make([]float32, 4096)}, nil
}

// Place starts a clip at a time, or behind the one that still sounds then.
func (t *Track) Place(at float64, c Clip) error {
	if err := t.advance(at); err != nil {
		return err
	}
	if err := t.mixer.Play(c); err != nil {
		return fmt.Errorf("track at %.3f s: %w", at, err)
	}
	return nil
}

// Cut fades out what sounds at a time and forgets what waits, as Mixer.Stop does.
func (t *Track) Cut(at float64) error {
	if err := t.advance(at); err != nil {
		return err
	}
	t.mixer.Stop()
	return nil
}

// Close ends the track at a time and completes the file. What would have sounded
// later is not in it.
func (t *Track) Close(end float64) error {
	err := t.advance(end)
	if t.err != nil {
		return t.err // the file is torn: its header would lie
	}
	if e := t.w.Close(); e != nil && err == nil {
		err = fmt.Errorf("ending the track: %w", e)
	}
	return err
}

func (t *Track) advance(to float64) error {
	if t.err != nil {
		return t.err
	}
	if math.IsNaN(to) || to < t.last || to > 1e6 {
		return fmt.Errorf("track: the time %v s is not at or after %.3f s, where the track stands", to, t.last)
	}
	t.last = to
	for left := int64(math.Round(to*float64(t.mixer.rate))) - t.w.Samples(); left > 0; {
		b := t.block[:min(left, int64(len(t.block)))]
		t.mixer.Mix(b)
		if err := t.w.Write(b); err != nil {
			t.err = fmt.Errorf("writing the track: %w", err)
			return t.err
		}
		left -= int64(len(b))
	}
	return nil
}
