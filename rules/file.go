package rules

import (
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"

	"earshot/configs/document"
	"earshot/rules/expression"
)

// A file is a Source that is being read.
type file struct {
	document.Reader
	name  string
	group string
	rules []*rawRule
	asks  []*rawRule
}

// A rawRule is a rule or an answer as written. Its Reader names it in messages.
type rawRule struct {
	document.Reader
	document.Object
	file, group string
	name        string // or what is asked
}

var (
	ruleKeys = []string{"name", "when", "each", "deadband", "on_delay", "off_delay", "latch", "repeat", "repeat_later",
		"apart", "expires", "priority", "clear_priority", "importance", "suppress_in", "where",
		"say", "say_short", "say_clear", "merge", "merge_short", "needs", "off"}
	answerKeys = []string{"ask", "when", "say", "say_short"}
	kebab      = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)
	askWord    = regexp.MustCompile(`^[a-z][a-z0-9]*([-_][a-z0-9]+)*$`)
)

// readFile reads what a file has. An empty file has no rules.
func readFile(src Source) *file {
	doc, top := document.Read(src.Name, src.Data, "")
	f := &file{Reader: doc, name: src.Name}
	f.group = strings.TrimSuffix(path.Base(strings.ReplaceAll(src.Name, `\`, "/")), path.Ext(src.Name))
	if top == nil {
		return f
	}
	o := f.Object(top, "a rules file", "rules", "answers")
	const dash = "begin every entry with a dash"
	if n := o.Get("rules"); !document.IsNull(n) {
		for _, item := range f.List(n, "rules", dash) {
			f.rule(item)
		}
	}
	if n := o.Get("answers"); !document.IsNull(n) {
		for _, item := range f.List(n, "answers", dash) {
			f.answer(item)
		}
	}
	return f
}

func (f *file) rule(n *document.Node) {
	r := &rawRule{Reader: f.Reader, file: f.name, group: f.group}
	if document.IsMapping(n) {
		for i := 0; i+1 < len(n.Content); i += 2 {
			if v := document.Resolve(n.Content[i+1]); n.Content[i].Value == "name" && document.IsScalar(v) {
				r.Reader = f.For(fmt.Sprintf("rule %q", v.Value))
				break
			}
		}
	}
	before := f.Count()
	r.Object = r.Reader.Object(n, "a rule", ruleKeys...)
	if !document.IsMapping(n) {
		return
	}
	r.name = r.Text(r.scalar("name"), "name")
	switch {
	case r.name == "" && f.Count() == before:
		f.Bad(n, "write name: rear-brakes-cold", "the rule has no name")
		return
	case r.name == "":
		return
	case !kebab.MatchString(r.name):
		r.Bad(r.Get("name"), "write small letters and digits with hyphens between the words, such as rear-brakes-cold",
			"%q cannot be a name", r.name)
		return
	}
	for _, other := range f.rules {
		if other.name == r.name {
			r.Bad(n, fmt.Sprintf("the other one stands in line %d", other.N.Line),
				"the file has two rules of this name")
			return
		}
	}
	f.rules = append(f.rules, r)
}

func (f *file) answer(n *document.Node) {
	r := &rawRule{Reader: f.Reader, file: f.name, group: f.group}
	r.Object = f.Object(n, "an answer", answerKeys...)
	if !document.IsMapping(n) {
		return
	}
	r.name = r.Text(r.scalar("ask"), "ask")
	r.Reader = f.For(fmt.Sprintf("answer %q", r.name))
	switch {
	case r.Get("ask") == nil:
		f.Bad(n, "write ask: fuel", "the answer has no ask")
	case !askWord.MatchString(r.name):
		r.Bad(r.Get("ask"), "write one word in small letters, such as fuel", "%q cannot be asked", r.name)
	default:
		f.asks = append(f.asks, r)
	}
}

// scalar finds a field that is not empty. One that is wrong is told once.
func (r *rawRule) scalar(key string) *document.Node {
	n := r.Scalar(r.Get(key), key)
	if n == nil {
		r.Drop(key)
	}
	return n
}

// choice reads one of some words, the first where the key is absent.
func (r *rawRule) choice(key string, words ...string) string {
	allowed := slices.DeleteFunc(slices.Clone(words), func(s string) bool { return s == "" })
	if s := r.Choice(r.Get(key), key, allowed...); s != "" {
		return s
	}
	return words[0]
}

// list reads a list of words, or a single one.
func (r *rawRule) list(key string) []*document.Node {
	return slices.DeleteFunc(r.OneOrMore(r.Get(key), key),
		func(n *document.Node) bool { return r.Scalar(n, key) == nil })
}

// blame reports a mistake inside the scalar n.
func (r *rawRule) blame(n *document.Node, m *expression.Mistake) {
	r.BadWithin(n, m.Pos, m.Hint, "%s", m.Msg)
}
