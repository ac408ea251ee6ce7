package feedfile

import (
	"fmt"
	"go/ast"
	goparser "go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/can"
	"earshot/assistant/feed/codec/nmea"
	"earshot/assistant/feed/codec/packet"
	"earshot/assistant/feed/transport"
	"earshot/configs/document"
)

// manual is configs/feeds/README.md and the YAML blocks in it.
func manual(t testing.TB) (text string, blocks []string) {
	t.Helper()
	data, err := beside("README.md")
	require.NoError(t, err)
	text = string(data)
	for _, m := range regexp.MustCompile("(?s)\n```yaml\n(.*?)\n```\n").FindAllStringSubmatch(text, -1) {
		blocks = append(blocks, m[1]+"\n")
	}
	require.Equal(t, 2*len(blocks), strings.Count(text, "```"), "a block is not yaml")
	require.Greater(t, len(blocks), 15)
	return text, blocks
}

// Every block is a whole feed file that opens nothing yet. That it decodes is for FuzzParse.
func TestEveryBlockOfTheManualWorks(t *testing.T) {
	_, blocks := manual(t)
	for _, b := range blocks {
		_, err := ParseWith("README.md", []byte(b), channel.NewSet(), beside)
		require.NoError(t, err, b)
	}
}

// A mappingPlace is a place of the feed file as the parser sees it: what it calls it, without the names of the user's own things,
// and the keys that it knows there.
type mappingPlace struct{ what, known string }

// sayings are what the parser calls places that carry a name.
var sayings = regexp.MustCompile(`^(kind|own channel|message|signal|parameter|the entry of) .*`)

// known asks the parser which keys it knows in a mapping: with a key that it cannot know there. Not ok where keys are free.
func known(t testing.TB, doc *yaml.Node, m *yaml.Node) (p mappingPlace, ok bool) {
	t.Helper()
	const stranger = "qqqqqqqqqqqq"
	before := m.Content
	m.Content = append(slices.Clone(before), &yaml.Node{Kind: yaml.ScalarNode, Value: stranger}, &yaml.Node{Kind: yaml.ScalarNode, Value: "1"})
	text, err := yaml.Marshal(doc)
	m.Content = before
	require.NoError(t, err)
	_, err = ParseWith("README.md", text, channel.NewSet(), beside)
	for _, e := range document.Errors(err) {
		what, is := strings.CutSuffix(e.Msg, fmt.Sprintf(" has no %q", stranger))
		list, listed := strings.CutPrefix(e.Hint, "its keys are ")
		if is && listed {
			return mappingPlace{sayings.ReplaceAllString(what, "$1 …"), list}, true
		}
	}
	return p, false
}

// used walks the blocks and gives the keys that stand in each place, and for transports those of each kind.
func used(t testing.TB, blocks []string) (keys map[mappingPlace]map[string]bool, transports map[string]map[string]bool) {
	t.Helper()
	keys, transports = map[mappingPlace]map[string]bool{}, map[string]map[string]bool{}
	for _, b := range blocks {
		var doc yaml.Node
		require.NoError(t, yaml.Unmarshal([]byte(b), &doc))
		var walk func(n *yaml.Node)
		walk = func(n *yaml.Node) {
			if n.Kind == yaml.MappingNode {
				if p, ok := known(t, &doc, n); ok {
					into := keys[p]
					if into == nil {
						into = map[string]bool{}
						keys[p] = into
					}
					kind := ""
					for i := 0; i+1 < len(n.Content); i += 2 {
						into[n.Content[i].Value] = true
						if n.Content[i].Value == "kind" {
							kind = n.Content[i+1].Value
						}
					}
					if p.what == "transport" {
						if transports[kind] == nil {
							transports[kind] = map[string]bool{}
						}
						for i := 0; i+1 < len(n.Content); i += 2 {
							transports[kind][n.Content[i].Value] = true
						}
					}
				}
			}
			for _, c := range n.Content {
				walk(c)
			}
		}
		walk(&doc)
	}
	return keys, transports
}

