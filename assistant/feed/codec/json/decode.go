// Package json decodes telemetry in JSON (RFC 8259): one object a line of a stream,
// or one or more in a datagram, mapped by path; or streams of named values, one reading a
// record.
//
// It walks once over the tokens of jsontext, which checks all of them, and looks only at what is
// mapped: nothing is built in memory and nothing is allocated for numbers and
// plain texts. A record with a mistake anywhere is refused whole.
//
// The package is pure: no goroutine, clock, file, network, lock or log.
package json

import (
	"bytes"
	"errors"
	"math"

	"github.com/go-json-experiment/json/jsontext"

	"earshot/assistant/feed/codec"
)

// A Field is a place in a record and what becomes of the value there.
type Field struct {
	codec.Field
	Path string // see ParsePath; with NameValue the name
}

// A NameValue says where a record of a stream of named values has its name, value
// and, unless empty, time.
type NameValue struct{ Name, Value, Time string }

// A Layout is all that is mapped of one source.
type Layout struct {
	Lines     bool // a stream with one value a line; else datagrams with whole values
	Fields    []Field
	NameValue *NameValue
}

// The hits of a stream of named values; others are indices of fields.
const (
	hitName int32 = -1 - iota
	hitValue
	hitTime
)

// aggregate stands for an object or a list where a value is wanted.
var aggregate = []byte{'{'}

// A hit is a value that a path points at, still as it was written.
type hit struct {
	field int32
	raw   []byte
}

// Keys that stand twice count as the last one, and texts may have bytes that are no UTF-8: neither spoils a reading.
var lenient = []jsontext.Options{jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true)}

// A Decoder turns JSON into records. It is a codec.Decoder.
type Decoder struct {
	layout Layout
	root   node
	named  map[string][]int32
	times  []int32 // fields of a stream of named values that are the time
	rec    *codec.Record
	slots  []int // per field
	text   []byte

	in     bytes.Buffer
	tokens *jsontext.Decoder // of in
	p      []byte            // what in began with
	hits   []hit             // of the record at hand

	codec.LineDecoder
}

// NewDecoder compiles the layout for Rows of n channels. The error is a *PathError.
func NewDecoder(l Layout, n int) (*Decoder, error) {
	d := &Decoder{layout: l, rec: codec.NewRecord(n), named: map[string][]int32{}}
	d.tokens = jsontext.NewDecoder(&d.in, lenient...)
	d.Start(false, d.line)
	add := func(path string, hit int32) error {
		steps, err := parsePath(path)
		if err == nil {
			d.root.add(steps, hit)
		}
		return err
	}
	for i := range l.Fields {
		f := &l.Fields[i]
		d.slots = append(d.slots, d.rec.Slot(f.ID))
		switch {
		case l.NameValue == nil:
			if err := add(f.Path, int32(i)); err != nil {
				return nil, err
			}
		case f.ID == codec.Time:
			d.times = append(d.times, int32(i))
		default:
			d.named[f.Path] = append(d.named[f.Path], int32(i))
		}
	}
	if nv := l.NameValue; nv != nil {
		if err := add(nv.Name, hitName); err != nil {
			return nil, err
		}
		if err := add(nv.Value, hitValue); err != nil {
			return nil, err
		}
		if nv.Time != "" {
			if err := add(nv.Time, hitTime); err != nil {
				return nil, err
			}
		}
	}
	return d, nil
}

// Decode implements codec.Decoder.
func (d *Decoder) Decode(p []byte, emit func(*codec.Record)) {
	if d.layout.Lines {
		d.LineDecoder.Decode(p, emit)
		return
	}
	d.Tally.Bytes += int64(len(p))
	d.Emit = emit
	d.begin(bytes.TrimPrefix(p, []byte{0xef, 0xbb, 0xbf}))
	if d.blank() {
		d.Tally.Records++
		d.Tally.Ignored++
		return
	}
	for !d.blank() {
		d.Tally.Records++
		if !d.one() {
			return // where the next value begins is not known any more
		}
	}
}

func (d *Decoder) line(p []byte) {
	d.begin(p)
	if d.blank() {
		d.Tally.Ignored++
		return
	}
	d.one()
}

func (d *Decoder) begin(p []byte) {
	d.p, d.in = p, *bytes.NewBuffer(p)
	d.tokens.Reset(&d.in, lenient...)
}

