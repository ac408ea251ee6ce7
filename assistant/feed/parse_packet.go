package feed

import (
	"encoding/hex"
	"math"
	"strings"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/assistant/feed/codec/packet"
)

// farthest is the largest place in a datagram: UDP carries no more.
const farthest = 65507

// A cursor is where the next field goes when it does not say.
type cursor struct {
	next int
	bits *packet.Field // the bit field before, with which the next may share its integer
}

// packetSection reads the layout of binary datagrams.
func (p *parser) packetSection(n, top *yaml.Node) {
	if n == nil {
		p.bad(top, "write packet: {byte_order: little, kinds: {…}}", "the section packet is missing")
		return
	}
	o := p.object(n, "packet", "byte_order", "frame", "when", "sequence", "check", "fields", "kinds")
	l := &packet.Layout{}
	big := p.order(o.get("byte_order"), false)
	p.f.frame = p.frame(o.get("frame"), big)
	l.Sequence = p.counter(o.get("sequence"), big)
	check := p.check(o.get("check"), big)
	when := p.matches(o.get("when"), big)
	common := map[channel.ID]bool{}
	var cur cursor
	shared := p.fields(o.get("fields"), big, &cur, common)
	kinds := p.pairs(o.get("kinds"), "kinds")
	if len(kinds) == 0 {
		p.bad(n, "write kinds: {NAME: {when: […], fields: […]}}", "no kind of datagram is described")
	}
	for _, e := range kinds {
		ko := p.object(e.n, "kind "+e.key, "about", "byte_order", "when", "length", "period", "sequence", "check", "fields")
		kbig := p.order(ko.get("byte_order"), big)
		k := packet.Kind{Name: e.key, Check: check, Length: int(p.integer(ko.get("length"), "length", 1, farthest))}
		k.When = append(append(k.When, when...), p.matches(ko.get("when"), kbig)...)
		k.Period = p.quantity(ko.get("period"), "period", channel.Time, 0)
		k.Sequence = p.counter(ko.get("sequence"), kbig)
		if ko.has("check") {
			k.Check = p.check(ko.get("check"), kbig)
		}
		if k.Period < 0 {
			p.bad(ko.get("period"), "", "period is more than 0 s")
		}
		if len(k.When) == 0 && k.Length == 0 {
			p.bad(e.kn, "give when: [{at: 0, type: u8, is: 1}] or the exact length, so that no other datagram is taken for it", "nothing tells kind %s from other datagrams", e.key)
		}
		here, kcur := map[channel.ID]bool{}, cur
		for id := range common {
			here[id] = true
		}
		k.Fields = append(append(k.Fields, shared...), p.fields(ko.get("fields"), kbig, &kcur, here)...)
		var ids []channel.ID
		for id := range here {
			ids = append(ids, id)
		}
		p.kinds = append(p.kinds, ids)
		l.Kinds = append(l.Kinds, k)
	}
	if len(p.errs) == 0 {
		for _, err := range l.Validate() {
			p.bad(n, "", "%v", err)
		}
	}
	p.f.packet = l
	p.f.clock.modulus = modulus(l)
}

// frame reads how packets stand in a stream of bytes.
func (p *parser) frame(n *yaml.Node, big bool) *packet.Frame {
	if n == nil {
		return nil
	}
	before := len(p.errs)
	o := p.object(n, "frame", "size", "length", "end", "capture", "start", "largest")
	f := &packet.Frame{Start: p.hex(o.get("start"), "start"), End: p.hex(o.get("end"), "end"), Capture: p.boolean(o.get("capture"), "capture", false)}
	f.Size = int(p.integer(o.get("size"), "size", 1, farthest))
	f.Largest = int(p.integer(o.get("largest"), "largest", 1, farthest))
	if ln := o.get("length"); ln != nil {
		lo := p.object(ln, "length", "at", "type", "byte_order", "counts", "extra")
		f.Length = &packet.Length{At: p.place(lo, "the length"), Type: p.typ(lo), Big: p.order(lo.get("byte_order"), big)}
		f.Length.Extra = int(p.integer(lo.get("extra"), "extra", -farthest, farthest))
		f.Length.Rest = p.choice(lo.get("counts"), "counts", "all", "rest") == "rest"
		if !lo.has("counts") {
			p.bad(ln, "write counts: all, if it is the length of the whole packet, or counts: rest, of the bytes behind it", "what the length counts is missing")
		}
	}
	var ways []string
	for _, key := range []string{"size", "length", "end", "capture"} {
		if o.has(key) {
			ways = append(ways, key)
		}
	}
	switch {
	case len(ways) == 0:
		p.bad(n, "write size: BYTES, length: {…}, end: BYTES or capture: true", "nothing tells where a packet ends")
	case len(ways) > 1:
		p.bad(o.get(ways[1]), "take one of the two out", "%s and %s exclude each other", ways[0], ways[1])
	case ways[0] == "capture" && !f.Capture:
		p.bad(o.get("capture"), "take it out, or write capture: true", "capture: false says nothing")
	case len(p.errs) == before:
		for _, err := range f.Validate() {
			p.bad(n, "", "%v", err)
		}
	}
	return f
}

