package car

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
)

// ErrInvalid is what every error of Parse is.
var ErrInvalid = errors.New("invalid car file")

// An Error is one mistake in a car file.
type Error struct {
	File      string
	Line, Col int // from 1; 0 where the mistake is in no one place
	Msg       string
	Hint      string
}

func (e *Error) Error() string {
	place := e.File
	if e.Line > 0 {
		place = fmt.Sprintf("%s:%d:%d", e.File, e.Line, e.Col)
	}
	text := place + ": " + e.Msg
	if e.Hint != "" {
		text += "\n\thint: " + e.Hint
	}
	return text
}

func (e *Error) Unwrap() error { return ErrInvalid }

// A reader collects what is wrong while it reads.
type reader struct {
	file string
	errs []*Error
	said map[string]bool // limits that the file gives
}

func (r *reader) wrong(n *yaml.Node, hint, format string, args ...any) {
	e := &Error{File: r.file, Msg: fmt.Sprintf(format, args...), Hint: hint}
	if n != nil {
		e.Line, e.Col = n.Line, n.Column
	}
	r.errs = append(r.errs, e)
}

// Parse reads a car file (YAML). name is how the file is called in errors. All mistakes are reported at once, joined,
// each an *Error; then there is no car.
func Parse(name string, data []byte) (*Car, error) {
	r := &reader{file: name, said: map[string]bool{}}
	c := unknown()
	if root := r.document(data); root != nil {
		r.car(c, root)
	}
	if len(r.errs) > 0 {
		slices.SortStableFunc(r.errs, func(a, b *Error) int {
			if a.Line != b.Line {
				return a.Line - b.Line
			}
			return a.Col - b.Col
		})
		all := make([]error, len(r.errs))
		for i, e := range r.errs {
			all[i] = e
		}
		return nil, errors.Join(all...)
	}
	return c, nil
}

// document returns the mapping at the top of the one document of the file.
func (r *reader) document(data []byte) *yaml.Node {
	const example = "a car file begins for example with `wheelbase: 2.65 m`"
	dec := yaml.NewDecoder(strings.NewReader(string(data)))
	var doc, more yaml.Node
	err := dec.Decode(&doc)
	if errors.Is(err, io.EOF) || err == nil && (len(doc.Content) == 0 || doc.Content[0].Tag == "!!null") {
		r.wrong(nil, example, "the file is empty")
		return nil
	}
	if err != nil {
		e := &Error{File: r.file, Msg: strings.TrimPrefix(err.Error(), "yaml: "), Hint: "the file is no YAML; look for a missing colon, space or quote"}
		var line int
		if _, err := fmt.Sscanf(e.Msg, "line %d:", &line); err == nil {
			e.Line, e.Col = line, 1
			e.Msg = strings.TrimSpace(e.Msg[strings.Index(e.Msg, ":")+1:])
		}
		r.errs = append(r.errs, e)
		return nil
	}
	if err := dec.Decode(&more); !errors.Is(err, io.EOF) {
		if more.Line == 0 {
			more.Line, more.Column = 1, 1
		}
		r.wrong(&more, "one car a file: remove the line ---", "there is a second document")
	}
	if top := follow(doc.Content[0]); top.Kind == yaml.MappingNode {
		return top
	}
	r.wrong(doc.Content[0], example, "this is not a list of keys and values")
	return nil
}

// follow returns what an alias stands for.
func follow(n *yaml.Node) *yaml.Node {
	if n.Kind == yaml.AliasNode && n.Alias != nil {
		return n.Alias
	}
	return n
}

// A field reads the value of a key.
type field struct {
	key  string
	read func(n *yaml.Node)
}

// mapping reads a mapping with the given keys. free, where not nil, takes the keys that are none of them.
func (r *reader) mapping(n *yaml.Node, what string, fields []field, free func(key, value *yaml.Node)) {
	n = follow(n)
	if n.Kind != yaml.MappingNode {
		r.wrong(n, "it has "+list(fields), "%s is not a list of keys and values", what)
		return
	}
	seen := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], follow(n.Content[i+1])
		if key.Kind != yaml.ScalarNode {
			r.wrong(key, "", "a key in %s is not a word", what)
			continue
		}
		if line, ok := seen[key.Value]; ok {
			r.wrong(key, "remove one of the two", "%s has %q already, on line %d", what, key.Value, line)
			continue
		}
		seen[key.Value] = key.Line
		at := slices.IndexFunc(fields, func(f field) bool { return f.key == key.Value })
		switch {
		case at >= 0:
			fields[at].read(value)
		case free != nil:
			free(key, value)
		default:
			var keys []string
			for _, f := range fields {
				keys = append(keys, f.key)
			}
			r.wrong(key, meant(key.Value, keys), "%s has no %q", what, key.Value)
		}
	}
}

