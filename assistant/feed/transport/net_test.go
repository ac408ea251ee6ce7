package transport

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/netip"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// heard is a source read by a goroutine, with what it reported, for tests in which both ends are real.
type heard struct {
	t      *testing.T
	s      Source
	mu     sync.Mutex
	states []State
	moved  chan struct{}
	got    chan string // pieces; "GAP" for a gap
}

func listenTo(t *testing.T, s Spec) *heard {
	t.Helper()
	h := &heard{t: t, moved: make(chan struct{}, 1000), got: make(chan string, 1000)}
	s.Report = func(x State) {
		h.mu.Lock()
		h.states = append(h.states, x)
		h.mu.Unlock()
		h.moved <- struct{}{}
	}
	ctx, cancel := context.WithCancel(context.Background())
	var err error
	h.s, err = Open(ctx, s)
	require.NoError(t, err)
	ended := make(chan error, 1)
	go func() {
		for {
			p, _, err := h.s.Next(ctx)
			switch {
			case err == ErrGap:
				h.got <- "GAP"
			case err != nil:
				ended <- err
				return
			default:
				h.got <- string(p)
			}
		}
	}()
	t.Cleanup(func() {
		begin := time.Now()
		cancel()
		require.ErrorIs(t, <-ended, context.Canceled)
		require.NoError(t, h.s.Close())
		require.NoError(t, h.s.Close(), "closing twice is no mistake")
		require.Less(t, time.Since(begin), 20*time.Second, "the end of the context ends everything soon")
	})
	return h
}

// wants waits until the stream has brought that text, however it was cut.
func (h *heard) wants(text string) {
	h.t.Helper()
	var got strings.Builder
	for got.String() != text {
		select {
		case p := <-h.got:
			got.WriteString(p)
			require.True(h.t, strings.HasPrefix(text, got.String()), "%q instead of %q", got.String(), text)
		case <-time.After(20 * time.Second):
			h.t.Fatalf("%q, and then nothing; wanted %q", got.String(), text)
		}
	}
}

// state waits until the last state is like that.
func (h *heard) state(up bool, text string) {
	h.t.Helper()
	for {
		h.mu.Lock()
		n := len(h.states)
		ok := n > 0 && h.states[n-1].Up == up && strings.Contains(h.states[n-1].Text, text)
		all := fmt.Sprint(h.states)
		h.mu.Unlock()
		if ok {
			return
		}
		select {
		case <-h.moved:
		case <-time.After(20 * time.Second):
			h.t.Fatalf("%v %q is not reported; %s", up, text, all)
		}
	}
}

func address(s Source) string { return s.(interface{ LocalAddr() net.Addr }).LocalAddr().String() }

func write(t *testing.T, w io.Writer, text string) {
	t.Helper()
	_, err := io.WriteString(w, text)
	require.NoError(t, err)
}

func TestUDPTellsForeignAndLargeOnes(t *testing.T) {
	from, err := Sender("127.0.0.0/30")
	require.NoError(t, err)
	h := listenTo(t, Spec{Kind: UDP, Listen: "0", From: []netip.Prefix{from}, Largest: 5})
	other, err := net.DialUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 9)}, net.UDPAddrFromAddrPort(netip.MustParseAddrPort(address(h.s))))
	if err != nil {
		t.Skip("this system has one loopback address only:", err)
	}
	defer other.Close()
	own, err := net.Dial("udp", address(h.s))
	require.NoError(t, err)
	defer own.Close()
	write(t, other, "away")
	write(t, own, "large!")
	write(t, own, "right")
	write(t, own, "end")
	h.wants("rightend")
	require.Equal(t, Stats{Foreign: 1, Oversized: 1}, h.s.Stats())
}

