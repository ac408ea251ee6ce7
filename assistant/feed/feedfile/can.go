package feedfile

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/assistant/feed/codec/can"
	"earshot/configs/document"
)

// canSection reads the mapping of a CAN bus.
func (p *parser) canSection(n *document.Node, top document.Object) {
	if top.Has("channels") {
		p.Bad(top.Get("channels"), "map the signals under can: messages: … signals:, with to: CHANNEL", "a can file has no section channels")
	}
	l := &can.Layout{}
	p.f.Layout = l
	if n == nil {
		p.Bad(top.N, "write can: {dbc: FILE, messages: {…}} or can: {obd: {…}}", "the section can is missing")
		return
	}
	o := p.Object(n, "can", "bus", "time", "dbc", "messages", "obd")
	l.Bus = p.Text(o.Get("bus"), "bus")
	if l.Untimed = p.Choice(o.Get("time"), "time", "line", "arrival") == "arrival"; !l.Untimed {
		p.at[codec.Time] = o.At("time")
	}
	var defs []can.Definition
	if dbc := o.Get("dbc"); dbc != nil {
		before := p.Count()
		for _, file := range p.OneOrMore(dbc, "dbc") {
			defs = append(defs, p.dbc(file)...)
		}
		if p.Count() > before {
			return // its messages would all look misspelt
		}
	}
	ids := map[string]string{}
	for _, e := range p.Pairs(o.Get("messages"), "messages") {
		m, ok := p.canMessage(e, defs)
		if !ok {
			continue
		}
		id := fmt.Sprint(m.ID, m.Extended)
		if ids[id] != "" {
			p.Bad(e.K, "write its signals in one place", "%s and %s are the same message", ids[id], e.Key)
			continue
		}
		ids[id] = e.Key
		l.Messages = append(l.Messages, m)
	}
	for _, e := range p.Pairs(o.Get("obd"), "obd") {
		p.canAnswer(e, l)
	}
	if p.Count() == 0 && len(l.Messages) == 0 && len(l.Answers) == 0 {
		p.Bad(n, "write messages: {NAME: {signals: {SIGNAL: {to: CHANNEL}}}}", "no message is mapped")
	}
}

// dbc reads a DBC file; its mistakes are told in its own lines.
func (p *parser) dbc(n *document.Node) []can.Definition {
	data := p.include(n, "dbc")
	if data == nil {
		return nil
	}
	db, err := can.ParseDBC(data)
	if err == nil {
		return db.Messages
	}
	list := []error{err}
	if many, ok := err.(interface{ Unwrap() []error }); ok {
		list = many.Unwrap()
	}
	for _, err := range list {
		e := &document.Error{File: n.Value, Msg: err.Error()}
		var de *can.DBCError
		if errors.As(err, &de) {
			e.Line, e.Col, e.Msg = de.Line, 1, de.Msg
		}
		p.Add(e)
	}
	return nil
}

