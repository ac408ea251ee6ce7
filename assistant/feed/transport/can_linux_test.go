package transport

import (
	"context"
	"errors"
	"net"
	"os"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// A virtual bus, where the system has one: ip link add dev vcan0 type vcan && ip link set up vcan0
func TestBus(t *testing.T) {
	on, err := net.InterfaceByName("vcan0")
	if err != nil {
		t.Skip("there is no interface vcan0 here, so no bus is tested, only its lines")
	}
	h := listenTo(t, Spec{Kind: CAN, Interface: "vcan0"})
	h.state(true, "reading vcan0")
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_RAW, unix.CAN_RAW)
	require.NoError(t, err)
	require.NoError(t, unix.Bind(fd, &unix.SockaddrCAN{Ifindex: on.Index}))
	defer unix.Close(fd)
	_, err = unix.Write(fd, rawFrame(0x1f0, 0, false, 1, 2))
	require.NoError(t, err)
	require.Regexp(t, regexp.MustCompile(`^\(\d{10}\.\d{6}\) vcan0 1F0#0102\n$`), <-h.got)
}

// The reading of frames, through a pair of sockets that keep messages whole as a bus does.
func TestFramesOfASocket(t *testing.T) {
	fds, err := unix.Socketpair(unix.AF_UNIX, unix.SOCK_SEQPACKET|unix.SOCK_NONBLOCK, 0)
	require.NoError(t, err)
	theirs := os.NewFile(uintptr(fds[1]), "theirs")
	defer theirs.Close()
	begin := time.Now()
	h := listenWith(t, &canConn{f: os.NewFile(uintptr(fds[0]), "ours"), on: "can9", begin: begin})
	for _, p := range [][]byte{rawFrame(0x7ff, 0, false, 1), rawFrame(1<<29, 0, false), rawFrame(5, 0, true, 2)} {
		_, err := theirs.Write(p)
		require.NoError(t, err)
	}
	lines := <-h + <-h
	m := regexp.MustCompile(`^\((\d{10})\.\d{6}\) can9 7FF#01\n\(\d{10}\.\d{6}\) can9 005##002\n$`).FindStringSubmatch(lines)
	require.NotNil(t, m, lines)
	stamp, err := time.ParseDuration(m[1] + "s")
	require.NoError(t, err)
	require.InDelta(t, float64(begin.Unix()), stamp.Seconds(), 60)
}

// listenWith reads from a connection that is open.
func listenWith(t *testing.T, c conn) <-chan string {
	l := &link{open: func(context.Context) (conn, error) { return nil, errors.New("once") }}
	l.start(t.Context(), c, nil)
	got := make(chan string, 10)
	go func() {
		for {
			p, _, err := l.Next(t.Context())
			if err != nil {
				return
			}
			got <- string(p)
		}
	}()
	t.Cleanup(func() { _ = l.Close() })
	return got
}
