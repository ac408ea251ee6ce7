// Package keytest gives tests a real X server without a screen and a hand that presses its keys. It is for tests
// only; it skips the test where the server (Xvfb) or the hand (xdotool) is not installed.
package keytest

import (
	"bufio"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"earshot/assistant/hand"
)

// An X is a running X server of a test.
type X struct {
	Display string // as in the environment: ":7"

	cmd  *exec.Cmd
	once sync.Once
}

// StartX starts an X server on a free display and ends it with the test.
func StartX(t testing.TB) *X {
	t.Helper()
	return StartXOn(t, "")
}

// StartXOn starts an X server on that display, or on a free one where display is empty.
func StartXOn(t testing.TB, display string) *X {
	t.Helper()
	if runtime.GOOS != "linux" {
		t.Skip("the keyboard test needs an X server of its own: Linux only")
	}
	for _, program := range []string{"Xvfb", "xdotool"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Skipf("the keyboard test needs %s: apt-get install xvfb xdotool", program)
		}
	}
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	args := []string{"-displayfd", "3", "-screen", "0", "64x64x24", "-nolisten", "tcp", "-noreset"}
	if display != "" {
		args = append([]string{display}, args...)
	}
	x := &X{cmd: exec.Command("Xvfb", args...)}
	x.cmd.ExtraFiles = []*os.File{w}
	if err := x.cmd.Start(); err != nil {
		w.Close()
		t.Fatal(err)
	}
	w.Close()
	t.Cleanup(x.Kill)
	// The server writes the number of its display once it answers.
	if err := r.SetReadDeadline(time.Now().Add(30 * time.Second)); err != nil {
		t.Fatal(err)
	}
	number, err := bufio.NewReader(r).ReadString('\n')
	if err != nil {
		t.Fatalf("the X server did not start: %v", err)
	}
	x.Display = ":" + strings.TrimSpace(number)
	return x
}

// Env is the environment of a process that uses the server.
func (x *X) Env() []string { return append(os.Environ(), "DISPLAY="+x.Display) }

// Kill ends the server at once and waits for it. It may be called again.
func (x *X) Kill() {
	x.once.Do(func() {
		x.cmd.Process.Kill()
		x.cmd.Wait()
	})
}

// Press presses keys, each once and one after the other. Keys are named as in package hand, or as X keysyms.
func (x *X) Press(t testing.TB, keys ...string) { x.do(t, "key", keys) }

// Down presses keys and holds them.
func (x *X) Down(t testing.TB, keys ...string) { x.do(t, "keydown", keys) }

// Up lets go of keys.
func (x *X) Up(t testing.TB, keys ...string) { x.do(t, "keyup", keys) }

func (x *X) do(t testing.TB, verb string, keys []string) {
	t.Helper()
	args := []string{verb}
	for _, k := range keys {
		args = append(args, keysym(k))
	}
	cmd := exec.Command("xdotool", args...)
	cmd.Env = x.Env()
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("xdotool %s: %v: %s", strings.Join(args, " "), err, out)
	}
}

var keysyms = map[string]string{
	"kp_add": "KP_Add", "kp_subtract": "KP_Subtract", "kp_multiply": "KP_Multiply", "kp_divide": "KP_Divide",
	"kp_decimal": "KP_Decimal", "kp_enter": "KP_Enter",
	"enter": "Return", "tab": "Tab", "escape": "Escape", "backspace": "BackSpace", "insert": "Insert",
	"delete": "Delete", "home": "Home", "end": "End",
	"page_up": "Prior", "page_down": "Next", "up": "Up", "down": "Down", "left": "Left", "right": "Right",
	"equals": "equal", "quote": "apostrophe", "left_bracket": "bracketleft", "right_bracket": "bracketright",
	"left_shift": "Shift_L", "right_shift": "Shift_R", "left_ctrl": "Control_L", "right_ctrl": "Control_R",
	"left_alt": "Alt_L", "right_alt": "Alt_R",
	"caps_lock": "Caps_Lock", "num_lock": "Num_Lock", "scroll_lock": "Scroll_Lock", "pause": "Pause", "print": "Print",
}

// keysym is what X calls a key.
func keysym(name string) string {
	key, err := hand.ParseKey(name)
	if err != nil || key != name && len(name) == 1 {
		return name
	}
	if s, ok := keysyms[key]; ok {
		return s
	}
	if digit, ok := strings.CutPrefix(key, "kp"); ok {
		return "KP_" + digit
	}
	return key
}