// canMessage reads what is mapped of a message, which is named as in the DBC file or by its identifier.
func (p *parser) canMessage(e document.Pair, defs []can.Definition) (can.Message, bool) {
	o := p.Object(e.V, "message "+e.Key, "about", "extended", "multiplexer", "check", "counter", "signals")
	m := can.Message{Name: e.Key}
	extended := p.Flag(o.Get("extended"), "extended", false)
	var def *can.Definition
	if id, err := strconv.ParseUint(e.Key, 0, 32); err == nil {
		m.ID, m.Extended = uint32(id), extended || id > 0x7ff
		if id > 0x1fffffff {
			p.Bad(e.K, "write it in 11 or 29 bits, such as 0x1F0", "%s is no identifier", e.Key)
			return m, false
		}
		if i := slices.IndexFunc(defs, func(d can.Definition) bool { return d.ID == m.ID && d.Extended == m.Extended }); i >= 0 {
			def = &defs[i]
		}
	} else {
		i := slices.IndexFunc(defs, func(d can.Definition) bool { return d.Name == e.Key })
		if i < 0 {
			var names []string
			for _, d := range defs {
				names = append(names, d.Name)
			}
			p.Bad(e.K, document.Meant(e.Key, names, "name a message of the DBC file, or write an identifier such as 0x1F0"), "there is no message %q", e.Key)
			return m, false
		}
		def = &defs[i]
		if o.Has("extended") {
			p.Bad(o.Get("extended"), "take it out", "the DBC file says whether the identifier is extended")
		}
		m.ID, m.Extended = def.ID, def.Extended
	}
	nested := false
	if o.Has("multiplexer") {
		m.Switch = p.canPlace(o.Get("multiplexer"), "multiplexer", def)
	} else if def != nil {
		var s *can.SignalDefinition
		if s, nested = def.Multiplexer(); s != nil {
			m.Switch = &s.Place
		}
	}
	if m.Switch != nil {
		if why := m.Switch.Check(); why != "" {
			p.Bad(o.At("multiplexer"), "", "multiplexer: %s", why)
		}
	}
	if c := o.Get("check"); c != nil {
		co := p.Object(c, "check", "sum", "total")
		p.Choice(co.Get("sum"), "sum", "nibbles")
		if !co.Has("sum") {
			p.Bad(c, "write check: {sum: nibbles, total: 8}", "the kind of checksum is missing")
		}
		m.Check = &can.Check{Total: int(p.Integer(co.Get("total"), "total", 0, 15))}
	}
	if c := o.Get("counter"); c != nil {
		if m.Counter = p.canPlace(c, "counter", def); m.Counter != nil && m.Counter.Length > 16 {
			p.Bad(c, "", "a rolling counter has at most 16 bits")
		}
	}
	byMux := map[int64][]channel.ID{}
	for _, se := range p.Pairs(o.Get("signals"), "signals") {
		for _, s := range p.canSignal(se, def, m.Switch != nil, nested) {
			m.Signals = append(m.Signals, s)
			byMux[s.Mux] = append(byMux[s.Mux], s.ID)
		}
	}
	if len(m.Signals) == 0 && !o.Has("signals") {
		p.Bad(e.K, "write signals: {SIGNAL: {to: CHANNEL}}", "no signal of message %s is mapped", e.Key)
	}
	always := byMux[-1]
	p.kinds = append(p.kinds, slices.Clone(always))
	delete(byMux, -1)
	for _, mux := range slices.Sorted(maps.Keys(byMux)) {
		p.kinds = append(p.kinds, append(slices.Clone(always), byMux[mux]...))
	}
	return m, true
}

// placeKeys say where in a frame a number stands.
var placeKeys = []string{"start", "length", "order", "signed", "float"}

// canPlace reads {start, length, order} or the name of a signal of the DBC file.
func (p *parser) canPlace(n *document.Node, what string, def *can.Definition) *can.Place {
	if document.IsScalar(n) {
		name := p.Text(n, what)
		if s := p.canDefined(n, name, def); s != nil {
			if why := s.Check(); why != "" {
				p.Bad(n, "", "%s: %s", name, why)
				return nil
			}
			return &s.Place
		}
		return nil
	}
	o := p.Object(n, what, placeKeys[:3]...)
	place, ok := p.place3(o)
	if !ok {
		return nil
	}
	return &place
}

func (p *parser) place3(o document.Object) (can.Place, bool) {
	before := p.Count()
	for _, k := range placeKeys[:3] {
		if !o.Has(k) {
			p.Bad(o.N, "a place is written start: 7, length: 16, order: motorola (or intel)", "%s is missing", k)
		}
	}
	pl := can.Place{
		Start: int(p.Integer(o.Get("start"), "start", 0, 511)), Length: int(p.Integer(o.Get("length"), "length", 1, 64)),
		Motorola: p.Choice(o.Get("order"), "order", "motorola", "intel") == "motorola",
		Signed:   p.Flag(o.Get("signed"), "signed", false), Float: p.Flag(o.Get("float"), "float", false),
	}
	if p.Count() > before {
		return pl, false
	}
	if why := pl.Check(); why != "" {
		p.Bad(o.N, "", "%s", why)
		return pl, false
	}
	return pl, true
}

