//go:build cgo

package device

import (
	"errors"
	"os"
	"path/filepath"
)

// hardware looks whether there is anything to open, because the library can be started only once. A sound server
// counts: ALSA's default device usually leads there.
func hardware() error {
	quietALSA()
	if hasCard() || os.Getenv("PULSE_SERVER") != "" {
		return nil
	}
	if socket := filepath.Join(os.Getenv("XDG_RUNTIME_DIR"), "pulse", "native"); filepath.IsAbs(socket) {
		if _, err := os.Stat(socket); err == nil {
			return nil
		}
	}
	return errors.New("there is no sound card (/dev/snd has no output) and no sound server")
}
