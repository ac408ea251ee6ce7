package feed

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/assistant/feed/codec/can"
)

// canSection reads the mapping of a CAN bus.
func (p *parser) canSection(n *yaml.Node, top object) {
	if top.has("channels") {
		p.bad(top.get("channels"), "map the signals under can: messages: … signals:, with to: CHANNEL", "a can file has no section channels")
	}
	l := &can.Layout{}
	p.f.can = l
	if n == nil {
		p.bad(top.n, "write can: {dbc: FILE, messages: {…}} or can: {obd: {…}}", "the section can is missing")
		return
	}
	o := p.object(n, "can", "bus", "time", "dbc", "messages", "obd")
	l.Bus = p.text(o.get("bus"), "bus")
	if l.Untimed = p.choice(o.get("time"), "time", "line", "arrival") == "arrival"; !l.Untimed {
		p.at[codec.Time] = o.at("time")
	}
	var defs []can.Definition
	if dbc := o.get("dbc"); dbc != nil {
		files := []*yaml.Node{dbc}
		if dbc.Kind == yaml.SequenceNode {
			files = p.list(dbc, "dbc")
		}
		before := len(p.errs)
		for _, file := range files {
			defs = append(defs, p.dbc(file)...)
		}
		if len(p.errs) > before {
			return // its messages would all look misspelt
		}
	}
	ids := map[string]string{}
	for _, e := range p.pairs(o.get("messages"), "messages") {
		m, ok := p.canMessage(e, defs)
		if !ok {
			continue
		}
		id := fmt.Sprint(m.ID, m.Extended)
		if ids[id] != "" {
			p.bad(e.kn, "write its signals in one place", "%s and %s are the same message", ids[id], e.key)
			continue
		}
		ids[id] = e.key
		l.Messages = append(l.Messages, m)
	}
	for _, e := range p.pairs(o.get("obd"), "obd") {
		p.canAnswer(e, l)
	}
	if len(p.errs) == 0 && len(l.Messages) == 0 && len(l.Answers) == 0 {
		p.bad(n, "write messages: {NAME: {signals: {SIGNAL: {to: CHANNEL}}}}", "no message is mapped")
	}
}

// dbc reads a DBC file; its mistakes are told in its own lines.
func (p *parser) dbc(n *yaml.Node) []can.Definition {
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
		e := &Error{File: n.Value, Msg: err.Error()}
		var de *can.DBCError
		if errors.As(err, &de) {
			e.Line, e.Col, e.Msg = de.Line, 1, de.Msg
		}
		p.errs = append(p.errs, e)
	}
	return nil
}

