// Package json decodes telemetry in JSON (RFC 8259): one object a line of a stream,
// or one or more in a datagram, mapped by path; or streams of named values, one reading a
// record.
//
// It walks once over the bytes, checks all of them and looks only at what is
// mapped: nothing is built in memory and nothing is allocated for numbers and
// plain texts. A record with a mistake anywhere is refused whole.
//
// The package is pure: no goroutine, clock, file, network, lock or log.
package json

import (
	"bytes"
	"math"

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

// A Decoder turns JSON into records. It is a codec.Decoder.
type Decoder struct {
	layout Layout
	root   node
	named  map[string][]int32
	times  []int32 // fields of a stream of named values that are the time
	rec    *codec.Record
	slots  []int // per field
	scan   scanner
	text   []byte

	codec.LineDecoder
}

// NewDecoder compiles the layout for Rows of n channels. The error is a *PathError.
func NewDecoder(l Layout, n int) (*Decoder, error) {
	d := &Decoder{layout: l, rec: codec.NewRecord(n)}
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
			if d.named == nil {
				d.named = map[string][]int32{}
			}
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
	if len(p) >= 3 && p[0] == 0xef && p[1] == 0xbb && p[2] == 0xbf {
		p = p[3:]
	}
	s := &d.scan
	s.p, s.i = p, 0
	s.space()
	if s.i == len(p) {
		d.Tally.Records++
		d.Tally.Ignored++
	}
	for s.i < len(p) {
		d.Tally.Records++
		if !d.one() {
			return // where the next value begins is not known any more
		}
		s.space()
	}
}

func (d *Decoder) line(p []byte) {
	s := &d.scan
	s.p, s.i = p, 0
	s.space()
	if s.i == len(p) {
		d.Tally.Ignored++
		return
	}
	d.one()
}

// one scans one value and emits what it tells.
func (d *Decoder) one() bool {
	c, s := &d.Tally, &d.scan
	s.depth, s.tokens = 0, s.tokens[:0]
	ok := s.value(&d.root)
	if ok && d.layout.Lines {
		s.space()
		ok = s.i == len(s.p)
	}
	if !ok {
		c.RefuseAt(codec.BadSyntax, s.i)
		return false
	}
	slots := d.rec.Slots()
	for _, i := range d.slots {
		slots[i] = math.NaN()
	}
	if d.layout.NameValue != nil {
		d.pair()
	} else {
		for i := range s.tokens {
			d.set(s.tokens[i].hit, &s.tokens[i])
		}
	}
	for i, slot := range d.slots {
		if d.layout.Fields[i].ID != codec.Time && !math.IsNaN(slots[slot]) {
			c.Emitted++
			d.Emit(d.rec)
			return true
		}
	}
	c.Ignored++
	return true
}

// pair reads a record that is a name and its value, in whichever order they stand.
func (d *Decoder) pair() {
	var value *token
	var fields []int32
	for i := range d.scan.tokens {
		t := &d.scan.tokens[i]
		switch t.hit {
		case hitName:
			fields = nil
			if t.kind == '"' {
				fields = d.named[string(d.textOf(t.b))]
			}
		case hitValue:
			value = t
		case hitTime:
			for _, f := range d.times {
				d.set(f, t)
			}
		}
	}
	if value != nil {
		for _, f := range fields {
			d.set(f, value)
		}
	}
}

func (d *Decoder) textOf(b []byte) []byte {
	b = b[1 : len(b)-1]
	if bytes.IndexByte(b, '\\') < 0 {
		return b
	}
	d.text = unescape(d.text[:0], b)
	return d.text
}

func (d *Decoder) set(field int32, t *token) {
	f, c := &d.layout.Fields[field], &d.Tally
	v := math.NaN()
	switch t.kind {
	case '"':
		v = f.FromText(d.textOf(t.b), false, c)
	case 0:
		if raw, ok := codec.ParseNumber(t.b, false); ok {
			v = f.FromNumber(raw, c)
		} else {
			c.RefuseReading(codec.NotANumber, f.Name)
		}
	case 't', 'f':
		if x, ok := f.Texts[string(t.b)]; ok {
			v = x
		} else if t.kind == 't' {
			v = f.FromNumber(1, c)
		} else {
			v = f.FromNumber(0, c)
		}
	case 'n':
	default:
		c.RefuseReading(codec.NotANumber, f.Name)
	}
	d.rec.Slots()[d.slots[field]] = v
}
