package assembly

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/journal"
	"earshot/configs/document"
)

// Samples is what an Export holds besides "laps", "marks" and "corners".
const Samples = "samples"

// An Export says what table is made of a session or a log.
type Export struct {
	Format   string   // csv, or parquet for samples
	What     string   // Samples, laps, marks or corners
	Units    string   // inside, or display: those of the configuration
	Channels []string // to write, in this order; nil: all that have readings
	Rate     float64  // rows a second; 0: one for each sample
	Computed bool     // also the channels that Earshot works out
}

// Write writes the table and returns how many rows it has. files are a session (an id, its beginning, "last" or its
// folder), a recording, a journal, or the logs of the feed's sources.
func (o Export) Write(ctx context.Context, r Request, files []string, w io.Writer) (rows int, err error) {
	if len(files) == 1 && !strings.Contains(files[0], "=") { // NAME=FILE: of a feed with several sources
		path, d, err := r.fileOrSession(files[0], "what to export")
		switch {
		case err != nil:
			return 0, err
		case d != nil && o.What == Samples:
			path = d.Recording()
		case d != nil:
			path = d.Journal()
		case o.What == Samples && strings.HasSuffix(path, ".jsonl"):
			return 0, fmt.Errorf("%s: a journal holds no samples: name the recording, or use --what laps, marks or "+
				"corners", path)
		}
		files = []string{path}
	}
	if o.What == Samples {
		rows, err = o.samples(ctx, r, files, w)
	} else {
		rows, err = o.happenings(ctx, r, files, w)
	}
	return rows, cmp.Or(err, ctx.Err())
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
func (o Export) samples(ctx context.Context, r Request, files []string, w io.Writer) (rows int, err error) {
	var used []bool
	if len(o.Channels) == 0 {
		quiet := r
		quiet.Tell = nil // what the source lacks is told at the second reading
		if used, err = o.used(ctx, quiet, files); err != nil {
			return 0, err
		}
	}
	d, err := Open(ctx, r, files)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	columns, err := o.columns(d.Parts, used)
	if err != nil {
		return 0, err
	}
	var t sampleTable
	if o.Format == "parquet" {
		t = newParquetTable(w, columns)
	} else {
		t = newCSVTable(w, columns)
	}
	values := make([]float64, len(columns))
	err = o.rows(ctx, d, func(at float64, row channel.Row) error {
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
func (o Export) used(ctx context.Context, r Request, files []string) (used []bool, err error) {
	d, err := Open(ctx, r, files)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	used = make([]bool, d.Channels.Len())
	err = o.rows(ctx, d, func(_ float64, row channel.Row) error {
		for i, v := range row {
			used[i] = used[i] || !math.IsNaN(v) && !math.IsInf(v, 0)
		}
		return nil
	})
	return used, err
}

// columns are the channels asked for, or those used.
func (o Export) columns(p *Parts, used []bool) ([]column, error) {
	shown := map[channel.Quantity]assistant.Display{}
	if o.Units == "display" {
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
	for i, name := range o.Channels {
		id, ok := p.Channels.Lookup(name)
		switch {
		case name == "time":
			errs = append(errs, errors.New("--channels: time is always the first column: leave it out"))
		case !ok:
			errs = append(errs, fmt.Errorf("--channels: there is no channel %q: %s", name,
				document.Meant(name, p.Channels.Names(), "earshot channels lists them")))
		case p.Channels.At(id).Origin == channel.Computed && !o.Computed:
			errs = append(errs, fmt.Errorf("--channels: %s is worked out by Earshot: add --computed", name))
		case slices.Contains(o.Channels[:i], name):
			errs = append(errs, fmt.Errorf("--channels: %s stands twice", name))
		default:
			add(id)
		}
	}
	return columns, errors.Join(errs...)
}

// rows calls emit for every row of the table: the readings of a sample as they came, or with --rate those of each
// step of the clock in which samples came.
func (o Export) rows(ctx context.Context, d *Drive, emit func(at float64, row channel.Row) error) error {
	var core *assistant.Core
	var out assistant.Output
	if o.Computed {
		core = d.Core()
	}
	held := channel.NewHold(d.Channels)
	row := d.Channels.NewRow()
	step, pending := int64(math.MinInt64), false
	grid := func(n int64) float64 { return float64(n) / o.Rate }
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
		in, err := d.Inputs.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		sample := in.Kind == assistant.KindSample
		if sample && o.Rate > 0 {
			// A row at a step of the clock has what had come up to then.
			next := int64(math.Ceil(in.At * o.Rate))
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
		if sample && o.Rate == 0 {
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
func (o Export) happenings(ctx context.Context, r Request, files []string, w io.Writer) (rows int, err error) {
	t := newEventTable(w, o.What, o.Units == "display", r.Config)
	if path := files[0]; strings.HasSuffix(path, ".jsonl") {
		events, err := ReadJournal(path)
		if errors.Is(err, journal.ErrTorn) || errors.As(err, new(*journal.LineError)) {
			r.tell(fmt.Sprintf("%s: %v; the table is made of the rest", path, err))
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
	d, err := Open(ctx, r, files)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	if _, err := d.Replay(ctx, Playback{Sinks: []assistant.Sink{assistant.JournalTo(t.event)}}); err != nil {
		return 0, err
	}
	return t.rows, t.close()
}
