package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant"
	"earshot/assistant/assembly"
)

// tellOn prints messages to the standard error.
func tellOn(c *cobra.Command) func(string) {
	return func(s string) { fmt.Fprintf(c.ErrOrStderr(), "earshot: %s\n", s) }
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// printSpeaker writes each cue as one line: time, lap, place, words.
type printSpeaker struct{ w io.Writer }

func (s printSpeaker) Say(u assistant.Utterance) {
	assembly.PrintLine(s.w, u.At, u.Lap, u.Place, u.Priority, u.Text)
}

func (s printSpeaker) Hush(float64) {}

// table prints rows in columns that line up.
func table(w io.Writer, rows [][]string) {
	var width []int
	for _, r := range rows {
		for i, cell := range r {
			if i == len(width) {
				width = append(width, 0)
			}
			width[i] = max(width[i], len([]rune(cell)))
		}
	}
	for _, r := range rows {
		var b strings.Builder
		for i, cell := range r {
			b.WriteString(cell)
			if i < len(r)-1 {
				b.WriteString(strings.Repeat(" ", width[i]-len([]rune(cell))+2))
			}
		}
		fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
	}
}
