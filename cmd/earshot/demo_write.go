package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/folder"
)

// The files of a drive that was written down.
const (
	samplesFile   = "samples.csv"
	truthFile     = "truth.json"
	tableFeedFile = "feed.yaml"
)

// writeDemo drives as fast as it can and writes the samples, the feed file for them and the truth into dir. It keeps
// one sample in memory at a time.
func writeDemo(c *cobra.Command, o demo.Options, dir string) error {
	set := channel.NewSet()
	sim, err := demo.New(set, o)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return fmt.Errorf("the folder for the demo: %w", err)
	}
	table, samples := demo.NewTable(set, sim), 0
	err = writeFile(filepath.Join(dir, samplesFile), func(w io.Writer) error {
		line := table.Begin(nil)
		for {
			if _, err := w.Write(line); err != nil {
				return err
			}
			s, ok := sim.Next()
			if !ok {
				return nil
			}
			if samples++; samples%1000 == 0 && c.Context().Err() != nil {
				return c.Context().Err()
			}
			line = table.Append(line[:0], s)
			sim.Presses() // the truth has those that are due too
		}
	})
	if err != nil {
		return err
	}
	err = writeFile(filepath.Join(dir, tableFeedFile), func(w io.Writer) error {
		_, err := w.Write(table.Feed(samplesFile))
		return err
	})
	if err != nil {
		return err
	}
	err = writeFile(filepath.Join(dir, truthFile), func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		return e.Encode(sim.Truth())
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(c.OutOrStdout(), "%d samples, %d laps: %s\ntruth: %s\ntry: earshot replay %s --feed %s\n", samples,
		len(sim.Truth().Done),
		filepath.Join(dir, samplesFile), filepath.Join(dir, truthFile),
		folder.Argument(filepath.Join(dir, samplesFile)), folder.Argument(filepath.Join(dir, tableFeedFile)))
	return nil
}

// writeFile makes a file with what fill writes; the error names it.
func writeFile(path string, fill func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("writing the demo: %w", err)
	}
	w := bufio.NewWriterSize(f, 1<<16)
	err = errors.Join(fill(w), w.Flush(), f.Close())
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return nil
}