func list(fields []field) string {
	keys := make([]string, len(fields))
	for i, f := range fields {
		keys[i] = f.key
	}
	return strings.Join(keys, ", ")
}

// text reads a word or a line.
func (r *reader) text(n *yaml.Node, what string) (string, bool) {
	if n.Kind != yaml.ScalarNode || n.Tag == "!!null" || strings.TrimSpace(n.Value) == "" {
		r.wrong(n, "", "%s is missing", what)
		return "", false
	}
	return strings.TrimSpace(n.Value), true
}

// choice reads one of several words.
func (r *reader) choice(n *yaml.Node, what string, words []string) (string, bool) {
	s, ok := r.text(n, what)
	if ok && !slices.Contains(words, s) {
		r.wrong(n, meant(s, words), "%s is %q", what, s)
		return "", false
	}
	return s, ok
}

// number reads a number with its unit, at least lo and at most hi in the unit used inside.
func (r *reader) number(n *yaml.Node, what string, q channel.Quantity, lo, hi float64) float64 {
	n = follow(n)
	if n.Kind != yaml.ScalarNode {
		r.wrong(n, "write one number with its unit, in one of "+strings.Join(channel.UnitsOf(q), ", "), "%s is not a number", what)
		return math.NaN()
	}
	x, err := channel.Parse(n.Value, q)
	if err != nil {
		var pe *channel.ParseError
		if errors.As(err, &pe) {
			r.wrong(n, pe.Hint, "%s is %q: %s", what, n.Value, pe.Msg)
		} else {
			r.wrong(n, "", "%s: %v", what, err)
		}
		return math.NaN()
	}
	if x < lo || x > hi {
		unit := channel.UnitsOf(q)[0]
		r.wrong(n, fmt.Sprintf("it lies between %g and %g %s", lo, hi, unit), "%s is %q, which no car has", what, n.Value)
		return math.NaN()
	}
	return x
}

// wheels reads one value for all wheels, or one per axle, or one per wheel. Wheels that are not given stay unknown.
func (r *reader) wheels(n *yaml.Node, what string, one func(n *yaml.Node, what string) float64) [4]float64 {
	n = follow(n)
	if n.Kind != yaml.MappingNode {
		return each(one(n, what))
	}
	value := each(math.NaN())
	given := [4]*yaml.Node{}
	set := func(name string, ws ...channel.Wheel) field {
		return field{name, func(n *yaml.Node) {
			x := one(n, what+" "+name)
			for _, w := range ws {
				if given[w] != nil {
					r.wrong(n, "give a wheel by its axle or by its own name", "%s is given twice for %s", what, w.Suffix())
				}
				value[w], given[w] = x, n
			}
		}}
	}
	r.mapping(n, what, []field{
		set("front", channel.FL, channel.FR), set("rear", channel.RL, channel.RR),
		set("fl", channel.FL), set("fr", channel.FR), set("rl", channel.RL), set("rr", channel.RR),
	}, nil)
	return value
}

// meant is the hint for a word that is none of words.
func meant(word string, words []string) string {
	best, least := "", 3
	if len(word) < 5 {
		least = 2
	}
	for _, w := range words {
		if d := edits(word, w); d < least || d == least && best == "" && strings.HasPrefix(w, word) {
			best, least = w, d
		}
	}
	if best != "" {
		return fmt.Sprintf("did you mean %q?", best)
	}
	return "known are " + strings.Join(words, ", ")
}

// edits counts the letters to change, add, drop or swap with a neighbour to make b of a.
func edits(a, b string) int {
	x, y := []rune(a), []rune(b)
	if len(x) > 64 || len(y) > 64 {
		return 64 // nobody means that
	}
	var d [65][65]int
	for i := range len(x) + 1 {
		for j := range len(y) + 1 {
			switch {
			case i == 0 || j == 0:
				d[i][j] = i + j
				continue
			case x[i-1] == y[j-1]:
				d[i][j] = d[i-1][j-1]
			default:
				d[i][j] = 1 + min(d[i-1][j], d[i][j-1], d[i-1][j-1])
			}
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				d[i][j] = min(d[i][j], 1+d[i-2][j-2])
			}
		}
	}
	return d[len(x)][len(y)]
}
