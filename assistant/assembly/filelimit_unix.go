//go:build unix

package assembly

import (
	"os/signal"
	"syscall"
)

// outliveFileLimit makes the file size limit (ulimit -f) an error of the write, told like a full disk. Otherwise the
// system ends the program.
func outliveFileLimit() { signal.Ignore(syscall.SIGXFSZ) }