// A datagram to a group comes to two listeners on the same port.
func TestMulticast(t *testing.T) {
	on := ""
	list, err := net.Interfaces()
	require.NoError(t, err)
	var local net.IP
	for _, i := range list {
		addrs, _ := i.Addrs()
		for _, a := range addrs {
			if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && i.Flags&(net.FlagMulticast|net.FlagUp|net.FlagLoopback) == net.FlagMulticast|net.FlagUp {
				on, local = i.Name, n.IP
			}
		}
	}
	if on == "" {
		t.Skip("no network interface here can do multicast")
	}
	free, err := net.ListenUDP("udp4", nil)
	require.NoError(t, err)
	port := free.LocalAddr().(*net.UDPAddr).Port
	require.NoError(t, free.Close())
	group := fmt.Sprintf("239.255.40.1:%d", port) // local scope, RFC 2365
	from, err := Sender(local.String())
	require.NoError(t, err)
	a := listenTo(t, Spec{Kind: UDP, Group: group, Interface: on, From: []netip.Prefix{from}})
	b := listenTo(t, Spec{Kind: UDP, Group: group})
	to, err := net.DialUDP("udp4", &net.UDPAddr{IP: local}, net.UDPAddrFromAddrPort(netip.MustParseAddrPort(group)))
	require.NoError(t, err)
	defer to.Close()
	write(t, to, "to all")
	a.wants("to all")
	b.wants("to all")
}

func TestTCPClient(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	addr := ln.Addr().String()
	require.NoError(t, ln.Close())
	h := listenTo(t, Spec{Kind: TCP, Connect: addr})
	h.state(false, "nothing listens there; trying again")
	ln, err = net.Listen("tcp", addr)
	require.NoError(t, err)
	c, err := ln.Accept()
	require.NoError(t, err)
	write(t, c, "1\n2\n3")
	h.wants("1\n2\n3")
	h.state(true, "connected to "+addr)
	require.NoError(t, c.Close())
	h.wants("GAP")
	c, err = ln.Accept()
	require.NoError(t, err)
	write(t, c, "7\n")
	h.wants("7\n")
	require.Equal(t, Stats{Reconnects: 1}, h.s.Stats())
	h.state(true, "connected")
	require.NoError(t, c.(*net.TCPConn).SetLinger(0)) // a reset instead of an end
	require.NoError(t, c.Close())
	h.wants("GAP")
	c, err = ln.Accept()
	require.NoError(t, err)
	require.NoError(t, ln.Close())
	require.NoError(t, c.Close())
	h.state(false, "nothing listens there")
}

func TestTCPServer(t *testing.T) {
	h := listenTo(t, Spec{Kind: TCP, Listen: "0"})
	require.True(t, strings.HasPrefix(address(h.s), "127.0.0.1:"), "without a host nothing is open to the network")
	h.state(false, "waiting for a sender on 127.0.0.1:")
	a, err := net.Dial("tcp", address(h.s))
	require.NoError(t, err)
	defer a.Close()
	write(t, a, "1\n2")
	h.wants("1\n2")
	h.state(true, a.LocalAddr().String())
	// A second one takes the place of the first, whose connection ends.
	b, err := net.Dial("tcp", address(h.s))
	require.NoError(t, err)
	write(t, b, "3\n")
	h.wants("GAP3\n")
	_, err = a.Read(make([]byte, 1))
	require.Error(t, err)
	h.mu.Lock()
	require.Contains(t, fmt.Sprint(h.states), "another sender has taken the place of "+a.LocalAddr().String())
	h.mu.Unlock()
	require.NoError(t, b.Close())
	h.wants("GAP")
	h.state(false, "the sender closed the connection; waiting for a sender")
	require.Equal(t, Stats{Reconnects: 1}, h.s.Stats())
}

func TestTCPServerTurnsForeignersAway(t *testing.T) {
	from, err := Sender("192.0.2.7") // TEST-NET-1 of RFC 5737
	require.NoError(t, err)
	h := listenTo(t, Spec{Kind: TCP, Listen: "0", From: []netip.Prefix{from}})
	c, err := net.Dial("tcp", address(h.s))
	require.NoError(t, err)
	defer c.Close()
	_, err = c.Read(make([]byte, 1))
	require.Error(t, err)
	require.Equal(t, Stats{Foreign: 1}, h.s.Stats())
}

// Senders that come and go all the time leave nothing behind and mix nothing: every line is whole.
func TestManySenders(t *testing.T) {
	h := listenTo(t, Spec{Kind: TCP, Listen: "0"})
	var group sync.WaitGroup
	for i := range 50 {
		group.Go(func() {
			c, err := net.Dial("tcp", address(h.s))
			if err != nil {
				return
			}
			_, _ = fmt.Fprintf(c, "%c%c", 'a'+i%26, 'a'+i%26) // it may have been replaced
			_ = c.Close()
		})
	}
	group.Wait()
	last, err := net.Dial("tcp", address(h.s))
	require.NoError(t, err)
	defer last.Close()
	write(t, last, "LAST")
	after := "GAP"
	for p := range h.got {
		if p == "LAST" {
			require.Equal(t, "GAP", after, "a gap stands between two senders")
			return
		}
		if p != "GAP" {
			require.Equal(t, "GAP", after)
		}
		after = p
	}
}

