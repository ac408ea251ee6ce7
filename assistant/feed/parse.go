package feed

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/assistant/feed/codec/can"
	"earshot/assistant/feed/codec/csv"
	"earshot/assistant/feed/codec/json"
	"earshot/assistant/feed/codec/nmea"
	"earshot/assistant/feed/codec/packet"
	"earshot/assistant/feed/transport"
)

// A File is a feed file that has been read and checked.
type File struct {
	Name      string         // how the feed is called, for people
	About     string         // one line for people
	Car       string         // the car file that goes with it: a name, or a path from this file; empty where it says none
	Transport transport.Spec // a replay puts its own here before NewDecoder
	Codec     string         // packet, json, csv, nmea or can

	file    string
	packet  *packet.Layout
	frame   *packet.Frame // how packets stand in a stream
	json    *json.Layout
	csv     *csv.Layout
	nmea    *nmea.Layout
	can     *can.Layout
	covers  []channel.ID
	derived []derivation
	clock   clock
	changes []change // channels of which a repeated value is no new reading
	frozen  frozen

	includes []Included

	parts  []part               // several sources instead of all the above but covers and derived
	prefer map[channel.ID][]int // the sources that give a channel, the best first, where there are several
}

// Parse reads a feed file. It adds the user's own channels to set, so call it before any
// Row of the set is made; after an error the set is not to be used. name is the file's,
// for messages. The error joins all mistakes, each an *Error that wraps ErrInvalid.
func Parse(name string, data []byte, set *channel.Set) (*File, error) {
	return ParseWith(name, data, set, nil)
}

// ParseWith is Parse for a feed file that may refer to others, such as a DBC file: open reads one by the path that is
// written in the feed file, relative to its folder and with slashes.
func ParseWith(name string, data []byte, set *channel.Set, open func(name string) ([]byte, error)) (*File, error) {
	p := &parser{reader: reader{file: name}, set: set, f: &File{file: name}, at: map[channel.ID]*yaml.Node{}, open: open, bases: new([]Included)}
	if top := p.document(data); top != nil {
		p.top(top)
	}
	if err := p.err(); err != nil {
		return nil, err
	}
	return p.f, nil
}

// parser fills a File.
type parser struct {
	reader
	set   *channel.Set
	f     *File
	at    map[channel.ID]*yaml.Node // where each channel is mapped first
	kinds [][]channel.ID            // channels of each kind of record
	part  bool                      // this is one of several sources
	open  func(string) ([]byte, error)
	bases *[]Included // what has been read with open, by all sources
}

var codecs = []string{"packet", "json", "csv", "nmea", "can"}

// topKeys may stand at the top of a feed file, besides the names of the codecs. What they are in a source: keys.
var topKeys = []string{"name", "about", "car", "transport", "codec", "channels", "own_channels", "derived", "clock"}

func (p *parser) top(n *yaml.Node) {
	o := p.object(n, map[bool]string{false: "a feed file", true: "a source"}[p.part], p.keys()...)
	f := p.f
	f.Name, f.About, f.Car = p.text(o.get("name"), "name"), p.text(o.get("about"), "about"), p.text(o.get("car"), "car")
	p.own(o.get("own_channels"))
	if p.shared(o) {
		return
	}
	p.transport(o)
	p.clockSection(o.get("clock"))
	if !o.has("codec") {
		p.bad(n, "write codec: "+strings.Join(codecs, ", "), "the codec is missing")
		return
	}
	f.Codec = p.choice(o.get("codec"), "codec", codecs...)
	for _, c := range codecs {
		if o.has(c) && f.Codec != "" && c != f.Codec {
			p.bad(o.get(c), "take it out, or change the codec", "there is a section %s, and the codec is %s", c, f.Codec)
		}
	}
	switch f.Codec {
	case "packet":
		if o.has("channels") {
			p.bad(o.get("channels"), "map the fields under packet: kinds: … fields:, with to: CHANNEL", "a packet file has no section channels")
		}
		p.packetSection(o.get("packet"), n)
	case "json":
		p.jsonSection(o.get("json"), o)
	case "csv":
		p.csvSection(o.get("csv"), o)
	case "nmea":
		p.nmeaSection(o.get("nmea"), o)
	case "can":
		p.canSection(o.get("can"), o)
	}
	p.derivedSection(o.get("derived"))
	for id := range p.at {
		if id != codec.Time {
			f.covers = append(f.covers, id)
		}
	}
	_, f.clock.own = p.at[codec.Time]
	slices.Sort(f.covers)
	if len(p.errs) == 0 {
		if len(f.covers) == 0 {
			p.bad(n, "map at least one field to a channel", "the file maps no channel")
		}
		if msg, hint := f.unready(); msg != "" {
			p.bad(o.at("transport"), hint, "%s", msg)
		}
	}
}