// canMessage reads what is mapped of a message, which is named as in the DBC file or by its identifier.
func (p *parser) canMessage(e pair, defs []can.Definition) (can.Message, bool) {
	o := p.object(e.n, "message "+e.key, "about", "extended", "multiplexer", "check", "counter", "signals")
	m := can.Message{Name: e.key}
	extended := p.boolean(o.get("extended"), "extended", false)
	var def *can.Definition
	if id, err := strconv.ParseUint(e.key, 0, 32); err == nil {
		m.ID, m.Extended = uint32(id), extended || id > 0x7ff
		if id > 0x1fffffff {
			p.bad(e.kn, "write it in 11 or 29 bits, such as 0x1F0", "%s is no identifier", e.key)
			return m, false
		}
		if i := slices.IndexFunc(defs, func(d can.Definition) bool { return d.ID == m.ID && d.Extended == m.Extended }); i >= 0 {
			def = &defs[i]
		}
	} else {
		i := slices.IndexFunc(defs, func(d can.Definition) bool { return d.Name == e.key })
		if i < 0 {
			var names []string
			for _, d := range defs {
				names = append(names, d.Name)
			}
			p.bad(e.kn, didYouMean(e.key, names, "name a message of the DBC file, or write an identifier such as 0x1F0"), "there is no message %q", e.key)
			return m, false
		}
		def = &defs[i]
		if o.has("extended") {
			p.bad(o.get("extended"), "take it out", "the DBC file says whether the identifier is extended")
		}
		m.ID, m.Extended = def.ID, def.Extended
	}
	nested := false
	if o.has("multiplexer") {
		m.Switch = p.canPlace(o.get("multiplexer"), "multiplexer", def)
	} else if def != nil {
		var s *can.SignalDefinition
		if s, nested = def.Multiplexer(); s != nil {
			m.Switch = &s.Place
		}
	}
	if m.Switch != nil {
		if why := m.Switch.Check(); why != "" {
			p.bad(o.at("multiplexer"), "", "multiplexer: %s", why)
		}
	}
	if c := o.get("check"); c != nil {
		co := p.object(c, "check", "sum", "total")
		p.choice(co.get("sum"), "sum", "nibbles")
		if !co.has("sum") {
			p.bad(c, "write check: {sum: nibbles, total: 8}", "the kind of checksum is missing")
		}
		m.Check = &can.Check{Total: int(p.integer(co.get("total"), "total", 0, 15))}
	}
	if c := o.get("counter"); c != nil {
		if m.Counter = p.canPlace(c, "counter", def); m.Counter != nil && m.Counter.Length > 16 {
			p.bad(c, "", "a rolling counter has at most 16 bits")
		}
	}
	byMux := map[int64][]channel.ID{}
	for _, se := range p.pairs(o.get("signals"), "signals") {
		for _, s := range p.canSignal(se, def, m.Switch != nil, nested) {
			m.Signals = append(m.Signals, s)
			byMux[s.Mux] = append(byMux[s.Mux], s.ID)
		}
	}
	if len(m.Signals) == 0 && !o.has("signals") {
		p.bad(e.kn, "write signals: {SIGNAL: {to: CHANNEL}}", "no signal of message %s is mapped", e.key)
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
func (p *parser) canPlace(n *yaml.Node, what string, def *can.Definition) *can.Place {
	if n.Kind == yaml.ScalarNode {
		name := p.text(n, what)
		if s := p.canDefined(n, name, def); s != nil {
			if why := s.Check(); why != "" {
				p.bad(n, "", "%s: %s", name, why)
				return nil
			}
			return &s.Place
		}
		return nil
	}
	o := p.object(n, what, placeKeys[:3]...)
	place, ok := p.place3(o)
	if !ok {
		return nil
	}
	return &place
}

func (p *parser) place3(o object) (can.Place, bool) {
	before := len(p.errs)
	for _, k := range placeKeys[:3] {
		if !o.has(k) {
			p.bad(o.n, "a place is written start: 7, length: 16, order: motorola (or intel)", "%s is missing", k)
		}
	}
	pl := can.Place{
		Start: int(p.integer(o.get("start"), "start", 0, 511)), Length: int(p.integer(o.get("length"), "length", 1, 64)),
		Motorola: p.choice(o.get("order"), "order", "motorola", "intel") == "motorola",
		Signed:   p.boolean(o.get("signed"), "signed", false), Float: p.boolean(o.get("float"), "float", false),
	}
	if len(p.errs) > before {
		return pl, false
	}
	if why := pl.Check(); why != "" {
		p.bad(o.n, "", "%s", why)
		return pl, false
	}
	return pl, true
}

// canDefined finds a signal of the DBC file; nil when there is none, which is told.
func (p *parser) canDefined(n *yaml.Node, name string, def *can.Definition) *can.SignalDefinition {
	if def == nil {
		p.bad(n, "write start:, length: and order:, or name the message as in the DBC file", "where %s stands is missing", name)
		return nil
	}
	if s := def.Signal(name); s != nil {
		return s
	}
	var names []string
	for _, s := range def.Signals {
		names = append(names, s.Name)
	}
	p.bad(n, didYouMean(name, names, "it has "+strings.Join(names, ", ")), "message %s has no signal %q", def.Name, name)
	return nil
}

// canSignal reads a signal, or four of them whose name in the DBC file has * for the wheel.
func (p *parser) canSignal(e pair, def *can.Definition, switched, nested bool) []can.Signal {
	o := p.object(e.n, "signal "+e.key, append(append([]string{"to", "wheels", "mux"}, placeKeys...), conversionKeys...)...)
	if !o.has("to") {
		p.bad(e.kn, "write to: CHANNEL", "where signal %s goes is missing", e.key)
		return nil
	}
	own := slices.ContainsFunc(placeKeys, o.has)
	if own && o.has("wheels") {
		p.bad(o.get("wheels"), "write the four signals one by one", "a signal with a place is one wheel's")
		return nil
	}
	var list []can.Signal
	for _, m := range p.targets(o.get("to"), p.text(o.get("to"), "to"), o.get("wheels")) {
		before := len(p.errs)
		p.claim(o.get("to"), m.id, m.c.Name, nil)
		d := &can.SignalDefinition{Name: e.key, Scale: 1, Mux: -1}
		if own {
			d.Place, _ = p.place3(o)
		} else if d = p.canDefined(e.kn, p.canWheel(e, o, m, def), def); d == nil {
			return list
		} else if why := d.Check(); why != "" {
			p.bad(e.kn, "", "signal %s: %s", d.Name, why)
		} else if d.Nested || nested && d.Mux >= 0 {
			p.bad(e.kn, "write start:, length:, order: and mux: here if one value tells it", "signal %s depends on more than one value of a multiplexer, which is not supported", d.Name)
		}
		s := can.Signal{Place: d.Place, Mux: d.Mux}
		if o.has("mux") {
			if s.Mux = p.integer(o.get("mux"), "mux", 0, 1<<62); !switched {
				p.bad(o.get("mux"), "write multiplexer: {start, length, order} in the message", "the message has no multiplexer")
			}
		}
		s.Field = p.canConversion(o, o.get("to"), m, d)
		list = append(list, s)
		if len(p.errs) > before {
			break // the other wheels would say the same
		}
	}
	return list
}

// canWheel is the name of one wheel's signal: * stands for its letters, small or capital.
func (p *parser) canWheel(e pair, o object, m mapped, def *can.Definition) string {
	if !o.has("wheels") {
		return e.key
	}
	small := p.star(e.kn, e.key, m.w)
	if capital := strings.Replace(e.key, "*", strings.ToUpper(m.w.Suffix()), 1); def != nil && def.Signal(small) == nil && def.Signal(capital) != nil {
		return capital
	}
	return small
}

// canConversion is conversion of what a definition gives in its own unit: raw, then scale and offset of the definition,
// then what the feed file says.
func (p *parser) canConversion(o object, n *yaml.Node, m mapped, d *can.SignalDefinition) codec.Field {
	if unit := dbcUnit(d.Unit, m.c.Quantity); !o.has("unit") && unit != "" {
		with := maps.Clone(o.m)
		with["unit"] = &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: unit, Line: n.Line, Column: n.Column}
		o = object{o.n, o.what, with}
	}
	if d.Unit != "" && !o.has("unit") && m.c.Quantity != channel.None {
		p.bad(n, "write unit: and one of "+strings.Join(channel.UnitsOf(m.c.Quantity), ", "), "the unit of %s is %q in the DBC file, which is no unit of %s", d.Name, d.Unit, m.c.Quantity)
		return codec.Field{}
	}
	f := p.conversion(o, n, m, d.Labels != nil, false)
	f.A, f.B = f.A*d.Scale, f.A*d.Offset+f.B
	p.canLabels(n, m, d, &f)
	return f
}

// canLabels takes the names that the DBC file has for values where a channel is a choice, or where values: names them.
func (p *parser) canLabels(n *yaml.Node, m mapped, d *can.SignalDefinition, f *codec.Field) {
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
		p.bad(n, "write values: {NAME: LABEL}; the labels are "+strings.Join(m.c.Labels, ", "), "none of the names in the DBC file is a label of %s: %s", m.c.Name, strings.Join(unknown, ", "))
	}
}

