//go:build unix

package device

import (
	"context"
	"errors"
	"math"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/audio/device/soundtest"
)

func TestPulseKeepsTheContract(t *testing.T) {
	soundtest.Start(t).Setenv(t)
	keepsTheContract(t, func(t *testing.T) Device {
		d, err := openPulse(t.Context(), parkAfter)
		require.NoError(t, err)
		t.Cleanup(func() { d.Stop(); _ = d.Close() })
		return d
	})
}

func TestToneComesOutAsItWentIn(t *testing.T) {
	card := soundtest.Start(t)
	card.Setenv(t)
	d, err := openPulse(t.Context(), parkAfter)
	require.NoError(t, err)
	defer d.Close()
	wanted := tone(16000, 1000, 0.25, 0.8)
	judge(t, card, wanted, 2, func() {
		require.NoError(t, d.Play(wanted))
		settle(d)
	})
}

// settle waits until what was played is out of the mixer, and for the latency from there to a recording.
func settle(d Device) {
	for !d.(*pulse).mixer.Idle() {
		select {
		case <-d.(*pulse).mixer.Quiet():
		case <-time.After(10 * time.Millisecond):
		}
	}
	time.Sleep(300 * time.Millisecond)
}

// A stream that is halted after a time without words must not cost the first of them.
func TestParkedStreamSaysTheFirstWord(t *testing.T) {
	card := soundtest.Start(t)
	card.Setenv(t)
	d, err := openPulse(t.Context(), 100*time.Millisecond)
	require.NoError(t, err)
	defer d.Close()
	for range 3 {
		require.Eventually(t, func() bool { return corked(t, card) }, 20*time.Second, 50*time.Millisecond, "it parks when nothing is said")
		// A tone that is loud from its first sample; a cut start would shorten it.
		wanted := tone(48000, 1000, 0.25, 0.3)
		judge(t, card, wanted, 2, func() {
			require.NoError(t, d.Play(wanted))
			settle(d)
		})
	}
}

// corked asks the server.
func corked(t *testing.T, card *soundtest.Card) bool {
	t.Helper()
	out, err := card.Command(t, "pactl", "list", "sink-inputs").Output()
	require.NoError(t, err)
	return strings.Contains(string(out), "Corked: yes")
}

func TestServerDiesAndComesBack(t *testing.T) {
	card := soundtest.Start(t)
	card.Setenv(t)
	d, err := openPulse(t.Context(), parkAfter)
	require.NoError(t, err)
	require.NoError(t, d.Play(tone(16000, 440, 0.2, 60)))
	card.Kill()
	require.ErrorIs(t, nextNews(t, d), ErrLost)
	require.ErrorIs(t, d.Play(tone(16000, 440, 0.2, 0.1)), ErrLost)
	card.Restart(t)
	require.NoError(t, nextNews(t, d), "nil says that it is back")
	defer d.Close()
	wanted := tone(16000, 1000, 0.25, 0.5) // not the tone from before the loss, of 440 Hz
	judge(t, card, wanted, 2, func() {
		require.NoError(t, d.Play(wanted))
		settle(d)
	})
}

// A server that is there and does not answer is lost as well, and closing does not hang.
func TestServerHangs(t *testing.T) {
	card := soundtest.Start(t)
	card.Setenv(t)
	d, err := openPulse(t.Context(), parkAfter)
	require.NoError(t, err)
	p := card.Process()
	require.NoError(t, p.Signal(syscall.SIGSTOP))
	require.ErrorIs(t, nextNews(t, d), ErrLost)
	begin := time.Now()
	_, err = openPulse(t.Context(), parkAfter)
	require.Error(t, err)
	require.Less(t, time.Since(begin), 10*time.Second)
	require.NoError(t, p.Signal(syscall.SIGCONT))
	require.NoError(t, nextNews(t, d))
	require.NoError(t, p.Signal(syscall.SIGSTOP))
	begin = time.Now()
	require.NoError(t, d.Close())
	require.Less(t, time.Since(begin), 10*time.Second)
}

func nextNews(t *testing.T, d Device) error {
	t.Helper()
	select {
	case err := <-d.Lost():
		return err
	case <-time.After(20 * time.Second):
		t.Fatal("no news of the device")
		return nil
	}
}

