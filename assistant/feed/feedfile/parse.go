package feedfile

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/configs/document"
)

// Parse reads a feed file. It adds the user's own channels to set, so call it before any
// Row of the set is made; after an error the set is not to be used. name is the file's,
// for messages. The error joins all mistakes, each a *document.Error.
func Parse(name string, data []byte, set *channel.Set) (*File, error) {
	return ParseWith(name, data, set, nil)
}

// ParseWith is Parse for a feed file that may refer to others, such as a DBC file: open reads one by the path that is
// written in the feed file, relative to its folder and with slashes.
func ParseWith(name string, data []byte, set *channel.Set, open func(name string) ([]byte, error)) (*File, error) {
	r, top := document.Read(name, data, "begin with configs/feeds/example-csv.yaml or example-json.yaml")
	p := &parser{Reader: r, set: set, f: &File{Path: name}, at: map[channel.ID]*document.Node{}, open: open, bases: new([]Included)}
	if top != nil {
		p.top(top)
	}
	if err := p.Err(); err != nil {
		return nil, err
	}
	return p.f, nil
}

// parser fills a File.
type parser struct {
	document.Reader
	set   *channel.Set
	f     *File
	at    map[channel.ID]*document.Node // where each channel is mapped first
	kinds [][]channel.ID                // channels of each kind of record
	part  bool                          // this is one of several sources
	open  func(string) ([]byte, error)
	bases *[]Included // what has been read with open, by all sources
}

var codecs = []string{"packet", "json", "csv", "nmea", "can"}

// topKeys may stand at the top of a feed file, besides the names of the codecs. What they are in a source: keys.
var topKeys = []string{"name", "about", "car", "transport", "codec", "channels", "own_channels", "derived", "clock"}

func (p *parser) top(n *document.Node) document.Object {
	before := p.Count()
	o := p.Object(n, map[bool]string{false: "a feed file", true: "a source"}[p.part], p.keys()...)
	if !document.IsMapping(n) {
		return o
	}
	f := p.f
	f.Name, f.Car = p.Text(o.Get("name"), "name"), p.Text(o.Get("car"), "car")
	p.Text(o.Get("about"), "about") // for who reads the file
	p.own(o.Get("own_channels"))
	if p.shared(o) {
		return o
	}
	p.transport(o)
	p.clockSection(o.Get("clock"))
	if !o.Has("codec") {
		p.Bad(n, "write codec: "+strings.Join(codecs, ", "), "the codec is missing")
		return o
	}
	f.Codec = p.Choice(o.Get("codec"), "codec", codecs...)
	for _, c := range codecs {
		if o.Has(c) && f.Codec != "" && c != f.Codec {
			p.Bad(o.Get(c), "take it out, or change the codec", "there is a section %s, and the codec is %s", c, f.Codec)
		}
	}
	switch f.Codec {
	case "packet":
		if o.Has("channels") {
			p.Bad(o.Get("channels"), "map the fields under packet: kinds: … fields:, with to: CHANNEL", "a packet file has no section channels")
		}
		p.packetSection(o.Get("packet"), n)
	case "json":
		p.jsonSection(o.Get("json"), o)
	case "csv":
		p.csvSection(o.Get("csv"), o)
	case "nmea":
		p.nmeaSection(o.Get("nmea"), o)
	case "can":
		p.canSection(o.Get("can"), o)
	}
	p.derivedSection(o.Get("derived"))
	for id := range p.at {
		if id != codec.Time {
			f.Covers = append(f.Covers, id)
		}
	}
	_, f.Clock.Own = p.at[codec.Time]
	slices.Sort(f.Covers)
	if p.Count() == before {
		if len(f.Covers) == 0 {
			p.Bad(n, "map at least one field to a channel", "the file maps no channel")
		}
		if msg, hint := f.Unready(); msg != "" {
			p.Bad(o.At("transport"), hint, "%s", msg)
		}
	}
	return o
}