// unready tells why the file cannot be decoded over its transport, "" if it can.
func (f *File) unready() (msg, hint string) {
	switch {
	case f.Codec == "packet" && !f.Transport.Datagrams() && f.frame == nil:
		return fmt.Sprintf("codec packet needs whole datagrams, and transport %s is a stream", f.Transport.Kind), "write packet: {frame: {…}}, how the packets stand in the stream, or use kind: udp"
	case f.Transport.Kind == transport.CAN && f.Codec != "can":
		return "transport can brings the frames of a bus, which codec can reads", "write codec: can"
	case f.Transport.Kind == transport.File && !f.clock.own && f.clock.period == 0:
		return "a file does not tell when its records were made", "map a field to time, or write clock: {period: 10 ms} if they are evenly spaced"
	}
	return "", ""
}

func (p *parser) clockSection(n *yaml.Node) {
	o := p.object(n, "clock", "jump", "period")
	c := &p.f.clock
	c.jump = p.quantity(o.get("jump"), "jump", channel.Time, jumpLimit)
	c.period = p.quantity(o.get("period"), "period", channel.Time, 0)
	if c.jump <= 0 {
		p.bad(o.get("jump"), "", "jump is more than 0 s")
	}
	if o.has("period") && c.period <= 0 {
		p.bad(o.get("period"), "", "period is more than 0 s")
	}
}

func (p *parser) own(n *yaml.Node) {
	var quantities []string
	for _, q := range channel.Quantities() {
		quantities = append(quantities, string(q))
	}
	for _, e := range p.pairs(n, "own_channels") {
		o := p.object(e.n, "own channel "+e.key, "quantity", "range", "stale", "labels", "about")
		c := channel.Channel{Name: e.key, About: p.text(o.get("about"), "about"), Quantity: channel.None}
		if o.has("quantity") {
			c.Quantity = channel.Quantity(p.choice(o.get("quantity"), "quantity", quantities...))
		} else if !o.has("labels") {
			p.bad(e.kn, "use one of "+strings.Join(quantities, ", "), "the quantity of %s is missing", e.key)
		}
		if c.Quantity == "" {
			continue
		}
		for _, l := range p.list(o.get("labels"), "labels") {
			c.Labels = append(c.Labels, p.text(l, "a label"))
		}
		if c.Labels != nil && c.Quantity != channel.None {
			p.bad(o.get("labels"), "take the quantity out", "a choice has no quantity")
		}
		if o.has("range") {
			c.Min, c.Max = p.span(o.get("range"), "range", c.Quantity)
		}
		c.Stale = p.quantity(o.get("stale"), "stale", channel.Time, 0)
		if c.Stale < 0 {
			p.bad(o.get("stale"), "", "stale is more than 0 s")
		}
		if _, err := p.set.Add(c); err != nil {
			p.bad(e.kn, "", "%v", err)
		}
	}
}

