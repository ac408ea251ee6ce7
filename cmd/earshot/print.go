package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant"
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
	printLine(s.w, u.At, u.Lap, u.Place, u.Priority, u.Text)
}

// printLine writes what is said, by whom or how urgent, where and when.
func printLine(w io.Writer, at float64, lapNumber int, metres float64, who, text string) {
	lap, place := "-", "-"
	switch {
	case lapNumber == 0:
		lap = "out"
	case lapNumber > 0:
		lap = fmt.Sprint(lapNumber)
	}
	if !math.IsNaN(metres) {
		place = fmt.Sprintf("%.0f m", metres)
	}
	fmt.Fprintf(w, "%8s  lap %-3s  %7s  %-8s  %s\n", clock(at), lap, place, who, text)
}

func (s printSpeaker) Hush(float64) {}

// clock writes seconds as M:SS.s.
func clock(seconds float64) string {
	tenths := int(math.Round(seconds * 10))
	return fmt.Sprintf("%d:%02d.%d", tenths/600, tenths/10%60, tenths%10)
}

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
