package transport

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// keepAlive finds within about ten seconds that the other side is gone without a word.
var keepAlive = net.KeepAliveConfig{Enable: true, Idle: 4 * time.Second, Interval: 2 * time.Second, Count: 3}

const dialLimit = 10 * time.Second

// Remote checks the address of a server: host:port, both of which must be there.
func Remote(connect string) error {
	host, port, err := net.SplitHostPort(connect)
	if err != nil || host == "" {
		return fmt.Errorf("%q is not the address of a server: write host:port, such as 127.0.0.1:47120", connect)
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || n == 0 {
		return fmt.Errorf("%q is not a port: it is a number from 1 to 65535", port)
	}
	return nil
}

func openTCP(ctx context.Context, s Spec) (Source, error) {
	switch {
	case s.Connect != "" && s.Listen != "":
		return nil, &Error{What: s.String(), Msg: "connect and listen exclude each other", Hint: "connect: to a server that sends, or listen: for a client that does"}
	case s.Connect != "":
		if err := Remote(s.Connect); err != nil {
			return nil, &Error{What: s.String(), Msg: err.Error(), Err: err}
		}
		l := &link{spec: s, open: func(ctx context.Context) (conn, error) { return dial(ctx, s.Connect) }}
		l.start(ctx, nil, nil)
		return l, nil
	}
	addr, err := Addr(s.Listen)
	if err != nil {
		return nil, &Error{What: s.String(), Msg: err.Error(), Err: err}
	}
	s.Listen = addr
	lc := net.ListenConfig{KeepAliveConfig: keepAlive}
	ln, err := lc.Listen(ctx, "tcp", addr)
	if err != nil {
		return nil, listenError(s.String(), err)
	}
	v := &server{ln: ln, ready: make(chan struct{}, 1)}
	stop := context.AfterFunc(ctx, func() { _ = ln.Close() })
	l := &link{spec: s, open: v.next, eager: true, end: func() {
		stop()
		_ = ln.Close()
	}}
	v.link = l
	s.report(false, "waiting for a sender on %s", ln.Addr())
	l.start(ctx, nil, nil)
	l.group.Go(v.accept)
	return &listening{l, ln}, nil
}

// listenError makes a person's words of an error of listening.
func listenError(what string, err error) *Error {
	e := &Error{What: what, Msg: cause(err), Err: err}
	switch {
	case errors.Is(err, syscall.EADDRINUSE) || strings.Contains(err.Error(), "Only one usage"):
		e.Msg, e.Hint = "the port is in use by another program", "end that program, or give another port to both the sender and the feed file"
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		e.Msg, e.Hint = "this machine does not have that address", "use 127.0.0.1 for this machine or 0.0.0.0 for all networks"
	case errors.Is(err, syscall.EACCES):
		e.Msg, e.Hint = "not allowed to listen on that port", "use a port from 1024 on"
	}
	return e
}

// A tcpConn is one connection, of a client or of the server.
type tcpConn struct {
	net.Conn
	text  string // what it is, for people
	side  string // who ends it, for people
	after string // what is done once it has ended
	v     *server
}

func (c *tcpConn) name() string { return c.text }

func (c *tcpConn) why(err error) string {
	text := cause(err)
	switch {
	case errors.Is(err, io.EOF):
		text = c.side + " closed the connection"
	case c.v != nil && errors.Is(err, net.ErrClosed):
		return "another sender has taken the place of " + c.RemoteAddr().String() // it is connected already
	case errors.Is(err, os.ErrDeadlineExceeded), errors.Is(err, syscall.ETIMEDOUT):
		text = c.side + " has gone without a word"
	}
	return text + "; " + c.after
}

func dial(ctx context.Context, to string) (conn, error) {
	d := net.Dialer{Timeout: dialLimit, KeepAliveConfig: keepAlive}
	c, err := d.DialContext(ctx, "tcp", to)
	if err != nil {
		text := cause(err)
		var dns *net.DNSError
		switch {
		case errors.Is(err, syscall.ECONNREFUSED):
			text = "nothing listens there"
		case errors.As(err, &dns):
			text = "the name " + dns.Name + " is unknown"
		case errors.Is(err, os.ErrDeadlineExceeded):
			text = "no answer"
		}
		return nil, fmt.Errorf("%s: %s; trying again", to, text)
	}
	return &tcpConn{Conn: c, text: "connected to " + to, side: "the server", after: "connecting again"}, nil
}

// A server accepts senders and keeps the newest. The accepting goroutine is one of the link's group.
type server struct {
	ln    net.Listener
	link  *link
	ready chan struct{} // holds a token while a connection waits

	mu      sync.Mutex // accept and next meet here
	waiting net.Conn
	current net.Conn
}

func (v *server) accept() {
	for {
		c, err := v.ln.Accept()
		if errors.Is(err, net.ErrClosed) {
			v.replace(nil)
			return
		}
		if err != nil { // out of descriptors, or a sender that gave up meanwhile
			select {
			case <-time.After(firstPause):
			case <-v.link.done:
			}
			continue
		}
		if from := addrOf(c.RemoteAddr()); !allowed(v.link.spec.From, from) {
			v.link.foreign.Add(1)
			_ = c.Close()
			continue
		}
		v.replace(c)
		select {
		case v.ready <- struct{}{}:
		default: // one is there already
		}
	}
}

// replace puts c in the place of what was there.
func (v *server) replace(c net.Conn) {
	v.mu.Lock()
	defer v.mu.Unlock()
	for _, old := range []net.Conn{v.waiting, v.current} {
		if old != nil {
			_ = old.Close()
		}
	}
	v.waiting, v.current = c, nil
}

// next waits for a sender.
func (v *server) next(ctx context.Context) (conn, error) {
	for {
		select {
		case <-v.ready:
		case <-ctx.Done():
			return nil, context.Cause(ctx)
		}
		v.mu.Lock()
		c := v.waiting
		v.waiting, v.current = nil, c
		v.mu.Unlock()
		if c != nil {
			return &tcpConn{Conn: c, text: "connected: " + c.RemoteAddr().String(), side: "the sender", after: "waiting for a sender", v: v}, nil
		}
	}
}

// listening is the link of a server, with its address.
type listening struct {
	*link
	ln net.Listener
}

// LocalAddr is where the source listens, with the port that the system chose for port 0.
func (l *listening) LocalAddr() net.Addr { return l.ln.Addr() }

func addrOf(a net.Addr) netip.Addr {
	if t, ok := a.(*net.TCPAddr); ok {
		return t.AddrPort().Addr()
	}
	return netip.Addr{}
}

// allowed tells whether an address is one of from; every address is when from is empty.
func allowed(from []netip.Prefix, a netip.Addr) bool {
	if len(from) == 0 {
		return true
	}
	a = a.Unmap().WithZone("")
	return slices.ContainsFunc(from, func(p netip.Prefix) bool { return p.Contains(a) })
}

// Sender reads an address or a range of addresses in CIDR notation (RFC 4632), such as 192.168.1.0/24.
func Sender(s string) (netip.Prefix, error) {
	if p, err := netip.ParsePrefix(s); err == nil {
		return p.Masked(), nil
	}
	a, err := netip.ParseAddr(s)
	if err != nil {
		return netip.Prefix{}, fmt.Errorf("%q is not an address: write a number such as 192.168.1.20, or a range such as 192.168.1.0/24", s)
	}
	a = a.Unmap().WithZone("")
	return netip.PrefixFrom(a, a.BitLen()), nil
}
