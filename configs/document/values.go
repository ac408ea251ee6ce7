package document

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// A Pair is an entry of a mapping. K is where its key stands.
type Pair struct {
	Key  string
	K, V *Node
}

// Pairs gives the entries of a mapping in their order; what is how the mapping is called in messages. It has none
// where n is nil.
func (r Reader) Pairs(n *Node, what string) []Pair { return r.pairs(n, what, "write it as key: value") }

func (r Reader) pairs(n *Node, what, hint string) []Pair {
	if n = Resolve(n); n == nil {
		return nil
	}
	if !IsMapping(n) {
		r.Bad(n, hint, "%s is not a list of keys with values", what)
		return nil
	}
	var list []Pair
	seen := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k := Resolve(n.Content[i])
		if !IsScalar(k) {
			r.Bad(n.Content[i], "", "a key is a word")
			continue
		}
		if line, ok := seen[k.Value]; ok {
			r.Bad(n.Content[i], "keep one of the two", "%q stands in line %d already", k.Value, line)
			continue
		}
		seen[k.Value] = n.Content[i].Line
		list = append(list, Pair{k.Value, n.Content[i], Resolve(n.Content[i+1])})
	}
	return list
}

// An Object is a mapping with known keys.
type Object struct {
	N       *Node
	entries map[string]Pair
}

// Object reads a mapping in which only the known keys may stand.
func (r Reader) Object(n *Node, what string, known ...string) Object {
	o := Object{Resolve(n), map[string]Pair{}}
	for _, p := range r.pairs(n, what, "its keys are "+strings.Join(known, ", ")) {
		if slices.Contains(known, p.Key) {
			o.entries[p.Key] = p
		} else {
			r.Unknown(p, what, known)
		}
	}
	return o
}

// Unknown tells that what has no such key.
func (r Reader) Unknown(p Pair, what string, known []string) {
	r.Bad(p.K, Meant(p.Key, known, "its keys are "+strings.Join(known, ", ")), "%s has no %q", what, p.Key)
}

// Has tells whether the key is there.
func (o Object) Has(key string) bool { return o.entries[key].V != nil }

// Get gives the value of a key, nil where it is not there.
func (o Object) Get(key string) *Node { return o.entries[key].V }

// Key gives the place of a key, nil where it is not there.
func (o Object) Key(key string) *Node { return o.entries[key].K }

// At gives the value of a key, and the mapping itself where it is not there.
func (o Object) At(key string) *Node {
	if n := o.Get(key); n != nil {
		return n
	}
	return o.N
}

// Len is how many keys there are.
func (o Object) Len() int { return len(o.entries) }

// Drop forgets a key.
func (o Object) Drop(key string) { delete(o.entries, key) }

// With is the Object with another value of a key.
func (o Object) With(key string, v *Node) Object {
	entries := map[string]Pair{key: {key, v, v}}
	for k, p := range o.entries {
		if k != key {
			entries[k] = p
		}
	}
	return Object{o.N, entries}
}

// List reads a list. An empty hint says how lists are written.
func (r Reader) List(n *Node, what, hint string) []*Node {
	if n = Resolve(n); n == nil {
		return nil
	}
	if !IsList(n) {
		if hint == "" {
			hint = "write it as [a, b] or as lines that begin with -"
		}
		r.Bad(n, hint, "%s is not a list", what)
		return nil
	}
	list := make([]*Node, len(n.Content))
	for i, c := range n.Content {
		list[i] = Resolve(c)
	}
	return list
}

// OneOrMore reads a list, or a value that stands for a list of one.
func (r Reader) OneOrMore(n *Node, what string) []*Node {
	if n = Resolve(n); n != nil && !IsList(n) {
		return []*Node{n}
	}
	return r.List(n, what, "")
}

// Text reads a text, which may be empty; "" where n is nil.
func (r Reader) Text(n *Node, what string) string {
	if n = Resolve(n); n == nil {
		return ""
	}
	if !IsScalar(n) || IsNull(n) {
		r.Bad(n, "", "%s is not a text", what)
		return ""
	}
	return n.Value
}

// Word reads a text that must not be empty, without the spaces around it; "" where n is nil.
func (r Reader) Word(n *Node, what string) string {
	if n = r.Scalar(n, what); n == nil {
		return ""
	}
	return strings.TrimSpace(n.Value)
}

// Scalar tells where n is not a single value, or an empty one. It gives n, or nil after a mistake or where n is nil.
func (r Reader) Scalar(n *Node, what string) *Node {
	switch n = Resolve(n); {
	case n == nil:
		return nil
	case IsNull(n) || IsScalar(n) && strings.TrimSpace(n.Value) == "":
		r.Bad(n, "give it a value or leave the key out", "%s is empty", what)
		return nil
	case !IsScalar(n):
		r.Bad(n, "", "%s is not a single value", what)
		return nil
	}
	return n
}

// Choice reads one of the known words; "" after a mistake or where n is nil.
func (r Reader) Choice(n *Node, what string, known ...string) string {
	if n = r.Scalar(n, what); n == nil {
		return ""
	}
	if !slices.Contains(known, n.Value) {
		r.Bad(n, OneOf(n.Value, known), "%s cannot be %q", what, n.Value)
		return ""
	}
	return n.Value
}

// Integer reads a whole number, decimal or 0x…, between lo and hi; 0 after a mistake or where n is nil.
func (r Reader) Integer(n *Node, what string, lo, hi int64) int64 {
	if n = Resolve(n); n == nil {
		return 0
	}
	x, err := strconv.ParseInt(n.Value, 0, 64)
	if !IsScalar(n) || err != nil || x < lo || x > hi {
		r.Bad(n, "", "%s is a whole number from %d to %d", what, lo, hi)
		return 0
	}
	return x
}

// Number reads a number without a unit.
func (r Reader) Number(n *Node, what string, otherwise float64) float64 {
	if n = Resolve(n); n == nil {
		return otherwise
	}
	x, err := strconv.ParseFloat(n.Value, 64)
	if !IsScalar(n) || err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		r.Bad(n, "write it without a unit", "%s is a bare number", what)
		return otherwise
	}
	return x
}

// Flag reads true or false.
func (r Reader) Flag(n *Node, what string, otherwise bool) bool {
	if n = Resolve(n); n == nil {
		return otherwise
	}
	if !IsScalar(n) || n.Value != "true" && n.Value != "false" {
		r.Bad(n, "write true or false", "%s cannot be %q", what, n.Value)
		return otherwise
	}
	return n.Value == "true"
}