// texts are the names in a list as plain texts.
func texts[T ~string](list []T) []string {
	names := make([]string, len(list))
	for i, x := range list {
		names[i] = string(x)
	}
	return names
}

// quantity reads a number with its unit.
func (p *parser) quantity(n *document.Node, what string, q channel.Quantity, otherwise float64) float64 {
	if n == nil {
		return otherwise
	}
	if x := channel.Read(p.Reader, n, what, q); !math.IsNaN(x) {
		return x
	}
	return otherwise
}

// seconds reads how long something takes: a time above 0.
func (p *parser) seconds(o document.Object, key string, otherwise float64) float64 {
	t := p.quantity(o.Get(key), key, channel.Time, otherwise)
	if o.Has(key) && t <= 0 {
		p.Bad(o.Get(key), "", "%s is more than 0 s", key)
	}
	return t
}

// span reads [least, greatest] of a quantity.
func (p *parser) span(n *document.Node, what string, q channel.Quantity) (lo, hi float64) {
	const hint = "write it as [least, greatest]"
	l := p.List(n, what, hint)
	if len(l) != 2 {
		if document.IsList(n) {
			p.Bad(n, hint, "%s has two values", what)
		}
		return math.NaN(), math.NaN()
	}
	lo, hi = channel.Read(p.Reader, l[0], what, q), channel.Read(p.Reader, l[1], what, q)
	if lo >= hi {
		p.Bad(n, hint, "%s is empty", what)
	}
	return lo, hi
}

func (p *parser) clockSection(n *document.Node) {
	o := p.Object(n, "clock", "jump", "period")
	c := &p.f.Clock
	c.Jump, c.Period = p.seconds(o, "jump", JumpLimit), p.seconds(o, "period", 0)
}

// maxOwn bounds the channels of the user's own: each is a number in every sample.
const maxOwn = 2000

func (p *parser) own(n *document.Node) {
	quantities := texts(channel.Quantities())
	entries := p.Pairs(n, "own_channels")
	if len(entries) > maxOwn {
		p.Bad(n, "leave out those that no rule and no debrief reads", "there are %d own channels, and %d are the most", len(entries), maxOwn)
		return
	}
	for _, e := range entries {
		o := p.Object(e.V, "own channel "+e.Key, "quantity", "range", "stale", "labels", "about")
		c := channel.Channel{Name: e.Key, About: p.Text(o.Get("about"), "about"), Quantity: channel.None}
		if o.Has("quantity") {
			c.Quantity = channel.Quantity(p.Choice(o.Get("quantity"), "quantity", quantities...))
		} else if !o.Has("labels") {
			p.Bad(e.K, "use one of "+strings.Join(quantities, ", "), "the quantity of %s is missing", e.Key)
		}
		if c.Quantity == "" {
			continue
		}
		for _, l := range p.List(o.Get("labels"), "labels", "") {
			c.Labels = append(c.Labels, p.Text(l, "a label"))
		}
		if c.Labels != nil && c.Quantity != channel.None {
			p.Bad(o.Get("labels"), "take the quantity out", "a choice has no quantity")
		}
		if o.Has("range") {
			c.Min, c.Max = p.span(o.Get("range"), "range", c.Quantity)
		}
		c.Stale = p.seconds(o, "stale", 0)
		if _, err := p.set.Add(c); err != nil {
			p.Bad(e.K, "", "%v", err)
		}
	}
}

// target finds the channel that a file names; ok is false when there is none for it.
func (p *parser) target(n *document.Node, name string) (id channel.ID, c channel.Channel, ok bool) {
	if name == "time" {
		return codec.Time, channel.Channel{Name: "time", Quantity: channel.Time}, true
	}
	id, ok = p.set.Lookup(name)
	if !ok {
		p.Bad(n, document.Meant(name, p.suppliable(), "declare it under own_channels if it is your own"), "there is no channel %q", name)
		return 0, c, false
	}
	c = p.set.At(id)
	if c.Origin == channel.Computed {
		p.Bad(n, "map to a measured channel, or to one of your own under own_channels", "%s is worked out by Earshot, so a feed cannot supply it", name)
		return 0, c, false
	}
	return id, c, true
}

