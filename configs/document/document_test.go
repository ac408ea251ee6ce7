package document

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// read reads a small file as the readers of the program do, and gives what it tells.
func read(text string) string {
	r, top := Read("a.yaml", []byte(text), "begin with name:")
	if top == nil {
		return fmt.Sprint(r.Err())
	}
	o := r.Object(top, "the file", "name", "kind", "count", "scale", "on", "list", "free", "inner")
	r.Word(o.Get("name"), "name")
	r.Choice(o.Get("kind"), "kind", "front", "rear")
	r.Integer(o.Get("count"), "count", 1, 9)
	r.Number(o.Get("scale"), "scale", 1)
	r.Flag(o.Get("on"), "on", false)
	for _, n := range r.OneOrMore(o.Get("list"), "list") {
		r.Text(n, "an item")
	}
	for _, p := range r.Pairs(o.Get("free"), "free") {
		r.For("entry "+p.Key).Text(p.V, "its value")
	}
	r.Object(o.Get("inner"), "inner", "deep")
	return fmt.Sprint(r.Err())
}

func TestEveryMistakeAtItsPlace(t *testing.T) {
	bomb := "a: &a [x, x, x, x, x, x, x, x, x, x]\n"
	for c := 'b'; c < 'i'; c++ {
		bomb += fmt.Sprintf("%c: &%c [%s*%c]\n", c, c, strings.Repeat(fmt.Sprintf("*%c, ", c-1), 9), c-1)
	}
	tests := []struct{ name, text, want string }{
		{"right", "name: a\nkind: rear\ncount: 0x2\nscale: -1.5\non: true\nlist: one\nfree: {b: c}\n", "<nil>"},
		{"aliases are followed", "list: &l [x]\nfree: {a: &w word, b: *w}\ninner: {deep: *l}\nname: *w\n", "<nil>"},
		{"empty", "# nothing\n", "a.yaml:1:1: the file is empty\n\thint: begin with name:"},
		{"two documents", "name: a\n---\nname: b\n", "a.yaml:2:1: the file has a second document\n\thint: put all of it into one, without a line ---"},
		{"no YAML", "name: a\nb: [1\n", "a.yaml:1:1: this is not YAML: did not find expected ',' or ']'\n\thint: indent with spaces, write key: value, and quote texts that hold : # or a comma"},
		{"not UTF-8", "name: \xff\n", "a.yaml:1:1: the file is not UTF-8 text\n\thint: save it as UTF-8"},
		{"a list", "- a\n", "a.yaml:1:1: the file is not a list of keys with values\n\thint: its keys are name, kind, count, scale, on, list, free, inner"},
		{"too large", strings.Repeat("#", Largest+1), "a.yaml:1:1: the file has 4194305 bytes; a configuration file has at most 4194304\n\thint: is it a recording, or a log?"},
		{"too deep", "name: " + strings.Repeat("[", 101) + strings.Repeat("]", 101), "a.yaml:1:107: the file is nested more than 100 deep\n\thint: write it out, or make it smaller"},
		{"within itself", "name: a\nlist: &l [x, [*l]]\n", "a.yaml:2:15: the alias *l stands within what it names\n\thint: write it out, or make it smaller"},
		{"an alias bomb", bomb, "a.yaml:6:44: the file has more than 1048576 values, its aliases written out\n\thint: write it out, or make it smaller"},
		{"merge keys are no keys", "free: &f {a: b}\ninner: {<<: *f}\n", "a.yaml:2:9: inner has no \"<<\"\n\thint: its keys are deep"},
		{"all at once, in order", "kidn: a\nkind: raer\ncount: 12\nscale: 3 m\non: yes\nlist: [[]]\nfree: {x: [], x: y, [z]: 1}\ninner: word\nname: ''\n", `a.yaml:1:1: the file has no "kidn"
	hint: did you mean kind?
a.yaml:2:7: kind cannot be "raer"
	hint: did you mean rear?
a.yaml:3:8: count is a whole number from 1 to 9
a.yaml:4:8: scale is a bare number
	hint: write it without a unit
a.yaml:5:5: on cannot be "yes"
	hint: write true or false
a.yaml:6:8: an item is not a text
a.yaml:7:11: entry x: its value is not a text
a.yaml:7:15: "x" stands in line 7 already
	hint: keep one of the two
a.yaml:7:21: a key is a word
a.yaml:8:8: inner is not a list of keys with values
	hint: its keys are deep
a.yaml:9:7: name is empty
	hint: give it a value or leave the key out`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { require.Equal(t, tt.want, read(tt.text)) })
	}
}

