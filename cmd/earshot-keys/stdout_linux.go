//go:build cgo

package main

/*
#cgo LDFLAGS: -lX11
#include <X11/Xlib.h>
#include <string.h>
#include <unistd.h>

// The hook library opens the display before main begins and crashes where there is none. This runs before it and
// ends the process with a line that says why. It writes without stdio: a library may have left text in its buffer.
__attribute__((constructor(101))) static void need_display(void) {
	XInitThreads();
	Display *d = XOpenDisplay(NULL);
	if (d != NULL) {
		XCloseDisplay(d);
		return;
	}
	static const char text[] = "error no X display: DISPLAY is not set or nothing answers there; "
		"start it in a desktop session\n";
	if (write(1, text, strlen(text)) < 0)
		_exit(2);
	_exit(1);
}
*/
import "C"

import (
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// ownStdout returns the standard output for the protocol alone. What a C library prints there goes to the standard
// error.
func ownStdout() (*os.File, error) {
	fd, err := unix.FcntlInt(1, unix.F_DUPFD_CLOEXEC, 3)
	if err != nil {
		return nil, fmt.Errorf("setting the standard output aside: %w", err)
	}
	if err := unix.Dup3(2, 1, 0); err != nil {
		return nil, fmt.Errorf("setting the standard output aside: %w", err)
	}
	return os.NewFile(uintptr(fd), "stdout"), nil
}
