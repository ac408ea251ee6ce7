package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant"
	"earshot/assistant/assembly"
	"earshot/assistant/channel"
	"earshot/assistant/journal"
	"earshot/assistant/session"
	"earshot/configs/document"
)

// exportOptions are what the command line of export says.
type exportOptions struct {
	format, out, what, units string
	channels                 []string
	rate                     float64
	computed, force          bool
}

func newExport() *cobra.Command {
	var o exportOptions
	c := &cobra.Command{
		Use:   "export [SESSION|RECORDING.mcap|LOG ...]",
		Short: "write samples, laps, marks or corners as a table for other programs",
		Long: `Export writes what a session holds as CSV (a header, a row of units, then one row a sample) or as Parquet
(a column for each channel; absent readings are null, units are in the file's metadata as unit.CHANNEL).

The source is a session (an id or the beginning of one, "last", a session's folder), a recording, a journal (for laps, marks
and corners) or a log that the feed file describes. Default: last.

Readings stand as they came, a row for each sample; an empty cell is absent. With --rate there is one row for each step of
the clock, with the readings of that moment; a step in which no sample came has no row. --computed adds the channels that
Earshot works out. Without --channels every channel that has a reading is a column.

A choice, such as the flag, stands as its word in CSV and as its number in Parquet.

A CSV with --units inside holds every reading to the last bit; a feed file with codec: csv and csv: {units_row: true} reads it.`,
		Example: `  earshot export --out last.csv
  earshot export 20260412 --format parquet --rate 10 --computed --out session.parquet
  earshot export --what laps --units display --out laps.csv`,
		Args: cobra.ArbitraryArgs, // how many logs there are depends on the feed
	}
	addFileFlags(c)
	f := c.Flags()
	f.StringVar(&o.format, "format", "csv", "csv or parquet")
	f.StringVar(&o.out, "out", "", "where the table goes; - is the standard output (CSV only)")
	f.StringVar(&o.what, "what", "samples", "samples, laps, marks or corners")
	f.StringSliceVar(&o.channels, "channels", nil, "channels to write, in this order (default: all that have readings)")
	f.Float64Var(&o.rate, "rate", 0, "rows a second (default: one for each sample)")
	f.StringVar(&o.units, "units", "inside", "inside (m/s, °C, kPa, l, rad) or display (those of the configuration)")
	f.BoolVar(&o.computed, "computed", false, "also the channels that Earshot works out")
	f.BoolVar(&o.force, "force", false, "put the table in the place of a file that exists")
	addSessionsFlag(c, "folder of the sessions")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := o.check(c); err != nil {
			return err
		}
		cfg, err := loadConfig(c)
		if err != nil {
			return err
		}
		if len(args) == 0 {
			args = []string{"last"}
		}
		return o.export(c, cfg, args)
	}
	return c
}

// check finds what cannot be meant, all of it.
func (o *exportOptions) check(c *cobra.Command) error {
	var bad []string
	if o.out == "" {
		bad = append(bad, "--out is missing: name the file to write")
	}
	switch o.format {
	case "csv":
	case "parquet":
		if o.what != "samples" {
			bad = append(bad, fmt.Sprintf("--what %s is written as csv only", o.what))
		}
		if o.out == "-" {
			bad = append(bad, "--format parquet needs a file to write to")
		}
	default:
		bad = append(bad, fmt.Sprintf("--format %s: use csv or parquet", o.format))
	}
	switch o.what {
	case "samples":
	case "laps", "marks", "corners":
		for _, name := range []string{"channels", "rate", "computed"} {
			if c.Flags().Changed(name) {
				bad = append(bad, fmt.Sprintf("--%s is for --what samples", name))
			}
		}
	default:
		bad = append(bad, fmt.Sprintf("--what %s: use samples, laps, marks or corners", o.what))
	}
	if o.units != "inside" && o.units != "display" {
		bad = append(bad, fmt.Sprintf("--units %s: use inside or display", o.units))
	}
	if c.Flags().Changed("rate") && !(o.rate > 0 && o.rate <= 10000) {
		bad = append(bad, fmt.Sprintf("--rate %g: write rows a second, above 0 and up to 10000", o.rate))
	}
	if len(bad) > 0 {
		return usage(c, "%s", strings.Join(bad, "\n"))
	}
	return nil
}

