package session

import (
	"os"

	"golang.org/x/sys/unix"
)

func syncData(f *os.File) error {
	for {
		err := unix.Fdatasync(int(f.Fd()))
		if err == nil {
			return nil
		}
		if err != unix.EINTR {
			return &os.PathError{Op: "sync", Path: f.Name(), Err: err}
		}
	}
}
