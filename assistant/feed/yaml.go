package feed

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
)

// A reader walks YAML nodes and collects every mistake with its place.
type reader struct {
	file string
	errs []error
}

var yamlLine = regexp.MustCompile(`^yaml: line (\d+): `)

// document parses data and gives its top node; nil when there is none.
func (r *reader) document(data []byte) *yaml.Node {
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		e := &Error{File: r.file, Msg: "this is not YAML: " + strings.TrimPrefix(err.Error(), "yaml: "), Hint: "indent with spaces, write key: value, and quote texts that hold : # or a comma"}
		if m := yamlLine.FindStringSubmatch(err.Error()); m != nil {
			e.Line, _ = strconv.Atoi(m[1])
			e.Col = 1
			e.Msg = "this is not YAML: " + err.Error()[len(m[0]):]
		}
		r.errs = append(r.errs, e)
		return nil
	}
	if len(doc.Content) == 0 {
		r.errs = append(r.errs, &Error{File: r.file, Msg: "the file is empty", Hint: "begin with configs/feeds/example-csv.yaml or example-json.yaml"})
		return nil
	}
	return resolve(doc.Content[0])
}

func resolve(n *yaml.Node) *yaml.Node {
	for n != nil && n.Kind == yaml.AliasNode {
		n = n.Alias
	}
	return n
}

func (r *reader) bad(n *yaml.Node, hint, format string, args ...any) {
	e := &Error{File: r.file, Msg: fmt.Sprintf(format, args...), Hint: hint}
	if n != nil {
		e.Line, e.Col = n.Line, n.Column
	}
	r.errs = append(r.errs, e)
}

func (r *reader) err() error { return errors.Join(r.errs...) }

// A pair is an entry of a mapping.
type pair struct {
	key   string
	kn, n *yaml.Node
}

// pairs gives the entries of a mapping in their order; a key that stands twice is a mistake.
func (r *reader) pairs(n *yaml.Node, what string) []pair {
	if n == nil {
		return nil
	}
	if n.Kind != yaml.MappingNode {
		r.bad(n, "write it as key: value", "%s is a mapping", what)
		return nil
	}
	var list []pair
	seen := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k := resolve(n.Content[i])
		if k.Kind != yaml.ScalarNode {
			r.bad(k, "", "a key is a word")
			continue
		}
		if line, ok := seen[k.Value]; ok {
			r.bad(k, "keep one of the two", "%q stands in line %d already", k.Value, line)
			continue
		}
		seen[k.Value] = k.Line
		list = append(list, pair{k.Value, k, resolve(n.Content[i+1])})
	}
	return list
}

// An object is a mapping with known keys.
type object struct {
	n    *yaml.Node
	what string
	m    map[string]*yaml.Node
}

func (o object) has(key string) bool       { return o.m[key] != nil }
func (o object) get(key string) *yaml.Node { return o.m[key] }
func (o object) at(key string) *yaml.Node {
	if n := o.m[key]; n != nil {
		return n
	}
	return o.n
}

// object reads a mapping in which only those keys may stand.
func (r *reader) object(n *yaml.Node, what string, known ...string) object {
	o := object{n, what, map[string]*yaml.Node{}}
	for _, p := range r.pairs(n, what) {
		if !slices.Contains(known, p.key) {
			r.bad(p.kn, didYouMean(p.key, known, "it has "+strings.Join(known, ", ")), "%s has no %q", what, p.key)
			continue
		}
		o.m[p.key] = p.n
	}
	return o
}

func (r *reader) list(n *yaml.Node, what string) []*yaml.Node {
	if n == nil {
		return nil
	}
	if n.Kind != yaml.SequenceNode {
		r.bad(n, "write it as [a, b] or as lines that begin with -", "%s is a list", what)
		return nil
	}
	l := make([]*yaml.Node, len(n.Content))
	for i, c := range n.Content {
		l[i] = resolve(c)
	}
	return l
}

func (r *reader) text(n *yaml.Node, what string) string {
	if n == nil {
		return ""
	}
	if n.Kind != yaml.ScalarNode || n.Tag == "!!null" {
		r.bad(n, "", "%s is a text", what)
		return ""
	}
	return n.Value
}

func (r *reader) choice(n *yaml.Node, what string, known ...string) string {
	if n == nil {
		return ""
	}
	s := r.text(n, what)
	if s != "" && !slices.Contains(known, s) {
		r.bad(n, didYouMean(s, known, "use one of "+strings.Join(known, ", ")), "%s cannot be %q", what, s)
		return ""
	}
	return s
}

// integer reads a whole number, decimal or 0x…, between lo and hi.
func (r *reader) integer(n *yaml.Node, what string, lo, hi int64) int64 {
	if n == nil {
		return 0
	}
	x, err := strconv.ParseInt(n.Value, 0, 64)
	if n.Kind != yaml.ScalarNode || err != nil || x < lo || x > hi {
		r.bad(n, "", "%s is a whole number from %d to %d", what, lo, hi)
		return 0
	}
	return x
}

func (r *reader) number(n *yaml.Node, what string, otherwise float64) float64 {
	if n == nil {
		return otherwise
	}
	x, err := strconv.ParseFloat(n.Value, 64)
	if n.Kind != yaml.ScalarNode || err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		r.bad(n, "write it without a unit", "%s is a bare number", what)
		return otherwise
	}
	return x
}

func (r *reader) boolean(n *yaml.Node, what string, otherwise bool) bool {
	if n == nil {
		return otherwise
	}
	switch {
	case n.Kind == yaml.ScalarNode && n.Value == "true":
		return true
	case n.Kind == yaml.ScalarNode && n.Value == "false":
		return false
	}
	r.bad(n, "write true or false", "%s is yes or no", what)
	return otherwise
}

// quantity reads a number with its unit.
func (r *reader) quantity(n *yaml.Node, what string, q channel.Quantity, otherwise float64) float64 {
	if n == nil {
		return otherwise
	}
	if n.Kind != yaml.ScalarNode {
		r.bad(n, "", "%s is a number with a unit", what)
		return otherwise
	}
	x, err := channel.Parse(n.Value, q)
	if err != nil {
		var pe *channel.ParseError
		hint := ""
		if errors.As(err, &pe) {
			hint = pe.Hint
			err = errors.New(pe.Msg)
		}
		r.bad(n, hint, "%s: %q: %v", what, n.Value, err)
		return otherwise
	}
	return x
}

// span reads [least, greatest] of a quantity.
func (r *reader) span(n *yaml.Node, what string, q channel.Quantity) (lo, hi float64) {
	l := r.list(n, what)
	if n != nil && n.Kind == yaml.SequenceNode && len(l) != 2 {
		r.bad(n, "write it as [least, greatest]", "%s has two values", what)
	}
	if len(l) != 2 {
		return math.NaN(), math.NaN()
	}
	before := len(r.errs)
	lo, hi = r.quantity(l[0], what, q, math.NaN()), r.quantity(l[1], what, q, math.NaN())
	if len(r.errs) == before && lo >= hi {
		r.bad(n, "write it as [least, greatest]", "%s is empty", what)
	}
	return lo, hi
}