// The manual shows every key that the parser knows, at every place, in a block that works, and names it in a table. The parser
// itself is asked for its keys.
func TestTheManualHasEveryKey(t *testing.T) {
	text, blocks := manual(t)
	keys, transports := used(t, blocks)
	var missing []string
	for p, in := range keys {
		for _, key := range strings.Split(p.known, ", ") {
			switch {
			case p.what == "transport": // below, for each kind
			case p.what == "signal …" && key == "format": // the parser refuses it with a reason: no signal is a text
			case !in[key]:
				missing = append(missing, fmt.Sprintf("no block has %q in %s (%s)", key, p.what, p.known))
			}
			if !strings.Contains(text, "`"+key+"`") && !strings.Contains(text, "`"+key+": ") {
				missing = append(missing, fmt.Sprintf("no text names `%s` of %s", key, p.what))
			}
		}
	}
	for _, kind := range transport.Kinds() {
		for _, key := range append([]string{"kind"}, transportKeys[kind]...) {
			if !transports[string(kind)][key] {
				missing = append(missing, fmt.Sprintf("no block has %q in transport %s", key, kind))
			}
		}
	}
	slices.Sort(missing)
	require.Empty(t, missing, strings.Join(missing, "\n"))

	// No place is left out: each call of the parser for a mapping is one that was reached.
	reached := map[string]bool{}
	for p := range keys {
		reached[p.what] = true
	}
	for _, what := range append(mappingsInSource(t), "a feed file", "a source", "counter", "multiplexer") {
		require.True(t, reached[what], "no block of the manual has %s", what)
	}
}

// mappingsInSource are the places that the parser's own text names: the second argument of each call of Object.
func mappingsInSource(t testing.TB) (list []string) {
	t.Helper()
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	calls := 0
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := goparser.ParseFile(token.NewFileSet(), name, nil, 0)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			if f, ok := call.Fun.(*ast.SelectorExpr); !ok || f.Sel.Name != "Object" || len(call.Args) < 2 {
				return true
			}
			calls++
			arg := call.Args[1]
			if sum, ok := arg.(*ast.BinaryExpr); ok {
				arg = sum.X
			}
			if lit, ok := arg.(*ast.BasicLit); ok {
				what, err := strconv.Unquote(lit.Value)
				require.NoError(t, err)
				if what != "" {
					list = append(list, sayings.ReplaceAllString(what, "$1 …"))
				}
			}
			return true
		})
	}
	require.Greater(t, len(list), 15)
	require.LessOrEqual(t, calls-len(list), 2, "of calls without a name in the text two are known: the top and a place of can")
	return list
}

// What can be chosen is named too: types, checksums, items, parameters, quantities and units.
func TestTheManualHasEveryChoice(t *testing.T) {
	text, _ := manual(t)
	var want []string
	for _, x := range packet.Types() {
		want = append(want, string(x))
	}
	for _, x := range packet.Sums() {
		want = append(want, string(x))
	}
	for _, x := range can.PIDs {
		want = append(want, fmt.Sprintf("0x%02X", x.ID))
	}
	for _, x := range channel.Quantities() {
		want = append(append(want, string(x)), channel.UnitsOf(x)...)
	}
	for _, x := range transport.Kinds() {
		want = append(want, string(x))
	}
	want = append(append(want, nmea.Items()...), codecs...)
	for _, x := range want {
		require.Contains(t, text, "`"+x+"`", "the manual does not name it")
	}
	// The files that ship are listed.
	names, err := filepath.Glob(filepath.Join("..", "..", "..", "configs", "feeds", "*"))
	require.NoError(t, err)
	for _, n := range names {
		if base := filepath.Base(n); base != "README.md" {
			require.Contains(t, text, "`"+base+"`")
		}
	}
}
