package feedfile

import (
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/csv"
	"earshot/assistant/feed/codec/json"
	"earshot/configs/document"
)

// jsonSection reads the mapping of a JSON source.
func (p *parser) jsonSection(n *document.Node, top document.Object) {
	l := &json.Layout{}
	o := p.Object(n, "json", "name_value")
	place := "path"
	if nv := o.Get("name_value"); nv != nil {
		place = "name"
		no := p.Object(nv, "name_value", "name", "value", "time")
		l.NameValue = &json.NameValue{Name: "name", Value: "value"}
		for key, to := range map[string]*string{"name": &l.NameValue.Name, "value": &l.NameValue.Value, "time": &l.NameValue.Time} {
			if v := no.Get(key); v != nil {
				*to = p.Text(v, key)
				p.path(v, *to)
			}
		}
	}
	p.f.Layout = l
	p.eachChannel(top, append([]string{place, "wheels"}, conversionKeys...), func(e document.Pair, o document.Object, m mapped, wheels bool) {
		isTime := m.c.Name == "time"
		path := p.Text(o.Get(place), place)
		switch {
		case place == "name" && isTime:
			if l.NameValue.Time == "" {
				p.Bad(e.K, "write json: {name_value: {time: PATH}}", "where the time of a record stands is missing")
			}
			if o.Has("name") {
				p.Bad(o.Get("name"), "take it out", "the time is where name_value says")
			}
		case path == "" && !o.Has(place):
			p.Bad(e.K, "write "+place+": and how the source calls it", "the %s of %s is missing", place, e.Key)
			return
		case place == "path":
			if wheels {
				if strings.Count(path, "[*]") != 1 {
					p.Bad(o.Get(place), "write [*] where the number of the wheel stands, such as wheels[*].speed", "the path of four wheels has one [*]")
					return
				}
				path = strings.Replace(path, "[*]", "["+string('0'+byte(p.wheelIndex(o, m)))+"]", 1)
			}
			p.path(o.Get(place), path)
		case wheels:
			path = p.star(o.Get(place), path, m.w)
		}
		l.Fields = append(l.Fields, json.Field{Field: p.conversion(o, e.K, m, true, false), Path: path})
	})
	if l.NameValue != nil { // every record is one reading, so nothing but the time comes together
		p.kinds = nil
		for i := range l.Fields {
			p.kinds = append(p.kinds, []channel.ID{l.Fields[i].ID})
		}
	}
}

// wheelIndex is where the wheel stands in the list of the entry, which is its index in the source.
func (p *parser) wheelIndex(o document.Object, m mapped) int {
	for i, w := range p.List(o.Get("wheels"), "wheels", "") {
		if w.Value == m.w.Suffix() {
			return i
		}
	}
	return 0
}

// star puts a wheel's letters where the name of four columns has a star.
func (p *parser) star(n *document.Node, name string, w channel.Wheel) string {
	if strings.Count(name, "*") != 1 {
		p.Bad(n, "write * where fl, fr, rl, rr stands, or map the wheels one by one", "the name for four wheels has one *")
	}
	return strings.Replace(name, "*", w.Suffix(), 1)
}

func (p *parser) path(n *document.Node, path string) {
	if path == "" {
		return // told already
	}
	if err := json.ParsePath(path); err != nil {
		p.Bad(n, `a path is keys with dots between and indices in brackets, such as wheels[2].tyre.temp`, "%v", err)
	}
}

// eachChannel calls do for every channel that the section channels maps.
func (p *parser) eachChannel(top document.Object, keys []string, do func(e document.Pair, o document.Object, m mapped, wheels bool)) {
	n := top.Get("channels")
	if n == nil {
		p.Bad(top.N, "map each channel: channels: {speed: {…, unit: km/h}}", "the section channels is missing")
		return
	}
	var ids []channel.ID
	for _, e := range p.Pairs(n, "channels") {
		o := p.Object(e.V, "the entry of "+e.Key, keys...)
		for _, m := range p.targets(e.K, e.Key, o.Get("wheels")) {
			p.claim(e.K, m.id, m.c.Name, nil)
			before := p.Count()
			do(e, o, m, o.Has("wheels"))
			ids = append(ids, m.id)
			if p.Count() > before {
				break // the other wheels would say the same
			}
		}
	}
	p.kinds = append(p.kinds, ids)
}

// csvSection reads the mapping of a table.
func (p *parser) csvSection(n *document.Node, top document.Object) {
	o := p.Object(n, "csv", "delimiter", "decimal", "header", "units_row", "comment", "only")
	l := &csv.Layout{Delimiter: ',', Comment: p.Text(o.Get("comment"), "comment")}
	if d := o.Get("delimiter"); d != nil {
		s := p.Text(d, "delimiter")
		if s == "tab" {
			s = "\t"
		}
		if len(s) != 1 || strings.ContainsAny(s, "\"\r\n.") || s[0] >= '0' && s[0] <= '9' {
			p.Bad(d, `write ",", ";", "|" or tab`, "the delimiter is one character")
		} else {
			l.Delimiter = s[0]
		}
	}
	l.DecimalComma = p.Choice(o.Get("decimal"), "decimal", "point", "comma") == "comma"
	if l.DecimalComma && l.Delimiter == ',' {
		p.Bad(o.Get("decimal"), `tables with a decimal comma use delimiter: ";" or tab`, "the comma cannot be both the delimiter and the decimal sign")
	}
	l.NoHeader = !p.Flag(o.Get("header"), "header", true)
	l.UnitsRow = p.Flag(o.Get("units_row"), "units_row", false)
	p.f.Layout = l
	for _, e := range p.Pairs(o.Get("only"), "only") {
		c := csv.Only{Column: e.Key, Text: p.Text(e.V, "the text of "+e.Key)}
		if l.NoHeader {
			c.Column, c.Number = "", int(p.Integer(e.K, "a column without a header", 1, 10000))
		}
		l.Only = append(l.Only, c)
	}
	p.eachChannel(top, append([]string{"column", "wheels"}, conversionKeys...), func(e document.Pair, o document.Object, m mapped, wheels bool) {
		if !o.Has("column") {
			p.Bad(e.K, "write column: and its name in the header", "the column of %s is missing", e.Key)
			return
		}
		f := csv.Field{Quantity: m.c.Quantity, Scale: 1}
		if l.NoHeader {
			f.Number = int(p.Integer(o.Get("column"), "a column without a header", 1, 10000))
			if wheels {
				f.Number += p.wheelIndex(o, m) // the columns of the wheels stand side by side
			}
		} else {
			f.Column = p.Text(o.Get("column"), "column")
			if wheels {
				f.Column = p.star(o.Get("column"), f.Column, m.w)
			}
		}
		f.Field = p.conversion(o, e.K, m, true, l.UnitsRow)
		if l.UnitsRow && !o.Has("unit") && m.c.Quantity != channel.None && f.Format == "" {
			f.FromUnit, f.Scale, f.Offset = true, f.A, f.B
		}
		l.Fields = append(l.Fields, f)
	})
}
