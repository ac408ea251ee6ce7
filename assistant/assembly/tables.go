package assembly

import (
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"strings"

	"github.com/parquet-go/parquet-go"

	"earshot/assistant/channel"
	"earshot/assistant/journal"
)

// A csvTable writes samples as CSV: a header, a row of units, then one row a sample. A number has as many digits as
// it takes to read the same float64 again.
type csvTable struct {
	w       io.Writer
	columns []column
	line    []byte
	err     error
}

func newCSVTable(w io.Writer, columns []column) *csvTable {
	t := &csvTable{w: w, columns: columns}
	names, units := []string{"time"}, []string{"s"}
	for _, k := range columns {
		names = append(names, k.name)
		units = append(units, unitCell(k.unit))
	}
	t.line = appendCells(t.line, names)
	t.line = appendCells(t.line, units)
	_, t.err = w.Write(t.line)
	return t
}

// unitCell is what the row of units says: nothing for a bare number.
func unitCell(u channel.Unit) string {
	if u.Quantity == channel.None {
		return ""
	}
	return u.Spelling
}

func (t *csvTable) row(at float64, values []float64) error {
	if t.err != nil {
		return t.err
	}
	b := appendNumber(t.line[:0], at)
	for i, v := range values {
		b = append(b, ',')
		if labels := t.columns[i].labels; v >= 0 && v < float64(len(labels)) && v == math.Trunc(v) {
			b = append(b, labels[int(v)]...)
			continue
		}
		b = appendNumber(b, v)
	}
	t.line = append(b, '\n')
	_, t.err = t.w.Write(t.line)
	return t.err
}

func (t *csvTable) close() error { return nil } // row and the writer below have told their errors

// appendNumber appends the shortest text that reads as the same float64; what is no finite number is absent.
func appendNumber(b []byte, v float64) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return b
	}
	return strconv.AppendFloat(b, v, 'g', -1, 64)
}