func (o *exportOptions) export(c *cobra.Command, cfg assembly.Config, args []string) error {
	paths := args
	if len(args) == 1 && !strings.Contains(args[0], "=") { // NAME=FILE: of a feed with several sources
		path, err := o.source(cfg, args[0])
		if err != nil {
			return err
		}
		paths = []string{path}
	}
	out, err := createTable(o.out, o.force, c.OutOrStdout())
	if err != nil {
		return err
	}
	rows := 0
	if o.what == "samples" {
		rows, err = o.samples(c, cfg, paths, out)
	} else {
		rows, err = o.happenings(c, cfg, paths, out)
	}
	if err == nil {
		err = c.Context().Err()
	}
	if err = out.finish(err); err != nil {
		return err
	}
	fmt.Fprintf(c.ErrOrStderr(), "earshot: %s: %d rows\n", o.out, rows)
	return nil
}

// source finds the file to read: a path, or what belongs to a session.
func (o *exportOptions) source(cfg assembly.Config, ref string) (string, error) {
	if info, err := os.Stat(ref); err == nil && !info.IsDir() {
		if strings.HasSuffix(ref, ".jsonl") && o.what == "samples" {
			return "", fmt.Errorf("%s: a journal holds no samples: name the recording, or use --what laps, marks or corners", ref)
		}
		return ref, nil
	} else if err == nil {
		if ref, err = filepath.Abs(ref); err != nil {
			return "", err
		}
	} else if filepath.Ext(ref) != "" || strings.ContainsRune(ref, filepath.Separator) {
		return "", fmt.Errorf("what to export: %w", err)
	}
	root, err := cfg.SessionsFolder()
	if err != nil {
		return "", err
	}
	d, err := session.Find(root, ref)
	if err != nil {
		return "", err
	}
	if o.what == "samples" {
		return d.Recording(), nil
	}
	return d.Journal(), nil
}

// A sampleTable takes rows of readings.
type sampleTable interface {
	row(at float64, values []float64) error // NaN is absent
	close() error
}

// A column of a table of samples.
type column struct {
	name   string
	id     channel.ID
	unit   channel.Unit // what the column is written in
	labels []string     // of a choice: what the values 0, 1, 2 … are called
}

// samples writes the table of samples.
func (o *exportOptions) samples(c *cobra.Command, cfg assembly.Config, paths []string, w io.Writer) (rows int, err error) {
	var used []bool
	if len(o.channels) == 0 {
		told := c.ErrOrStderr()
		c.SetErr(io.Discard) // what the source lacks is told at the second reading
		used, err = o.used(c, cfg, paths)
		c.SetErr(told)
		if err != nil {
			return 0, err
		}
	}
	d, err := open(c, cfg, paths)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	columns, err := o.columns(d.Parts, used)
	if err != nil {
		return 0, err
	}
	var t sampleTable
	if o.format == "parquet" {
		t = newParquetTable(w, columns)
	} else {
		t = newCSVTable(w, columns)
	}
	values := make([]float64, len(columns))
	err = o.rows(c.Context(), d, func(at float64, row channel.Row) error {
		for i, k := range columns {
			values[i] = k.unit.Out(row[k.id])
			if k.unit.Scale == 1 && k.unit.Offset == 0 {
				values[i] = row[k.id] // to the last bit
			}
		}
		rows++
		return t.row(at, values)
	})
	if err == nil {
		err = d.Unread()
	}
	return rows, errors.Join(err, t.close())
}

// used finds the channels that have a reading.
func (o *exportOptions) used(c *cobra.Command, cfg assembly.Config, paths []string) (used []bool, err error) {
	d, err := open(c, cfg, paths)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	used = make([]bool, d.Channels.Len())
	err = o.rows(c.Context(), d, func(_ float64, row channel.Row) error {
		for i, v := range row {
			used[i] = used[i] || !math.IsNaN(v) && !math.IsInf(v, 0)
		}
		return nil
	})
	return used, err
}

// columns are the channels asked for, or those used.
func (o *exportOptions) columns(p *assembly.Parts, used []bool) ([]column, error) {
	shown := map[channel.Quantity]assistant.Display{}
	if o.units == "display" {
		shown = p.Config.Display()
	}
	var columns []column
	add := func(id channel.ID) {
		ch := p.Channels.At(id)
		name := channel.InsideUnit(ch.Quantity)
		if d, ok := shown[ch.Quantity]; ok {
			name = d.Unit
		}
		u, _ := channel.UnitNamed(name)
		columns = append(columns, column{ch.Name, id, u, ch.Labels})
	}
	for i, yes := range used {
		if yes {
			add(channel.ID(i))
		}
	}
	var errs []error
	for i, name := range o.channels {
		id, ok := p.Channels.Lookup(name)
		switch {
		case name == "time":
			errs = append(errs, errors.New("--channels: time is always the first column: leave it out"))
		case !ok:
			errs = append(errs, fmt.Errorf("--channels: there is no channel %q: %s", name, document.Meant(name, p.Channels.Names(), "earshot channels lists them")))
		case p.Channels.At(id).Origin == channel.Computed && !o.computed:
			errs = append(errs, fmt.Errorf("--channels: %s is worked out by Earshot: add --computed", name))
		case slices.Contains(o.channels[:i], name):
			errs = append(errs, fmt.Errorf("--channels: %s stands twice", name))
		default:
			add(id)
		}
	}
	return columns, errors.Join(errs...)
}

