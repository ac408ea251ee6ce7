package document

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// Largest is how many bytes a file may have. deepest is how far it may be nested, and most values how many it may hold
// when every alias counts as what it stands for.
const (
	Largest    = 4 << 20
	deepest    = 100
	mostValues = 1 << 20
)

// A Node is a value in a file, with its place.
type Node = yaml.Node

// A Reader collects the mistakes of one file.
type Reader struct {
	*file
	part string
}

type file struct {
	name  string
	lines []string
	errs  []*Error
}

var yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?`)

// lineBreaks makes one of everything that YAML takes for the end of a line.
var lineBreaks = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u0085", "\n", "\u2028", "\n", "\u2029", "\n")

// Read reads a file and gives its top value, nil where there is none. That is a mistake where the hint empty says how
// a file begins.
func Read(name string, data []byte, empty string) (Reader, *Node) {
	r := Reader{file: &file{name: name}}
	switch {
	case len(data) > Largest:
		r.Bad(nil, "is it a recording, or a log?",
			"the file has %d bytes; a configuration file has at most %d", len(data), Largest)
		return r, nil
	case !utf8.Valid(data):
		r.Bad(nil, "save it as UTF-8", "the file is not UTF-8 text")
		return r, nil
	}
	r.lines = strings.Split(lineBreaks.Replace(strings.TrimPrefix(string(data), "\ufeff")), "\n")
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc, more Node
	err := dec.Decode(&doc)
	if err != nil && !errors.Is(err, io.EOF) {
		at, msg := &Node{Line: 1, Column: 1}, err.Error()
		if m := yamlLine.FindStringSubmatch(msg); m != nil {
			msg = msg[len(m[0]):]
			at.Line, _ = strconv.Atoi(m[1])
			at.Line = min(at.Line, len(r.lines))
		}
		r.Bad(at, "indent with spaces, write key: value, and quote texts that hold : # or a comma",
			"this is not YAML: %s", msg)
		return r, nil
	}
	if err != nil || len(doc.Content) == 0 || IsNull(Resolve(doc.Content[0])) {
		if empty != "" {
			r.Bad(nil, empty, "the file is empty")
		}
		return r, nil
	}
	if err := dec.Decode(&more); !errors.Is(err, io.EOF) {
		r.Bad(&more, "put all of it into one, without a line ---", "the file has a second document")
	}
	top := Resolve(doc.Content[0])
	if values, at, why := weigh(doc.Content[0], map[*Node]int{}, 0); values > mostValues {
		r.Bad(at, "write it out, or make it smaller", "%s", why)
		return r, nil
	}
	return r, top
}

// weigh counts the values below n, an alias as what it stands for. known has what was counted, -1 for what is being
// counted. Where there are more than mostValues, why tells the reason at a place.
func weigh(n *Node, known map[*Node]int, depth int) (values int, at *Node, why string) {
	const far = mostValues + 1
	if depth > deepest {
		return far, n, fmt.Sprintf("the file is nested more than %d deep", deepest)
	}
	if n.Kind == yaml.AliasNode {
		if known[n.Alias] < 0 {
			return far, n, fmt.Sprintf("the alias *%s stands within what it names", n.Value)
		}
		return weigh(n.Alias, known, depth+1)
	}
	if v := known[n]; v > 0 && n.Anchor != "" {
		return v, n, ""
	}
	known[n] = -1
	values = 1
	for _, c := range n.Content {
		v, at, why := weigh(c, known, depth+1)
		if values += v; why != "" {
			return far, at, why
		}
		if values > mostValues {
			return far, c, fmt.Sprintf("the file has more than %d values, its aliases written out", mostValues)
		}
	}
	known[n] = values
	return values, n, ""
}

// Resolve gives what an alias stands for, and any other node itself.
func Resolve(n *Node) *Node {
	for n != nil && n.Kind == yaml.AliasNode {
		n = n.Alias
	}
	return n
}

// IsNull tells whether nothing is written at n.
func IsNull(n *Node) bool {
	return n == nil || n.Kind == 0 || n.Kind == yaml.ScalarNode && n.Tag == "!!null"
}

// IsScalar tells whether n is a single value, IsList whether it is a list, IsMapping whether it has keys with values.
func IsScalar(n *Node) bool  { return n != nil && n.Kind == yaml.ScalarNode }
func IsList(n *Node) bool    { return n != nil && n.Kind == yaml.SequenceNode }
func IsMapping(n *Node) bool { return n != nil && n.Kind == yaml.MappingNode }

// For gives a Reader that names the part in every mistake; it collects them in the same place.
func (r Reader) For(part string) Reader { return Reader{r.file, part} }

// Count is how many mistakes there are so far.
func (r Reader) Count() int { return len(r.errs) }

// Err is all mistakes joined, each an *Error, in the order of their places; nil where there is none.
func (r Reader) Err() error { return joined(r.name, r.errs) }

// Bad tells a mistake at n, or at the beginning of the file where n is nil.
func (r Reader) Bad(n *Node, hint, format string, args ...any) {
	line, col := 1, 1
	if n != nil {
		line, col = max(n.Line, 1), max(n.Column, 1)
	}
	r.Add(&Error{File: r.name, Line: line, Col: col, Part: r.part, Msg: fmt.Sprintf(format, args...), Hint: hint})
}

// Add takes in a mistake, which may be in another file.
func (r Reader) Add(e *Error) { r.errs = append(r.errs, e) }

// BadWithin tells a mistake at byte pos of the scalar n: at that character where the way in which the scalar is written
// lets that be known, else at its beginning.
func (r Reader) BadWithin(n *Node, pos int, hint, format string, args ...any) {
	at := *n
	at.Line, at.Column = r.within(n, min(max(pos, 0), len(n.Value)))
	r.Bad(&at, hint, format, args...)
}

func (r Reader) within(n *Node, pos int) (line, col int) {
	line, col = n.Line, n.Column
	if line < 1 || line > len(r.lines) || n.Style&yaml.FoldedStyle != 0 {
		return line, col
	}
	if n.Style&yaml.LiteralStyle != 0 {
		// The text begins in the line below; every line has lost the same indentation.
		start := strings.LastIndexByte(n.Value[:pos], '\n') + 1
		text, _, _ := strings.Cut(n.Value[start:], "\n")
		at := line + strings.Count(n.Value[:pos], "\n")
		if at < len(r.lines) && strings.HasSuffix(r.lines[at], text) {
			return at + 1, utf8.RuneCountInString(strings.TrimSuffix(r.lines[at], text)+n.Value[start:pos]) + 1
		}
		return line, col
	}
	src, start := []rune(r.lines[line-1]), col-1
	if n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0 {
		start++
	}
	if start <= len(src) && strings.HasPrefix(string(src[start:]), n.Value) {
		return line, start + utf8.RuneCountInString(n.Value[:pos]) + 1
	}
	return line, col
}
