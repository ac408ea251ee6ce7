//go:build !cgo || !(linux || windows || darwin)

package main

import (
	"errors"
	"fmt"
	"os"

	"earshot/assistant/hand"
	"earshot/cmd/earshot-keys/internal/watch"
)

const missing = "this earshot-keys was built without its keyboard hook: build it with CGO_ENABLED=1 and a C " +
	"compiler (on Linux also libx11-dev libxtst-dev libx11-xcb-dev libxkbcommon-x11-dev)"

func main() {
	if _, err := watch.ParseArgs(os.Args[1:], os.Stdout); errors.Is(err, watch.ErrAsked) {
		return
	}
	os.Stdout.Write(hand.Line{Kind: hand.Trouble, Text: missing}.Append(nil))
	fmt.Fprintln(os.Stderr, "earshot-keys:", missing)
	os.Exit(1)
}