// rows calls emit for every row of the table: the readings of a sample as they came, or with --rate those of each
// step of the clock in which samples came.
func (o *exportOptions) rows(ctx context.Context, d *assembly.Drive, emit func(at float64, row channel.Row) error) error {
	var core *assistant.Core
	var out assistant.Output
	if o.computed {
		core = d.Core()
	}
	held := channel.NewHold(d.Channels)
	row := d.Channels.NewRow()
	step, pending := int64(math.MinInt64), false
	grid := func(n int64) float64 { return float64(n) / o.rate }
	flush := func() error {
		pending = false
		held.Expire(grid(step))
		copy(row, held.Row)
		if core != nil {
			takeComputed(d.Channels, row, core.Row())
		}
		return emit(grid(step), row)
	}
	for n := 0; ; n++ {
		if n%1000 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		in, err := d.Tape.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		sample := in.Kind == assistant.KindSample
		if sample && o.rate > 0 {
			// A row at a step of the clock has what had come up to then.
			next := int64(math.Ceil(in.At * o.rate))
			if pending && next > step {
				if err := flush(); err != nil {
					return err
				}
			}
			step, pending = max(step, next), true
			held.Update(channel.Sample{At: in.At, Row: in.Row})
		}
		if core != nil {
			out.Reset()
			core.Step(in, &out)
		}
		if sample && o.rate == 0 {
			copy(row, in.Row)
			if core != nil {
				takeComputed(d.Channels, row, core.Row())
			}
			if err := emit(in.At, row); err != nil {
				return err
			}
		}
	}
	if pending {
		return flush()
	}
	return nil
}

// takeComputed puts the computed channels of from into row.
func takeComputed(set *channel.Set, row, from channel.Row) {
	for i := range row {
		if set.At(channel.ID(i)).Origin == channel.Computed {
			row[i] = from[i]
		}
	}
}

// happenings writes laps, marks or corners.
func (o *exportOptions) happenings(c *cobra.Command, cfg assembly.Config, paths []string, w io.Writer) (rows int, err error) {
	t := newEventTable(w, o.what, o.units == "display", cfg)
	if path := paths[0]; strings.HasSuffix(path, ".jsonl") {
		events, err := assembly.ReadJournal(path)
		if errors.Is(err, journal.ErrTorn) || errors.As(err, new(*journal.LineError)) {
			fmt.Fprintf(c.ErrOrStderr(), "earshot: %s: %v; the table is made of the rest\n", path, err)
		} else if err != nil {
			return 0, err
		}
		for _, e := range events {
			if err := t.event(e); err != nil {
				return 0, err
			}
		}
		return t.rows, t.close()
	}
	d, err := open(c, cfg, paths)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	if _, err := d.Replay(c.Context(), assembly.Playback{Journal: t.event}); err != nil {
		return 0, err
	}
	return t.rows, t.close()
}

// An outFile is written beside its place and put there when it is complete.
type outFile struct {
	*bufio.Writer
	f    *os.File // nil: the standard output
	path string
}

func createTable(path string, force bool, stdout io.Writer) (*outFile, error) {
	if path == "-" {
		return &outFile{Writer: bufio.NewWriterSize(stdout, 1<<16)}, nil
	}
	if info, err := os.Stat(path); err == nil && (!force || info.IsDir()) {
		return nil, fmt.Errorf("%s exists: choose another name, or --force to replace it", path)
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("the table: %w", err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".part*")
	if err != nil {
		return nil, fmt.Errorf("the table: %w", err)
	}
	return &outFile{Writer: bufio.NewWriterSize(f, 1<<16), f: f, path: path}, nil
}

// finish puts the file in its place; after an error it removes what was written.
func (o *outFile) finish(err error) error {
	if err == nil {
		err = o.Flush()
	}
	if o.f == nil {
		return err
	}
	if err == nil {
		err = o.f.Chmod(0o644)
	}
	if cerr := o.f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Rename(o.f.Name(), o.path)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("the table %s was not written: %w", o.path, err), os.Remove(o.f.Name()))
	}
	return nil
}
