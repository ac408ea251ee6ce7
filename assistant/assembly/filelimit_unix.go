//go:build unix

package assembly

import (
	"os/signal"
	"syscall"
)

// outliveFileLimit makes a file that has reached its limit (ulimit -f) an error of the write, told like a full disk,
// where the system would end the program.
func outliveFileLimit() { signal.Ignore(syscall.SIGXFSZ) }
