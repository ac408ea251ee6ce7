package rules

import (
	"fmt"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// A file is one Source while it is being read.
type file struct {
	name  string
	group string
	lines []string
	errs  *[]error
	rules []*rawRule
	asks  []*rawRule
}

// A rawRule is a rule or an answer as written.
type rawRule struct {
	file   *file
	node   *yaml.Node
	title  string // for messages: rule "x"
	name   string // or what is asked
	fields map[string]*yaml.Node
}

var (
	ruleKeys = []string{"name", "when", "each", "deadband", "on_delay", "off_delay", "latch", "repeat", "repeat_later", "expires", "priority", "clear_priority", "importance", "suppress_in", "where",
		"say", "say_short", "say_clear", "merge", "merge_short", "needs", "off"}
	answerKeys = []string{"ask", "when", "say", "say_short"}
	kebab      = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)
	askWord    = regexp.MustCompile(`^[a-z][a-z0-9]*([-_][a-z0-9]+)*$`)
	yamlLine   = regexp.MustCompile(`^yaml: (?:line (\d+): )?`)
)

// lineBreaks makes one of everything that YAML takes for the end of a line.
var lineBreaks = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u0085", "\n", "\u2028", "\n", "\u2029", "\n")

func (f *file) fail(line, col int, rule, hint, format string, args ...any) {
	*f.errs = append(*f.errs, &Error{File: f.name, Line: max(line, 1), Col: max(col, 1), Rule: rule, Msg: fmt.Sprintf(format, args...), Hint: hint})
}

func (f *file) failAt(n *yaml.Node, rule, hint, format string, args ...any) {
	f.fail(n.Line, n.Column, rule, hint, format, args...)
}

