//go:build !cgo && !windows && !(darwin && arm64)

package device

import (
	"context"
	"errors"
)

// openOto says that this build is without cgo, which the library needs on this system.
func openOto(context.Context) (Device, error) {
	return nil, errors.New("the sound device oto is not in this build: build with CGO_ENABLED=1 and a C compiler " +
		"(on Linux also the ALSA headers), or use another device")
}