// appendCells appends one line of texts (RFC 4180).
func appendCells(b []byte, cells []string) []byte {
	for i, s := range cells {
		if i > 0 {
			b = append(b, ',')
		}
		if strings.ContainsAny(s, ",\"\r\n") {
			s = `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
		}
		b = append(b, s...)
	}
	return append(b, '\n')
}

// Rows of one row group: what is kept in memory. Smaller groups would make the list of them long in a day's file.
const rowsPerGroup = 16384

// A parquetTable writes samples as Parquet: doubles, null where there is no reading.
type parquetTable struct {
	w     *parquet.GenericWriter[any]
	place []int // of each column in a row of the file; time is the last of place
	rows  []parquet.Row
	n     int
}

const rowsPerWrite = 256

func newParquetTable(w io.Writer, columns []column) *parquetTable {
	group := parquet.Group{"time": parquet.Leaf(parquet.DoubleType)}
	options := []parquet.WriterOption{
		parquet.MaxRowsPerRowGroup(rowsPerGroup), parquet.Compression(&parquet.Zstd),
		parquet.CreatedBy("earshot", "", ""), parquet.PageBufferSize(64 << 10),
		parquet.KeyValueMetadata("unit.time", "s"),
	}
	for _, k := range columns {
		group[k.name] = parquet.Optional(parquet.Leaf(parquet.DoubleType))
		options = append(options, parquet.KeyValueMetadata("unit."+k.name, k.unit.Spelling))
	}
	schema := parquet.NewSchema("samples", group)
	t := &parquetTable{rows: make([]parquet.Row, rowsPerWrite)}
	for _, name := range append(names(columns), "time") {
		leaf, _ := schema.Lookup(name)
		t.place = append(t.place, leaf.ColumnIndex)
	}
	for i := range t.rows {
		t.rows[i] = make(parquet.Row, len(t.place))
	}
	t.w = parquet.NewGenericWriter[any](w, append(options, schema)...)
	return t
}

func names(columns []column) []string {
	var list []string
	for _, k := range columns {
		list = append(list, k.name)
	}
	return list
}

func (t *parquetTable) row(at float64, values []float64) error {
	row := t.rows[t.n]
	for i, v := range values {
		at := t.place[i]
		if math.IsNaN(v) || math.IsInf(v, 0) {
			row[at] = parquet.NullValue().Level(0, 0, at)
		} else {
			row[at] = parquet.DoubleValue(v).Level(0, 1, at)
		}
	}
	last := t.place[len(values)]
	row[last] = parquet.DoubleValue(at).Level(0, 0, last)
	if t.n++; t.n == len(t.rows) {
		return t.flush()
	}
	return nil
}

func (t *parquetTable) flush() error {
	_, err := t.w.WriteRows(t.rows[:t.n])
	t.n = 0
	return err
}

func (t *parquetTable) close() error {
	if err := t.flush(); err != nil {
		return err
	}
	return t.w.Close()
}

// An eventTable writes the events of one kind as CSV: a header, a row of units, then one row an event.
type eventTable struct {
	w      io.Writer
	kind   string // of the events that are rows
	fields []eventField
	cells  []string
	rows   int
	err    error
}

// An eventField is one column: a field of the body, or one wheel of it.
type eventField struct {
	index int
	wheel int // -1: not of a wheel
	unit  channel.Unit
}

// quantityOf tells what the numbers in the bodies of events measure.
var quantityOf = map[string]channel.Quantity{
	"time": channel.Time, "feed_time": channel.Time, "sectors": channel.Time, "length": channel.Length,
	"fuel_used": channel.Volume, "tyre_pressure": channel.Pressure, "tyre_temperature": channel.Temperature,
	"brake_peak": channel.Temperature, "brake_temperature": channel.Temperature,
	"entry_speed": channel.Velocity, "min_speed": channel.Velocity, "exit_speed": channel.Velocity,
	"speed": channel.Velocity, "balance": channel.Angle, "max_slip": channel.Ratio, "gear": channel.None,
	"min_gear":  channel.None,
	"potential": channel.Time, "phase_times": channel.Time, "time_lost": channel.Time, "line_apex": channel.Length,
	"line_most": channel.Length, "invalid_distance": channel.Length,
}

func newEventTable(w io.Writer, what string, shown bool, cfg Config) *eventTable {
	var body journal.Body
	switch what {
	case "laps":
		body = journal.NewLap()
	case "marks":
		body = journal.NewMark()
	case "corners":
		body = journal.NewCorner()
	}
	t := &eventTable{w: w, kind: body.Kind()}
	unitOf := func(name string) channel.Unit {
		q, ok := quantityOf[name]
		if !ok {
			q = channel.None
		}
		spelling := channel.InsideUnit(q)
		if d, ok := cfg.Display()[q]; ok && shown {
			spelling = d.Unit
		}
		u, _ := channel.UnitNamed(spelling)
		return u
	}
	header, units := []string{"t", "lap", "distance"}, []string{"s", "", "m"}
	bt := reflect.TypeOf(body).Elem()
	for i := range bt.NumField() {
		name, _, _ := strings.Cut(bt.Field(i).Tag.Get("json"), ",")
		unit := unitOf(name)
		if bt.Field(i).Type != reflect.TypeFor[journal.Wheels]() {
			t.fields = append(t.fields, eventField{i, -1, unit})
			header, units = append(header, name), append(units, unitCell(unit))
			continue
		}
		for w := range channel.Wheel(4) {
			t.fields = append(t.fields, eventField{i, int(w), unit})
			header, units = append(header, name+"_"+w.Suffix()), append(units, unitCell(unit))
		}
	}
	_, t.err = w.Write(appendCells(appendCells(nil, header), units))
	return t
}

// event writes an event of the table's kind and passes over others.
func (t *eventTable) event(e journal.Event) error {
	if t.err != nil || e.Body.Kind() != t.kind {
		return t.err
	}
	lap := ""
	if e.Lap >= 0 {
		lap = strconv.Itoa(e.Lap)
	}
	t.cells = append(t.cells[:0], eventNumber(journal.Num(e.T)), lap, eventNumber(e.Distance))
	body := reflect.ValueOf(e.Body).Elem()
	for _, f := range t.fields {
		t.cells = append(t.cells, f.cell(body.Field(f.index).Interface()))
	}
	t.rows++
	_, t.err = t.w.Write(appendCells(nil, t.cells))
	return t.err
}

// eventNumber writes a number as the journal does, so that a table made of a journal and one made by replaying are the
// same.
func eventNumber(n journal.Num) string {
	if n.IsZero() {
		return ""
	}
	b, _ := n.MarshalJSON() // never fails
	return string(b)
}

func (f eventField) cell(v any) string {
	number := func(n journal.Num) string {
		if f.unit.Scale != 1 || f.unit.Offset != 0 {
			n = journal.Num(f.unit.Out(float64(n)))
		}
		return eventNumber(n)
	}
	switch v := v.(type) {
	case journal.Num:
		return number(v)
	case journal.Wheels:
		return number(v[f.wheel])
	case []journal.Num:
		var list []string
		for _, n := range v {
			list = append(list, number(n))
		}
		return strings.Join(list, "; ")
	case []string:
		return harmless(strings.Join(v, "; "))
	case string:
		return harmless(v)
	}
	return fmt.Sprint(v)
}

// harmless puts an apostrophe before a text that a spreadsheet would run as a formula (CWE-1236). Numbers never come
// here.
func harmless(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

func (t *eventTable) close() error { return t.err }
