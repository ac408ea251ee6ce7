package hand

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A Press is a key or button that went down or came up.
type Press struct {
	Key  string // as Keys spells it
	Down bool
}

// A Kind is what a line of the protocol says.
type Kind string

// The kinds; each is the first word of its line. A Press is of kind press or release.
const (
	Ready    Kind = "ready"
	Pressed  Kind = "press"
	Released Kind = "release"
	Spoken   Kind = "command"
	Trouble  Kind = "error"
)

// A Line is one line of the protocol.
type Line struct {
	Kind    Kind
	Key     string  // of press and release
	Command Command // of command
	Text    string  // of error
}

// Press returns the press or release that the line reports.
func (l Line) Press() (Press, bool) {
	return Press{l.Key, l.Kind == Pressed}, l.Kind == Pressed || l.Kind == Released
}

// Append appends the line as it is sent, newline included.
func (l Line) Append(b []byte) []byte {
	b = append(b, l.Kind...)
	switch l.Kind {
	case Pressed, Released:
		b = append(append(b, ' '), l.Key...)
	case Spoken:
		b = append(append(b, ' '), l.Command...)
	case Trouble:
		b = append(append(b, ' '), clean(l.Text)...)
	}
	return append(b, '\n')
}

// clean makes a text fit for one line.
func clean(s string) string {
	s = strings.Map(func(r rune) rune {
		if r == utf8.RuneError || unicode.IsControl(r) || unicode.IsSpace(r) {
			return ' '
		}
		return r
	}, s)
	return strings.TrimSpace(s)
}

// MaxLine is the longest line that counts as one, in bytes without the newline.
const MaxLine = 512

// ErrLine is what every LineError is.
var ErrLine = errors.New("not a line of the key protocol")

// A LineError says what is wrong with a line, at which byte of it.
type LineError struct {
	Line   string
	Offset int
	Msg    string
	Hint   string
}

func (e *LineError) Error() string {
	line := e.Line
	if len(line) > 60 {
		line = line[:60] + "…"
	}
	s := fmt.Sprintf("%q, byte %d: %s", line, e.Offset, e.Msg)
	if e.Hint != "" {
		s += ": " + e.Hint
	}
	return s
}

// Unwrap returns ErrLine.
func (e *LineError) Unwrap() error { return ErrLine }

// ParseLine reads one line, with or without its newline. Blanks around words do not matter; case does not matter in
// key names. The error is a *LineError.
func ParseLine(line string) (Line, error) {
	text := strings.TrimRight(line, "\r\n")
	if len(text) > MaxLine {
		return Line{}, &LineError{text, MaxLine, fmt.Sprintf("longer than %d bytes", MaxLine), ""}
	}
	word, rest, at := cutWord(text)
	kind := Kind(word)
	switch kind {
	case Ready:
		if rest != "" {
			return Line{}, &LineError{text, at, "nothing may follow ready", ""}
		}
		return Line{Kind: kind}, nil
	case Pressed, Released:
		key, err := ParseKey(rest)
		if be, ok := errors.AsType[*BindingError](err); ok {
			return Line{}, &LineError{text, at, be.Msg, be.Hint}
		}
		return Line{Kind: kind, Key: key}, nil
	case Spoken:
		name := strings.ToLower(rest)
		if !commandWord.MatchString(name) {
			return Line{}, &LineError{text, at, "this cannot be a command", "a command is one word, such as mark"}
		}
		return Line{Kind: kind, Command: Command(name)}, nil
	case Trouble:
		return Line{Kind: kind, Text: clean(rest)}, nil
	}
	return Line{}, &LineError{text, 0, "it begins with none of ready, press, release, command, error", ""}
}

// commandWord is what a rules file can be asked too.
var commandWord = regexp.MustCompile(`^[a-z][a-z0-9]*([-_][a-z0-9]+)*$`)

// cutWord splits off the first word; at is where the rest begins.
func cutWord(s string) (word, rest string, at int) {
	const blank = " \t"
	start := len(s) - len(strings.TrimLeft(s, blank))
	s = strings.TrimRight(s[start:], blank)
	word, rest, found := strings.Cut(s, " ")
	if !found {
		return s, "", start + len(s)
	}
	trimmed := strings.TrimLeft(rest, blank)
	return word, trimmed, start + len(word) + 1 + len(rest) - len(trimmed)
}
