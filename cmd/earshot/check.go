package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
	"earshot/assistant/words"
)

func newCheck() *cobra.Command {
	var asJSON bool
	var ref string
	var tests []string
	c := &cobra.Command{
		Use:   "check [RULES...]",
		Short: "check feed, car, course and rules files; tell which rules are on",
		Long: `Check reads everything that run would read and reports every mistake at its place. Then it lists the
rules that are on with this feed and car, and for each that is off what it lacks. RULES are files or folders on top of
the rules that ship.

With --test it tries rules: samples in, calls out, as a file of tests says (configs/rules/README.md shows one). With
--session it also says what that session learned.`,
		Example: "  earshot check --feed myfeed.yaml --car mycar.yaml\n  earshot check myrules.yaml\n  earshot " +
			"check myrules.yaml --test myrules_test.yaml\n  earshot check --session last",
		Args: cobra.ArbitraryArgs,
	}
	addFileFlags(c)
	addCoursesFlag(c, "folder of the saved courses, or none (default: the user's state folder)")
	c.Flags().StringArrayVar(&tests, "test", nil, "try the rules with the samples of FILE; may be repeated")
	c.Flags().StringVar(&ref, "session", "", "also tell what that session has learned, and of sensors that did not "+
		"measure: an id, or last")
	c.Flags().BoolVar(&asJSON, "json", false, "for programs")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, args []string) error {
		r.Rules = append(r.Rules, args...)
		r.Saved = true
		p, err := assembly.Build(r)
		if err != nil {
			return err
		}
		if tests != nil {
			return tryRules(c.OutOrStdout(), p, tests, asJSON)
		}
		if _, err := p.Bindings(); err != nil {
			return err
		}
		found := p.Check()
		if ref != "" {
			if found.Driven, err = r.Driven(ref); err != nil {
				return err
			}
		}
		if asJSON {
			return writeJSON(c.OutOrStdout(), found)
		}
		printChecked(c.OutOrStdout(), found)
		return nil
	})
	return c
}

// tryRules prints what came of the tests; a failed one is an error.
func tryRules(w io.Writer, p *assembly.Parts, files []string, asJSON bool) error {
	type tried struct {
		File string `json:"file"`
		Line int    `json:"line"`
		Name string `json:"name"`
		Good bool   `json:"good"`
	}
	all, good := []tried{}, 0
	var errs []error
	for _, name := range files {
		results, err := p.Test(name)
		errs = append(errs, err)
		for _, r := range results {
			all = append(all, tried{name, r.Line, r.Name, r.Good})
			if r.Good {
				good++
			}
		}
	}
	if asJSON {
		if err := writeJSON(w, all); err != nil {
			return err
		}
		return errors.Join(errs...)
	}
	for _, t := range all {
		fmt.Fprintf(w, "%-6s %s:%d: %s\n", map[bool]string{true: "good", false: "failed"}[t.Good], t.File, t.Line,
			t.Name)
	}
	fmt.Fprintf(w, "%d of %d tests are good\n", good, len(all))
	return errors.Join(errs...)
}

// brief shortens the reasons why a rule is off: each lack once, not once per wheel.
func brief(why []string) []string {
	var short []string
	for _, w := range why {
		name, reason, ok := strings.Cut(w, ": ")
		if ok {
			for _, suffix := range []string{"_fl", "_fr", "_rl", "_rr", "_front", "_rear"} {
				if base, cut := strings.CutSuffix(name, suffix); cut {
					reason = strings.ReplaceAll(reason, name, base)
				}
			}
			w = reason
		}
		if !slices.Contains(short, w) {
			short = append(short, w)
		}
	}
	return short
}

func printChecked(w io.Writer, f assembly.Checked) {
	on := 0
	var rows [][]string
	for _, r := range f.Rules {
		state := "off"
		if r.On {
			state = "on"
			on++
		}
		about := strings.Join(brief(r.Why), "; ")
		if len(r.Learned) > 0 {
			about = strings.TrimSuffix("speaks once learned ("+strings.Join(r.Learned, "; ")+"); "+about, "; ")
		}
		if len(r.Instances) > 1 {
			about = strings.TrimSuffix(strings.Join(r.Instances, " ")+"; "+about, "; ")
		}
		rows = append(rows, []string{state, r.Name, r.Priority, about})
	}
	fmt.Fprintf(w, "feed %s: %d channels\n", f.Feed, len(f.Channels))
	fmt.Fprintf(w, "%d of %d rules are on:\n\n", on, len(f.Rules))
	table(w, rows)
	fmt.Fprintf(w, "\nquestions that can be asked: %s\n", strings.Join(f.Answers, ", "))
	if len(f.Courses) > 0 {
		fmt.Fprintf(w, "\nsaved courses that can be recognised: %d (earshot course list)\n", len(f.Courses))
	}
	if len(f.Unspoken) > 0 {
		fmt.Fprintf(w, "\nnot in the voice, so a synthesiser says them or they are spelled:\n")
		for _, p := range f.Unspoken {
			fmt.Fprintf(w, "  %s\n", p)
		}
	}
	for _, n := range f.Notes {
		fmt.Fprintf(w, "\nnote: %s\n", n)
	}
	if f.Driven != nil {
		printDriven(w, f.Driven)
	}
}

func printDriven(w io.Writer, d *assembly.Driven) {
	fmt.Fprintf(w, "\nin session %s:\n", d.Session)
	if len(d.Learned) == 0 {
		fmt.Fprintln(w, "  its journal does not tell what was learned")
	}
	for _, l := range d.Learned {
		if l.At.IsZero() {
			fmt.Fprintf(w, "  %s\n", words.English.NeverLearned(l.What, l.Lacks))
			continue
		}
		fmt.Fprintf(w, "  %s learned at %s", strings.ReplaceAll(l.What, "_", " "), assembly.Clock(float64(l.At)))
		if l.Detail != "" {
			fmt.Fprintf(w, ": %s", l.Detail)
		}
		fmt.Fprintln(w)
	}
	for _, s := range d.Sensors {
		fmt.Fprintf(w, "  %s at %s: %s\n", s.Part, assembly.Clock(float64(s.From)), s.Text)
	}
}
