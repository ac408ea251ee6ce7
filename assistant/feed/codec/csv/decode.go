// Package csv decodes tables of text: a header that names the columns, then one
// record a line, cells between delimiters.
//
// A line is a record, whatever is in it: a quoted cell cannot hold a line end, so that
// one stray quotation mark spoils one line and not the rest of the file.
//
// After a gap in the stream the first line may lack its beginning, which nothing in it would tell, and the source may
// be another: the line is ignored unless it is a header, and until the first record any line that names mapped columns
// is one.
//
// The package is pure: no goroutine, clock, file, network, lock or log.
package csv

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

// A Field is a column and what becomes of its cells.
type Field struct {
	codec.Field
	Column   string // its name in the header; without a header unused
	Number   int    // without a header: the column, from 1
	FromUnit bool   // the units row gives the unit: A and B are filled in from it
	Quantity channel.Quantity
	Scale    float64 // with FromUnit: the reading is raw*Scale + Offset in that unit
	Offset   float64
}

// An Only keeps the lines that have that text in that column.
type Only struct {
	Column string
	Number int
	Text   string
}

// A Layout is all that is mapped of one table.
type Layout struct {
	Datagrams    bool // every datagram ends its last line
	Delimiter    byte
	DecimalComma bool
	NoHeader     bool
	UnitsRow     bool   // the line after the header holds units
	Comment      string // lines that begin so are no records
	Fields       []Field
	Only         []Only
}

// A Decoder turns lines into records. It is a codec.Decoder.
type Decoder struct {
	codec.LineDecoder
	layout Layout
	rec    *codec.Record
	cells  [][]byte
	quoted []bool
	text   []byte // cells with doubled quotation marks, unquoted

	header    []byte // the header line, empty until it came
	again     bool   // after a gap, no record has come yet
	width     int    // cells that a line must have, 0 when not known
	columns   []int  // per field, -1 where the header lacks it
	only      []int
	slots     []int
	empty     []bool // per field: an empty cell has a value too
	noTime    bool   // the column of the time is missing
	wantUnits bool   // the next line is the units row
}

// NewDecoder prepares a decoder for Rows of n channels.
func NewDecoder(l Layout, n int) *Decoder {
	l.Fields, l.Only = slices.Clone(l.Fields), slices.Clone(l.Only) // a units row writes into fields
	for i := range l.Fields {
		l.Fields[i].Column = Name(l.Fields[i].Column)
	}
	for i := range l.Only {
		l.Only[i].Column = Name(l.Only[i].Column)
	}
	if l.Delimiter == 0 {
		l.Delimiter = ','
	}
	d := &Decoder{layout: l, rec: codec.NewRecord(n), columns: make([]int, len(l.Fields)), only: make([]int, len(l.Only))}
	d.Start(l.Datagrams, d.line)
	for i := range l.Fields {
		d.slots = append(d.slots, d.rec.Slot(l.Fields[i].ID))
		_, empty := l.Fields[i].Texts[""]
		d.empty = append(d.empty, empty)
		d.columns[i] = l.Fields[i].Number - 1
	}
	for i := range l.Only {
		d.only[i] = l.Only[i].Number - 1
	}
	d.wantUnits = l.NoHeader && l.UnitsRow
	return d
}

// Gap tells that the stream was torn.
func (d *Decoder) Gap() {
	d.LineDecoder.Gap()
	d.again = true
}

func (d *Decoder) line(p []byte) {
	c := &d.Tally
	if len(bytes.TrimSpace(p)) == 0 {
		c.Ignored++
		return
	}
	if !d.layout.NoHeader {
		if len(d.header) > 0 && bytes.Equal(p, d.header) { // logs put one behind the other
			c.Ignored++
			d.wantUnits = d.layout.UnitsRow
			return
		}
		if len(d.header) == 0 || d.again && d.names(p) {
			c.Ignored++
			d.tryHeader(p)
			return
		}
	}
	if d.layout.Comment != "" && bytes.HasPrefix(p, []byte(d.layout.Comment)) {
		c.Ignored++
		return
	}
	if !d.split(p) {
		c.Refuse(codec.BadSyntax, "quotation marks")
		return
	}
	if d.wantUnits {
		c.Ignored++
		d.wantUnits = false
		d.units()
		return
	}
	d.row()
}

func (d *Decoder) row() {
	c := &d.Tally
	if d.width > 0 && len(d.cells) == d.width+1 && len(d.cells[d.width]) == 0 && !d.quoted[d.width] {
		d.cells = d.cells[:d.width] // a delimiter behind the last cell
	}
	torn := d.Fresh && d.again // it may lack its beginning
	if d.width == 0 && !torn {
		d.width = len(d.cells) // without a header the first line decides
	}
	if d.width > 0 && len(d.cells) != d.width {
		c.Refuse(codec.WrongCells, "")
		return
	}
	if torn {
		c.Ignored++
		return
	}
	if d.noTime {
		c.Refuse(codec.NoColumn, "time")
		return
	}
	for i, col := range d.only {
		if col < 0 || col >= d.width || string(d.cells[col]) != d.layout.Only[i].Text {
			c.Ignored++
			return
		}
	}
	slots, any := d.rec.Slots(), false
	for i := range d.layout.Fields {
		f, col, v := &d.layout.Fields[i], d.columns[i], math.NaN()
		if col >= 0 && col < d.width && (len(d.cells[col]) > 0 || d.empty[i]) {
			v = f.FromText(d.cells[col], d.layout.DecimalComma, c)
		}
		slots[d.slots[i]] = v
		any = any || f.ID != codec.Time && !math.IsNaN(v)
	}
	d.again = d.again && !any
	d.Give(d.rec, any)
}

