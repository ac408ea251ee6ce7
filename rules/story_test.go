package rules_test

import (
	"encoding/csv"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/bits"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/tools/txtar"

	"earshot/configs/document"
	"earshot/rules"
)

var update = flag.Bool("update", false, "rewrite what the stories and the lists of mistakes want")

// each runs f on every archive of a folder and compares, or rewrites, its section "want".
func each(t *testing.T, folder string, f func(t *testing.T, a map[string]string) string) {
	paths, err := filepath.Glob(filepath.Join("testdata", folder, "*.txtar"))
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, p := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(p), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(p)
			require.NoError(t, err)
			require.NotEmpty(t, strings.TrimSpace(string(a.Comment)), "say why on top")
			in := map[string]string{}
			for _, f := range a.Files {
				in[f.Name] = string(f.Data)
			}
			got := f(t, in)
			if *update {
				a.Files = slices.DeleteFunc(a.Files, func(f txtar.File) bool { return f.Name == "want" })
				a.Files = append(a.Files, txtar.File{Name: "want", Data: []byte(got)})
				require.NoError(t, os.WriteFile(p, txtar.Format(a), 0o644))
				return
			}
			require.Equal(t, in["want"], got)
		})
	}
}

// TestStories plays samples to rules. A sample is a line of samples.csv: t, then channels in the unit used
// inside; an empty cell is the value before, ? is unknown; the column situation lists situations with +.
// A story without rules.yaml is about the shipped rules and wants only what is to be said.
func TestStories(t *testing.T) {
	each(t, "stories", func(t *testing.T, in map[string]string) string {
		voc := car()
		files := shipped(t)
		own, hasOwn := in["rules.yaml"]
		if hasOwn {
			files = []rules.Source{{Name: "rules.yaml", Data: []byte(own)}}
		}
		set, err := rules.Compile(files, voc)
		require.NoError(t, err)
		var b strings.Builder
		mem := set.NewMemory()
		play(t, voc, in["samples.csv"], func(now float64, env []float64, situation uint64) {
			steps := mem.Step(now, env, situation, nil)
			for i, tr := range steps {
				if hasOwn || tr.Say || tr.Why != "" {
					fmt.Fprintln(&b, line(tr))
				}
				if last := i+1 == len(steps) || steps[i+1].Rule != tr.Rule; last && tr.Rule.Merge && tr.To == rules.Active {
					b.WriteString(together(set, mem, tr.Rule, env))
				}
			}
		})
		return b.String()
	})
}

// together writes the text for the instances of a rule that are active, where these are several.
func together(set *rules.Set, mem *rules.Memory, r *rules.Rule, env []float64) string {
	members := uint64(0)
	for i := range 4 {
		if mem.Active(r, i) {
			members |= 1 << i
		}
	}
	text, short, ok := set.Merged(r, members, env)
	if !ok || bits.OnesCount64(members) < 2 {
		return ""
	}
	if short != "" {
		return fmt.Sprintf("  together %q or %q\n", text, short)
	}
	return fmt.Sprintf("  together %q\n", text)
}

// line writes a transition for people.
func line(tr rules.Transition) string {
	name := tr.Rule.Name
	if tr.Wheel != "" {
		name += " " + tr.Wheel
	}
	s := fmt.Sprintf("%g %s: %s -> %s", tr.At, name, tr.From, tr.To)
	if !math.IsNaN(tr.Value) {
		s += fmt.Sprintf(", value %.6g", tr.Value)
	}
	if !math.IsNaN(tr.Limit) {
		s += fmt.Sprintf(", limit %.6g", tr.Limit)
	}
	switch {
	case tr.Say:
		s += fmt.Sprintf(", say %q", tr.Text)
		if tr.Short != "" {
			s += fmt.Sprintf(" or %q", tr.Short)
		}
	case tr.Why != "":
		s += ", silent: " + tr.Why
	}
	return s
}

func play(t *testing.T, voc *words, samples string, step func(now float64, env []float64, situation uint64)) {
	rows, err := csv.NewReader(strings.NewReader(samples)).ReadAll()
	require.NoError(t, err)
	env := voc.row(t, nil)
	situation := uint64(0)
	for _, row := range rows[1:] {
		for i, cell := range row {
			head := rows[0][i]
			switch {
			case i == 0 || cell == "":
			case head == "situation":
				situation = 0
				for _, s := range strings.Split(cell, "+") {
					if k := slices.Index(voc.Situations(), s); s != "none" {
						require.GreaterOrEqual(t, k, 0, s)
						situation |= 1 << k
					}
				}
			default:
				n, ok := voc.Name(head)
				require.True(t, ok && !n.Const, head)
				env[n.Index] = math.NaN()
				if cell != "?" {
					env[n.Index], err = strconv.ParseFloat(cell, 64)
					require.NoError(t, err)
				}
			}
		}
		now, err := strconv.ParseFloat(row[0], 64)
		require.NoError(t, err)
		step(now, env, situation)
	}
}

// TestMistakes lists everything that is wrong with some files; every file of the archive but want is read.
func TestMistakes(t *testing.T) {
	each(t, "mistakes", func(t *testing.T, in map[string]string) string {
		var files []rules.Source
		for name, data := range in {
			if name != "want" {
				files = append(files, rules.Source{Name: name, Data: []byte(data)})
			}
		}
		slices.SortFunc(files, func(a, b rules.Source) int { return strings.Compare(a.Name, b.Name) })
		set, err := rules.Compile(files, car())
		if err == nil {
			return "no mistake: " + strconv.Itoa(len(set.Rules())) + " rules\n"
		}
		require.ErrorIs(t, err, document.ErrInvalid)
		require.Nil(t, set)
		for _, e := range err.(interface{ Unwrap() []error }).Unwrap() {
			_, ok := errors.AsType[*document.Error](e)
			require.True(t, ok)
		}
		return err.Error() + "\n"
	})
}