// readFile reads what a file has; mistakes go to errs.
func readFile(src Source, errs *[]error) *file {
	f := &file{name: src.Name, errs: errs}
	f.group = strings.TrimSuffix(path.Base(strings.ReplaceAll(src.Name, `\`, "/")), path.Ext(src.Name))
	if !utf8.Valid(src.Data) {
		f.fail(1, 1, "", "save it as UTF-8", "the file is not UTF-8 text")
		return f
	}
	text := string(src.Data)
	f.lines = strings.Split(lineBreaks.Replace(strings.TrimPrefix(text, "\ufeff")), "\n")
	dec := yaml.NewDecoder(strings.NewReader(text))
	var doc yaml.Node
	err := dec.Decode(&doc)
	if err != nil && err.Error() == "EOF" {
		return f // an empty file has no rules
	}
	if err == nil {
		var more yaml.Node
		if dec.Decode(&more) == nil {
			f.failAt(&more, "", "put all rules under one rules:", "the file has a second document")
		}
		f.document(&doc)
		return f
	}
	msg := err.Error()
	line := 1
	if m := yamlLine.FindStringSubmatch(msg); m != nil {
		msg = msg[len(m[0]):]
		if m[1] != "" {
			line, _ = strconv.Atoi(m[1])
		}
	}
	f.fail(min(line, len(f.lines)), 1, "", "", "this is not YAML: %s", msg)
	return f
}

func (f *file) document(doc *yaml.Node) {
	root := doc
	if doc.Kind == yaml.DocumentNode && len(doc.Content) == 1 {
		root = doc.Content[0]
	}
	if isNull(root) {
		return
	}
	top := []string{"rules", "answers"}
	fields := f.mapping(root, "", top)
	for _, key := range top {
		val := fields[key]
		if val == nil {
			continue
		}
		list := follow(val)
		if isNull(list) {
			continue
		}
		if list.Kind != yaml.SequenceNode {
			f.failAt(val, "", "begin every entry with a dash", "%s is not a list", key)
			continue
		}
		for _, item := range list.Content {
			if key == "rules" {
				f.rule(follow(item))
			} else {
				f.answer(follow(item))
			}
		}
	}
}

func isNull(n *yaml.Node) bool {
	return n.Kind == 0 || n.Kind == yaml.ScalarNode && n.Tag == "!!null"
}

// follow resolves an alias.
func follow(n *yaml.Node) *yaml.Node {
	if n.Kind == yaml.AliasNode && n.Alias != nil {
		return n.Alias
	}
	return n
}

// mapping reads the keys of n and complains about those not allowed or twice there.
func (f *file) mapping(n *yaml.Node, title string, keys []string) map[string]*yaml.Node {
	out := map[string]*yaml.Node{}
	if n.Kind != yaml.MappingNode {
		f.failAt(n, title, "write key: value, with the keys "+strings.Join(keys, ", "), "keys with values should stand here")
		return out
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k := n.Content[i]
		switch {
		case k.Kind != yaml.ScalarNode || !slices.Contains(keys, k.Value):
			hint := didYouMean(k.Value, keys)
			if hint == "" {
				hint = "the keys are " + strings.Join(keys, ", ")
			}
			f.failAt(k, title, hint, "unknown key %q", k.Value)
		case out[k.Value] != nil:
			f.failAt(k, title, "", "%s is given twice", k.Value)
		default:
			out[k.Value] = n.Content[i+1]
		}
	}
	return out
}

func (f *file) rule(n *yaml.Node) {
	r := &rawRule{file: f, node: n}
	title := ""
	if n.Kind == yaml.MappingNode {
		for i := 0; i+1 < len(n.Content); i += 2 {
			if n.Content[i].Value == "name" && n.Content[i+1].Kind == yaml.ScalarNode {
				title = fmt.Sprintf("rule %q", n.Content[i+1].Value)
				break
			}
		}
	}
	r.title = title
	before := len(*f.errs)
	r.fields = f.mapping(n, title, ruleKeys)
	if n.Kind != yaml.MappingNode {
		return
	}
	r.name = r.text("name")
	switch {
	case r.name == "" && len(*f.errs) == before:
		f.failAt(n, "", "write name: rear-brakes-cold", "the rule has no name")
		return
	case r.name == "":
		return
	case !kebab.MatchString(r.name):
		f.failAt(r.fields["name"], title, "write small letters and digits with hyphens between the words, such as rear-brakes-cold", "%q cannot be a name", r.name)
		return
	}
	for _, other := range f.rules {
		if other.name == r.name {
			f.failAt(n, title, fmt.Sprintf("the other one stands in line %d", other.node.Line), "the file has two rules of this name")
			return
		}
	}
	f.rules = append(f.rules, r)
}

func (f *file) answer(n *yaml.Node) {
	r := &rawRule{file: f, node: n}
	r.fields = f.mapping(n, "", answerKeys)
	if n.Kind != yaml.MappingNode {
		return
	}
	r.name = r.text("ask")
	r.title = fmt.Sprintf("answer %q", r.name)
	switch {
	case r.fields["ask"] == nil:
		f.failAt(n, "", "write ask: fuel", "the answer has no ask")
	case !askWord.MatchString(r.name):
		f.failAt(r.fields["ask"], r.title, "write one word in small letters, such as fuel", "%q cannot be asked", r.name)
	default:
		f.asks = append(f.asks, r)
	}
}

// text reads a scalar, "" where it is not there.
func (r *rawRule) text(key string) string {
	n := r.scalar(key)
	if n == nil {
		return ""
	}
	return n.Value
}

// scalar finds a field that is not empty.
func (r *rawRule) scalar(key string) *yaml.Node {
	n := r.fields[key]
	if n == nil {
		return nil
	}
	v := follow(n)
	switch {
	case v.Kind != yaml.ScalarNode:
		r.file.failAt(n, r.title, "", "%s should be a single value", key)
	case isNull(v) || strings.TrimSpace(v.Value) == "":
		r.file.failAt(n, r.title, "give it a value or leave the key out", "%s is empty", key)
	default:
		return v
	}
	delete(r.fields, key) // told once
	return nil
}

func (r *rawRule) flag(key string) bool {
	n := r.scalar(key)
	if n == nil {
		return false
	}
	if n.Value != "true" && n.Value != "false" {
		r.file.failAt(n, r.title, "write true or false", "%s is %q", key, n.Value)
	}
	return n.Value == "true"
}

// choice reads one of some words, the first where the key is absent.
func (r *rawRule) choice(key string, words ...string) string {
	n := r.scalar(key)
	if n == nil {
		return words[0]
	}
	if slices.Contains(words, n.Value) {
		return n.Value
	}
	allowed := slices.DeleteFunc(slices.Clone(words), func(s string) bool { return s == "" })
	hint := didYouMean(n.Value, allowed)
	if hint == "" {
		hint = "it is one of " + strings.Join(allowed, ", ")
	}
	r.file.failAt(n, r.title, hint, "%s is %q", key, n.Value)
	return words[0]
}

// list reads a list of words, or a single one.
func (r *rawRule) list(key string) []*yaml.Node {
	n := r.fields[key]
	if n == nil {
		return nil
	}
	v := follow(n)
	if v.Kind == yaml.ScalarNode {
		if s := r.scalar(key); s != nil {
			return []*yaml.Node{s}
		}
		return nil
	}
	if v.Kind != yaml.SequenceNode {
		r.file.failAt(n, r.title, "write [a, b]", "%s should be a list of words", key)
		return nil
	}
	var out []*yaml.Node
	for _, item := range v.Content {
		w := follow(item)
		if w.Kind != yaml.ScalarNode || isNull(w) {
			r.file.failAt(item, r.title, "", "%s should be a list of words", key)
			continue
		}
		out = append(out, w)
	}
	return out
}

// blame reports a mistake inside the scalar n at the character where it is, where the
// style of the scalar lets that be known, else at the start of the scalar.
func (r *rawRule) blame(n *yaml.Node, m *mistake) {
	line, col := r.file.within(n, m.pos)
	r.file.fail(line, col, r.title, m.hint, "%s", m.msg)
}

// within finds byte pos of the scalar's value in the file.
func (f *file) within(n *yaml.Node, pos int) (line, col int) {
	pos = min(max(pos, 0), len(n.Value))
	runes := utf8.RuneCountInString(n.Value[:pos])
	line, col = n.Line, n.Column
	if n.Line < 1 || n.Line > len(f.lines) {
		return line, col
	}
	if n.Style&yaml.LiteralStyle != 0 {
		// The text begins in the line below; every line has lost the same indentation.
		down := strings.Count(n.Value[:pos], "\n")
		start := strings.LastIndexByte(n.Value[:pos], '\n') + 1
		text, _, _ := strings.Cut(n.Value[start:], "\n")
		if at := n.Line + down; at < len(f.lines) && strings.HasSuffix(f.lines[at], text) {
			indent := utf8.RuneCountInString(strings.TrimSuffix(f.lines[at], text))
			return at + 1, indent + utf8.RuneCountInString(n.Value[start:pos]) + 1
		}
		return line, col
	}
	if n.Style&yaml.FoldedStyle != 0 {
		return line, col
	}
	src := []rune(f.lines[n.Line-1])
	start := n.Column - 1
	if n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0 {
		start++
	}
	if start <= len(src) && strings.HasPrefix(string(src[start:]), n.Value) {
		return line, start + runes + 1
	}
	return line, col
}
