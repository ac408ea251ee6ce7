package transport

import (
	"errors"
	"net"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

type canConn struct {
	f     *os.File
	on    string
	begin time.Time
	frame [canFDFrame]byte
}

func dialCAN(name string) (conn, error) {
	what := "can " + name
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_RAW|unix.SOCK_NONBLOCK|unix.SOCK_CLOEXEC, unix.CAN_RAW)
	if err != nil {
		e := &Error{What: what, Msg: cause(err), Err: err}
		switch {
		case errors.Is(err, unix.EAFNOSUPPORT), errors.Is(err, unix.EPROTONOSUPPORT):
			e.Msg, e.Hint = "this system's kernel has no CAN", "load its modules (modprobe can_raw), or record the bus elsewhere and replay the file"
		case errors.Is(err, unix.EPERM), errors.Is(err, unix.EACCES):
			e.Msg, e.Hint = "this user may not open a CAN socket", ""
		}
		return nil, e
	}
	on, err := net.InterfaceByName(name)
	if err != nil {
		_ = unix.Close(fd)
		return nil, &Error{What: what, Msg: "there is no such interface; waiting for it", Err: errAway}
	}
	_ = unix.SetsockoptInt(fd, unix.SOL_CAN_RAW, unix.CAN_RAW_FD_FRAMES, 1) // an older kernel or bus has none
	_ = unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF, receiveBuffer)
	if err := unix.Bind(fd, &unix.SockaddrCAN{Ifindex: on.Index}); err != nil {
		_ = unix.Close(fd)
		e := &Error{What: what, Msg: cause(err), Err: err}
		switch {
		case errors.Is(err, unix.ENETDOWN):
			e.Msg, e.Err = "the interface is down; waiting for it", errAway
		case errors.Is(err, unix.ENODEV):
			e.Msg, e.Hint = "this interface is no CAN bus", "ip link shows them: can0"
		}
		return nil, e
	}
	return &canConn{f: os.NewFile(uintptr(fd), what), on: name, begin: time.Now()}, nil
}

// Read waits for a frame and makes a line of it. The time is the wall clock of the moment when the connection was
// made plus what has passed since, so that setting the clock does not bend it.
func (c *canConn) Read(p []byte) (int, error) {
	for {
		n, err := c.f.Read(c.frame[:])
		if err != nil {
			return 0, err
		}
		if line, ok := appendCAN(p[:0], c.begin.Add(time.Since(c.begin)), c.on, c.frame[:n]); ok {
			return len(line), nil
		}
	}
}

func (c *canConn) Close() error { return c.f.Close() }

func (c *canConn) name() string { return "reading " + c.on }

func (c *canConn) why(err error) string { return c.on + ": " + cause(err) + "; trying again" }