func TestWhoIsAllowed(t *testing.T) {
	for s, who := range map[string]string{"192.168.1.20": "192.168.1.20", "192.168.1.9/24": "192.168.1.255", "::1": "::1", "2001:db8::/32": "2001:db8:1::5", "0.0.0.0/0": "8.8.8.8"} {
		p, err := Sender(s)
		require.NoError(t, err)
		require.True(t, allowed([]netip.Prefix{p}, netip.MustParseAddr(who)), s)
		require.False(t, allowed([]netip.Prefix{p}, netip.MustParseAddr("fe80::9")), s)
	}
	p, err := Sender("127.0.0.1")
	require.NoError(t, err)
	require.True(t, allowed([]netip.Prefix{p}, netip.MustParseAddr("::ffff:127.0.0.1")), "the same address as a socket for both families tells it")
	for _, s := range []string{"", "host", "1.2.3", "1.2.3.4/33"} {
		_, err := Sender(s)
		require.Error(t, err)
	}
}

func TestExposed(t *testing.T) {
	for want, s := range map[string]Spec{
		"0.0.0.0:1":     {Kind: TCP, Listen: "0.0.0.0:1"},
		"192.0.2.1:5":   {Kind: UDP, Listen: "192.0.2.1:5"},
		"[::]:1":        {Kind: UDP, Listen: "[::]:1"},
		"239.255.1.1:5": {Kind: UDP, Group: "239.255.1.1:5"},
	} {
		require.Equal(t, want, s.Exposed())
		require.Equal(t, string(s.Kind)+" "+want, s.String())
	}
	for _, s := range []Spec{{Kind: UDP, Listen: "127.0.0.1:1"}, {Kind: UDP, Listen: "localhost:1"}, {Kind: TCP, Listen: "[::1]:1"}, {Kind: TCP, Connect: "192.0.2.1:1"}, {Kind: Serial}, {Kind: File}} {
		require.Empty(t, s.Exposed())
	}
}

// BenchmarkUDP tells what Next costs against the bare read, a datagram of 400 bytes at a time through the loopback.
func BenchmarkUDP(b *testing.B) {
	p := make([]byte, 400)
	sender := func(b *testing.B, to string) net.Conn {
		c, err := net.Dial("udp", to)
		require.NoError(b, err)
		b.Cleanup(func() { _ = c.Close() })
		return c
	}
	bare := func(b *testing.B) {
		conn, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
		require.NoError(b, err)
		defer conn.Close()
		to, buf := sender(b, conn.LocalAddr().String()), make([]byte, 1<<16)
		b.ReportAllocs()
		for b.Loop() {
			if _, err := to.Write(p); err != nil {
				b.Fatal(err)
			}
			if _, _, err := conn.ReadFromUDPAddrPort(buf); err != nil {
				b.Fatal(err)
			}
		}
	}
	next := func(b *testing.B) {
		ctx, cancel := context.WithCancel(b.Context())
		defer cancel()
		loopback, err := Sender("127.0.0.0/8")
		require.NoError(b, err)
		s, err := Open(ctx, Spec{Kind: UDP, Listen: "0", From: []netip.Prefix{loopback}})
		require.NoError(b, err)
		defer s.Close()
		to := sender(b, address(s))
		b.ReportAllocs()
		for b.Loop() {
			if _, err := to.Write(p); err != nil {
				b.Fatal(err)
			}
			if _, _, err := s.Next(ctx); err != nil {
				b.Fatal(err)
			}
		}
	}
	var a, c int64 = 1 << 62, 1 << 62 // the best of each, taken in turn
	for i := range 3 {
		b.Run(fmt.Sprintf("bare/%d", i), func(b *testing.B) { bare(b); a = min(a, b.Elapsed().Nanoseconds()/int64(b.N)) })
		b.Run(fmt.Sprintf("next/%d", i), func(b *testing.B) { next(b); c = min(c, b.Elapsed().Nanoseconds()/int64(b.N)) })
	}
	fmt.Fprintf(os.Stderr, "Next takes %.3f of the bare read\n", float64(c)/float64(a))
}
