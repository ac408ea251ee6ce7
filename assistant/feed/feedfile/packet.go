package feedfile

import (
	"encoding/hex"
	"maps"
	"math"
	"slices"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/assistant/feed/codec/packet"
	"earshot/configs/document"
)

// farthest is the largest place in a datagram: UDP carries no more.
const farthest = 65507

// A cursor is where the next field goes when it does not say.
type cursor struct {
	next int
	bits *packet.Field // the bit field before, with which the next may share its integer
}

// packetSection reads the layout of binary datagrams.
func (p *parser) packetSection(n, top *document.Node) {
	if n == nil {
		p.Bad(top, "write packet: {byte_order: little, kinds: {…}}", "the section packet is missing")
		return
	}
	o := p.Object(n, "packet", "byte_order", "frame", "when", "sequence", "check", "fields", "kinds")
	l := &packet.Layout{}
	big := p.order(o.Get("byte_order"), false)
	p.f.Frame = p.frame(o.Get("frame"), big)
	l.Sequence = p.counter(o.Get("sequence"), big)
	check := p.check(o.Get("check"), big)
	when := p.matches(o.Get("when"), big)
	common := map[channel.ID]bool{}
	var cur cursor
	shared := p.fields(o.Get("fields"), big, &cur, common)
	kinds := p.Pairs(o.Get("kinds"), "kinds")
	if len(kinds) == 0 {
		p.Bad(n, "write kinds: {NAME: {when: […], fields: […]}}", "no kind of datagram is described")
	}
	for _, e := range kinds {
		ko := p.Object(e.V, "kind "+e.Key, "about", "byte_order", "when", "length", "period", "sequence", "check", "fields")
		kbig := p.order(ko.Get("byte_order"), big)
		k := packet.Kind{Name: e.Key, Check: check, Length: int(p.Integer(ko.Get("length"), "length", 1, farthest))}
		k.When = slices.Concat(when, p.matches(ko.Get("when"), kbig))
		k.Period = p.seconds(ko, "period", 0)
		k.Sequence = p.counter(ko.Get("sequence"), kbig)
		if ko.Has("check") {
			k.Check = p.check(ko.Get("check"), kbig)
		}
		if len(k.When) == 0 && k.Length == 0 {
			p.Bad(e.K, "give when: [{at: 0, type: u8, is: 1}] or the exact length, so that no other datagram is taken for it", "nothing tells kind %s from other datagrams", e.Key)
		}
		here, kcur := maps.Clone(common), cur
		k.Fields = slices.Concat(shared, p.fields(ko.Get("fields"), kbig, &kcur, here))
		p.kinds = append(p.kinds, slices.Collect(maps.Keys(here)))
		l.Kinds = append(l.Kinds, k)
	}
	if p.Count() == 0 {
		for _, err := range l.Validate() {
			p.Bad(n, "", "%v", err)
		}
	}
	p.f.Layout = l
	p.f.Clock.Modulus = modulus(l)
}

// frame reads how packets stand in a stream of bytes.
func (p *parser) frame(n *document.Node, big bool) *packet.Frame {
	if n == nil {
		return nil
	}
	before := p.Count()
	o := p.Object(n, "frame", "size", "length", "end", "start", "largest")
	f := &packet.Frame{Start: p.hex(o.Get("start"), "start"), End: p.hex(o.Get("end"), "end")}
	f.Size = int(p.Integer(o.Get("size"), "size", 1, farthest))
	f.Largest = int(p.Integer(o.Get("largest"), "largest", 1, farthest))
	if ln := o.Get("length"); ln != nil {
		lo := p.Object(ln, "length", "at", "type", "byte_order", "counts", "extra")
		f.Length = &packet.Length{At: p.place(lo, "the length"), Type: p.typ(lo), Big: p.order(lo.Get("byte_order"), big)}
		f.Length.Extra = int(p.Integer(lo.Get("extra"), "extra", -farthest, farthest))
		f.Length.Rest = p.Choice(lo.Get("counts"), "counts", "all", "rest") == "rest"
		if !lo.Has("counts") {
			p.Bad(ln, "write counts: all, if it is the length of the whole packet, or counts: rest, of the bytes behind it", "what the length counts is missing")
		}
	}
	var ways []string
	for _, key := range []string{"size", "length", "end"} {
		if o.Has(key) {
			ways = append(ways, key)
		}
	}
	switch {
	case len(ways) == 0:
		p.Bad(n, "write size: BYTES, length: {…} or end: BYTES", "nothing tells where a packet ends")
	case len(ways) > 1:
		p.Bad(o.Get(ways[1]), "take one of the two out", "%s and %s exclude each other", ways[0], ways[1])
	case p.Count() == before:
		for _, err := range f.Validate() {
			p.Bad(n, "", "%v", err)
		}
	}
	return f
}

