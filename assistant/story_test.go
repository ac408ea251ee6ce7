package assistant_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/tools/txtar"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/hand"
	"earshot/assistant/health"
	"earshot/assistant/journal"
	"earshot/rules"
)

var update = flag.Bool("update", false, "rewrite what the stories want")

// TestStories carries the inputs of a story through a whole core; wanted are its journal and what is heard. Each line
// of the section inputs is an input:
//
//	start
//	T sample NAME=VALUE ...              in the unit used inside; FROM..TO/STEP sample NAME=VALUE..VALUE is a row of them
//	T tick
//	T command NAME [pressed=T] [tag=…] [memo="…"] [text="…"] [priority=…] [source="…"]
//	T health PART STATE "text"
//	T rules SECTION
//	T end
//
// The feed covers the channels that the samples name. The section rules.yaml holds the rules in force, car.yaml the
// car. The recorded inputs must give the same once more.
func TestStories(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join("testdata", "stories", "*.txtar"))
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, p := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(p), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(p)
			require.NoError(t, err)
			require.NotEmpty(t, strings.TrimSpace(string(a.Comment)), "say why on top")
			s := newStory(t, a)
			got := s.tell(t, s.inputs)
			require.Equal(t, got, s.tell(t, recorded(t, s.inputs)), "the recording tells another story")
			if *update {
				a.Files = slices.DeleteFunc(a.Files, func(f txtar.File) bool { return f.Name == "want" })
				a.Files = append(a.Files, txtar.File{Name: "want", Data: []byte(got)})
				require.NoError(t, os.WriteFile(p, txtar.Format(a), 0o644))
				return
			}
			require.Equal(t, s.files["want"], got)
		})
	}
}

type story struct {
	files  map[string]string
	set    *channel.Set
	car    *car.Car
	names  *assistant.Vocabulary
	rules  *rules.Set
	inputs []assistant.Input
}

func newStory(t *testing.T, a *txtar.Archive) *story {
	s := &story{files: map[string]string{"car.yaml": "name: any\n", "rules.yaml": "rules: []\n"}, set: channel.NewSet()}
	for _, f := range a.Files {
		s.files[f.Name] = string(f.Data)
	}
	var covered []channel.ID
	for i, line := range strings.Split(strings.TrimSpace(s.files["inputs"]), "\n") {
		s.read(t, line, &covered)
		require.False(t, t.Failed(), "line %d of the inputs: %s", i+1, line)
	}
	var err error
	s.car, err = car.Parse("car.yaml", []byte(s.files["car.yaml"]))
	require.NoError(t, err)
	s.names = assistant.NewVocabulary(s.set, covered, s.car, nil, nil)
	s.rules, err = rules.Compile(s.source(t, "rules.yaml"), s.names)
	require.NoError(t, err)
	return s
}

func (s *story) source(t *testing.T, name string) []rules.Source {
	require.Contains(t, s.files, name)
	return []rules.Source{{Name: name, Data: []byte(s.files[name])}}
}

// fields splits a line at blanks outside quotes.
func fields(line string) (list []string) {
	quoted := false
	for _, w := range strings.FieldsFunc(line, func(r rune) bool {
		if r == '"' {
			quoted = !quoted
		}
		return r == ' ' && !quoted
	}) {
		list = append(list, strings.ReplaceAll(w, `"`, ""))
	}
	return list
}

func (s *story) read(t *testing.T, line string, covered *[]channel.ID) {
	w := fields(line)
	if w[0] == "start" {
		s.inputs = append(s.inputs, assistant.Input{Kind: assistant.KindStart, Session: &journal.Session{ID: "story", Feed: "any"}})
		return
	}
	require.GreaterOrEqual(t, len(w), 2)
	if w[1] == "sample" {
		s.samples(t, w, covered)
		return
	}
	at, err := strconv.ParseFloat(w[0], 64)
	require.NoError(t, err)
	in := assistant.Input{Kind: assistant.Kind(w[1]), At: at}
	switch in.Kind {
	case assistant.KindTick, assistant.KindEnd:
	case assistant.KindHealth:
		in.Health = &journal.Health{Part: w[2], State: string(health.State(w[3])), Text: w[4]}
	case assistant.KindRules:
		in.Rules = s.source(t, w[2])
	case assistant.KindCommand:
		in.Request = request(t, w[2:])
	default:
		t.Fatalf("no such input: %s", line)
	}
	s.inputs = append(s.inputs, in)
}

func request(t *testing.T, w []string) *hand.Request {
	r := &hand.Request{Name: hand.Command(w[0]), Source: "test"}
	for _, pair := range w[1:] {
		name, value, _ := strings.Cut(pair, "=")
		switch name {
		case "pressed":
			var err error
			r.Pressed, err = strconv.ParseFloat(value, 64)
			require.NoError(t, err)
		case "tag":
			r.Tag = value
		case "memo":
			r.Memo = value
		case "text":
			r.Text = value
		case "priority":
			r.Priority = value
		case "source":
			r.Source = value
		default:
			t.Fatalf("a request has no %s", name)
		}
	}
	return r
}

// samples makes one sample, or a row of them with values that go from one to the other.
func (s *story) samples(t *testing.T, w []string, covered *[]channel.ID) {
	number := func(text string) float64 {
		v, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err)
		return v
	}
	ends := func(text string) (from, to float64) {
		a, b, ok := strings.Cut(text, "..")
		if !ok {
			b = a
		}
		return number(a), number(b)
	}
	span, step, isRow := strings.Cut(w[0], "/")
	from, to := ends(span)
	n := 0
	if isRow {
		n = int((to-from)/number(step) + 0.5)
	}
	for k := 0; k <= n; k++ {
		share := 0.0
		if n > 0 {
			share = float64(k) / float64(n)
		}
		row := s.set.NewRow()
		for _, pair := range w[2:] {
			name, value, _ := strings.Cut(pair, "=")
			id, ok := s.set.Lookup(name)
			require.True(t, ok, name)
			a, b := ends(value)
			row[id] = a + share*(b-a)
			if !slices.Contains(*covered, id) {
				*covered = append(*covered, id)
			}
		}
		s.inputs = append(s.inputs, assistant.Input{Kind: assistant.KindSample, At: from + share*(to-from), Row: row})
	}
}

// tell carries inputs through a new core.
func (s *story) tell(t *testing.T, inputs []assistant.Input) string {
	core := assistant.NewCore(assistant.Setup{Channels: s.set, Car: s.car, Rules: s.rules, Names: s.names, Voice: wordy{}})
	var b strings.Builder
	var out assistant.Output
	for _, in := range inputs {
		out.Reset()
		core.Step(in, &out)
		// What a feed lacks is no part of these.
		events := slices.DeleteFunc(out.Events, func(e journal.Event) bool { return e.Body.Kind() == "learned" })
		b.WriteString(journalText(t, events))
		if out.Hush {
			fmt.Fprintf(&b, "%.1f hush\n", core.Now())
		}
		if out.Say != nil {
			fmt.Fprintf(&b, "%.1f say %q\n", core.Now(), out.Say.Text)
		}
	}
	return b.String()
}
