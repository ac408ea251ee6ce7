package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"strconv"

	"github.com/spf13/cobra"

	"earshot/assistant"
	"earshot/assistant/assembly"
)

func newReplay() *cobra.Command {
	var journalPath, audioPath, speed string
	var keep bool
	c := &cobra.Command{
		Use:   "replay [FILE ...]",
		Short: "run a recorded session or a log file through the same path as a live run",
		Long: `Replay reads a recording (.mcap, written by run) or a log that the feed file describes, plain or
gzipped, and writes the journal that a live run would have written. A recording brings its own feed, car, course and
rules; flags replace them. A feed of several sources takes NAME=FILE for each that has no path in the feed file. Where
all have one, no FILE is needed.

A recording also brings the best laps that were known when it was made; with a log those of today are read. Replay
changes them only with --keep-bests.

--courses FOLDER recognises the courses that are saved there and saves what is learned. Without it a recording goes by
the courses that were known when it was made.

By default it goes as fast as it can, writes the journal to the standard output and makes no sound.`,
		Example: "  earshot replay log.csv.gz --feed myfeed.yaml --car mycar.yaml --journal out.jsonl --audio out.wav",
		Args:    cobra.ArbitraryArgs, // how many there may be depends on the feed,
	}
	addFileFlags(c)
	addBestsFlags(c)
	c.Flags().BoolVar(&keep, "keep-bests", false, "keep laps that are better than those of all sessions before, as "+
		"run does")
	addCoursesFlag(c, "folder of saved courses (default: those that a recording holds, else none)")
	c.Flags().StringVar(&journalPath, "journal", "-", "file for the journal; - is the standard output")
	c.Flags().StringVar(&audioPath, "audio", "", "WAV file for what the driver would have heard")
	c.Flags().StringVar(&speed, "speed", "max", "times the speed of the feed's clock, or max")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, args []string) (err error) {
		how := assembly.Playback{Audio: audioPath, KeepBests: keep}
		if how.Speed, err = parseSpeed(c, speed); err != nil {
			return err
		}
		r.Saved = c.Flags().Changed("courses")
		d, err := assembly.Open(c.Context(), r, args)
		if err != nil {
			return err
		}
		defer d.Close()
		return journalInto(c, journalPath, func(s assistant.Sink) error {
			how.Sinks = []assistant.Sink{s}
			_, err := d.Replay(c.Context(), how)
			return err
		})
	})
	return c
}

// journalInto lets play write a journal; - is the standard output.
func journalInto(c *cobra.Command, path string, play func(assistant.Sink) error) error {
	out := c.OutOrStdout()
	if path != "-" {
		f, err := os.Create(path)
		if err != nil {
			return fmt.Errorf("the journal: %w", err)
		}
		defer f.Close()
		out = f
	}
	w := bufio.NewWriter(out)
	err := play(assembly.JournalTo(w))
	if flushErr := w.Flush(); flushErr != nil {
		err = errors.Join(err, fmt.Errorf("the journal: %w", flushErr))
	}
	return err
}

func parseSpeed(c *cobra.Command, s string) (float64, error) {
	if s == "max" {
		return 0, nil
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || !(x > 0 && x <= 1e6) {
		return 0, usage(c, "--speed %s: write a number above 0, or max", s)
	}
	return x, nil
}
