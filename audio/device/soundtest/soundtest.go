// Package soundtest is a virtual sound card for tests: a PulseAudio server of the
// test's own, with an output that can be recorded. Nothing of it reaches the real sound of the machine.
package soundtest

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// Speaker is the name of the default output.
const Speaker = "speaker"

// A Card is a running virtual sound card.
type Card struct {
	dir    string
	env    []string
	mu     sync.Mutex // guards server
	server *exec.Cmd
}

const script = `.fail
load-module module-native-protocol-unix socket=%[1]s/pulse.sock auth-anonymous=1
load-module module-null-sink norewinds=1 sink_name=speaker rate=48000 channels=2 format=s16le
set-default-sink speaker
`

// Start starts a card that ends with the test. It skips the test, saying what to
// install, where there is no PulseAudio.
func Start(t testing.TB) *Card {
	t.Helper()
	for _, name := range []string{"pulseaudio", "pactl", "parec", "pacat"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skipf("this test needs %s: install the packages pulseaudio and pulseaudio-utils", name)
		}
	}
	// Not t.TempDir: its long names do not fit into the name of a socket.
	dir, err := os.MkdirTemp("", "card")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	for _, d := range []string{"rt", "st", "home"} {
		if err := os.Mkdir(filepath.Join(dir, d), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "test.pa"), fmt.Appendf(nil, script, dir), 0o600); err != nil {
		t.Fatal(err)
	}
	c := &Card{dir: dir, env: []string{
		"PULSE_SERVER=unix:" + filepath.Join(dir, "pulse.sock"),
		"PULSE_RUNTIME_PATH=" + filepath.Join(dir, "rt"),
		"PULSE_STATE_PATH=" + filepath.Join(dir, "st"),
		"PULSE_COOKIE=" + filepath.Join(dir, "cookie"),
	}}
	t.Cleanup(c.Kill)
	c.Restart(t)
	return c
}

// Env lists NAME=value for a program that shall use the card.
func (c *Card) Env() []string { return append([]string(nil), c.env...) }

// Setenv makes the test's own process use the card until the test ends. Such a
// test cannot run in parallel.
func (c *Card) Setenv(t *testing.T) {
	t.Helper()
	for _, e := range c.env {
		name, value, _ := strings.Cut(e, "=")
		t.Setenv(name, value)
	}
}

// Kill ends the server at once, as a crash does.
func (c *Card) Kill() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.server == nil {
		return
	}
	_ = c.server.Process.Kill()
	_ = c.server.Wait()
	c.server = nil
	_ = os.Remove(filepath.Join(c.dir, "pulse.sock"))
	_ = os.Remove(filepath.Join(c.dir, "rt", "pid"))
}

// Process is the server's, to halt it with a signal or to read its use of
// the processor.
func (c *Card) Process() *os.Process {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.server.Process
}

// Restart starts the server and waits until it answers.
func (c *Card) Restart(t testing.TB) {
	t.Helper()
	c.Kill()
	cmd := exec.Command("pulseaudio", "-n", "-F", filepath.Join(c.dir, "test.pa"), "--daemonize=no", "--exit-idle-time=-1",
		"--disable-shm=yes", "--use-pid-file=no")
	cmd.Env = append(c.environ(), "HOME="+filepath.Join(c.dir, "home"))
	var said bytes.Buffer
	cmd.Stderr, cmd.Stdout = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	c.mu.Lock()
	c.server = cmd
	c.mu.Unlock()
	if err := within(60*time.Second, func() error { return c.run("pactl", "info") }); err != nil {
		c.Kill() // only now is said no longer written
		t.Fatalf("the virtual sound card does not answer: %v\n%s", err, said.String())
	}
}

func (c *Card) environ() []string { return append(os.Environ(), c.env...) }

// Command prepares a program that shall use the card.
func (c *Card) Command(t testing.TB, name string, arg ...string) *exec.Cmd {
	cmd := exec.CommandContext(t.Context(), name, arg...)
	cmd.Env = c.environ()
	return cmd
}