func TestErrors(t *testing.T) {
	require.Empty(t, Errors(nil))
	require.Empty(t, Errors(errors.New("x")))
	one := &Error{File: "f", Msg: "m"}
	require.Equal(t, "f: m", one.Error())
	require.ErrorIs(t, one, ErrInvalid)
	require.Equal(t, []*Error{one, one}, Errors(fmt.Errorf("reading: %w", errors.Join(one, errors.Join(one)))))
}

func TestWithin(t *testing.T) {
	for text, want := range map[string]string{
		"name: weiß es":          "1:13", // in characters
		"name: \"weiß es\"":      "1:14",
		"name: 'weiß es'":        "1:14",
		"name: |\n  weiß es\n":   "2:9",
		"name: >\n  weiß es\n":   "1:7", // folded: its beginning is known
		"name: \"wei\\u00df e\"": "1:7", // so is that of one with escapes
	} {
		r, top := Read("a", []byte(text), "")
		r.BadWithin(r.Object(top, "", "name").Get("name"), strings.Index("weiß es", "s"), "", "here")
		require.ErrorContains(t, r.Err(), "a:"+want+": here", text)
	}
}

func TestNearest(t *testing.T) {
	known := []string{"psi", "bar", "kPa", "pressure_low", "pressure_high", "front", "rear", "km/h"}
	for word, want := range map[string]string{
		"PSI": "psi", "pis": "psi", "ba": "", "kpa": "kPa", "presure_low": "pressure_low", "raer": "rear", "fornt": "front", "x": "",
		"KM/H": "km/h", "pressure_": "", "pressure": "pressure_low pressure_high", "colour": "", strings.Repeat("a", 300): "",
	} {
		require.Equal(t, want, strings.Join(Nearest(word, known), " "), word)
	}
	require.Equal(t, "did you mean tyre or tyro?", OneOf("tyr", []string{"tyre", "tyro", "lap"}))
	require.Equal(t, "use one of a, b", OneOf("word", []string{"a", "b"}))
}

// The classical example of edit distance, kitten to sitting, is 3 (Wagner and Fischer, J. ACM 21(1), 1974; value from memory).
func TestEdits(t *testing.T) {
	require.Equal(t, 3, edits("kitten", "sitting", 9))
	require.Equal(t, 1, edits("feul", "fuel", 9))
	require.Equal(t, 4, edits("", "mark", 9))
	require.Equal(t, 3, edits("kitten", "sit", 2), "no further than the limit and one")
}

func FuzzRead(f *testing.F) {
	for _, s := range []string{"name: a\n", "a: &a [*a]", "? {a: b}\n: c", "name: \"\x00\"", "-", "a: &x {b: *x}", "<<: 1", "\ufeffname: |\n  x", "name: a\r\ncount: 3\u2028on: 1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, top := Read("f", []byte(text), "x")
		if top != nil {
			r.Object(top, "the file", "name")
			r.BadWithin(top, len(text)/2, "", "here")
		}
		lines := strings.Count(lineBreaks.Replace(text), "\n") + 1
		for _, e := range Errors(r.Err()) {
			if e.Line < 1 || e.Col < 1 || e.Line > lines+1 || e.Msg == "" {
				t.Fatalf("%#v of %d lines", e, lines)
			}
		}
	})
}