// canDefined finds a signal of the DBC file; nil when there is none, which is told.
func (p *parser) canDefined(n *document.Node, name string, def *can.Definition) *can.SignalDefinition {
	if def == nil {
		p.Bad(n, "write start:, length: and order:, or name the message as in the DBC file", "where %s stands is missing", name)
		return nil
	}
	if s := def.Signal(name); s != nil {
		return s
	}
	var names []string
	for _, s := range def.Signals {
		names = append(names, s.Name)
	}
	p.Bad(n, document.Meant(name, names, "it has "+strings.Join(names, ", ")), "message %s has no signal %q", def.Name, name)
	return nil
}

// canSignal reads a signal, or four of them whose name in the DBC file has * for the wheel.
func (p *parser) canSignal(e document.Pair, def *can.Definition, switched, nested bool) []can.Signal {
	o := p.Object(e.V, "signal "+e.Key, slices.Concat([]string{"to", "wheels", "mux"}, placeKeys, conversionKeys)...)
	if !o.Has("to") {
		p.Bad(e.K, "write to: CHANNEL", "where signal %s goes is missing", e.Key)
		return nil
	}
	own := slices.ContainsFunc(placeKeys, o.Has)
	if own && o.Has("wheels") {
		p.Bad(o.Get("wheels"), "write the four signals one by one", "a signal with a place is one wheel's")
		return nil
	}
	var list []can.Signal
	for _, m := range p.targets(o.Get("to"), p.Text(o.Get("to"), "to"), o.Get("wheels")) {
		before := p.Count()
		p.claim(o.Get("to"), m.id, m.c.Name, nil)
		d := &can.SignalDefinition{Name: e.Key, Scale: 1, Mux: -1}
		if own {
			d.Place, _ = p.place3(o)
		} else if d = p.canDefined(e.K, p.canWheel(e, o, m, def), def); d == nil {
			return list
		} else if why := d.Check(); why != "" {
			p.Bad(e.K, "", "signal %s: %s", d.Name, why)
		} else if d.Nested || nested && d.Mux >= 0 {
			p.Bad(e.K, "write start:, length:, order: and mux: here if one value tells it", "signal %s depends on more than one value of a multiplexer, which is not supported", d.Name)
		}
		s := can.Signal{Place: d.Place, Mux: d.Mux}
		if o.Has("mux") {
			if s.Mux = p.Integer(o.Get("mux"), "mux", 0, 1<<62); !switched {
				p.Bad(o.Get("mux"), "write multiplexer: {start, length, order} in the message", "the message has no multiplexer")
			}
		}
		s.Field = p.canConversion(o, o.Get("to"), m, d)
		list = append(list, s)
		if p.Count() > before {
			break // the other wheels would say the same
		}
	}
	return list
}

// canWheel is the name of one wheel's signal: * stands for its letters, small or capital.
func (p *parser) canWheel(e document.Pair, o document.Object, m mapped, def *can.Definition) string {
	if !o.Has("wheels") {
		return e.Key
	}
	small := p.star(e.K, e.Key, m.w)
	if capital := strings.Replace(e.Key, "*", strings.ToUpper(m.w.Suffix()), 1); def != nil && def.Signal(small) == nil && def.Signal(capital) != nil {
		return capital
	}
	return small
}

