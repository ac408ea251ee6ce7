package helper

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"earshot/assistant/hand"
	"earshot/assistant/health"

	"github.com/stretchr/testify/require"
)

// fakeVar makes the test binary a helper process that plays the part it names.
const fakeVar = "EARSHOT_TEST_HELPER"

func TestMain(m *testing.M) {
	if part := os.Getenv(fakeVar); part != "" {
		os.Exit(play(part))
	}
	os.Exit(m.Run())
}

func play(part string) int {
	switch part {
	case "good":
		fmt.Printf("ready\npress F5\npress F5\npress F9\nrelease F5\nrelease F5\npress %s\n", os.Args[len(os.Args)-1])
		io.Copy(io.Discard, os.Stdin)
	case "dies":
		fmt.Print("ready\npress F5\n")
		fmt.Fprint(os.Stderr, "noise\nthe display has gone\n")
		return 3
	case "tells":
		fmt.Print("error no X display\n")
		return 1
	case "hangs":
		select {}
	case "deaf":
		fmt.Print("ready\n")
		select {} // does not end when its standard input does
	case "babbles":
		fmt.Print("ready\nwhat\nis this\npress F5 and more\n" + strings.Repeat("x", 5000) + "\npress F6\n")
		io.Copy(io.Discard, os.Stdin)
	}
	return 0
}

type event struct {
	line   hand.Line
	health Health
}

// start runs a Helper in the background; end cancels it and waits for Run.
func start(t *testing.T, part string, change func(*Helper)) (events chan event, end func() error) {
	exe, err := os.Executable()
	require.NoError(t, err)
	events = make(chan event, 1000)
	h := &Helper{
		Program: exe, Keys: []string{"F5", "F6"}, Env: append(os.Environ(), fakeVar+"="+part),
		Line:      func(l hand.Line) { events <- event{line: l} },
		Health:    func(x Health) { events <- event{health: x} },
		FirstWait: time.Millisecond,
	}
	if change != nil {
		change(h)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- h.Run(ctx) }()
	var ended bool
	end = func() error {
		cancel()
		if ended {
			return nil
		}
		ended = true
		select {
		case err := <-done:
			return err
		case <-time.After(20 * time.Second):
			t.Error("Run has not returned")
			return nil
		}
	}
	t.Cleanup(func() { end() })
	return events, end
}

func next(t *testing.T, events chan event) event {
	t.Helper()
	select {
	case e := <-events:
		return e
	case <-time.After(20 * time.Second):
		require.FailNow(t, "nothing came")
		return event{}
	}
}

func TestLinesOfBoundKeysOnly(t *testing.T) {
	events, end := start(t, "good", nil)
	require.Equal(t, health.OK, next(t, events).health.State)
	require.Equal(t, hand.Line{Kind: hand.Pressed, Key: "F5"}, next(t, events).line)
	require.Equal(t, hand.Line{Kind: hand.Released, Key: "F5"}, next(t, events).line, "no repeats, no F9")
	require.Equal(t, hand.Line{Kind: hand.Pressed, Key: "F6"}, next(t, events).line, "the keys are the arguments, in order")
	require.NoError(t, end())
	require.Equal(t, hand.Line{Kind: hand.Released, Key: "F6"}, next(t, events).line, "what is down is let go at the end")
	require.Empty(t, events, "an end that was asked for is no loss")
}

func TestDeathIsToldAndMended(t *testing.T) {
	events, _ := start(t, "dies", nil)
	for i, wait := range []string{"1ms", "2ms", "4ms"} {
		require.Equal(t, health.OK, next(t, events).health.State, "start %d", i)
		require.Equal(t, hand.Line{Kind: hand.Pressed, Key: "F5"}, next(t, events).line)
		require.Equal(t, hand.Line{Kind: hand.Released, Key: "F5"}, next(t, events).line, "a held key is let go")
		lost := next(t, events).health
		require.Equal(t, health.Lost, lost.State)
		require.Contains(t, lost.Text, "exit status 3: the display has gone; it is started again in "+wait, "with back-off")
	}
}

func TestBackOffIsBounded(t *testing.T) {
	events, _ := start(t, "tells", func(h *Helper) { h.LongestWait = 2 * time.Millisecond })
	for _, wait := range []string{"1ms", "2ms", "2ms"} {
		require.Equal(t, health.Degraded, next(t, events).health.State)
		lost := next(t, events).health
		require.Equal(t, health.Lost, lost.State)
		require.Contains(t, lost.Text, "exit status 1: no X display")
		require.True(t, strings.HasSuffix(lost.Text, " "+wait), lost.Text)
	}
}

func TestBackOffBeginsAnewOnceSettled(t *testing.T) {
	events, _ := start(t, "dies", func(h *Helper) { h.Settled = time.Nanosecond })
	for range 3 {
		for range 3 {
			next(t, events)
		}
		require.True(t, strings.HasSuffix(next(t, events).health.Text, " 1ms"))
	}
}

