package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
)

func newCheck() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "check [RULES...]",
		Short: "check feed, car, course and rules files; tell which rules are on",
		Long: `Check reads everything that run would read and reports every mistake at its place. Then it tells which
rules are on with this feed and car, and for each that is off what it lacks. RULES are files or folders on top of
the rules that ship.`,
		Example: "  earshot check --feed myfeed.yaml --car mycar.yaml\n  earshot check myrules.yaml",
		Args:    cobra.ArbitraryArgs,
	}
	addFileFlags(c)
	addCoursesFlag(c, "folder of the saved courses, or none (default: the user's state folder)")
	c.Flags().BoolVar(&asJSON, "json", false, "for programs")
	c.RunE = func(c *cobra.Command, args []string) error {
		cfg, err := loadConfig(c)
		if err != nil {
			return err
		}
		cfg.Rules = append(cfg.Rules, args...)
		r := requestOf(c, cfg)
		r.Saved = true
		p, err := assembly.Build(r)
		if err != nil {
			return err
		}
		if _, err := p.Bindings(); err != nil {
			return err
		}
		found := p.Check()
		if asJSON {
			return writeJSON(c.OutOrStdout(), found)
		}
		printChecked(c.OutOrStdout(), found)
		return nil
	}
	return c
}

// brief puts the reasons why a rule is off into as few words as people need: each lack once, not once per wheel.
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
}
