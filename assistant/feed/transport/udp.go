package transport

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync/atomic"
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

	from               []netip.Prefix
	foreign, oversized atomic.Int64

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

func openUDP(ctx context.Context, s Spec) (Source, error) {
	conn, err := listenUDP(ctx, s)
	if err != nil {
		return nil, err
	}
	_ = conn.SetReadBuffer(receiveBuffer)                     // the system may grant less; a smaller one still works
	buf := make([]byte, cmp.Or(s.Largest, LargestDatagram)+1) // one more, to know what is too large
	u := &udp{conn: conn, begin: time.Now(), buf: buf, open: ctx, from: s.From}
	u.stop = context.AfterFunc(ctx, func() { _ = conn.Close() })
	return u, nil
}

func listenUDP(ctx context.Context, s Spec) (*net.UDPConn, error) {
	what := s.String()
	if s.Group != "" {
		if s.Listen != "" {
			return nil, &Error{What: what, Msg: "group and listen exclude each other", Hint: "the port stands in group: 239.255.40.1:47119"}
		}
		return joinGroup(s)
	}
	addr, err := Addr(s.Listen)
	if err != nil {
		return nil, &Error{What: what, Msg: err.Error(), Err: err}
	}
	var lc net.ListenConfig
	conn, err := lc.ListenPacket(ctx, "udp", addr)
	if err != nil {
		return nil, listenError("udp "+addr, err)
	}
	return conn.(*net.UDPConn), nil
}

// Group checks the address of a multicast group: its number and the port.
func Group(group string) (netip.AddrPort, error) {
	a, err := netip.ParseAddrPort(group)
	if err != nil {
		return a, fmt.Errorf("%q is not a multicast group: write its number and the port, such as 239.255.40.1:47119", group)
	}
	if !a.Addr().IsMulticast() {
		return a, fmt.Errorf("%s is not a multicast address: 239.0.0.0 to 239.255.255.255 are free for local use", a.Addr()) // RFC 2365
	}
	return a, nil
}

func joinGroup(s Spec) (*net.UDPConn, error) {
	what := s.String()
	group, err := Group(s.Group)
	if err != nil {
		return nil, &Error{What: what, Msg: err.Error(), Err: err}
	}
	var on *net.Interface
	if s.Interface != "" {
		if on, err = net.InterfaceByName(s.Interface); err != nil {
			return nil, &Error{What: what, Msg: fmt.Sprintf("there is no network interface %q", s.Interface), Hint: "use one of " + strings.Join(interfaces(), ", "), Err: err}
		}
	}
	conn, err := net.ListenMulticastUDP("udp", on, net.UDPAddrFromAddrPort(group))
	if err != nil {
		e := listenError(what, err)
		if errors.Is(err, syscall.ENODEV) {
			e.Msg, e.Hint = "no network interface to join the group on", "write interface: and one of "+strings.Join(interfaces(), ", ")
		}
		return nil, e
	}
	return conn, nil
}

func interfaces() (names []string) {
	list, _ := net.Interfaces()
	for _, i := range list {
		names = append(names, i.Name)
	}
	return names
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
		n, from, err := u.conn.ReadFromUDPAddrPort(u.buf)
		switch {
		case err == nil && len(u.from) > 0 && !allowed(u.from, from.Addr()):
			u.foreign.Add(1)
			continue
		case err == nil && n == len(u.buf), isTooLarge(err):
			u.oversized.Add(1)
			continue
		case err == nil:
			return u.buf[:n], time.Since(u.begin).Seconds(), nil
		}
		if cerr := cmp.Or(context.Cause(ctx), context.Cause(u.open)); cerr != nil {
			return nil, unknown, cerr
		}
		if !errors.Is(err, os.ErrDeadlineExceeded) {
			return nil, unknown, fmt.Errorf("udp %s: %w", u.conn.LocalAddr(), err)
		}
		_ = u.conn.SetReadDeadline(time.Time{}) // the end of an earlier context came late
	}
}

// isTooLarge tells the error with which Windows refuses a datagram that is larger than the buffer; elsewhere it is cut.
func isTooLarge(err error) bool {
	const wsaMessageSize = 10040 // WSAEMSGSIZE
	if err == nil || runtime.GOOS != "windows" {
		return false
	}
	var no syscall.Errno
	return errors.As(err, &no) && no == wsaMessageSize
}

func (u *udp) Stats() Stats {
	return Stats{Foreign: u.foreign.Load(), Oversized: u.oversized.Load()}
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