// suppliable lists the channels that a feed may map to.
func (p *parser) suppliable() []string {
	names := []string{"time"}
	for _, n := range p.set.Names() {
		if id, _ := p.set.Lookup(n); p.set.At(id).Origin != channel.Computed {
			names = append(names, n)
		}
	}
	return names
}

// A mapped is one target of an entry that may name several wheels.
type mapped struct {
	id channel.ID
	c  channel.Channel
	w  channel.Wheel
}

// targets resolves an entry's channel, or its four with wheels: [rl, rr, fl, fr].
func (p *parser) targets(n *document.Node, name string, wheels *document.Node) []mapped {
	if wheels == nil {
		if _, ok := p.set.Lookup(name + "_fl"); ok {
			if _, single := p.set.Lookup(name); !single {
				p.Bad(n, fmt.Sprintf("add wheels: [fl, fr, rl, rr] in the order of the source, or map %s_fl and so on one by one", name), "%s is a channel of each wheel", name)
				return nil
			}
		}
		if id, c, ok := p.target(n, name); ok {
			return []mapped{{id, c, 0}}
		}
		return nil
	}
	var list []mapped
	var seen []string
	for _, wn := range p.List(wheels, "wheels", "") {
		s := p.Choice(wn, "a wheel", "fl", "fr", "rl", "rr")
		if s == "" {
			continue
		}
		if slices.Contains(seen, s) {
			p.Bad(wn, "name each wheel once", "wheel %s stands twice", s)
			continue
		}
		seen = append(seen, s)
		id, c, ok := p.target(n, name+"_"+s)
		if !ok {
			return nil
		}
		list = append(list, mapped{id, c, channel.Wheel(slices.Index([]string{"fl", "fr", "rl", "rr"}, s))})
	}
	return list
}

// claim notes that id is mapped at n. Twice is a mistake, but for kinds of records that differ.
func (p *parser) claim(n *document.Node, id channel.ID, name string, inKind map[channel.ID]bool) {
	first, ok := p.at[id]
	if ok && (inKind == nil || inKind[id]) {
		p.Bad(n, "take one of the two out", "%s is mapped in line %d already", name, first.Line)
	}
	if !ok {
		p.at[id] = n
	}
	if inKind != nil {
		inKind[id] = true
	}
}

// conversionKeys are the keys of an entry that say what a raw value means.
var conversionKeys = []string{"unit", "scale", "offset", "negate", "values", "absent", "range", "format", "changes"}

// conversion reads them. text tells that raw values may be texts; free that the unit may come from elsewhere.
func (p *parser) conversion(o document.Object, n *document.Node, m mapped, text, free bool) codec.Field {
	f := codec.Field{Name: m.c.Name, ID: m.id, A: 1, Lo: math.NaN(), Hi: math.NaN(), Labelled: m.c.Labels != nil}
	f.Format = codec.Format(p.Choice(o.Get("format"), "format", "clock", "iso"))
	if f.Format != codec.Plain && (!text || m.c.Quantity != channel.Time) {
		p.Bad(o.Get("format"), "take it out", "only a time in text has a format")
	}
	u := p.unit(o, n, m.c, free || f.Format != codec.Plain)
	scale, offset := p.Number(o.Get("scale"), "scale", 1), p.Number(o.Get("offset"), "offset", 0)
	if scale == 0 {
		p.Bad(o.Get("scale"), "", "a scale of 0 makes every reading the same")
	}
	if p.Flag(o.Get("negate"), "negate", false) {
		scale, offset = -scale, -offset
	}
	f.A, f.B = scale*u.Scale, u.In(offset)
	if f.Labelled && (o.Has("scale") || o.Has("offset") || o.Has("negate")) {
		p.Bad(o.N, "use values: {RAW: LABEL}", "%s is a choice and has no scale", m.c.Name)
	}
	p.absent(o.Get("absent"), &f, text)
	p.changes(o.Get("changes"), m)
	if n := o.Get("range"); n != nil {
		f.Lo, f.Hi = p.span(n, "range", m.c.Quantity)
	}
	p.values(o, n, m.c, u, text, &f)
	return f
}

