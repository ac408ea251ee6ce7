//go:build !cgo || !linux

// Package portaudio plays through the PortAudio library. This build is without it,
// so Open only says so.
package portaudio

import (
	"context"
	"errors"

	"earshot/audio/device/internal/output"
)

// A Device cannot be had in this build.
type Device struct{ *output.Output }

// Open says what is missing.
func Open(context.Context) (*Device, error) {
	return nil, errors.New("the sound device portaudio is not in this build: build on Linux with CGO_ENABLED=1, a C compiler and the PortAudio headers, or use another device")
}

// Close does nothing.
func (d *Device) Close() error { return nil }
