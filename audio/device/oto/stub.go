//go:build !cgo && !windows && !(darwin && arm64)

// Package oto plays through the system's sound. This build is without cgo, which
// the library needs on this system, so Open only says so.
package oto

import (
	"context"
	"errors"

	"earshot/audio/device/internal/output"
)

// A Device cannot be had in this build.
type Device struct{ *output.Output }

// Open says what is missing.
func Open(context.Context) (*Device, error) {
	return nil, errors.New("the sound device oto is not in this build: build with CGO_ENABLED=1 and a C compiler (on Linux also the ALSA headers), or use another device")
}

// Close does nothing.
func (d *Device) Close() error { return nil }