// hex reads bytes as pairs of hexadecimal digits, with or without spaces and 0x.
func (p *parser) hex(n *document.Node, what string) []byte {
	s := p.Text(n, what)
	if n == nil || s == "" && !document.IsScalar(n) {
		return nil
	}
	b, err := hex.DecodeString(strings.ReplaceAll(strings.ReplaceAll(s, " ", ""), "0x", ""))
	if err != nil || len(b) == 0 || len(b) > 16 {
		p.Bad(n, "write for example "+what+": B5 62", "%s is 1 to 16 bytes as pairs of hexadecimal digits", what)
		return nil
	}
	return b
}

// modulus is when the counter mapped to time wraps around, 0 if never or not the same everywhere.
func modulus(l *packet.Layout) float64 {
	m := math.NaN()
	for _, k := range l.Kinds {
		for i := range k.Fields {
			f := &k.Fields[i]
			if f.ID != codec.Time {
				continue
			}
			bits := 8 * f.Type.Size()
			if f.Width > 0 {
				bits = f.Width
			}
			this := math.Exp2(float64(bits)) * f.A
			if !f.Type.Unsigned() || f.Signed || bits > 32 || this <= 0 || !math.IsNaN(m) && m != this {
				return 0
			}
			m = this
		}
	}
	if math.IsNaN(m) {
		return 0
	}
	return m
}

// order tells whether the most significant byte comes first.
func (p *parser) order(n *document.Node, otherwise bool) bool {
	order := p.Choice(n, "byte_order", "little", "big")
	return order == "big" || order == "" && otherwise
}

func (p *parser) typ(o document.Object) packet.Type {
	types := texts(packet.Types())
	if !o.Has("type") {
		p.Bad(o.N, "use one of "+strings.Join(types, ", "), "the type is missing")
		return ""
	}
	return packet.Type(p.Choice(o.Get("type"), "type", types...))
}

func (p *parser) place(o document.Object, what string) int {
	if !o.Has("at") {
		p.Bad(o.N, "write at: and the number of the byte, from 0", "the place of %s is missing", what)
		return 0
	}
	return int(p.Integer(o.Get("at"), "at", 0, farthest))
}

func (p *parser) counter(n *document.Node, big bool) *packet.Counter {
	if n == nil {
		return nil
	}
	o := p.Object(n, "sequence", "at", "type", "byte_order")
	c := &packet.Counter{At: p.place(o, "the sequence number"), Type: p.typ(o), Big: p.order(o.Get("byte_order"), big)}
	if c.Type != "" && (!c.Type.Unsigned() || c.Type.Size() > 4) {
		p.Bad(o.At("type"), "use u8, u16, u24 or u32", "a sequence number is unsigned and has at most 32 bits")
	}
	return c
}

func (p *parser) check(n *document.Node, big bool) *packet.Check {
	if n == nil {
		return nil
	}
	sums := texts(packet.Sums())
	o := p.Object(n, "check", "sum", "at", "over", "byte_order")
	c := &packet.Check{Sum: packet.Sum(p.Choice(o.Get("sum"), "sum", sums...)), Big: p.order(o.Get("byte_order"), big)}
	if !o.Has("sum") {
		p.Bad(n, "use one of "+strings.Join(sums, ", "), "the kind of checksum is missing")
		return nil
	}
	if c.Sum == "" {
		return nil
	}
	c.At = -c.Sum.Size()
	if o.Has("at") {
		c.At = int(p.Integer(o.Get("at"), "at", -farthest, farthest))
		if c.At < 0 && c.At > -c.Sum.Size() {
			p.Bad(o.Get("at"), "", "%s has %d bytes and would end behind the datagram", c.Sum, c.Sum.Size())
		}
	}
	c.To = min(c.At, 0)
	if over := p.List(o.Get("over"), "over", ""); len(over) == 2 {
		c.From, c.To = int(p.Integer(over[0], "the first byte", -farthest, farthest)), int(p.Integer(over[1], "the end", -farthest, farthest))
	} else if o.Has("over") {
		p.Bad(o.Get("over"), "write over: [first, end]; negative numbers count from the end of the datagram", "over has two places")
	} else if c.At >= 0 {
		p.Bad(n, "write over: [first, end]", "which bytes the checksum is over is missing")
	}
	return c
}

