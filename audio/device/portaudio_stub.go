//go:build !cgo || !linux

package device

import (
	"context"
	"errors"
)

// openPortAudio says that this build is without the library.
func openPortAudio(context.Context) (Device, error) {
	return nil, errors.New("the sound device portaudio is not in this build: build on Linux with CGO_ENABLED=1, " +
		"a C compiler and the PortAudio headers, or use another device")
}
