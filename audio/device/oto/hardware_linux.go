//go:build cgo

package oto

import (
	"errors"
	"os"
	"path/filepath"
)

// hardware looks whether there is anything to open, because ALSA writes pages of
// complaints to the terminal when there is not. A sound server counts: ALSA's
// default device usually leads there.
func hardware() error {
	if Card() || os.Getenv("PULSE_SERVER") != "" {
		return nil
	}
	if socket := filepath.Join(os.Getenv("XDG_RUNTIME_DIR"), "pulse", "native"); filepath.IsAbs(socket) {
		if _, err := os.Stat(socket); err == nil {
			return nil
		}
	}
	return errors.New("there is no sound card (/dev/snd has no output) and no sound server")
}
