package demo

import (
	"math"
	"strconv"
	"strings"

	"earshot/assistant/channel"
)

// A Table writes samples as lines of a table: a header with the names of the channels, a row with their units, then
// a line a sample, with the shortest decimal number that reads back as the same float64. What is
// absent is an empty cell, a choice stands by its label. Feed describes it to the csv codec.
type Table struct {
	set *channel.Set
	ids []channel.ID
}

// NewTable returns a table of the channels that this session can give.
func NewTable(set *channel.Set, s *Sim) *Table { return &Table{set, s.Gives()} }

// Begin appends the header and the row of units.
func (t *Table) Begin(b []byte) []byte {
	b = append(b, "time"...)
	for _, id := range t.ids {
		b = append(append(b, ','), t.set.At(id).Name...)
	}
	b = append(b, "\ns"...)
	for _, id := range t.ids {
		b = append(b, ',')
		if q := t.set.At(id).Quantity; q != channel.None {
			b = append(b, channel.UnitsOf(q)[0]...)
		}
	}
	return append(b, '\n')
}

// Append appends one sample. It allocates nothing once b is large enough.
func (t *Table) Append(b []byte, x channel.Sample) []byte {
	b = strconv.AppendFloat(b, x.At, 'g', -1, 64)
	for _, id := range t.ids {
		b = append(b, ',')
		v := x.Row[id]
		if math.IsNaN(v) {
			continue
		}
		if labels := t.set.At(id).Labels; labels != nil && v >= 0 && int(v) < len(labels) {
			b = append(b, labels[int(v)]...)
			continue
		}
		b = strconv.AppendFloat(b, v, 'g', -1, 64)
	}
	return append(b, '\n')
}

// Feed is the feed file for a table of that name.
func (t *Table) Feed(file string) []byte {
	var b strings.Builder
	b.WriteString(`# The table that ` + "`earshot demo --write`" + ` left beside this file. Its second line has the units, so none stand here.
name: demo-table
about: samples of the simulated car, written as a table
car: demo
transport:
  kind: file
  path: ` + file + `
codec: csv
csv:
  units_row: true
channels:
  time: {column: time}
`)
	for _, id := range t.ids {
		name := t.set.At(id).Name
		b.WriteString("  " + name + ": {column: " + name + "}\n")
	}
	return []byte(b.String())
}
