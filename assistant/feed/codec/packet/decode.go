package packet

import (
	"encoding/binary"
	"errors"
	"math"

	"earshot/assistant/feed/codec"
)

// A Decoder turns datagrams of a Layout into records. It is a codec.Decoder.
type Decoder struct {
	rec    *codec.Record
	counts codec.Counts
	kinds  []kind
	shared tracker
	last   *kind // the kind whose readings the record holds
}

type kind struct {
	name   string
	match  []Match
	exact  int
	least  int
	check  *Check
	sumAs  Type
	seq    *Counter
	track  *tracker
	runs   []run
	odd    []odd
	slots  []int // all that it fills
	fields []Field
}

// A run is fields of one type without anything special, decoded in one loop.
type run struct {
	code code
	ops  []op
}

type op struct {
	a, b float64
	at   int32
	slot int32
}

// An odd is a field that needs more than a multiplication and an addition.
type odd struct {
	f    *Field
	slot int
}

type code uint8

const (
	u8 code = iota
	i8
	u16l
	u16b
	i16l
	i16b
	u32l
	u32b
	i32l
	i32b
	f32l
	f32b
	f64l
	f64b
	other
)

func codeOf(t Type, big bool) code {
	c := map[Type]code{U8: u8, I8: i8, U16: u16l, I16: i16l, U32: u32l, I32: i32l, F32: f32l, F64: f64l}
	k, ok := c[t]
	if !ok {
		return other
	}
	if big && t.Size() > 1 {
		k++
	}
	return k
}

// NewDecoder compiles the layout for Rows of n channels. The error joins all
// problems that Validate finds.
func NewDecoder(l Layout, n int) (*Decoder, error) {
	if err := errors.Join(l.Validate()...); err != nil {
		return nil, err
	}
	d := &Decoder{rec: codec.NewRecord(n)}
	d.kinds = make([]kind, len(l.Kinds))
	for i := range l.Kinds {
		d.compile(&l, &l.Kinds[i], &d.kinds[i])
	}
	return d, nil
}

func (d *Decoder) compile(l *Layout, from *Kind, k *kind) {
	*k = kind{name: from.Name, match: from.When, exact: from.Length, least: from.End(l.Sequence), check: from.Check, fields: from.Fields}
	if k.check != nil {
		k.sumAs = k.check.typ()
	}
	switch {
	case from.Sequence != nil:
		k.seq, k.track = from.Sequence, &tracker{}
	case l.Sequence != nil:
		k.seq, k.track = l.Sequence, &d.shared
	}
	byCode := map[code]int{}
	for i := range k.fields {
		f := &k.fields[i]
		slot := d.rec.Slot(f.ID)
		k.slots = append(k.slots, slot)
		c := codeOf(f.Type, f.Big)
		if c == other || f.Width > 0 || !f.Simple() {
			k.odd = append(k.odd, odd{f, slot})
			continue
		}
		at, ok := byCode[c]
		if !ok {
			at = len(k.runs)
			byCode[c] = at
			k.runs = append(k.runs, run{code: c})
		}
		k.runs[at].ops = append(k.runs[at].ops, op{f.A, f.B, int32(f.At), int32(slot)})
	}
}

// Counts implements codec.Decoder.
func (d *Decoder) Counts() *codec.Counts { return &d.counts }

// End implements codec.Decoder; a datagram is never unfinished.
func (d *Decoder) End(func(*codec.Record)) {}

// Decode decodes one datagram. A not-a-number on the wire is no reading; an infinity is
// passed on and left to the plausibility check of the channel.
func (d *Decoder) Decode(p []byte, emit func(*codec.Record)) {
	c := &d.counts
	c.Records++
	c.Bytes += int64(len(p))
	k := d.pick(p)
	if k == nil {
		return // counted there
	}
	if k.check != nil {
		want, ok := k.check.compute(p)
		at := k.check.place(len(p))
		if !ok || at < 0 || at+k.sumAs.Size() > len(p) || load(p, at, k.sumAs, k.check.Big) != want {
			c.Refuse(codec.BadChecksum, k.name)
			return
		}
	}
	if k.seq != nil && !k.track.accept(uint32(load(p, k.seq.At, k.seq.Type, k.seq.Big)), k.seq.Type.Size(), c) {
		return
	}
	slots := d.rec.Slots()
	if d.last != k { // every field is written each time, so only another kind leaves something behind
		if d.last != nil {
			for _, s := range d.last.slots {
				slots[s] = math.NaN()
			}
		}
		d.last = k
	}
	for i := range k.runs {
		k.runs[i].decode(p, slots)
	}
	for i := range k.odd {
		o := &k.odd[i]
		slots[o.slot] = o.f.decode(p, c)
	}
	c.Emitted++
	emit(d.rec)
}