func TestOneThatNeverGetsReadyIsReplaced(t *testing.T) {
	events, _ := start(t, "hangs", func(h *Helper) { h.ReadyWithin, h.Grace = 20*time.Millisecond, time.Millisecond })
	require.Contains(t, next(t, events).health.Text, "did not get ready in time")
	require.Equal(t, health.Lost, next(t, events).health.State, "and once more")
}

func TestOneThatDoesNotEndIsKilled(t *testing.T) {
	events, end := start(t, "deaf", func(h *Helper) { h.Grace = 10 * time.Millisecond })
	require.Equal(t, health.OK, next(t, events).health.State)
	require.NoError(t, end())
}

func TestBabbleIsPassedOver(t *testing.T) {
	events, _ := start(t, "babbles", nil)
	require.Equal(t, health.OK, next(t, events).health.State)
	bad := next(t, events).health
	require.Equal(t, health.Degraded, bad.State)
	require.NotContains(t, bad.Text, "what", "what a source sends is not kept")
	require.Equal(t, hand.Line{Kind: hand.Pressed, Key: "F6"}, next(t, events).line, "told once, then on it goes")
}

func TestMissingProgram(t *testing.T) {
	for _, program := range []string{"earshot-no-such-helper", filepath.Join(t.TempDir(), "gone")} {
		err := (&Helper{Program: program}).Run(t.Context())
		require.ErrorIs(t, err, ErrMissing)
		require.ErrorContains(t, err, filepath.Base(program))
	}
}

func TestFindOnPath(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("needs a shell script")
	}
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "earshot-some-helper"), []byte("#!/bin/sh\n"), 0o755))
	t.Setenv("PATH", dir)
	got, err := Find("earshot-some-helper")
	require.NoError(t, err)
	require.Equal(t, filepath.Join(dir, "earshot-some-helper"), got)

	exe, err := os.Executable()
	require.NoError(t, err)
	got, err = Find(filepath.Base(exe))
	require.NoError(t, err)
	require.Equal(t, exe, got, "beside the running program comes first")
}

func TestCanWatchKeys(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("only X needs a display")
	}
	t.Setenv("DISPLAY", "")
	require.ErrorContains(t, CanWatchKeys(), "DISPLAY is not set")
	t.Setenv("DISPLAY", ":1")
	require.NoError(t, CanWatchKeys())
}

// read takes r through a splitter to its end.
func read(r io.Reader, keys []string, to func(hand.Line)) (bad int, err error) {
	s := newSplitter(keys, to, func(int) {})
	_, err = io.Copy(s, r)
	_, _ = s.Write([]byte{'\n'}) // the last line may lack its end
	s.end()
	return s.bad, err
}

func TestRead(t *testing.T) {
	var got []hand.Line
	bad, err := read(strings.NewReader("ready\nnonsense\npress f5\npress a\ncommand fuel\nerror cable\nrelease F5\npress F6"), []string{"F5", "f6"}, func(l hand.Line) { got = append(got, l) })
	require.NoError(t, err)
	require.Equal(t, 1, bad)
	require.Equal(t, []hand.Line{
		{Kind: hand.Ready}, {Kind: hand.Pressed, Key: "F5"}, {Kind: hand.Spoken, Command: hand.Fuel}, {Kind: hand.Trouble, Text: "cable"},
		{Kind: hand.Released, Key: "F5"}, {Kind: hand.Pressed, Key: "F6"}, {Kind: hand.Released, Key: "F6"},
	}, got)
}

// FuzzRead: however the bytes are cut into pieces, the same lines come out.
func FuzzRead(f *testing.F) {
	f.Add([]byte("ready\npress F5\nrelease F5\n"), 3)
	f.Add([]byte("press F5\r\n\n\nerror x"), 1)
	f.Fuzz(func(t *testing.T, b []byte, size int) {
		collect := func(r io.Reader) (ls []hand.Line, bad int) {
			bad, err := read(r, []string{"F5"}, func(l hand.Line) { ls = append(ls, l) })
			if err != nil {
				t.Fatal(err)
			}
			return ls, bad
		}
		whole, bad := collect(strings.NewReader(string(b)))
		parts, bad2 := collect(&crumbs{b, 1 + (size&0xff)%20})
		require.Equal(t, whole, parts)
		require.Equal(t, bad, bad2)
	})
}

type crumbs struct {
	b    []byte
	size int
}

func (c *crumbs) Read(p []byte) (int, error) {
	if len(c.b) == 0 {
		return 0, io.EOF
	}
	n := copy(p, c.b[:min(c.size, len(c.b))])
	c.b = c.b[n:]
	return n, nil
}

func TestLineOrderUnderLoad(t *testing.T) {
	r, w := io.Pipe()
	go func() {
		bw := bufio.NewWriter(w)
		for range 1000 {
			bw.WriteString("press F5\nrelease F5\n")
		}
		bw.Flush()
		w.Close()
	}()
	n := 0
	_, err := read(r, []string{"F5"}, func(l hand.Line) {
		want := []hand.Kind{hand.Pressed, hand.Released}[n%2]
		require.Equal(t, want, l.Kind)
		n++
	})
	require.NoError(t, err)
	require.Equal(t, 2000, n)
}
