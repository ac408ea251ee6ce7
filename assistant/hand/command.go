package hand

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"earshot/configs/document"
)

// A Command is what the driver asks for.
type Command string

// The commands.
const (
	Mark   Command = "mark"   // tag this corner
	Fuel   Command = "fuel"   // how is the fuel
	Tyres  Command = "tyres"  // how are the tyres
	Brakes Command = "brakes" // how are the brakes
	Lap    Command = "lap"    // how was the last lap
	Gap    Command = "gap"    // how far are the others
	Repeat Command = "repeat" // say that again
	Mute   Command = "mute"   // be quiet for a while, or talk again
	Delta  Command = "delta"  // how do I stand against the best lap
	Stint  Command = "stint"  // a new stint begins
)

var commands = []struct {
	name  Command
	about string
}{
	{Mark, "tag this corner"},
	{Fuel, "how is the fuel"},
	{Tyres, "how are the tyres"},
	{Brakes, "how are the brakes"},
	{Lap, "how was the last lap"},
	{Gap, "how far are the others"},
	{Repeat, "say that again"},
	{Mute, "be quiet for a while, or talk again"},
	{Delta, "how do I stand against the best lap"},
	{Stint, "a new stint begins"},
}

// Commands lists all commands.
func Commands() []Command {
	list := make([]Command, len(commands))
	for i, c := range commands {
		list[i] = c.name
	}
	return list
}

// About is what the command is for, in a few words; empty for an unknown one.
func (c Command) About() string {
	for _, k := range commands {
		if k.name == c {
			return k.about
		}
	}
	return ""
}

// ParseCommand reads a command's name; case does not matter. The error is a *BindingError.
func ParseCommand(s string) (Command, error) {
	c := Command(strings.ToLower(s))
	if c.About() == "" {
		return "", &BindingError{Command: s, Msg: "unknown command " + quote(s), Hint: didYouMean(s, names(Commands()))}
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

// Bind checks the list and returns the Bindings. Case does not matter in it. A command may sit on several keys, a
// key has one command. All mistakes are reported at once, joined, each a *BindingError.
func Bind(list []Binding) (*Bindings, error) {
	b := &Bindings{byKey: make(map[string]Command, len(list)), down: make(map[string]bool, len(list))}
	var errs []error
	for _, x := range list {
		key, kerr := ParseKey(x.Key)
		cmd, cerr := ParseCommand(x.Command)
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

// Keys lists the bound keys of the keyboard and the wheel in the order of the list.
func (b *Bindings) Keys() []string { return slices.Clone(b.keys) }

// Keyboard lists the bound keys of the keyboard: what a keyboard helper is to watch.
func (b *Bindings) Keyboard() []string {
	return slices.DeleteFunc(b.Keys(), IsButton)
}

// Command returns what a key is bound to.
func (b *Bindings) Command(key string) (Command, bool) {
	c, ok := b.byKey[key]
	return c, ok
}

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
