package feed

import (
	"strings"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/csv"
	"earshot/assistant/feed/codec/json"
)

// jsonSection reads the mapping of a JSON source.
func (p *parser) jsonSection(n *yaml.Node, top object) {
	l := &json.Layout{}
	o := p.object(n, "json", "name_value")
	place := "path"
	if nv := o.get("name_value"); nv != nil {
		place = "name"
		no := p.object(nv, "name_value", "name", "value", "time")
		l.NameValue = &json.NameValue{Name: "name", Value: "value"}
		for key, to := range map[string]*string{"name": &l.NameValue.Name, "value": &l.NameValue.Value, "time": &l.NameValue.Time} {
			if v := no.get(key); v != nil {
				*to = p.text(v, key)
				p.path(v, *to)
			}
		}
	}
	p.f.json = l
	p.eachChannel(top, append([]string{place, "wheels"}, conversionKeys...), func(e pair, o object, m mapped, wheels bool) {
		isTime := m.c.Name == "time"
		path := p.text(o.get(place), place)
		switch {
		case place == "name" && isTime:
			if l.NameValue.Time == "" {
				p.bad(e.kn, "write json: {name_value: {time: PATH}}", "where the time of a record stands is missing")
			}
			if o.has("name") {
				p.bad(o.get("name"), "take it out", "the time is where name_value says")
			}
		case path == "" && !o.has(place):
			p.bad(e.kn, "write "+place+": and how the source calls it", "the %s of %s is missing", place, e.key)
			return
		case place == "path":
			if wheels {
				if strings.Count(path, "[*]") != 1 {
					p.bad(o.get(place), "write [*] where the number of the wheel stands, such as wheels[*].speed", "the path of four wheels has one [*]")
					return
				}
				path = strings.Replace(path, "[*]", "["+string('0'+byte(p.wheelIndex(o, m)))+"]", 1)
			}
			p.path(o.get(place), path)
		case wheels:
			path = p.star(o.get(place), path, m.w)
		}
		l.Fields = append(l.Fields, json.Field{Field: p.conversion(o, e.kn, m, true, false), Path: path})
	})
	if l.NameValue != nil { // every record is one reading, so nothing but the time comes together
		p.kinds = nil
		for i := range l.Fields {
			p.kinds = append(p.kinds, []channel.ID{l.Fields[i].ID})
		}
	}
}

// wheelIndex is where the wheel stands in the list of the entry, which is its index in the source.
func (p *parser) wheelIndex(o object, m mapped) int {
	for i, w := range o.get("wheels").Content {
		if resolve(w).Value == m.w.Suffix() {
			return i
		}
	}
	return 0
}

// star puts a wheel's letters where the name of four columns has a star.
func (p *parser) star(n *yaml.Node, name string, w channel.Wheel) string {
	if strings.Count(name, "*") != 1 {
		p.bad(n, "write * where fl, fr, rl, rr stands, or map the wheels one by one", "the name for four wheels has one *")
	}
	return strings.Replace(name, "*", w.Suffix(), 1)
}

func (p *parser) path(n *yaml.Node, path string) {
	if path == "" {
		return // told already
	}
	if err := json.ParsePath(path); err != nil {
		p.bad(n, `a path is keys with dots between and indices in brackets, such as wheels[2].tyre.temp`, "%v", err)
	}
}

// eachChannel calls do for every channel that the section channels maps.
func (p *parser) eachChannel(top object, keys []string, do func(e pair, o object, m mapped, wheels bool)) {
	n := top.get("channels")
	if n == nil {
		p.bad(top.n, "map each channel: channels: {speed: {…, unit: km/h}}", "the section channels is missing")
		return
	}
	var ids []channel.ID
	for _, e := range p.pairs(n, "channels") {
		o := p.object(e.n, "the entry of "+e.key, keys...)
		for _, m := range p.targets(e.kn, e.key, o.get("wheels")) {
			p.claim(e.kn, m.id, m.c.Name, nil)
			before := len(p.errs)
			do(e, o, m, o.has("wheels"))
			ids = append(ids, m.id)
			if len(p.errs) > before {
				break // the other wheels would say the same
			}
		}
	}
	p.kinds = append(p.kinds, ids)
}

// csvSection reads the mapping of a table.
func (p *parser) csvSection(n *yaml.Node, top object) {
	o := p.object(n, "csv", "delimiter", "decimal", "header", "units_row", "comment", "only")
	l := &csv.Layout{Delimiter: ',', Comment: p.text(o.get("comment"), "comment")}
	if d := o.get("delimiter"); d != nil {
		s := p.text(d, "delimiter")
		if s == "tab" {
			s = "\t"
		}
		if len(s) != 1 || strings.ContainsAny(s, "\"\r\n.") || s[0] >= '0' && s[0] <= '9' {
			p.bad(d, `write ",", ";", "|" or tab`, "the delimiter is one character")
		} else {
			l.Delimiter = s[0]
		}
	}
	l.DecimalComma = p.choice(o.get("decimal"), "decimal", "point", "comma") == "comma"
	if l.DecimalComma && l.Delimiter == ',' {
		p.bad(o.get("decimal"), `tables with a decimal comma use delimiter: ";" or tab`, "the comma cannot be both the delimiter and the decimal sign")
	}
	l.NoHeader = !p.boolean(o.get("header"), "header", true)
	l.UnitsRow = p.boolean(o.get("units_row"), "units_row", false)
	p.f.csv = l
	for _, e := range p.pairs(o.get("only"), "only") {
		c := csv.Only{Column: e.key, Text: p.text(e.n, "the text of "+e.key)}
		if l.NoHeader {
			c.Column, c.Number = "", int(p.integer(e.kn, "a column without a header", 1, 10000))
		}
		l.Only = append(l.Only, c)
	}
	p.eachChannel(top, append([]string{"column", "wheels"}, conversionKeys...), func(e pair, o object, m mapped, wheels bool) {
		if !o.has("column") {
			p.bad(e.kn, "write column: and its name in the header", "the column of %s is missing", e.key)
			return
		}
		f := csv.Field{Quantity: m.c.Quantity, Scale: 1}
		if l.NoHeader {
			f.Number = int(p.integer(o.get("column"), "a column without a header", 1, 10000))
			if wheels {
				f.Number += p.wheelIndex(o, m) // the columns of the wheels stand side by side
			}
		} else {
			f.Column = p.text(o.get("column"), "column")
			if wheels {
				f.Column = p.star(o.get("column"), f.Column, m.w)
			}
		}
		f.Field = p.conversion(o, e.kn, m, true, l.UnitsRow)
		if l.UnitsRow && !o.has("unit") && m.c.Quantity != channel.None && f.Format == "" {
			f.FromUnit, f.Scale, f.Offset = true, f.A, f.B
		}
		l.Fields = append(l.Fields, f)
	})
}
