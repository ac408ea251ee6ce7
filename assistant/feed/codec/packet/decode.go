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
	decode func(ops []op, p []byte, slots []float64)
	ops    []op
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

// A storage is how a number without anything special is stored.
type storage struct {
	typ Type
	big bool
}

// runDecoders decode runs. One loop per type and byte order keeps the branches out of it: with the byte order as a
// branch in the loop a packet of 100 floats took 1.2 to 1.7 times as long (BenchmarkPacketAgainstScalarLoop).
var runDecoders = map[storage]func(ops []op, p []byte, slots []float64){
	{U8, false}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(p[at]) })
	},
	{I8, false}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(int8(p[at])) })
	},
	{U16, false}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(binary.LittleEndian.Uint16(p[at:])) })
	},
	{I16, false}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(int16(binary.LittleEndian.Uint16(p[at:]))) })
	},
	{U32, false}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(binary.LittleEndian.Uint32(p[at:])) })
	},
	{I32, false}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(int32(binary.LittleEndian.Uint32(p[at:]))) })
	},
	{F32, false}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(math.Float32frombits(binary.LittleEndian.Uint32(p[at:]))) })
	},
	{F64, false}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(p[at:])) })
	},
	{U16, true}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(binary.BigEndian.Uint16(p[at:])) })
	},
	{I16, true}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(int16(binary.BigEndian.Uint16(p[at:]))) })
	},
	{U32, true}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(binary.BigEndian.Uint32(p[at:])) })
	},
	{I32, true}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(int32(binary.BigEndian.Uint32(p[at:]))) })
	},
	{F32, true}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return float64(math.Float32frombits(binary.BigEndian.Uint32(p[at:]))) })
	},
	{F64, true}: func(o []op, p []byte, s []float64) {
		each(o, s, func(at int32) float64 { return math.Float64frombits(binary.BigEndian.Uint64(p[at:])) })
	},
}

// each reads the fields of a run. It is small enough to be inlined together with read, as long as read captures nothing
// but p: with the byte order in a variable outside, a packet took four times as long.
func each(ops []op, slots []float64, read func(at int32) float64) {
	for i := range ops {
		o := &ops[i]
		slots[o.slot] = float64(read(o.at)*o.a) + o.b
	}
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
	byStorage := map[storage]int{}
	for i := range k.fields {
		f := &k.fields[i]
		slot := d.rec.Slot(f.ID)
		k.slots = append(k.slots, slot)
		as := storage{f.Type, f.Big && f.Type.Size() > 1}
		decode := runDecoders[as]
		if decode == nil || f.Width > 0 || !f.Simple() {
			k.odd = append(k.odd, odd{f, slot})
			continue
		}
		at, ok := byStorage[as]
		if !ok {
			at = len(k.runs)
			byStorage[as] = at
			k.runs = append(k.runs, run{decode: decode})
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
		k.runs[i].decode(k.runs[i].ops, p, slots)
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