func (p *parser) matches(n *document.Node, big bool) []packet.Match {
	var list []packet.Match
	for _, c := range p.List(n, "when", "") {
		o := p.Object(c, "a discriminator", "at", "type", "is", "byte_order")
		m := packet.Match{At: p.place(o, "a discriminator"), Type: p.typ(o), Big: p.order(o.Get("byte_order"), big)}
		if !o.Has("is") {
			p.Bad(c, "write is: and the number that stands there", "what a discriminator is like is missing")
			continue
		}
		m.Is = p.Integer(o.Get("is"), "is", math.MinInt64, math.MaxInt64)
		if m.Type != "" && !m.Type.Integer() {
			p.Bad(o.At("type"), "use an integer type", "a discriminator cannot be %s", m.Type)
		}
		list = append(list, m)
	}
	return list
}

// fields reads a list of fields. One that does not say where it stands follows the
// one before; a bit field without a place shares the integer of the bit field before if its bits
// are free and the type is the same.
func (p *parser) fields(n *document.Node, big bool, cur *cursor, inKind map[channel.ID]bool) []packet.Field {
	var list []packet.Field
	for _, c := range p.List(n, "fields", "") {
		o := p.Object(c, "a field", append([]string{"at", "skip", "type", "bit", "width", "signed", "byte_order", "length", "to", "wheels", "stride"}, conversionKeys...)...)
		if o.Has("skip") {
			cur.next, cur.bits = cur.next+int(p.Integer(o.Get("skip"), "skip", 1, farthest)), nil
			if o.Len() > 1 {
				p.Bad(c, "make it two entries", "skip stands alone")
			}
			continue
		}
		list = append(list, p.field(c, o, big, cur, inKind)...)
	}
	return list
}

func (p *parser) field(n *document.Node, o document.Object, big bool, cur *cursor, inKind map[channel.ID]bool) []packet.Field {
	f := packet.Field{Type: p.typ(o), Big: p.order(o.Get("byte_order"), big)}
	f.Length = int(p.Integer(o.Get("length"), "length", 1, farthest))
	if f.Type == packet.Text && f.Length == 0 {
		p.Bad(n, "write length: and the number of bytes", "the length of a text is missing")
	}
	if f.Type != packet.Text && o.Has("length") {
		p.Bad(o.Get("length"), "take it out", "only a text has a length")
	}
	p.bits(o, &f)
	if f.Type == "" {
		return nil
	}
	size := max(f.Length, f.Type.Size())
	f.At = cur.next
	if b := cur.bits; b != nil && f.Width > 0 && b.Type == f.Type && b.Big == f.Big && f.Bit >= b.Bit+b.Width {
		f.At = b.At
	}
	if o.Has("at") {
		f.At = int(p.Integer(o.Get("at"), "at", 0, farthest))
	}
	stride := size
	if o.Has("stride") {
		if stride = int(p.Integer(o.Get("stride"), "stride", 1, farthest)); stride < size && stride > 0 {
			p.Bad(o.Get("stride"), "the stride is from the start of one element to the start of the next", "elements of %d bytes would overlap at a stride of %d", size, stride)
		}
		if !o.Has("wheels") {
			p.Bad(o.Get("stride"), "add wheels: [fl, fr, rl, rr] in the order of the source", "only an array has a stride")
		}
	}
	if !o.Has("to") {
		p.Bad(n, "write to: CHANNEL, or skip: BYTES for what you do not use", "where the field goes is missing")
		return nil
	}
	to := p.Text(o.Get("to"), "to")
	targets := p.targets(o.Get("to"), to, o.Get("wheels"))
	var list []packet.Field
	for i, m := range targets {
		p.claim(o.Get("to"), m.id, m.c.Name, inKind)
		g := f
		g.At = f.At + i*stride
		before := p.Count()
		g.Field = p.conversion(o, o.Get("to"), m, f.Type == packet.Text, false)
		list = append(list, g)
		if p.Count() > before {
			break // the other wheels would say the same
		}
	}
	cur.next, cur.bits = f.At+max(1, len(targets))*stride, nil
	if f.Width > 0 && len(targets) == 1 {
		cur.bits = &list[0]
	}
	return list
}

func (p *parser) bits(o document.Object, f *packet.Field) {
	if !o.Has("bit") && !o.Has("width") {
		if o.Has("signed") {
			p.Bad(o.Get("signed"), "use an i type", "only a bit field is made signed so")
		}
		return
	}
	f.Bit, f.Width = int(p.Integer(o.Get("bit"), "bit", 0, 63)), 1
	if o.Has("width") {
		f.Width = int(p.Integer(o.Get("width"), "width", 1, 64))
	}
	f.Signed = p.Flag(o.Get("signed"), "signed", false)
	if f.Type != "" && (!f.Type.Unsigned() || f.Bit+f.Width > 8*f.Type.Size()) {
		p.Bad(o.N, "a bit field lies in u8, u16, u24, u32 or u64; bit 0 is the least significant", "bits %d to %d are not in %s", f.Bit, f.Bit+f.Width-1, f.Type)
	}
}
