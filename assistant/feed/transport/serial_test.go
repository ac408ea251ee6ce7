//go:build linux

package transport

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// pair is a pair of pseudo terminals that socat makes, under the two names, as a cable with a device at each end.
func pair(t *testing.T, ours, theirs string) (unplug func()) {
	t.Helper()
	socat, err := exec.LookPath("socat")
	if err != nil {
		t.Skip("install socat to test serial devices")
	}
	c := exec.Command(socat, "pty,raw,echo=0,link="+ours, "pty,raw,echo=0,link="+theirs)
	require.NoError(t, c.Start())
	done := false
	unplug = func() {
		if !done {
			done = true
			_ = c.Process.Signal(os.Interrupt)
			_ = c.Wait() // ended by us
			_ = os.Remove(ours)
			_ = os.Remove(theirs)
		}
	}
	t.Cleanup(unplug)
	require.Eventually(t, func() bool {
		_, a := os.Stat(ours)
		_, b := os.Stat(theirs)
		return a == nil && b == nil
	}, 10*time.Second, 5*time.Millisecond)
	return unplug
}

func TestSerial(t *testing.T) {
	dir := t.TempDir()
	ours, theirs := filepath.Join(dir, "ours"), filepath.Join(dir, "theirs")
	unplug := pair(t, ours, theirs)
	h := listenTo(t, Spec{Kind: Serial, Device: ours, Baud: 115200})
	h.state(true, ours+" is open")
	to, err := os.OpenFile(theirs, os.O_WRONLY|unix.O_NOCTTY, 0)
	require.NoError(t, err)
	text := "$GPRMC,\r\n\x00\x03\x04\x11\x13\x1a\x7f\xff\n" // what a terminal would swallow or change comes through
	write(t, to, text)
	h.wants(text)
	write(t, to, "half a li")
	h.wants("half a li")
	require.NoError(t, to.Close())

	unplug()
	h.wants("GAP")
	h.state(false, "there is no such device; waiting for it")
	pair(t, ours, theirs)
	h.state(true, "is open")
	to, err = os.OpenFile(theirs, os.O_WRONLY|unix.O_NOCTTY, 0)
	require.NoError(t, err)
	defer to.Close()
	write(t, to, "again\n")
	h.wants("again\n")
	require.Equal(t, Stats{Reconnects: 1}, h.s.Stats())
}

// The device is set as the Spec says; read back by the system's own call. A pseudo terminal keeps the speed, the stop
// bits and the kind of parity, and has always eight bits and parity off.
func TestSerialSettings(t *testing.T) {
	dir := t.TempDir()
	ours := filepath.Join(dir, "ours")
	pair(t, ours, filepath.Join(dir, "theirs"))
	for _, tt := range []struct {
		spec        Spec
		speed, flag uint32
	}{
		{Spec{Baud: 9600, StopBits: "2", Parity: "odd"}, unix.B9600, unix.CSTOPB | unix.PARODD},
		{Spec{Baud: 460800, Parity: "even"}, unix.B460800, 0},
	} {
		s := tt.spec
		s.Kind, s.Device = Serial, ours
		src, err := Open(t.Context(), s)
		require.NoError(t, err)
		f, err := os.OpenFile(ours, os.O_RDONLY|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
		if err != nil {
			t.Skip("only the first may have it open:", err) // root may all the same
		}
		m, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
		require.NoError(t, err)
		require.Equal(t, tt.speed, m.Cflag&unix.CBAUD)
		require.Equal(t, tt.flag, m.Cflag&(unix.CSTOPB|unix.PARODD))
		require.Zero(t, m.Lflag&(unix.ICANON|unix.ECHO|unix.ISIG))
		require.NoError(t, f.Close())
		require.NoError(t, src.Close())
	}
}

func TestErrorsOfSerial(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	for msg, s := range map[string]Spec{
		"no device is given":             {Baud: 9600},
		"is no setting of a serial line": {Device: "/dev/ttyX"},
		"parity \"evn\"":                 {Device: "/dev/ttyX", Baud: 9600, Parity: "evn"},
		"this is no serial device":       {Device: file, Baud: 9600},
	} {
		s.Kind = Serial
		_, err := Open(t.Context(), s)
		require.ErrorIs(t, err, ErrUnavailable)
		require.ErrorContains(t, err, msg)
		require.ErrorContains(t, err, "hint:")
	}
}