// target finds the channel that a file names; ok is false when there is none for it.
func (p *parser) target(n *yaml.Node, name string) (id channel.ID, c channel.Channel, ok bool) {
	if name == "time" {
		return codec.Time, channel.Channel{Name: "time", Quantity: channel.Time}, true
	}
	id, ok = p.set.Lookup(name)
	if !ok {
		p.bad(n, didYouMean(name, p.suppliable(), "declare it under own_channels if it is your own"), "there is no channel %q", name)
		return 0, c, false
	}
	c = p.set.At(id)
	if c.Origin == channel.Computed {
		p.bad(n, "map to a measured channel, or to one of your own under own_channels", "%s is worked out by Earshot, so a feed cannot supply it", name)
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
func (p *parser) targets(n *yaml.Node, name string, wheels *yaml.Node) []mapped {
	if wheels == nil {
		if _, ok := p.set.Lookup(name + "_fl"); ok {
			if _, single := p.set.Lookup(name); !single {
				p.bad(n, fmt.Sprintf("add wheels: [fl, fr, rl, rr] in the order of the source, or map %s_fl and so on one by one", name), "%s is a channel of each wheel", name)
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
	for _, wn := range p.list(wheels, "wheels") {
		s := p.choice(wn, "a wheel", "fl", "fr", "rl", "rr")
		if s == "" {
			continue
		}
		if slices.Contains(seen, s) {
			p.bad(wn, "name each wheel once", "wheel %s stands twice", s)
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
func (p *parser) claim(n *yaml.Node, id channel.ID, name string, inKind map[channel.ID]bool) {
	first, ok := p.at[id]
	if ok && (inKind == nil || inKind[id]) {
		p.bad(n, "take one of the two out", "%s is mapped in line %d already", name, first.Line)
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
func (p *parser) conversion(o object, n *yaml.Node, m mapped, text, free bool) codec.Field {
	f := codec.Field{Name: m.c.Name, ID: m.id, A: 1, Lo: math.NaN(), Hi: math.NaN(), Labelled: m.c.Labels != nil}
	f.Format = codec.Format(p.choice(o.get("format"), "format", "clock", "iso"))
	if f.Format != codec.Plain && (!text || m.c.Quantity != channel.Time) {
		p.bad(o.get("format"), "take it out", "only a time in text has a format")
	}
	u := p.unit(o, n, m.c, free || f.Format != codec.Plain)
	scale, offset := p.number(o.get("scale"), "scale", 1), p.number(o.get("offset"), "offset", 0)
	if scale == 0 {
		p.bad(o.get("scale"), "", "a scale of 0 makes every reading the same")
	}
	if p.boolean(o.get("negate"), "negate", false) {
		scale, offset = -scale, -offset
	}
	f.A, f.B = scale*u.Scale, u.In(offset)
	if f.Labelled && (o.has("scale") || o.has("offset") || o.has("negate")) {
		p.bad(o.n, "use values: {RAW: LABEL}", "%s is a choice and has no scale", m.c.Name)
	}
	p.absent(o.get("absent"), &f, text)
	p.changes(o.get("changes"), m)
	if n := o.get("range"); n != nil {
		f.Lo, f.Hi = p.span(n, "range", m.c.Quantity)
	}
	p.values(o, n, m.c, u, text, &f)
	return f
}

// unit finds the unit of an entry; where one is possible it must be there.
func (p *parser) unit(o object, n *yaml.Node, c channel.Channel, free bool) channel.Unit {
	one := channel.Unit{Scale: 1}
	choices := "a " + string(c.Quantity) + " is written in one of " + strings.Join(channel.UnitsOf(c.Quantity), ", ")
	if !o.has("unit") {
		if c.Quantity != channel.None && !free {
			p.bad(n, choices, "the unit of %s is missing", c.Name)
		}
		return one
	}
	spelling := p.text(o.get("unit"), "unit")
	if spelling == "" {
		return one
	}
	u, ok := channel.UnitNamed(spelling)
	if !ok {
		if near := nearest(spelling, channel.UnitsOf(c.Quantity)); near != "" {
			choices = "did you mean " + near + "? " + choices
		}
		p.bad(o.get("unit"), choices, "unknown unit %q", spelling)
		return one
	}
	if c.Quantity == channel.TemperatureDifference && u.Quantity == channel.Temperature {
		u.Offset = 0 // a difference has no zero point
		return u
	}
	if u.Quantity != c.Quantity {
		if c.Quantity == channel.Temperature && spelling == "K" {
			choices = "K_abs is the absolute temperature; " + choices
		}
		p.bad(o.get("unit"), choices, "%s is a unit of %s, and %s is a %s", spelling, u.Quantity, c.Name, c.Quantity)
		return one
	}
	return u
}

func (p *parser) absent(n *yaml.Node, f *codec.Field, text bool) {
	if n == nil {
		return
	}
	list := []*yaml.Node{n}
	if n.Kind == yaml.SequenceNode {
		list = p.list(n, "absent")
	}
	for _, v := range list {
		if v.Kind != yaml.ScalarNode {
			p.bad(v, "write absent: 65535, or a list", "a value that means absent is a number or a text")
			continue
		}
		p.absentValue(v, f, text)
	}
}

func (p *parser) absentValue(v *yaml.Node, f *codec.Field, text bool) {
	if text {
		f.AbsentText = append(f.AbsentText, v.Value)
	}
	if x, ok := rawNumber(v.Value); ok {
		f.Absent = append(f.Absent, x)
	} else if !text {
		p.bad(v, "", "%q is not a number, and the field holds numbers", v.Value)
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
func (p *parser) values(o object, n *yaml.Node, c channel.Channel, u channel.Unit, text bool, f *codec.Field) {
	table := o.get("values")
	if table == nil {
		if c.Labels != nil {
			if !text {
				p.bad(n, "say what each number means: values: {0: "+c.Labels[0]+", …}; the labels are "+strings.Join(c.Labels, ", "), "%s is a choice, and the source sends a number", c.Name)
			}
			f.Texts = map[string]float64{}
			for i, l := range c.Labels {
				f.Texts[l] = float64(i)
			}
		}
		return
	}
	f.Values = []codec.Value{} // even when all of them are texts, a number that is not listed is none
	for _, e := range p.pairs(table, "values") {
		raw, isNumber := rawNumber(e.key)
		if !isNumber && !text {
			p.bad(e.kn, "", "%q is not a number, and the field holds numbers", e.key)
			continue
		}
		if e.n.Kind == yaml.ScalarNode && (e.n.Tag == "!!null" || e.n.Value == "absent") {
			p.absentValue(e.kn, f, text)
			continue
		}
		is, ok := p.value(e.n, c, u)
		if !ok {
			continue
		}
		if text {
			if f.Texts == nil {
				f.Texts = map[string]float64{}
			}
			f.Texts[e.key] = is
		}
		if isNumber {
			f.Values = append(f.Values, codec.Value{Raw: raw, Is: is})
		}
	}
}

func (p *parser) value(n *yaml.Node, c channel.Channel, u channel.Unit) (float64, bool) {
	if c.Labels == nil {
		before := len(p.errs)
		x := p.number(n, "a value", 0)
		return u.In(x), len(p.errs) == before
	}
	s := p.text(n, "a value")
	if i := slices.Index(c.Labels, s); i >= 0 {
		return float64(i), true
	}
	p.bad(n, didYouMean(s, c.Labels, "the labels are "+strings.Join(c.Labels, ", ")), "%s has no label %q", c.Name, s)
	return 0, false
}