// Name is how a column is called in a header, in a feed file and by the probe: without the spaces around it, and
// without the number signs with which some tools begin a header.
func Name(cell string) string {
	cell = strings.TrimSpace(cell)
	if name := strings.TrimLeft(cell, "# \t"); name != "" {
		return name
	}
	return cell
}

// splitHeader splits a line that may be a header.
func (d *Decoder) splitHeader(line []byte) bool {
	line = bytes.Trim(line, " ")
	if rest := bytes.TrimLeft(line, "# "); len(rest) > 0 && rest[0] != d.layout.Delimiter { // else it is a column called #
		line = rest
	}
	return d.split(line)
}

// names tells whether the line names a mapped column.
func (d *Decoder) names(line []byte) bool {
	return d.splitHeader(line) && slices.ContainsFunc(d.layout.Fields, func(f Field) bool { return d.find(f.Column) >= 0 })
}

// find is the first column of that name in the line that was split, -1 if there is none.
func (d *Decoder) find(name string) int { return d.findFrom(0, name) }

func (d *Decoder) findFrom(first int, name string) int {
	for i := first; i < len(d.cells); i++ {
		if Name(string(d.cells[i])) == name {
			return i
		}
	}
	return -1
}

// tryHeader takes the line as the header if it names a mapped column. What stands
// before the header is none of ours.
func (d *Decoder) tryHeader(line []byte) {
	if !d.splitHeader(line) {
		return
	}
	var missing, twice []string
	place := func(name string) int {
		at := d.find(name)
		if at < 0 {
			missing = append(missing, name)
		} else if again := d.findFrom(at+1, name); again >= 0 {
			twice = append(twice, fmt.Sprintf("%s (columns %d and %d; the first is read)", name, at+1, again+1))
		}
		return at
	}
	found := false
	for i := range d.layout.Fields {
		d.columns[i] = place(d.layout.Fields[i].Column)
		found = found || d.columns[i] >= 0
	}
	for i := range d.layout.Only {
		d.only[i] = place(d.layout.Only[i].Column)
	}
	slices.Sort(missing)
	slices.Sort(twice)
	d.Tally.Missing, d.Tally.Twice = slices.Compact(missing), slices.Compact(twice)
	if !found {
		return
	}
	d.noTime = false
	for i := range d.layout.Fields {
		if d.layout.Fields[i].ID == codec.Time && d.columns[i] < 0 {
			d.noTime = true
		}
	}
	d.header = bytes.Clone(line)
	d.width = len(d.cells)
	d.wantUnits = d.layout.UnitsRow
}

// units takes the units row: a field that has none of its own takes the one of its
// column. A unit that is unknown or of another quantity takes the column away.
func (d *Decoder) units() {
	for i := range d.layout.Fields {
		f := &d.layout.Fields[i]
		col := d.columns[i]
		if !f.FromUnit || col < 0 || col >= len(d.cells) {
			continue
		}
		spelling := strings.Trim(string(d.cells[col]), " []()")
		u, ok := channel.UnitNamed(spelling)
		if !ok || u.Quantity != f.Quantity {
			d.Tally.Missing = append(d.Tally.Missing, f.Column+" in "+spelling)
			d.columns[i] = -1
			d.noTime = d.noTime || f.ID == codec.Time
			continue
		}
		f.A, f.B = f.Scale*u.Scale, u.In(f.Offset)
	}
}

// split cuts a line into cells, without the spaces around them and without quotation marks.
// False when a quotation mark is not closed or something follows it.
func (d *Decoder) split(p []byte) bool {
	d.cells, d.quoted, d.text = d.cells[:0], d.quoted[:0], d.text[:0]
	delim := d.layout.Delimiter
	for {
		if delim != ' ' {
			p = bytes.TrimLeft(p, " ")
		}
		if len(p) > 0 && p[0] == '"' {
			cell, rest, ok := d.unquote(p[1:])
			if !ok {
				return false
			}
			d.cells, d.quoted = append(d.cells, cell), append(d.quoted, true)
			rest = bytes.TrimLeft(rest, " ")
			if len(rest) == 0 {
				return true
			}
			if rest[0] != delim {
				return false
			}
			p = rest[1:]
			continue
		}
		n := bytes.IndexByte(p, delim)
		cell := p
		if n >= 0 {
			cell = p[:n]
		}
		for len(cell) > 0 && cell[len(cell)-1] == ' ' {
			cell = cell[:len(cell)-1]
		}
		d.cells, d.quoted = append(d.cells, cell), append(d.quoted, false)
		if n < 0 {
			return true
		}
		p = p[n+1:]
	}
}

// unquote reads a cell from behind its quotation mark; two of them stand for one.
func (d *Decoder) unquote(p []byte) (cell, rest []byte, ok bool) {
	n := bytes.IndexByte(p, '"')
	if n < 0 {
		return nil, nil, false
	}
	if n+1 >= len(p) || p[n+1] != '"' {
		return p[:n], p[n+1:], true
	}
	start := len(d.text)
	for {
		n := bytes.IndexByte(p, '"')
		if n < 0 {
			return nil, nil, false
		}
		d.text = append(d.text, p[:n]...)
		if n+1 >= len(p) || p[n+1] != '"' {
			return d.text[start:len(d.text):len(d.text)], p[n+1:], true
		}
		d.text = append(d.text, '"')
		p = p[n+2:]
	}
}