// dbcUnits are spellings of DBC files for those of package channel.
var dbcUnits = map[string]string{
	"kph": "km/h", "KPH": "km/h", "kmh": "km/h", "Km/h": "km/h", "KM/H": "km/h", "km/hr": "km/h", "MPH": "mph", "mps": "m/s", "knots": "kn",
	"RPM": "rpm", "Rpm": "rpm", "1/min": "rpm", "U/min": "rpm", "min-1": "rpm", "r/min": "rpm",
	"C": "°C", "deg C": "°C", "Deg C": "°C", "degrees C": "°C", "Celsius": "°C", "celsius": "°C", "F": "°F", "deg F": "°F",
	"degrees": "deg", "degree": "deg", "Deg": "deg", "DEG": "deg", "Degree": "deg", "degree/s": "deg/s", "degrees/s": "deg/s", "deg/sec": "deg/s",
	"G": "g", "m/sec2": "m/s2", "m/ss": "m/s2", "kpa": "kPa", "KPA": "kPa", "Bar": "bar", "PSI": "psi", "mBar": "mbar",
	"percent": "%", "Percent": "%", "pct": "%", "sec": "s", "meters": "m", "meter": "m", "litre": "l", "liters": "l", "litres": "l", "Liters": "l",
}

// dbcUnit is the spelling of package channel for one of a DBC file; "" where it is none of that quantity.
func dbcUnit(unit string, q channel.Quantity) string {
	unit = strings.TrimSpace(unit)
	if s, ok := dbcUnits[unit]; ok {
		unit = s
	}
	if unit == "K" && q == channel.Temperature {
		return "K_abs"
	}
	u, ok := channel.UnitNamed(unit)
	if !ok || u.Quantity != q && !(u.Quantity == channel.Temperature && q == channel.TemperatureDifference) {
		return ""
	}
	return unit
}

// canAnswer reads what becomes of a parameter of SAE J1979 service 01.
func (p *parser) canAnswer(e pair, l *can.Layout) {
	var known []string
	for _, pid := range can.PIDs {
		known = append(known, fmt.Sprintf("0x%02X %s", pid.ID, pid.Name))
	}
	id, err := strconv.ParseUint(e.key, 0, 8)
	pid, ok := can.PIDNamed(byte(id))
	if err != nil || !ok {
		p.bad(e.kn, "known are "+strings.Join(known, ", "), "%s is no parameter that is known", e.key)
		return
	}
	o := p.object(e.n, "parameter "+e.key, "to", "negate", "range", "absent")
	if !o.has("to") {
		p.bad(e.kn, "write to: CHANNEL", "where %s goes is missing", pid.Name)
		return
	}
	to := o.get("to")
	for _, m := range p.targets(to, p.text(to, "to"), nil) {
		p.claim(to, m.id, m.c.Name, nil)
		if m.c.Quantity != pid.Quantity {
			p.bad(to, "", "%s is a %s, and %s is a %s", pid.Name, pid.Quantity, m.c.Name, m.c.Quantity)
			continue
		}
		d := &can.SignalDefinition{Name: pid.Name, Scale: pid.Scale, Offset: pid.Offset, Unit: pid.Unit}
		l.Answers = append(l.Answers, can.Answer{Field: p.canConversion(o, to, m, d), PID: pid.ID})
		p.kinds = append(p.kinds, []channel.ID{m.id})
	}
}