// unit finds the unit of an entry; where one is possible it must be there.
func (p *parser) unit(o document.Object, n *document.Node, c channel.Channel, free bool) channel.Unit {
	one := channel.Unit{Scale: 1}
	if !o.Has("unit") {
		if c.Quantity != channel.None && !free {
			p.Bad(n, channel.Choices(c.Quantity), "the unit of %s is missing", c.Name)
		}
		return one
	}
	if u, ok := channel.ReadUnit(p.Reader, o.Get("unit"), c.Quantity); ok {
		return u
	}
	return one
}

func (p *parser) absent(n *document.Node, f *codec.Field, text bool) {
	if n == nil {
		return
	}
	for _, v := range p.OneOrMore(n, "absent") {
		if !document.IsScalar(v) {
			p.Bad(v, "write absent: 65535, or a list", "a value that means absent is a number or a text")
			continue
		}
		p.absentValue(v, f, text)
	}
}

func (p *parser) absentValue(v *document.Node, f *codec.Field, text bool) {
	if text {
		f.AbsentText = append(f.AbsentText, v.Value)
	}
	if x, ok := rawNumber(v.Value); ok {
		f.Absent = append(f.Absent, x)
	} else if !text {
		p.Bad(v, "", "%q is not a number, and the field holds numbers", v.Value)
	}
}

// rawNumber reads a number of the source as a file writes it: decimal or 0x…
func rawNumber(s string) (float64, bool) {
	if strings.HasPrefix(s, "0x") {
		var u uint64
		_, err := fmt.Sscanf(s, "0x%x", &u)
		return float64(u), err == nil
	}
	return codec.ParseNumber([]byte(s), false)
}

// values reads the table from raw values to labels or numbers.
func (p *parser) values(o document.Object, n *document.Node, c channel.Channel, u channel.Unit, text bool, f *codec.Field) {
	table := o.Get("values")
	if table == nil {
		if c.Labels != nil {
			if !text {
				p.Bad(n, "say what each number means: values: {0: "+c.Labels[0]+", …}; the labels are "+strings.Join(c.Labels, ", "), "%s is a choice, and the source sends a number", c.Name)
			}
			f.Texts = map[string]float64{}
			for i, l := range c.Labels {
				f.Texts[l] = float64(i)
			}
		}
		return
	}
	f.Values = []codec.Value{} // even when all of them are texts, a number that is not listed is none
	for _, e := range p.Pairs(table, "values") {
		raw, isNumber := rawNumber(e.Key)
		if !isNumber && !text {
			p.Bad(e.K, "", "%q is not a number, and the field holds numbers", e.Key)
			continue
		}
		if document.IsScalar(e.V) && (e.V.Tag == "!!null" || e.V.Value == "absent") {
			p.absentValue(e.K, f, text)
			continue
		}
		is, ok := p.value(e.V, c, u)
		if !ok {
			continue
		}
		if text {
			if f.Texts == nil {
				f.Texts = map[string]float64{}
			}
			f.Texts[e.Key] = is
		}
		if isNumber {
			f.Values = append(f.Values, codec.Value{Raw: raw, Is: is})
		}
	}
}

func (p *parser) value(n *document.Node, c channel.Channel, u channel.Unit) (float64, bool) {
	if c.Labels == nil {
		before := p.Count()
		x := p.Number(n, "a value", 0)
		return u.In(x), p.Count() == before
	}
	s := p.Text(n, "a value")
	if i := slices.Index(c.Labels, s); i >= 0 {
		return float64(i), true
	}
	p.Bad(n, document.Meant(s, c.Labels, "the labels are "+strings.Join(c.Labels, ", ")), "%s has no label %q", c.Name, s)
	return 0, false
}
