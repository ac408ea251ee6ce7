package hand

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"earshot/configs/document"
)

// A Command names what is asked for: one of the commands below, or a question to which the rules in force have an
// answer.
type Command string

// The commands that need no rules.
const (
	Mark   Command = "mark"   // tag this corner
	Repeat Command = "repeat" // say that again
	Mute   Command = "mute"   // be quiet for a while, or talk again
	Stint  Command = "stint"  // a new stint begins
	Clear  Command = "clear"  // let latched rules go whose condition has gone
)

// Questions that the rules that ship answer.
const (
	Fuel   Command = "fuel"
	Tyres  Command = "tyres"
	Brakes Command = "brakes"
	Lap    Command = "lap"
	Gap    Command = "gap"
	Delta  Command = "delta"
)

var abouts = map[Command]string{
	Mark:   "tag this corner",
	Repeat: "say that again",
	Mute:   "be quiet for a while, or talk again",
	Stint:  "a new stint begins",
	Clear:  "let go of latched calls whose cause has gone",
	Fuel:   "how is the fuel",
	Tyres:  "how are the tyres",
	Brakes: "how are the brakes",
	Lap:    "how was the last lap",
	Gap:    "how far are the others",
	Delta:  "how do I stand against the best lap",
}

// Commands lists what can be asked for where the rules answer those questions.
func Commands(questions []string) []Command {
	list := []Command{Mark, Repeat, Mute, Stint, Clear}
	for _, q := range questions {
		if c := Command(q); !slices.Contains(list, c) {
			list = append(list, c)
		}
	}
	return list
}

// About is what the command is for, in a few words.
func (c Command) About() string {
	if text, ok := abouts[c]; ok {
		return text
	}
	return "the answer of your rules"
}

// ParseCommand reads the name of one of the commands in list; case does not matter. The error is a *BindingError.
func ParseCommand(s string, list []Command) (Command, error) {
	c := Command(strings.ToLower(s))
	if !slices.Contains(list, c) {
		return "", &BindingError{Command: s, Msg: "unknown command " + quote(s), Hint: didYouMean(s, names(list))}
	}
	return c, nil
}

// ErrBinding is what every BindingError is.
var ErrBinding = errors.New("invalid key binding")

// A BindingError says which key or command cannot be bound, and the way out.
type BindingError struct{ Key, Command, Msg, Hint string }

func (e *BindingError) Error() string {
	s := e.Msg
	if e.Key != "" && e.Command != "" {
		s = fmt.Sprintf("key %s, command %s: %s", quote(e.Key), quote(e.Command), s)
	}
	if e.Hint != "" {
		s += ": " + e.Hint
	}
	return s
}

// Unwrap returns ErrBinding.
func (e *BindingError) Unwrap() error { return ErrBinding }

func quote(s string) string { return fmt.Sprintf("%q", s) }

func names(list []Command) []string {
	out := make([]string, len(list))
	for i, c := range list {
		out[i] = string(c)
	}
	return out
}

// didYouMean names the nearest of the choices, or all where none is near and they are few.
func didYouMean(s string, choices []string) string {
	if len(choices) <= 12 {
		return document.OneOf(s, choices)
	}
	return document.Meant(s, choices, "the list of keys names all that there are")
}

// A Binding puts a command on a key.
type Binding struct {
	Key     string
	Command string
}

// Bindings knows which key means which command and which keys are down. It is for one goroutine.
type Bindings struct {
	byKey map[string]Command
	keys  []string
	down  map[string]bool
}

// Bind checks the list and returns the Bindings; questions are those that the rules answer. Case does not matter in
// it. A command may sit on several keys, a key has one command. A button of a wheel is refused: nothing sends one yet.
// All mistakes are reported at once, joined, each a *BindingError.
func Bind(list []Binding, questions []string) (*Bindings, error) {
	known := Commands(questions)
	b := &Bindings{byKey: make(map[string]Command, len(list)), down: make(map[string]bool, len(list))}
	var errs []error
	for _, x := range list {
		key, kerr := ParseKey(x.Key)
		if kerr == nil && IsButton(key) {
			kerr = &BindingError{
				Msg: "no program sends the buttons of a wheel yet", Hint: "use a key of the keyboard; many wheels can be set to send one",
			}
		}
		cmd, cerr := ParseCommand(x.Command, known)
		for _, err := range []error{kerr, cerr} {
			if be, ok := errors.AsType[*BindingError](err); ok {
				be.Key, be.Command = x.Key, x.Command
				errs = append(errs, be)
			}
		}
		if kerr != nil || cerr != nil {
			continue
		}
		if was, ok := b.byKey[key]; ok {
			errs = append(errs, &BindingError{x.Key, x.Command, fmt.Sprintf("the key is bound to %q already", was), "give each key one command"})
			continue
		}
		b.byKey[key] = cmd
		b.keys = append(b.keys, key)
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	return b, nil
}

// Keys lists the bound keys in the order of the list: what a keyboard helper is to watch.
func (b *Bindings) Keys() []string { return slices.Clone(b.keys) }

// Press takes a press or release and returns the command that it means. A key that is held gives its command once,
// however often the keyboard repeats it; a key that is not bound gives none and is not remembered.
func (b *Bindings) Press(p Press) (Command, bool) {
	c, ok := b.byKey[p.Key]
	if !ok {
		return "", false
	}
	was := b.down[p.Key]
	b.down[p.Key] = p.Down
	if !p.Down || was {
		return "", false
	}
	return c, true
}

// LetGo forgets which keys are down, as when their source has died with a key held.
func (b *Bindings) LetGo() { clear(b.down) }
