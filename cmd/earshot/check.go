package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant"
)

// A checked is what check found, as it is written with --json.
type checked struct {
	Feed     string        `json:"feed"`
	Channels []string      `json:"channels"`
	Rules    []checkedRule `json:"rules"`
	Answers  []string      `json:"answers"`
	Unspoken []string      `json:"not_in_voice,omitempty"`
	Courses  []string      `json:"courses,omitempty"` // saved, that can be recognised
	Notes    []string      `json:"notes,omitempty"`
}

type checkedRule struct {
	Name      string   `json:"name"`
	File      string   `json:"file"`
	Priority  string   `json:"priority"`
	On        bool     `json:"on"`
	Instances []string `json:"instances,omitempty"`
	Why       []string `json:"why,omitempty"`
	Learned   []string `json:"learned,omitempty"` // what has to be learned while driving before it can speak
}

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
		l, err := load(cfg)
		if err != nil {
			return err
		}
		if _, err := withCourses(cfg, l, tellOn(c)); err != nil {
			return err
		}
		found := inspect(l)
		if asJSON {
			e := json.NewEncoder(c.OutOrStdout())
			e.SetIndent("", "  ")
			return e.Encode(found)
		}
		found.print(c.OutOrStdout())
		return nil
	}
	return c
}

func inspect(l *loaded) checked {
	found := checked{Feed: l.in.feed.Name, Answers: l.rules.Asks()}
	for _, id := range l.feed.Covers(l.channels) {
		found.Channels = append(found.Channels, l.channels.At(id).Name)
	}
	for _, r := range l.rules.Rules() {
		found.Rules = append(found.Rules, checkedRule{r.Name, r.File, string(r.Priority), r.Active, r.Instances, r.Why, r.Learned})
	}
	phrases := append(l.rules.Phrases(), assistant.Phrases(l.rules.Asks())...)
	for _, p := range phrases {
		if _, covered := l.voice.Duration(p); !covered {
			found.Unspoken = append(found.Unspoken, p)
		}
	}
	for _, s := range l.feed.Sources() {
		if at := s.Transport.Exposed(); at != "" && len(s.Transport.From) == 0 {
			found.Notes = append(found.Notes, fmt.Sprintf("the feed listens on %s: anyone on the network can send to it, unless transport: has from: [ADDRESS]", at))
		}
	}
	for _, k := range l.known {
		found.Courses = append(found.Courses, k.Name)
	}
	found.Notes = append(found.Notes, courseNotes(l)...)
	return found
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

func (f checked) print(w io.Writer) {
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
