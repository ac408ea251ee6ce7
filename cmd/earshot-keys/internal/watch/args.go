package watch

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"earshot/assistant/hand"
)

// Usage is the help of the program.
const Usage = `usage: earshot-keys KEY...
       earshot-keys --list

Watches the keyboard and prints "press KEY" and "release KEY" for the keys named, and for no other.
Ends when its standard input does.

Example: earshot-keys F5 kp0 space
`

// ErrAsked says that all that was asked for has been printed.
var ErrAsked = errors.New("nothing more to do")

// ParseArgs returns the keys to watch, or says what is wrong with all of the arguments.
func ParseArgs(args []string, out io.Writer) ([]string, error) {
	var keys []string
	var errs []error
	for _, a := range args {
		switch {
		case a == "--list" || a == "-list":
			fmt.Fprintln(out, strings.Join(hand.Keys(), "\n"))
			return nil, ErrAsked
		case a == "--help" || a == "-h" || a == "-help":
			fmt.Fprint(out, Usage)
			return nil, ErrAsked
		}
		k, err := hand.ParseKey(a)
		switch {
		case err != nil:
			errs = append(errs, err)
		case hand.IsButton(k):
			errs = append(errs, fmt.Errorf("%s is a button of the wheel, not a key of the keyboard", k))
		default:
			keys = append(keys, k)
		}
	}
	if len(args) == 0 {
		errs = append(errs, errors.New("no keys to watch: name them, as in earshot-keys F5"))
	}
	return keys, errors.Join(errs...)
}
