package transport

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// receiveBuffer is asked of the system for datagrams that come while the program
// is busy: at 400 bytes and 360 Hz it holds more than 20 s.
const receiveBuffer = 4 << 20

type udp struct {
	conn  *net.UDPConn
	begin time.Time
	buf   []byte
	open  context.Context
	stop  func() bool // takes back the closing by the context of Open

	waiting     context.Context // that of the last Next, whose end wakes the read
	stopWaiting func() bool
}

// Addr checks and completes a listening address. A missing host is the loopback.
func Addr(listen string) (string, error) {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		if _, perr := strconv.ParseUint(listen, 10, 16); perr != nil {
			return "", fmt.Errorf("%q is not an address: write host:port, such as 127.0.0.1:47119", listen)
		}
		host, port = "", listen
	}
	if host == "" {
		host = "127.0.0.1"
	}
	if net.ParseIP(host) == nil && host != "localhost" {
		return "", fmt.Errorf("%q is not an address of this machine: write an IP number, 127.0.0.1 for this machine only or 0.0.0.0 for all networks", host)
	}
	if _, err := strconv.ParseUint(port, 10, 16); err != nil {
		return "", fmt.Errorf("%q is not a port: it is a number up to 65535", port)
	}
	return net.JoinHostPort(host, port), nil
}

func openUDP(ctx context.Context, listen string) (Source, error) {
	addr, err := Addr(listen)
	if err != nil {
		return nil, &Error{What: "udp " + listen, Msg: err.Error(), Err: err}
	}
	ua, err := net.ResolveUDPAddr("udp", addr)
	if err != nil {
		return nil, &Error{What: "udp " + addr, Msg: "the address is unknown here", Hint: "use 127.0.0.1 for this machine or 0.0.0.0 for all networks", Err: err}
	}
	conn, err := net.ListenUDP("udp", ua)
	if err != nil {
		e := &Error{What: "udp " + addr, Msg: cause(err), Err: err}
		switch {
		case errors.Is(err, syscall.EADDRINUSE) || strings.Contains(err.Error(), "Only one usage"):
			e.Msg, e.Hint = "the port is in use by another program", "end that program, or give another port to both the sender and the feed file"
		case errors.Is(err, syscall.EADDRNOTAVAIL):
			e.Msg, e.Hint = "this machine does not have that address", "use 127.0.0.1 for this machine or 0.0.0.0 for all networks"
		case errors.Is(err, syscall.EACCES):
			e.Msg, e.Hint = "not allowed to listen on that port", "use a port from 1024 on"
		}
		return nil, e
	}
	_ = conn.SetReadBuffer(receiveBuffer) // the system may grant less; a smaller one still works
	u := &udp{conn: conn, begin: time.Now(), buf: make([]byte, 1<<16), open: ctx}
	u.stop = context.AfterFunc(ctx, func() { _ = conn.Close() })
	return u, nil
}

// LocalAddr is where the source listens, with the port that the system chose for port 0.
func (u *udp) LocalAddr() net.Addr { return u.conn.LocalAddr() }

func (u *udp) Next(ctx context.Context) ([]byte, float64, error) {
	if err := context.Cause(ctx); err != nil {
		return nil, unknown, err
	}
	if ctx != u.waiting { // once per context, not per datagram
		if u.stopWaiting != nil {
			u.stopWaiting()
		}
		_ = u.conn.SetReadDeadline(time.Time{})
		u.waiting = ctx
		u.stopWaiting = context.AfterFunc(ctx, func() { _ = u.conn.SetReadDeadline(time.Unix(1, 0)) })
	}
	for {
		n, _, err := u.conn.ReadFromUDPAddrPort(u.buf)
		if err == nil {
			return u.buf[:n], time.Since(u.begin).Seconds(), nil
		}
		for _, c := range []context.Context{ctx, u.open} {
			if cerr := context.Cause(c); cerr != nil {
				return nil, unknown, cerr
			}
		}
		if !errors.Is(err, os.ErrDeadlineExceeded) {
			return nil, unknown, fmt.Errorf("udp %s: %w", u.conn.LocalAddr(), err)
		}
		_ = u.conn.SetReadDeadline(time.Time{}) // the end of an earlier context came late
	}
}

func (u *udp) Close() error {
	u.stop()
	if u.stopWaiting != nil {
		u.stopWaiting()
	}
	if err := u.conn.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
		return err
	}
	return nil
}

// cause is the innermost text of a system error, without Go's prefixes.
func cause(err error) string {
	var no syscall.Errno
	if errors.As(err, &no) {
		return no.Error()
	}
	return err.Error()
}
