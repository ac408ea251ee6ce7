package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/assembly"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/journal"
	"earshot/assistant/session"
)

// earshot runs a command line in this process.
func earshot(t testing.TB, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs bytes.Buffer
	code = Main(args, strings.NewReader(""), &out, &errs)
	return out.String(), errs.String(), code
}

// demoConfig is the configuration of a user who has set nothing.
func demoConfig() assembly.Config {
	c := assembly.Defaults()
	c.Car = "demo"
	return c
}

// recordDemo makes a recording of the demo's drive, as run would, and returns the samples in it.
func recordDemo(t testing.TB, path string, seconds float64) (set *channel.Set, rows []channel.Sample) {
	t.Helper()
	l, err := assembly.Build(assembly.Request{Config: demoConfig()})
	require.NoError(t, err)
	r, err := session.NewRecorder(path, l.Recorded("demo"), session.Options{Wait: true})
	require.NoError(t, err)
	record := func(in assistant.Input) error { return assistant.Record(r, in) }
	require.NoError(t, record(assistant.Input{Kind: assistant.KindStart, Session: &journal.Session{ID: "demo", Feed: "demo"}}))
	sim, err := demo.New(l.Channels, demo.Options{Seed: 1, Story: true})
	require.NoError(t, err)
	d, err := assembly.NewDemoDrive(l, sim, assembly.DemoWatcher{})
	require.NoError(t, err)
	at := 0.0
	for at < seconds {
		in, err := d.Inputs.Next()
		if err != nil {
			require.ErrorIs(t, err, io.EOF)
			break
		}
		if in.Kind == assistant.KindSample {
			at = in.At
			rows = append(rows, channel.Sample{At: at, Row: append(channel.Row(nil), in.Row...)})
			require.NoError(t, record(in))
		}
	}
	require.NoError(t, record(assistant.Input{Kind: assistant.KindEnd, At: at}))
	require.NoError(t, r.Close())
	require.NotEmpty(t, rows)
	return l.Channels, rows
}

// readTable reads a CSV with the standard library, which knows nothing of this program.
func readTable(t testing.TB, path string) (header, units []string, rows [][]string) {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(all), 2)
	return all[0], all[1], all[2:]
}

// What is exported with the units used inside reads back as the same samples, bit for bit: by the standard library's
// CSV reader and number parser, and by the program's own csv codec through a feed file.
func TestExportedCSVReadsBackBitForBit(t *testing.T) {
	dir := t.TempDir()
	recording, out := filepath.Join(dir, "r.mcap"), filepath.Join(dir, "x.csv")
	set, want := recordDemo(t, recording, 60)
	_, errs, code := earshot(t, "export", recording, "--out", out)
	require.Zero(t, code, errs)
	header, units, rows := readTable(t, out)
	require.Len(t, rows, len(want))
	require.Equal(t, []string{"time", "s"}, []string{header[0], units[0]})
	seen := map[string]bool{}
	for i, cells := range rows {
		at, err := strconv.ParseFloat(cells[0], 64)
		require.NoError(t, err)
		require.Equal(t, want[i].At, at)
		for k, name := range header[1:] {
			id, ok := set.Lookup(name)
			require.True(t, ok, name)
			if cells[k+1] == "" {
				require.False(t, want[i].Row.Has(id))
				continue
			}
			seen[name] = true
			if labels := set.At(id).Labels; labels != nil {
				require.Equal(t, labels[int(want[i].Row[id])], cells[k+1])
				continue
			}
			v, err := strconv.ParseFloat(cells[k+1], 64)
			require.NoError(t, err)
			if math.Float64bits(v) != math.Float64bits(want[i].Row[id]) {
				require.Equal(t, want[i].Row[id], v, "%s in row %d", name, i)
				t.Fatalf("the bits of %s in row %d differ", name, i)
			}
		}
	}
	require.Len(t, seen, len(header)-1, "every column has a reading")

	feed := "name: exported\ntransport: {kind: file}\ncodec: csv\ncsv: {units_row: true}\nchannels:\n"
	for _, name := range header {
		feed += fmt.Sprintf("  %s: {column: %s}\n", name, name)
	}
	path := filepath.Join(dir, "exported.yaml")
	require.NoError(t, os.WriteFile(path, []byte(feed), 0o644))
	cfg := demoConfig()
	cfg.Feed = path
	c := newExport()
	c.SetContext(context.Background())
	l, err := assembly.Open(t.Context(), assembly.Request{Config: cfg}, []string{out})
	require.NoError(t, err)
	n := 0
	for {
		in, err := l.Inputs.Next()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		if in.Kind != assistant.KindSample {
			require.Equal(t, assistant.KindTick, in.Kind, "nothing was refused: %v", in.Health)
			continue
		}
		require.Equal(t, want[n].At, in.At)
		for id := range set.Len() {
			other, ok := l.Channels.Lookup(set.At(channel.ID(id)).Name)
			require.True(t, ok)
			a, b := want[n].Row[id], in.Row[other]
			same := math.Float64bits(a) == math.Float64bits(b) || math.IsNaN(a) && math.IsNaN(b)
			// The codec adds its offset of zero, which makes the negative zero the positive one.
			if !same && !(a == 0 && b == 0) {
				t.Fatalf("%s in row %d: %v, read back %v", set.At(channel.ID(id)).Name, n, a, b)
			}
		}
		n++
	}
	require.NoError(t, l.Close())
	require.Equal(t, len(want), n)
}

