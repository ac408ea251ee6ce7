package device

import (
	"errors"
	"syscall"
)

// hardware looks whether there is anything to open, because the library can be started only once.
func hardware() error {
	if n, _, _ := syscall.NewLazyDLL("winmm.dll").NewProc("waveOutGetNumDevs").Call(); n == 0 {
		return errors.New("there is no sound output")
	}
	return nil
}