// pick finds the kind of a datagram; nil, and counted, when it is of none.
func (d *Decoder) pick(p []byte) *kind {
	why, name := codec.UnknownKind, ""
next:
	for i := range d.kinds {
		k := &d.kinds[i]
		for j := range k.match {
			m := &k.match[j]
			if m.At+m.Type.Size() > len(p) {
				if len(p) > 0 && why == codec.UnknownKind {
					why = codec.TooShort
				}
				continue next
			}
			if load(p, m.At, m.Type, m.Big) != uint64(m.Is) {
				continue next
			}
		}
		switch {
		case k.exact > 0 && len(p) > k.exact:
			why, name = codec.WrongLength, k.name
		case len(p) < k.least:
			why, name = codec.TooShort, k.name
		default:
			return k
		}
	}
	d.counts.Refuse(why, name)
	return nil
}

// decode converts the fields of a run. One loop per type and byte order keeps the branches out of it: with the byte
// order as a branch in the loop a packet of 100 floats took 1.2 to 1.7 times as long
// (BenchmarkPacketAgainstScalarLoop).
func (r *run) decode(p []byte, slots []float64) {
	le, be := binary.LittleEndian, binary.BigEndian
	switch r.code {
	case u8:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(p[o.at])*o.a) + o.b
		}
	case i8:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(int8(p[o.at]))*o.a) + o.b
		}
	case u16l:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(le.Uint16(p[o.at:]))*o.a) + o.b
		}
	case u16b:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(be.Uint16(p[o.at:]))*o.a) + o.b
		}
	case i16l:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(int16(le.Uint16(p[o.at:])))*o.a) + o.b
		}
	case i16b:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(int16(be.Uint16(p[o.at:])))*o.a) + o.b
		}
	case u32l:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(le.Uint32(p[o.at:]))*o.a) + o.b
		}
	case u32b:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(be.Uint32(p[o.at:]))*o.a) + o.b
		}
	case i32l:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(int32(le.Uint32(p[o.at:])))*o.a) + o.b
		}
	case i32b:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(int32(be.Uint32(p[o.at:])))*o.a) + o.b
		}
	case f32l:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(math.Float32frombits(le.Uint32(p[o.at:])))*o.a) + o.b
		}
	case f32b:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(float64(math.Float32frombits(be.Uint32(p[o.at:])))*o.a) + o.b
		}
	case f64l:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(math.Float64frombits(le.Uint64(p[o.at:]))*o.a) + o.b
		}
	case f64b:
		for i := range r.ops {
			o := &r.ops[i]
			slots[o.slot] = float64(math.Float64frombits(be.Uint64(p[o.at:]))*o.a) + o.b
		}
	}
}

func (f *Field) decode(p []byte, c *codec.Counts) float64 {
	switch f.Type {
	case Text:
		b := trimText(p[f.At : f.At+f.Length])
		if len(b) == 0 {
			return math.NaN()
		}
		return f.FromText(b, false, c)
	case F16, F32, F64:
		x := loadFloat(p, f.At, f.Type, f.Big)
		if math.IsNaN(x) {
			return x
		}
		return f.FromNumber(x, c)
	}
	u := load(p, f.At, f.Type, f.Big)
	if f.Width > 0 {
		u = u >> f.Bit
		shift := 64 - f.Width
		if f.Signed {
			return f.FromNumber(float64(int64(u<<shift)>>shift), c)
		}
		return f.FromNumber(float64(u<<shift>>shift), c)
	}
	if f.Type.Unsigned() {
		return f.FromNumber(float64(u), c)
	}
	return f.FromNumber(float64(int64(u)), c)
}

func loadFloat(p []byte, at int, t Type, big bool) float64 {
	var bo binary.ByteOrder = binary.LittleEndian
	if big {
		bo = binary.BigEndian
	}
	switch t {
	case F16:
		return half(bo.Uint16(p[at:]))
	case F32:
		return float64(math.Float32frombits(bo.Uint32(p[at:])))
	}
	return math.Float64frombits(bo.Uint64(p[at:]))
}