// Parquet is read back by the format's library: doubles under the channels' names, nulls where there was no reading,
// units beside them.
func TestExportedParquetReadsBack(t *testing.T) {
	dir := t.TempDir()
	recording, out := filepath.Join(dir, "r.mcap"), filepath.Join(dir, "x.parquet")
	set, want := recordDemo(t, recording, 30)
	_, errs, code := earshot(t, "export", recording, "--format", "parquet", "--out", out)
	require.Zero(t, code, errs)
	f, err := os.Open(out)
	require.NoError(t, err)
	defer f.Close()
	info, err := f.Stat()
	require.NoError(t, err)
	file, err := parquet.OpenFile(f, info.Size())
	require.NoError(t, err)
	require.EqualValues(t, len(want), file.NumRows())
	unit, ok := file.Lookup("unit.tyre_pressure_fl")
	require.True(t, ok)
	require.Equal(t, "kPa", unit)
	columns := file.Schema().Columns()
	reader := parquet.NewReader(file)
	row := make([]parquet.Row, 1)
	nulls := 0
	for i := range want {
		n, err := reader.ReadRows(row)
		require.Equal(t, 1, n, err)
		for _, v := range row[0] {
			name := columns[v.Column()][0]
			if name == "time" {
				require.Equal(t, want[i].At, v.Double())
				continue
			}
			id, ok := set.Lookup(name)
			require.True(t, ok, name)
			if v.IsNull() {
				nulls++
				require.False(t, want[i].Row.Has(id), name)
				continue
			}
			if math.Float64bits(v.Double()) != math.Float64bits(want[i].Row[id]) {
				t.Fatalf("%s in row %d: %v, want %v", name, i, v.Double(), want[i].Row[id])
			}
		}
	}
	require.Positive(t, nulls)
}

// The computed channels of an export are those that the journal of a replay tells of: at the end of each lap the number
// of the last one, and its time.
func TestExportComputed(t *testing.T) {
	dir := t.TempDir()
	recording := filepath.Join(dir, "r.mcap")
	recordDemo(t, recording, 300)
	laps, out := filepath.Join(dir, "laps.csv"), filepath.Join(dir, "x.csv")
	_, errs, code := earshot(t, "export", recording, "--what", "laps", "--out", laps)
	require.Zero(t, code, errs)
	_, errs, code = earshot(t, "export", recording, "--computed", "--rate", "5", "--channels", "lap,last_lap_time,speed", "--units",
		"display", "--out", out)
	require.Zero(t, code, errs)
	header, _, done := readTable(t, laps)
	require.Equal(t, []string{"t", "lap", "distance", "number", "time", "valid"}, header[:6])
	require.GreaterOrEqual(t, len(done), 2)
	want := map[string]string{} // lap time by number of the lap that follows
	for _, lap := range done {
		n, err := strconv.Atoi(lap[3])
		require.NoError(t, err)
		want[strconv.Itoa(n+1)] = lap[4]
	}
	_, units, rows := readTable(t, out)
	require.Equal(t, []string{"s", "", "s", "km/h"}, units)
	last, met := 0.0, map[string]bool{}
	for i, r := range rows {
		at, err := strconv.ParseFloat(r[0], 64)
		require.NoError(t, err)
		require.InDelta(t, math.Round(at*5)/5, at, 1e-9, "on a step of the clock")
		require.True(t, i == 0 || at > last)
		last = at
		// In the sample in which a lap is done its time is known and its number is still that lap's.
		inside := i > 0 && i < len(rows)-1 && rows[i-1][1] == r[1] && rows[i+1][1] == r[1]
		if w, ok := want[r[1]]; ok && r[2] != "" && inside {
			v, err := strconv.ParseFloat(r[2], 64)
			require.NoError(t, err)
			number, err := journal.Num(v).MarshalJSON()
			require.NoError(t, err)
			require.Equal(t, w, string(number))
			met[r[1]] = true
		}
	}
	require.NotEmpty(t, met)
}
