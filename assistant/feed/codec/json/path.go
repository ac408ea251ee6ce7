package json

import (
	"fmt"
	"strconv"
	"strings"
)

// A step is a key of an object or an index of an array.
type step struct {
	key   string
	index int // -1 where it is a key
}

// A PathError says where in a path the mistake is.
type PathError struct {
	Path string
	At   int // byte, from zero
	Msg  string
}

func (e *PathError) Error() string {
	return fmt.Sprintf("path %q, character %d: %s", e.Path, e.At+1, e.Msg)
}

// ParsePath checks a path: keys with dots between, array indices from zero in
// brackets, and keys with special characters in brackets and quotes:
//
//	speed    wheels[2].tyre.temp    car["lap.time"]    [0].speed
func ParsePath(path string) error {
	_, err := parsePath(path)
	return err
}

func parsePath(path string) ([]step, error) {
	var steps []step
	for i := 0; i < len(path); {
		if path[i] == '[' {
			end, s, err := bracket(path, i)
			if err != nil {
				return nil, err
			}
			steps, i = append(steps, s), end
			continue
		}
		if len(steps) > 0 {
			if path[i] != '.' {
				return nil, &PathError{path, i, "a dot or a bracket is missing"}
			}
			i++
		}
		n := strings.IndexAny(path[i:], ".[]\"")
		if n < 0 {
			n = len(path) - i
		}
		if n == 0 {
			return nil, &PathError{path, i, "a key is missing"}
		}
		steps = append(steps, step{path[i : i+n], -1})
		i += n
	}
	if len(steps) == 0 {
		return nil, &PathError{path, 0, "the path is empty"}
	}
	return steps, nil
}

func bracket(path string, i int) (end int, s step, err error) {
	rest := path[i+1:]
	if strings.HasPrefix(rest, `"`) {
		n := strings.IndexByte(rest[1:], '"')
		if n < 0 || !strings.HasPrefix(rest[n+2:], "]") {
			return 0, s, &PathError{path, i, `the bracket is not closed by "]`}
		}
		return i + n + 4, step{rest[1 : n+1], -1}, nil
	}
	n := strings.IndexByte(rest, ']')
	if n < 0 {
		return 0, s, &PathError{path, i, "the bracket is not closed"}
	}
	x, perr := strconv.ParseUint(rest[:n], 10, 31)
	if perr != nil {
		return 0, s, &PathError{path, i + 1, "in brackets stands a number from 0 on, or a key in quotes"}
	}
	return i + n + 2, step{"", int(x)}, nil
}

// A node is what the paths say about one place in a value.
type node struct {
	hits   []int32 // the fields that are read here
	kids   []kid
	byName map[string]int // of kids, where there are many
	elems  []elem
}

type kid struct {
	key string
	n   *node
}

type elem struct {
	index int
	n     *node
}

func (n *node) add(steps []step, hit int32) {
	for _, s := range steps {
		n = n.child(s)
	}
	n.hits = append(n.hits, hit)
}

func (n *node) child(s step) *node {
	if s.index >= 0 {
		for _, e := range n.elems {
			if e.index == s.index {
				return e.n
			}
		}
		n.elems = append(n.elems, elem{s.index, &node{}})
		return n.elems[len(n.elems)-1].n
	}
	if n.byName == nil {
		n.byName = map[string]int{}
	}
	if i, ok := n.byName[s.key]; ok {
		return n.kids[i].n
	}
	n.byName[s.key] = len(n.kids)
	n.kids = append(n.kids, kid{s.key, &node{}})
	return n.kids[len(n.kids)-1].n
}

// find looks a key up. next is where the last one was found: sources send their keys
// in the same order each time, so the one after it is tried first.
func (n *node) find(key []byte, next *int) *node {
	if *next < len(n.kids) && n.kids[*next].key == string(key) {
		*next++
		return n.kids[*next-1].n
	}
	if i, ok := n.byName[string(key)]; ok {
		*next = i + 1
		return n.kids[i].n
	}
	return nil
}

func (n *node) at(index int) *node {
	for i := range n.elems {
		if n.elems[i].index == index {
			return n.elems[i].n
		}
	}
	return nil
}