func (c *Card) run(name string, arg ...string) error {
	cmd := exec.Command(name, arg...)
	cmd.Env = c.environ()
	out, err := cmd.CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w: %s", name, err, bytes.TrimSpace(out))
	}
	return nil
}

// within repeats f until it succeeds.
func within(limit time.Duration, f func() error) error {
	end := time.Now().Add(limit)
	for {
		err := f()
		if err == nil || time.Now().After(end) {
			return err
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// Capture records an output, mono at rate, until the function that it returns is
// called, which gives the samples. The recording runs when Capture returns.
func (c *Card) Capture(t testing.TB, sink string, rate int) (stop func() []float32) {
	t.Helper()
	cmd := exec.Command("parec", "-d", sink+".monitor", "--latency-msec=20", "--format=s16le",
		fmt.Sprintf("--rate=%d", rate), "--channels=1", "--raw")
	cmd.Env = c.environ()
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var raw recording
	begun, ended := make(chan struct{}), make(chan error, 1)
	go func() {
		var first [2]byte
		if _, err := io.ReadFull(out, first[:]); err != nil {
			ended <- err
			return
		}
		_, _ = raw.Write(first[:])
		close(begun)
		_, err := io.Copy(&raw, out)
		ended <- err
	}()
	var once sync.Once
	end := func() {
		once.Do(func() {
			_ = cmd.Process.Signal(os.Interrupt) // parec flushes what it has
			if err := <-ended; err != nil && !errors.Is(err, os.ErrClosed) {
				t.Logf("recording the virtual sound card: %v", err)
			}
			_ = cmd.Wait()
		})
	}
	t.Cleanup(end)
	select {
	case <-begun:
	case <-time.After(60 * time.Second):
		t.Fatalf("recording %s gives nothing", sink)
	}
	return func() []float32 {
		// On a busy machine the recorder is late: it is done when it has come to the silence after the sound.
		_ = within(20*time.Second, func() error { return raw.silent(2 * rate * 3 / 10) })
		end()
		b := raw.bytes
		samples := make([]float32, len(b)/2)
		for i := range samples {
			samples[i] = float32(int16(uint16(b[2*i])|uint16(b[2*i+1])<<8)) / 32768
		}
		return samples
	}
}

// A recording grows while it is looked at.
type recording struct {
	mu    sync.Mutex
	bytes []byte
}

func (r *recording) Write(p []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.bytes = append(r.bytes, p...)
	return len(p), nil
}

// silent returns an error unless the last n bytes are zero.
func (r *recording) silent(n int) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.bytes) < n || len(bytes.Trim(r.bytes[len(r.bytes)-n:], "\x00")) > 0 {
		return errors.New("it still sounds")
	}
	return nil
}

// Control plays samples, mono at rate, through the sound server's own player and returns what came out of the same
// output, mono at the rate captured. What is wrong with that is the machine's fault, and a device is judged against it.
func (c *Card) Control(t testing.TB, samples []float32, rate, captured int) []float32 {
	t.Helper()
	stop := c.Capture(t, Speaker, captured)
	raw := make([]byte, 0, 2*len(samples))
	for _, s := range samples {
		raw = binary.LittleEndian.AppendUint16(raw, uint16(int16(s*32767)))
	}
	play := c.Command(t, "pacat", "--raw", "--format=s16le", "--channels=1", fmt.Sprintf("--rate=%d", rate),
		"--latency-msec=40")
	play.Stdin = bytes.NewReader(raw)
	if out, err := play.CombinedOutput(); err != nil {
		t.Fatalf("the sound server's own player: %v: %s", err, out)
	}
	return stop()
}

// Holes counts the stretches of 3 ms or more of nothing at all between the first sound and the last, which is what is
// heard of a player that was not there in time, and how long they are together.
func Holes(samples []float32, rate int) (n int, seconds float64) {
	run, begun := 0, false
	for _, s := range samples {
		if math.Abs(float64(s)) < 1.5/32768 {
			run++
			continue
		}
		if begun && run >= 3*rate/1000 {
			n++
			seconds += float64(run) / float64(rate)
		}
		run, begun = 0, true
	}
	return n, seconds
}