// A socket that takes the connection and hangs up, or says nothing, or rubbish.
func TestOpenOnWhatIsNoServer(t *testing.T) {
	for name, serve := range map[string]func(net.Conn){
		"hangs up": func(c net.Conn) { c.Close() },
		"silent":   func(c net.Conn) { _, _ = c.Read(make([]byte, 1<<20)) },
	} {
		t.Run(name, func(t *testing.T) {
			dir, err := os.MkdirTemp("", "sock")
			require.NoError(t, err)
			defer os.RemoveAll(dir)
			l, err := net.Listen("unix", filepath.Join(dir, "s"))
			require.NoError(t, err)
			defer l.Close()
			go func() {
				for {
					c, err := l.Accept()
					if err != nil {
						return
					}
					serve(c)
				}
			}()
			t.Setenv("PULSE_SERVER", "unix:"+filepath.Join(dir, "s"))
			begin := time.Now()
			_, err = openPulse(t.Context(), parkAfter)
			require.ErrorIs(t, err, errNoServer)
			require.Less(t, time.Since(begin), 10*time.Second)
		})
	}
	t.Setenv("PULSE_SERVER", "unix:/does/not/exist")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := openPulse(ctx, parkAfter)
	require.Error(t, err)
}

func TestAddresses(t *testing.T) {
	host, err := os.Hostname()
	require.NoError(t, err)
	t.Setenv("PULSE_SERVER", "{"+host+"}unix:/a {no-such-host}unix:/b /c unix:/d tcp:h tcp4:h:1 tcp6:[::1]:2 {broken odd:x")
	require.Equal(t, []address{{"unix", "/a"}, {"unix", "/c"}, {"unix", "/d"}, {"tcp", "h:4713"}, {"tcp4", "h:1"}, {"tcp6", "[::1]:2"}}, addresses())
	t.Setenv("PULSE_SERVER", "")
	t.Setenv("PULSE_RUNTIME_PATH", "/p")
	t.Setenv("XDG_RUNTIME_DIR", "/x")
	require.Equal(t, []address{{"unix", "/p/native"}, {"unix", "/x/pulse/native"}, {"unix", "/run/user/" + strconv.Itoa(os.Getuid()) + "/pulse/native"}}, addresses())
}

// What an open and a parked stream cost; run with -v, it asserts only that parking is
// no loss.
func TestCostOfSilence(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds: left out with -short")
	}
	card := soundtest.Start(t)
	card.Setenv(t)
	cost := func(park time.Duration) (own, server time.Duration) {
		d, err := openPulse(t.Context(), park)
		require.NoError(t, err)
		defer d.Close()
		if park < time.Minute {
			require.Eventually(t, func() bool { return corked(t, card) }, 20*time.Second, 50*time.Millisecond)
		}
		own, server = used(t, os.Getpid()), used(t, card.Process().Pid)
		time.Sleep(1500 * time.Millisecond)
		return used(t, os.Getpid()) - own, used(t, card.Process().Pid) - server
	}
	openOwn, openServer := cost(time.Hour)
	parkedOwn, parkedServer := cost(50 * time.Millisecond)
	t.Logf("share of a core: open %.1f %% own, %.1f %% server; parked %.1f %% own, %.1f %% server",
		share(openOwn), share(openServer), share(parkedOwn), share(parkedServer))
	require.LessOrEqual(t, parkedOwn, openOwn+20*time.Millisecond)
}

func share(d time.Duration) float64 { return math.Round(1000*d.Seconds()/1.5) / 10 }

// used is the processor time of a process, from Linux's /proc in units of 10 ms.
func used(t *testing.T, pid int) time.Duration {
	t.Helper()
	b, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/stat")
	if errors.Is(err, os.ErrNotExist) {
		t.Skip("this test needs /proc")
	}
	require.NoError(t, err)
	f := strings.Fields(string(b)[strings.LastIndexByte(string(b), ')')+1:])
	user, err1 := strconv.Atoi(f[11])
	system, err2 := strconv.Atoi(f[12])
	require.NoError(t, errors.Join(err1, err2))
	return time.Duration(user+system) * 10 * time.Millisecond
}