// canConversion is conversion of what a definition gives in its own unit: raw, then scale and offset of the definition,
// then what the feed file says.
func (p *parser) canConversion(o document.Object, n *document.Node, m mapped, d *can.SignalDefinition) codec.Field {
	if unit := dbcUnit(d.Unit, m.c.Quantity); !o.Has("unit") && unit != "" {
		as := *n
		as.Value = unit
		o = o.With("unit", &as)
	}
	if d.Unit != "" && !o.Has("unit") && m.c.Quantity != channel.None {
		p.Bad(n, "write unit: and one of "+strings.Join(channel.UnitsOf(m.c.Quantity), ", "), "the unit of %s is %q in the DBC file, which is no unit of %s", d.Name, d.Unit, m.c.Quantity)
		return codec.Field{}
	}
	f := p.conversion(o, n, m, d.Labels != nil, false)
	f.A, f.B = f.A*d.Scale, f.A*d.Offset+f.B
	p.canLabels(n, m, d, &f)
	return f
}

// canLabels takes the names that the DBC file has for values where a channel is a choice, or where values: names them.
func (p *parser) canLabels(n *document.Node, m mapped, d *can.SignalDefinition, f *codec.Field) {
	var unknown []string
	for _, l := range d.Labels {
		v, ok := f.Texts[l.Text]
		if !ok {
			v, ok = f.Texts[strings.ReplaceAll(strings.ToLower(l.Text), " ", "_")]
		}
		raw := float64(l.Raw)
		switch {
		case slices.Contains(f.AbsentText, l.Text):
			f.Absent = append(f.Absent, raw)
		case slices.ContainsFunc(f.Values, func(v codec.Value) bool { return v.Raw == raw }) || slices.Contains(f.Absent, raw):
		case ok:
			f.Values = append(f.Values, codec.Value{Raw: raw, Is: v})
		default:
			unknown = append(unknown, l.Text)
		}
	}
	if f.Labelled && len(f.Values) == 0 && d.Labels != nil {
		p.Bad(n, "write values: {NAME: LABEL}; the labels are "+strings.Join(m.c.Labels, ", "), "none of the names in the DBC file is a label of %s: %s", m.c.Name, strings.Join(unknown, ", "))
	}
}

// dbcUnit is the spelling of package channel for one of a DBC file; "" where it is none of that quantity.
func dbcUnit(unit string, q channel.Quantity) string {
	unit = strings.TrimSpace(unit)
	if unit == "K" && q == channel.Temperature {
		return "K_abs"
	}
	u, ok := channel.UnitMeant(unit)
	if !ok || u.Quantity != q && !(u.Quantity == channel.Temperature && q == channel.TemperatureDifference) {
		return ""
	}
	return u.Spelling
}

// canAnswer reads what becomes of a parameter of SAE J1979 service 01.
func (p *parser) canAnswer(e document.Pair, l *can.Layout) {
	var known []string
	for _, pid := range can.PIDs {
		known = append(known, fmt.Sprintf("0x%02X %s", pid.ID, pid.Name))
	}
	id, err := strconv.ParseUint(e.Key, 0, 8)
	pid, ok := can.PIDNamed(byte(id))
	if err != nil || !ok {
		p.Bad(e.K, "known are "+strings.Join(known, ", "), "%s is no parameter that is known", e.Key)
		return
	}
	o := p.Object(e.V, "parameter "+e.Key, "to", "negate", "range", "absent")
	if !o.Has("to") {
		p.Bad(e.K, "write to: CHANNEL", "where %s goes is missing", pid.Name)
		return
	}
	to := o.Get("to")
	for _, m := range p.targets(to, p.Text(to, "to"), nil) {
		p.claim(to, m.id, m.c.Name, nil)
		if m.c.Quantity != pid.Quantity {
			p.Bad(to, "", "%s is a %s, and %s is a %s", pid.Name, pid.Quantity, m.c.Name, m.c.Quantity)
			continue
		}
		d := &can.SignalDefinition{Name: pid.Name, Scale: pid.Scale, Offset: pid.Offset, Unit: pid.Unit}
		l.Answers = append(l.Answers, can.Answer{Field: p.canConversion(o, to, m, d), PID: pid.ID})
		p.kinds = append(p.kinds, []channel.ID{m.id})
	}
}
