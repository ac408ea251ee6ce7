// Package device opens what makes sound: a sound server, a sound card, a file or
// nothing at all. Every device plays one clip at a time on a goroutine of its own,
// and tells when it has lost its hardware.
//
// A missing device is never the end of the program: "auto" tells what to do in a sentence and takes up a
// device when one appears. A device is opened only when it is
// asked for, because opening one can write to the terminal and wake hardware.
package device

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"earshot/audio"
)

// A Device plays clips. Its methods may be called from any goroutine.
type Device interface {
	// Play returns at once. A clip played while one sounds waits behind it. The
	// error is about an unusable clip, a queue that is full, or wraps ErrLost or ErrClosed.
	Play(audio.Clip) error
	// Stop fades out what sounds within 25 ms and forgets what waits.
	Stop()
	// SetGain makes everything louder or softer by so many decibels.
	SetGain(decibels float64)
	// Lost gives an error when the device has lost its hardware or server, and nil
	// when it has it back. What waited at that moment is forgotten. It is for
	// one receiver; who comes late finds the latest state only.
	Lost() <-chan error
	// Name says what the sound comes out of.
	Name() string
	// Close waits until all that was played has sounded, 8 s at most, and gives
	// the hardware back. Stop shortens the wait. Close may be called twice.
	Close() error
}

// Errors that Play and Open wrap.
var (
	ErrLost   = errors.New("the sound device is lost")
	ErrClosed = errors.New("the sound device is closed")
	ErrName   = errors.New("unknown sound device")
)

// cardRate is the sample rate of the streams to a card or server, which converts if it wants another.
const cardRate = 48000

// stallLimit is how long a server or library may ask for no sound before it counts as lost.
const stallLimit = 2 * time.Second

// Open opens a device by name. "auto" is on Linux the sound server where one answers, else a sound card;
// elsewhere the system's sound. say gets one sentence for people when auto had to fall back. ctx bounds the opening
// only.
func Open(ctx context.Context, name string, say func(string)) (Device, error) {
	if say == nil {
		say = func(string) {}
	}
	switch file, isWAV := strings.CutPrefix(name, "wav:"); {
	case isWAV && file == "":
		return nil, fmt.Errorf("%w: wav needs a file, as in wav:%s", ErrName, filepath.Join("out", "cues.wav"))
	case isWAV:
		return openWAV(file)
	case name == "auto":
		return openAuto(ctx, say, first, lookEvery)
	case name == "pulse":
		return openPulse(ctx, parkAfter)
	case name == "oto":
		return openOto(ctx)
	case name == "portaudio":
		return openPortAudio(ctx)
	case name == "silent":
		return openSilent(), nil
	}
	return nil, fmt.Errorf("%w %q; there are auto, pulse, oto, portaudio, wav:FILE, silent", ErrName, name)
}
