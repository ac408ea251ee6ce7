//go:build linux

package main

import (
	"bytes"
	"encoding/json"
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

	"github.com/stretchr/testify/require"

	"earshot/assistant/assembly"
	"earshot/assistant/journal"
	"earshot/assistant/session"
)

// wideFeed is a feed of many channels of its own, so that a recording grows quickly.
func wideFeed(columns int) string {
	var b strings.Builder
	b.WriteString("name: wide\ntransport: {kind: stdin}\ncodec: csv\ncsv: {header: false}\nchannels:\n  time: {column: 1, unit: s}\n  " +
		"speed: {column: 2, unit: m/s}\n")
	for i := range columns {
		fmt.Fprintf(&b, "  noise_%d: {column: %d}\n", i, i+3)
	}
	b.WriteString("own_channels:\n")
	for i := range columns {
		fmt.Fprintf(&b, "  noise_%d: {quantity: number, range: [0, 1], about: fills a disk}\n", i)
	}
	return b.String()
}

// A watched buffer tells when a text has come.
type watchedOutput struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (w *watchedOutput) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.text.Write(p)
}

func (w *watchedOutput) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.text.String()
}

// runOnFullDisk runs the program itself, feeds it until it has said that the recording has stopped, and a few seconds
// more, and ends it by SIGTERM.
func runOnFullDisk(t *testing.T, cmd *exec.Cmd) (out, errs string) {
	stdin, err := cmd.StdinPipe()
	require.NoError(t, err)
	var stdout, stderr watchedOutput
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	line := []byte{}
	x := uint64(88172645463325252)
	step := func(n int) error {
		line = fmt.Appendf(line[:0], "%.3f,%d", float64(n)/100, 20)
		for range 60 {
			x ^= x << 13
			x ^= x >> 7
			x ^= x << 17
			line = fmt.Appendf(line, ",0.%d", x>>8)
		}
		_, err := stdin.Write(append(line, '\n'))
		return err
	}
	begin := time.Now()
	stopped := func() bool { return strings.Contains(stdout.String(), "Recording stopped.") }
	n, after := 0, 0
	for after < 600 { // six seconds of the feed's time after the cue
		require.NoError(t, step(n), "the program is alive: %s", stderr.String())
		n++
		if n%50 == 0 {
			time.Sleep(5 * time.Millisecond) // fast, and not so fast that the queue of samples overflows
		}
		if after > 0 || n%50 == 0 && stopped() {
			after++
		}
		require.Less(t, time.Since(begin), 5*time.Minute, "it never said so: %s", stderr.String())
	}
	require.NoError(t, cmd.Process.Signal(syscall.SIGTERM))
	require.NoError(t, cmd.Wait(), stderr.String())
	_ = stdin.Close()
	return stdout.String(), stderr.String()
}

// checkStopped looks for exactly one event and one cue in the journal, and for the recording up to then.
func checkStopped(t *testing.T, sessions, out, errs string) {
	require.Equal(t, 1, strings.Count(out, "Recording stopped."), out)
	require.NotContains(t, out, "Journal stopped.")
	require.Contains(t, errs, "has ended")
	require.NotContains(t, errs, "panic")
	list, err := session.List(sessions)
	require.NoError(t, err)
	require.Len(t, list, 1)
	events, err := assembly.ReadJournal(list[0].Dir.Journal())
	require.NoError(t, err, "the journal is whole")
	health, cues := 0, 0
	for _, e := range events {
		switch b := e.Body.(type) {
		case *journal.Health:
			if b.Part == "recording" {
				health++
				require.Equal(t, "lost", b.State)
				require.NotEmpty(t, b.Text)
			}
			require.NotEqual(t, "journal", b.Part)
		case *journal.Cue:
			if b.Text == "Recording stopped." && b.Verdict == "said" {
				cues++
			}
		}
	}
	require.Equal(t, []int{1, 1}, []int{health, cues})
	rec, err := session.OpenRecording(list[0].Dir.Recording())
	require.NoError(t, err)
	n := 0
	for err == nil {
		if _, err = rec.Next(); err == nil {
			n++
		}
	}
	require.Equal(t, io.EOF, err)
	require.Greater(t, n, 100)
	require.Contains(t, rec.Loss().String(), "not closed")
	require.NoError(t, rec.Close())
	// A replay of what is left works and says on the standard error what is missing.
	stdout, stderr, code := earshot(t, "replay", list[0].Dir.Recording())
	require.Zero(t, code)
	require.Contains(t, stderr, "recording.mcap: the recording was not closed")
	for line := range strings.Lines(stdout) {
		require.True(t, json.Valid([]byte(line)))
	}
}

// A recording that may not grow beyond a limit (ulimit -f), as on a full disk where the journal still has room.
func TestRunOutlivesAFullDisk(t *testing.T) {
	dir, programs := t.TempDir(), buildPrograms(t)
	feed := filepath.Join(dir, "wide.yaml")
	require.NoError(t, os.WriteFile(feed, []byte(wideFeed(60)), 0o644))
	run := func(sessions string) []string {
		return []string{built(programs, "earshot"), "run", "--feed", feed, "--device", "silent", "--sessions", sessions}
	}
	environment := append(os.Environ(), "DISPLAY=", "XDG_CONFIG_HOME="+dir, "EARSHOT_CONFIG=")

	t.Run("file limit", func(t *testing.T) {
		sessions := filepath.Join(dir, "limited")
		shell := exec.Command("sh", append([]string{"-c", `ulimit -f 8192 && exec "$@"`, "sh"}, run(sessions)...)...) // blocks of 512 bytes
		shell.Env = environment
		out, errs := runOnFullDisk(t, shell)
		checkStopped(t, sessions, out, errs)
		require.Contains(t, errs, "file too large")
		require.Contains(t, errs, "the end of the recording is not on disk")
	})
	t.Run("small disk", func(t *testing.T) {
		disk := t.TempDir()
		if err := syscall.Mount("earshot-test", disk, "tmpfs", 0, "size=5500k"); err != nil {
			t.Skipf("a small disk cannot be mounted here (%v)", err)
		}
		// Before the folder's own clean-up, which would find the disk in use; and whatever still holds a file on it.
		t.Cleanup(func() { require.NoError(t, syscall.Unmount(disk, syscall.MNT_DETACH)) })
		sessions := filepath.Join(disk, "s")
		args := run(sessions)
		cmd := exec.Command(args[0], args[1:]...)
		cmd.Env = environment
		out, errs := runOnFullDisk(t, cmd)
		checkStopped(t, sessions, out, errs)
		require.Contains(t, errs, "nearly full")
	})
}