// hex reads bytes as pairs of hexadecimal digits, with or without spaces and 0x.
func (p *parser) hex(n *yaml.Node, what string) []byte {
	s := p.text(n, what)
	if n == nil || s == "" && n.Kind != yaml.ScalarNode {
		return nil
	}
	b, err := hex.DecodeString(strings.ReplaceAll(strings.ReplaceAll(s, " ", ""), "0x", ""))
	if err != nil || len(b) == 0 || len(b) > 16 {
		p.bad(n, "write for example "+what+": B5 62", "%s is 1 to 16 bytes as pairs of hexadecimal digits", what)
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

func (p *parser) order(n *yaml.Node, otherwise bool) bool {
	switch p.choice(n, "byte_order", "little", "big") {
	case "little":
		return false
	case "big":
		return true
	}
	return otherwise
}

func typeNames() []string {
	var s []string
	for _, t := range packet.Types() {
		s = append(s, string(t))
	}
	return s
}

func (p *parser) typ(o object) packet.Type {
	if !o.has("type") {
		p.bad(o.n, "use one of "+strings.Join(typeNames(), ", "), "the type is missing")
		return ""
	}
	return packet.Type(p.choice(o.get("type"), "type", typeNames()...))
}

func (p *parser) place(o object, what string) int {
	if !o.has("at") {
		p.bad(o.n, "write at: and the number of the byte, from 0", "the place of %s is missing", what)
		return 0
	}
	return int(p.integer(o.get("at"), "at", 0, farthest))
}

func (p *parser) counter(n *yaml.Node, big bool) *packet.Counter {
	if n == nil {
		return nil
	}
	o := p.object(n, "sequence", "at", "type", "byte_order")
	c := &packet.Counter{At: p.place(o, "the sequence number"), Type: p.typ(o), Big: p.order(o.get("byte_order"), big)}
	if c.Type != "" && (!c.Type.Unsigned() || c.Type.Size() > 4) {
		p.bad(o.at("type"), "use u8, u16, u24 or u32", "a sequence number is unsigned and has at most 32 bits")
	}
	return c
}

func (p *parser) check(n *yaml.Node, big bool) *packet.Check {
	if n == nil {
		return nil
	}
	var sums []string
	for _, s := range packet.Sums() {
		sums = append(sums, string(s))
	}
	o := p.object(n, "check", "sum", "at", "over", "byte_order")
	c := &packet.Check{Sum: packet.Sum(p.choice(o.get("sum"), "sum", sums...)), Big: p.order(o.get("byte_order"), big)}
	if !o.has("sum") {
		p.bad(n, "use one of "+strings.Join(sums, ", "), "the kind of checksum is missing")
		return nil
	}
	if c.Sum == "" {
		return nil
	}
	c.At = -c.Sum.Size()
	if o.has("at") {
		c.At = int(p.integer(o.get("at"), "at", -farthest, farthest))
		if c.At < 0 && c.At > -c.Sum.Size() {
			p.bad(o.get("at"), "", "%s has %d bytes and would end behind the datagram", c.Sum, c.Sum.Size())
		}
	}
	c.To = min(c.At, 0)
	if over := p.list(o.get("over"), "over"); len(over) == 2 {
		c.From, c.To = int(p.integer(over[0], "the first byte", -farthest, farthest)), int(p.integer(over[1], "the end", -farthest, farthest))
	} else if o.has("over") {
		p.bad(o.get("over"), "write over: [first, end]; negative numbers count from the end of the datagram", "over has two places")
	} else if c.At >= 0 {
		p.bad(n, "write over: [first, end]", "which bytes the checksum is over is missing")
	}
	return c
}

func (p *parser) matches(n *yaml.Node, big bool) []packet.Match {
	var list []packet.Match
	for _, c := range p.list(n, "when") {
		o := p.object(c, "a discriminator", "at", "type", "is", "byte_order")
		m := packet.Match{At: p.place(o, "a discriminator"), Type: p.typ(o), Big: p.order(o.get("byte_order"), big)}
		if !o.has("is") {
			p.bad(c, "write is: and the number that stands there", "what a discriminator is like is missing")
			continue
		}
		m.Is = p.integer(o.get("is"), "is", math.MinInt64, math.MaxInt64)
		if m.Type != "" && !m.Type.Integer() {
			p.bad(o.at("type"), "use an integer type", "a discriminator cannot be %s", m.Type)
		}
		list = append(list, m)
	}
	return list
}

// fields reads a list of fields. One that does not say where it stands follows the
// one before; a bit field without a place shares the integer of the bit field before if its bits
// are free and the type is the same.
func (p *parser) fields(n *yaml.Node, big bool, cur *cursor, inKind map[channel.ID]bool) []packet.Field {
	var list []packet.Field
	for _, c := range p.list(n, "fields") {
		o := p.object(c, "a field", append([]string{"at", "skip", "type", "bit", "width", "signed", "byte_order", "length", "to", "wheels", "stride"}, conversionKeys...)...)
		if o.has("skip") {
			cur.next, cur.bits = cur.next+int(p.integer(o.get("skip"), "skip", 1, farthest)), nil
			if len(o.m) > 1 {
				p.bad(c, "make it two entries", "skip stands alone")
			}
			continue
		}
		list = append(list, p.field(c, o, big, cur, inKind)...)
	}
	return list
}

func (p *parser) field(n *yaml.Node, o object, big bool, cur *cursor, inKind map[channel.ID]bool) []packet.Field {
	f := packet.Field{Type: p.typ(o), Big: p.order(o.get("byte_order"), big)}
	f.Length = int(p.integer(o.get("length"), "length", 1, farthest))
	if f.Type == packet.Text && f.Length == 0 {
		p.bad(n, "write length: and the number of bytes", "the length of a text is missing")
	}
	if f.Type != packet.Text && o.has("length") {
		p.bad(o.get("length"), "take it out", "only a text has a length")
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
	if o.has("at") {
		f.At = int(p.integer(o.get("at"), "at", 0, farthest))
	}
	stride := size
	if o.has("stride") {
		if stride = int(p.integer(o.get("stride"), "stride", 1, farthest)); stride < size && stride > 0 {
			p.bad(o.get("stride"), "the stride is from the start of one element to the start of the next", "elements of %d bytes would overlap at a stride of %d", size, stride)
		}
		if !o.has("wheels") {
			p.bad(o.get("stride"), "add wheels: [fl, fr, rl, rr] in the order of the source", "only an array has a stride")
		}
	}
	if !o.has("to") {
		p.bad(n, "write to: CHANNEL, or skip: BYTES for what you do not use", "where the field goes is missing")
		return nil
	}
	to := p.text(o.get("to"), "to")
	targets := p.targets(o.get("to"), to, o.get("wheels"))
	var list []packet.Field
	for i, m := range targets {
		p.claim(o.get("to"), m.id, m.c.Name, inKind)
		g := f
		g.At = f.At + i*stride
		before := len(p.errs)
		g.Field = p.conversion(o, o.get("to"), m, f.Type == packet.Text, false)
		list = append(list, g)
		if len(p.errs) > before {
			break // the other wheels would say the same
		}
	}
	cur.next, cur.bits = f.At+max(1, len(targets))*stride, nil
	if f.Width > 0 && len(targets) == 1 {
		cur.bits = &list[0]
	}
	return list
}

func (p *parser) bits(o object, f *packet.Field) {
	if !o.has("bit") && !o.has("width") {
		if o.has("signed") {
			p.bad(o.get("signed"), "use an i type", "only a bit field is made signed so")
		}
		return
	}
	f.Bit, f.Width = int(p.integer(o.get("bit"), "bit", 0, 63)), 1
	if o.has("width") {
		f.Width = int(p.integer(o.get("width"), "width", 1, 64))
	}
	f.Signed = p.boolean(o.get("signed"), "signed", false)
	if f.Type != "" && (!f.Type.Unsigned() || f.Bit+f.Width > 8*f.Type.Size()) {
		p.bad(o.n, "a bit field lies in u8, u16, u24, u32 or u64; bit 0 is the least significant", "bits %d to %d are not in %s", f.Bit, f.Bit+f.Width-1, f.Type)
	}
}
