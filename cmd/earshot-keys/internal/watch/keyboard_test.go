//go:build cgo && linux

package watch

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"earshot/assistant/hand"
	"earshot/assistant/hand/helper"
	"earshot/assistant/health"
	"earshot/cmd/internal/keytest"

	"github.com/stretchr/testify/require"
)

// build makes the helper. This test binary cannot play it: what links the hook library does not get as far as
// TestMain where there is no display.
var build = sync.OnceValues(func() (path string, err error) {
	dir, err := os.MkdirTemp("", "earshot-keys-test")
	if err != nil {
		return "", err
	}
	path = filepath.Join(dir, "earshot-keys")
	out, err := exec.Command("go", "build", "-o", path, "earshot/cmd/earshot-keys").CombinedOutput()
	if err != nil {
		os.RemoveAll(dir)
		return "", fmt.Errorf("%w: %s", err, out)
	}
	built = dir
	return path, nil
})

var built string // where build has put it

func TestMain(m *testing.M) {
	code := m.Run()
	if built != "" {
		os.RemoveAll(built)
	}
	os.Exit(code)
}

func program(t *testing.T) string {
	t.Helper()
	path, err := build()
	if err != nil && strings.Contains(err.Error(), "fatal error: X11/") {
		t.Skip("the keyboard hook needs its C headers: apt-get install libx11-dev libxtst-dev libx11-xcb-dev libxkbcommon-x11-dev")
	}
	require.NoError(t, err)
	return path
}

type running struct {
	cmd    *exec.Cmd
	stdin  io.Closer
	lines  chan string
	stderr *bytes.Buffer
}

func launch(t *testing.T, path string, x *keytest.X, keys ...string) *running {
	t.Helper()
	r := &running{cmd: exec.Command(path, keys...), lines: make(chan string, 1000), stderr: &bytes.Buffer{}}
	r.cmd.Env, r.cmd.Stderr = x.Env(), r.stderr
	stdin, err := r.cmd.StdinPipe()
	require.NoError(t, err)
	r.stdin = stdin
	stdout, err := r.cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, r.cmd.Start())
	t.Cleanup(func() { r.cmd.Process.Kill(); r.cmd.Wait() })
	go func() {
		defer close(r.lines)
		for sc := bufio.NewScanner(stdout); sc.Scan(); {
			r.lines <- sc.Text()
		}
	}()
	require.Equal(t, "ready", r.line(t))
	return r
}

func (r *running) line(t *testing.T) string {
	t.Helper()
	select {
	case l, ok := <-r.lines:
		if !ok {
			return "(the end)"
		}
		return l
	case <-time.After(20 * time.Second):
		require.FailNow(t, "no line came")
		return ""
	}
}

func TestRealKeyboard(t *testing.T) {
	x := keytest.StartX(t)
	path := program(t)

	t.Run("bound keys only", func(t *testing.T) {
		r := launch(t, path, x, "F5", "F6")
		x.Press(t, "F7", "a", "space", "F5", "shift", "F6", "F1")
		for _, want := range []string{"press F5", "release F5", "press F6", "release F6"} {
			require.Equal(t, want, r.line(t))
		}
		r.stdin.Close()
		require.Equal(t, "(the end)", r.line(t), "nothing of the other keys")
		require.NoError(t, r.cmd.Wait())
		require.Empty(t, r.stderr.String(), "and nothing is logged")
	})
	t.Run("holding is one press", func(t *testing.T) {
		r := launch(t, path, x, "F5", "F6")
		// The repeat of the server begins after 660 ms and comes 25 times a second. The hold must last longer than
		// that; the lines afterwards are what is judged.
		x.Down(t, "F5")
		require.Equal(t, "press F5", r.line(t))
		time.Sleep(1200 * time.Millisecond)
		x.Up(t, "F5")
		x.Press(t, "F6")
		for _, want := range []string{"release F5", "press F6", "release F6"} {
			require.Equal(t, want, r.line(t))
		}
	})
	t.Run("every key", func(t *testing.T) {
		keys := hand.Keys()
		r := launch(t, path, x, keys...)
		for _, k := range keys {
			x.Press(t, k)
			if strings.HasPrefix(k, "kp") || strings.HasPrefix(k, "right_") { // xdotool presses other keys for these
				require.Contains(t, r.until(t, "release "+k), "press "+k)
				continue
			}
			require.Equal(t, "press "+k, r.line(t))
			require.Equal(t, "release "+k, r.line(t))
		}
		x.Press(t, "caps_lock", "num_lock") // as they were
	})
	t.Run("with shift held", func(t *testing.T) {
		r := launch(t, path, x, "a", "5")
		x.Down(t, "left_shift")
		x.Press(t, "A", "percent")
		x.Up(t, "left_shift")
		for _, want := range []string{"press a", "release a", "press 5", "release 5"} {
			require.Equal(t, want, r.line(t))
		}
	})
	t.Run("ends on SIGTERM", func(t *testing.T) {
		r := launch(t, path, x, "F5")
		require.NoError(t, r.cmd.Process.Signal(syscall.SIGTERM))
		require.Equal(t, "(the end)", r.line(t))
		require.NoError(t, r.cmd.Wait())
	})
	t.Run("wrong use", func(t *testing.T) {
		cmd := exec.Command(path, "F55", "spce")
		cmd.Env = x.Env()
		out, err := cmd.Output()
		var exit *exec.ExitError
		require.ErrorAs(t, err, &exit)
		require.Equal(t, 2, exit.ExitCode())
		require.Equal(t, "error unknown key \"F55\": did you mean F5?\nerror unknown key \"spce\": did you mean space?\n", string(out))
	})
}

