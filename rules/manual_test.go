package rules_test

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	carfile "earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/configs/document"
	"earshot/rules"
	"earshot/rules/story"
)

// everything is a vocabulary in which all channels are there, with a car that has all usual limits.
func everything(t testing.TB) rules.Vocabulary {
	t.Helper()
	set := channel.NewSet()
	var all []channel.ID
	for id := range channel.ID(set.Len()) {
		all = append(all, id)
	}
	k, err := carfile.Parse("car.yaml", []byte("baseline: gt\nlimits: {oil_hot: 120 °C, coolant_hot: 105 °C}\n"))
	require.NoError(t, err)
	return assistant.NewVocabulary(set, all, k, nil, nil)
}

// hintOf is the first hint of an error, from start on: the language tells its words in it.
func hintOf(t testing.TB, err error, start string) []string {
	t.Helper()
	for _, e := range document.Errors(err) {
		for _, s := range []string{e.Hint, e.Msg} {
			if _, list, ok := strings.Cut(s, start); ok {
				return strings.Split(list, ", ")
			}
		}
	}
	require.Fail(t, "nothing tells "+start, "%v", err)
	return nil
}

// Every block of the manual is right, and shows every key, function and way of speaking that the language itself tells.
func TestTheManual(t *testing.T) {
	data, err := os.ReadFile("../configs/rules/README.md")
	require.NoError(t, err)
	text, voc := string(data), everything(t)
	var blocks, tests string
	for _, m := range regexp.MustCompile("(?s)```yaml\n(.*?)```").FindAllStringSubmatch(text, -1) {
		if strings.Contains(m[1], "tests:") {
			tests += m[1]
			continue
		}
		earlier := []byte("rules: [{name: lap-time, when: lap_completed, say: A.}]")
		set, err := rules.Compile([]rules.Source{{Name: "earlier.yaml", Data: earlier}, {Name: "README.md", Data: []byte(m[1])}}, voc)
		require.NoError(t, err, m[1])
		for _, r := range set.Rules() {
			require.True(t, r.Active || r.Name == "lap-time", "%s is off: %v", r.Name, r.Why)
		}
		blocks += m[1]
	}
	compile := func(src string) error {
		_, err := rules.Compile([]rules.Source{{Name: "a.yaml", Data: []byte(src)}}, voc)
		return err
	}
	shown := func(blocks, word, as string) {
		require.True(t, strings.Contains(blocks, as), "no block shows %q", word)
		require.True(t, regexp.MustCompile("`[^`\n]*"+regexp.QuoteMeta(word)+"[^`\n]*`").MatchString(text), "no text names %s", word)
	}
	for _, src := range []string{"rules: [{qqqqqq: 1}]", "answers: [{qqqqqq: 1}]", "qqqqqq: 1"} {
		for _, key := range hintOf(t, compile(src), "its keys are ") {
			shown(blocks, key, key+":")
		}
	}
	for _, f := range hintOf(t, compile("rules: [{name: a, when: qqqqqq(gear) > 1, say: A.}]"), "there are ") {
		shown(blocks, f, f+"(")
	}
	for _, s := range hintOf(t, compile(`rules: [{name: a, when: gear > 1, say: "{gear as qqqqqq}"}]`), "use one of ") {
		shown(blocks, s, " as "+s)
	}
	for _, key := range []string{"each", "priority", "importance", "where", "suppress_in"} {
		for _, word := range hintOf(t, compile("rules: [{name: a, when: gear > 1, say: A., "+key+": qqqqqq}]"), "use one of ") {
			require.Contains(t, text, "`"+word+"`", key)
		}
	}
	for _, word := range []string{"wheel", "axle", "side", "instances"} {
		shown(blocks, "{"+word+"}", "{"+word+"}")
	}

	bench := story.Bench{Words: voc, Car: func(string) (rules.Vocabulary, error) { return voc, nil }, Open: func(string) ([]byte, error) {
		first, _, _ := strings.Cut(text[strings.Index(text, "```yaml\n")+8:], "```")
		return []byte(first + "  - {name: wheel-hot, each: wheel, when: tyre_core > 110 °C, suppress_in: [pits], say: '{wheel} hot.'}\n"),
			nil
	}}
	_, err = story.Run("README.md", []byte(tests), bench)
	require.NoError(t, err)
	for _, src := range []string{"qqqqqq: 1", "tests: [{qqqqqq: 1}]", "tests: [{name: a, samples: [{t: 0 s}], calls: [{qqqqqq: 1}]}]",
		"tests: [{name: a, samples: [{t: 0 s}], silent: [{qqqqqq: 1}]}]"} {
		_, err := story.Run("a_test.yaml", []byte(src), bench)
		for _, key := range hintOf(t, err, "its keys are ") {
			require.Contains(t, tests, key+":", "no block shows the key")
			require.Contains(t, text, fmt.Sprintf("| `%s` |", key), "the table does not have it")
		}
	}
}