// blank tells whether nothing but white space is left.
func (d *Decoder) blank() bool {
	return len(bytes.TrimLeft(d.p[d.tokens.InputOffset():], " \t\r\n")) == 0
}

// one reads one value and emits what it tells.
func (d *Decoder) one() bool {
	c := &d.Tally
	d.hits = d.hits[:0]
	err := d.value(&d.root)
	if err == nil && d.layout.Lines && !d.blank() {
		rest := bytes.TrimLeft(d.p[d.tokens.InputOffset():], " \t\r\n")
		c.RefuseAt(codec.BadSyntax, len(d.p)-len(rest))
		return false
	}
	if err != nil {
		at := len(d.p)
		if where, ok := errors.AsType[*jsontext.SyntacticError](err); ok {
			at = int(where.ByteOffset)
		}
		c.RefuseAt(codec.BadSyntax, at)
		return false
	}
	slots := d.rec.Slots()
	for _, i := range d.slots {
		slots[i] = math.NaN()
	}
	if d.layout.NameValue != nil {
		d.pair()
	} else {
		for _, h := range d.hits {
			d.set(h.field, h.raw)
		}
	}
	any := false
	for i, slot := range d.slots {
		any = any || d.layout.Fields[i].ID != codec.Time && !math.IsNaN(slots[slot])
	}
	d.Give(d.rec, any)
	return true
}

// pair reads a record that is a name and its value, in whichever order they stand.
func (d *Decoder) pair() {
	var value []byte
	var fields []int32
	for _, h := range d.hits {
		switch h.field {
		case hitName:
			fields = nil
			if h.raw[0] == '"' {
				fields = d.named[string(d.textOf(h.raw))]
			}
		case hitValue:
			value = h.raw
		case hitTime:
			for _, f := range d.times {
				d.set(f, h.raw)
			}
		}
	}
	if value != nil {
		for _, f := range fields {
			d.set(f, value)
		}
	}
}

// value reads one value; n is what the paths say about it, nil where none leads here.
func (d *Decoder) value(n *node) error {
	if n == nil {
		return d.tokens.SkipValue()
	}
	kind := d.tokens.PeekKind()
	if kind != jsontext.KindBeginObject && kind != jsontext.KindBeginArray {
		raw, err := d.tokens.ReadValue()
		if err == nil {
			end := int(d.tokens.InputOffset())
			d.note(n, d.p[end-len(raw):end]) // raw itself lasts until the next token only
		}
		return err
	}
	d.note(n, aggregate)
	if len(n.kids) == 0 && len(n.elems) == 0 {
		return d.tokens.SkipValue()
	}
	if _, err := d.tokens.ReadToken(); err != nil {
		return err
	}
	next := 0
	for i := 0; ; i++ {
		switch d.tokens.PeekKind() {
		case jsontext.KindEndObject, jsontext.KindEndArray, jsontext.KindInvalid:
			_, err := d.tokens.ReadToken()
			return err
		}
		child := n.at(i)
		if kind == jsontext.KindBeginObject {
			key, err := d.tokens.ReadValue()
			if err != nil {
				return err
			}
			child = n.find(d.textOf(key), &next)
		}
		if err := d.value(child); err != nil {
			return err
		}
	}
}

func (d *Decoder) note(n *node, raw []byte) {
	for _, f := range n.hits {
		d.hits = append(d.hits, hit{f, raw})
	}
}

// textOf is the text of a string that jsontext has checked.
func (d *Decoder) textOf(raw []byte) []byte {
	if plain := raw[1 : len(raw)-1]; bytes.IndexByte(plain, '\\') < 0 {
		return plain
	}
	d.text, _ = jsontext.AppendUnquote(d.text[:0], raw) // its error is of bytes that are no UTF-8
	return d.text
}

func (d *Decoder) set(field int32, raw []byte) {
	f, c := &d.layout.Fields[field], &d.Tally
	v := math.NaN()
	switch raw[0] {
	case '"':
		v = f.FromText(d.textOf(raw), false, c)
	case 't', 'f':
		if x, ok := f.Texts[string(raw)]; ok {
			v = x
		} else if raw[0] == 't' {
			v = f.FromNumber(1, c)
		} else {
			v = f.FromNumber(0, c)
		}
	case 'n':
	default:
		if x, ok := codec.ParseNumber(raw, false); ok {
			v = f.FromNumber(x, c)
		} else {
			c.RefuseReading(codec.NotANumber, f.Name)
		}
	}
	d.rec.Slots()[d.slots[field]] = v
}
