package main

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
	"earshot/assistant/folder"
)

func newExport() *cobra.Command {
	var o assembly.Export
	var out string
	var force bool
	c := &cobra.Command{
		Use:   "export [SESSION|RECORDING.mcap|LOG ...]",
		Short: "write samples, laps, marks or corners as a table for other programs",
		Long: `Export writes what a session holds as CSV (a header, a row of units, then one row a sample) or as Parquet
(a column for each channel; absent readings are null; units are in the file's metadata as unit.CHANNEL).

The source is a session (an id or its beginning, "last", a session's folder), a recording, a journal (for laps, marks
and corners), or a log that the feed file describes. Default: last.

Readings stand as they came, one row a sample; an empty cell is absent. With --rate there is one row for each step of
the clock in which a sample came, with the readings of that moment. --computed adds the channels that Earshot works
out. Without --channels every channel that has a reading is a column.

A choice, such as the flag, is its word in CSV and its number in Parquet.

A CSV with --units inside holds every reading to the last bit. A feed file with codec: csv and csv: {units_row: true}
reads it.`,
		Example: `  earshot export --out last.csv
  earshot export 20260412 --format parquet --rate 10 --computed --out session.parquet
  earshot export --what laps --units display --out laps.csv`,
		Args: cobra.ArbitraryArgs, // how many logs there are depends on the feed
	}
	addFileFlags(c)
	f := c.Flags()
	f.StringVar(&o.Format, "format", "csv", "csv or parquet")
	f.StringVar(&out, "out", "", "where the table goes; - is the standard output (CSV only)")
	f.StringVar(&o.What, "what", "samples", "samples, laps, marks or corners")
	f.StringSliceVar(&o.Channels, "channels", nil, "channels to write, in this order (default: all that have readings)")
	f.Float64Var(&o.Rate, "rate", 0, "rows a second (default: one for each sample)")
	f.StringVar(&o.Units, "units", "inside", "inside (m/s, °C, kPa, l, rad) or display (those of the configuration)")
	f.BoolVar(&o.Computed, "computed", false, "also the channels that Earshot works out")
	f.BoolVar(&force, "force", false, "put the table in the place of a file that exists")
	addSessionsFlag(c, "folder of the sessions")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, args []string) error {
		if err := checkExport(c, o, out); err != nil {
			return err
		}
		if len(args) == 0 {
			args = []string{"last"}
		}
		rows := 0
		err := writeTable(out, force, c.OutOrStdout(), func(w io.Writer) error {
			var err error
			rows, err = o.Write(c.Context(), r, args, w)
			return err
		})
		if err == nil {
			r.Tell(fmt.Sprintf("%s: %d rows", out, rows))
		}
		return err
	})
	return c
}

// checkExport reports all flags that contradict each other.
func checkExport(c *cobra.Command, o assembly.Export, out string) error {
	var bad []string
	if out == "" {
		bad = append(bad, "--out is missing: name the file to write")
	}
	switch o.Format {
	case "csv":
	case "parquet":
		if o.What != "samples" {
			bad = append(bad, fmt.Sprintf("--what %s is written as csv only", o.What))
		}
		if out == "-" {
			bad = append(bad, "--format parquet needs a file to write to")
		}
	default:
		bad = append(bad, fmt.Sprintf("--format %s: use csv or parquet", o.Format))
	}
	switch o.What {
	case "samples":
	case "laps", "marks", "corners":
		for _, name := range []string{"channels", "rate", "computed"} {
			if c.Flags().Changed(name) {
				bad = append(bad, fmt.Sprintf("--%s is for --what samples", name))
			}
		}
	default:
		bad = append(bad, fmt.Sprintf("--what %s: use samples, laps, marks or corners", o.What))
	}
	if o.Units != "inside" && o.Units != "display" {
		bad = append(bad, fmt.Sprintf("--units %s: use inside or display", o.Units))
	}
	if c.Flags().Changed("rate") && !(o.Rate > 0 && o.Rate <= 10000) {
		bad = append(bad, fmt.Sprintf("--rate %g: write rows a second, above 0 and up to 10000", o.Rate))
	}
	if len(bad) > 0 {
		return usage(c, "%s", strings.Join(bad, "\n"))
	}
	return nil
}

// writeTable lets fill write to path, or to the standard output. A file is put in its place when it is complete.
func writeTable(path string, force bool, stdout io.Writer, fill func(io.Writer) error) error {
	if path == "-" {
		w := bufio.NewWriterSize(stdout, 1<<16)
		return cmp.Or(fill(w), w.Flush())
	}
	if info, err := os.Stat(path); err == nil && (!force || info.IsDir()) {
		return fmt.Errorf("%s exists: choose another name, or --force to replace it", path)
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the table: %w", err)
	}
	f, err := folder.Create(path)
	if err != nil {
		return fmt.Errorf("the table: %w", err)
	}
	w := bufio.NewWriterSize(f, 1<<16)
	if err := f.Finish(cmp.Or(fill(w), w.Flush())); err != nil {
		return fmt.Errorf("the table %s was not written: %w", path, err)
	}
	return nil
}
