//go:build cgo && (linux || windows || darwin)

package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"strings"
	"syscall"
	"time"

	"earshot/assistant/hand"
	"earshot/cmd/earshot-keys/internal/watch"

	hook "github.com/robotn/gohook"
)

const (
	pollMillis  = 10              // how often the hook library is asked; a press is late by half of it on average
	startWithin = 5 * time.Second // for the hook to begin
)

func main() { os.Exit(run(os.Args[1:])) }

// run returns the exit code: 0 done, 1 failed, 2 wrong use.
func run(args []string) int {
	out, err := ownStdout()
	if err != nil {
		fmt.Fprintln(os.Stderr, "earshot-keys:", err)
		return 1
	}
	send := func(l hand.Line) bool {
		_, err := out.Write(l.Append(nil))
		return err == nil
	}
	keys, err := watch.ParseArgs(args, out)
	if errors.Is(err, watch.ErrAsked) {
		return 0
	}
	if err != nil {
		for _, text := range strings.Split(err.Error(), "\n") {
			send(hand.Line{Kind: hand.Trouble, Text: text})
		}
		fmt.Fprint(os.Stderr, "earshot-keys: ", err, "\n", watch.Usage)
		return 2
	}

	ended := make(chan struct{})
	go func() {
		io.Copy(io.Discard, os.Stdin)
		close(ended)
	}()
	asked := make(chan os.Signal, 1)
	signal.Notify(asked, os.Interrupt, syscall.SIGTERM)
	slow := time.NewTimer(startWithin)
	defer slow.Stop()

	w := watch.New(keys, runtime.GOOS == "linux")
	events := hook.Start(pollMillis)
	for ok := true; ok; {
		select {
		case e := <-events:
			switch e.Kind {
			case hook.HookEnabled:
				slow.Stop()
				ok = send(hand.Line{Kind: hand.Ready})
			case hook.KeyDown: // the library's kind 4: a key went down, or repeats itself
				if k := w.Press(e.Rawcode, e.Keycode); k != "" {
					ok = send(hand.Line{Kind: hand.Pressed, Key: k})
				}
			case hook.KeyUp:
				if k := w.Release(e.Rawcode, e.Keycode); k != "" {
					ok = send(hand.Line{Kind: hand.Released, Key: k})
				}
			}
		case <-slow.C:
			send(hand.Line{Kind: hand.Trouble, Text: "the keyboard hook did not begin; the system may not allow it"})
			return 1
		// The hook is left to the end of the process: to take it down is where its library races.
		case <-ended:
			return 0
		case <-asked:
			return 0
		}
	}
	return 1 // nobody reads any more
}