// until collects lines up to the one that is wanted.
func (r *running) until(t *testing.T, want string) (all []string) {
	t.Helper()
	for len(all) < 20 {
		all = append(all, r.line(t))
		if all[len(all)-1] == want {
			return all
		}
	}
	require.Failf(t, "it did not come", "%s in %q", want, all)
	return nil
}

func TestNoDisplay(t *testing.T) {
	path := program(t)
	for _, display := range []string{"", ":98765"} {
		cmd := exec.Command(path, "F5")
		cmd.Env = append(os.Environ(), "DISPLAY="+display)
		out, err := cmd.Output()
		var exit *exec.ExitError
		require.ErrorAs(t, err, &exit)
		require.Equal(t, 1, exit.ExitCode(), "a clear end, not a crash")
		l, err := hand.ParseLine(string(out))
		require.NoError(t, err)
		require.Equal(t, hand.Trouble, l.Kind)
		require.Contains(t, l.Text, "no X display")
	}
}

// TestServerDies takes the X server away from under the helper: the supervisor tells of it, tries again with
// back-off, and hears the keys once the display is back.
func TestServerDies(t *testing.T) {
	x := keytest.StartX(t)
	lines, healths := make(chan hand.Line, 100), make(chan helper.Health, 1000)
	h := &helper.Helper{
		Program: program(t), Keys: []string{"F5"}, Env: x.Env(), FirstWait: 20 * time.Millisecond, LongestWait: 200 * time.Millisecond,
		Line: func(l hand.Line) { lines <- l }, Health: func(s helper.Health) { healths <- s },
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- h.Run(ctx) }()
	defer func() {
		cancel()
		require.NoError(t, <-done)
	}()
	wait := func(state health.State) helper.Health {
		t.Helper()
		deadline := time.After(30 * time.Second)
		for {
			select {
			case s := <-healths:
				if s.State == state {
					return s
				}
			case <-deadline:
				require.FailNow(t, "it never was "+string(state))
			}
		}
	}
	f5 := func(x *keytest.X) {
		t.Helper()
		x.Press(t, "F5")
		require.Equal(t, hand.Line{Kind: hand.Pressed, Key: "F5"}, <-lines)
		require.Equal(t, hand.Line{Kind: hand.Released, Key: "F5"}, <-lines)
	}
	wait(health.OK)
	f5(x)
	x.Kill()
	t.Log(wait(health.Lost).Text)
	again := wait(health.Lost)
	require.Contains(t, again.Text, "no X display")
	require.Contains(t, again.Text, "40ms", "twice as long as the first wait")

	back := keytest.StartXOn(t, x.Display)
	require.Equal(t, x.Display, back.Display)
	wait(health.OK)
	f5(back)
}
