package probe

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/csv"
)

// ErrNothing is returned by FeedFile where nothing was found that a feed file could map.
var ErrNothing = errors.New("nothing was found that a feed file could map")

// An Origin says what FeedFile cannot know from the bytes.
type Origin struct {
	Name string // of the feed
	UDP  string // address to listen on; empty for a file
	Path string // of the file
}

// FeedFile writes a feed file to start from, which Parse accepts. Only what is certain is mapped: a column that is
// called as a channel of the catalogue and says its unit. All else stands there as comments, with the units to choose
// from. Where nothing is certain, the first number that was found becomes a channel of the user's own without a unit,
// so that the file can be checked and run at once.
func (s *Sniffer) FeedFile(o Origin) ([]byte, error) {
	w := &writer{set: channel.NewSet()}
	w.line("# Written by earshot probe from what it saw. Only what is certain is mapped; the rest is commented out. Take the")
	w.line("# number sign away, write the channel and the unit that the source's maker gives, then: earshot check --feed FILE")
	w.line("name: %s", quote(o.Name))
	if s.IsText() {
		if err := s.textFile(w, o); err != nil {
			return nil, err
		}
	} else if err := s.packetFile(w, o); err != nil {
		return nil, err
	}
	return []byte(w.b.String()), nil
}

type writer struct {
	b    strings.Builder
	set  *channel.Set
	used map[string]bool
}

func (w *writer) line(format string, args ...any) { fmt.Fprintf(&w.b, format+"\n", args...) }

// quote writes a text in YAML's double quotes, all beyond ASCII escaped.
func quote(s string) string { return strconv.QuoteToASCII(s) }

// transport writes where the bytes come from. A file needs a clock of its own.
func (w *writer) transport(o Origin, clock bool) {
	switch {
	case o.UDP != "":
		w.line("transport: {kind: udp, listen: %s}", quote(o.UDP))
	case clock:
		w.line("transport: {kind: file, path: %s}", quote(o.Path))
	default:
		w.line("transport: {kind: stdin} # {kind: file, path: %s} once a column is mapped to time", quote(o.Path))
	}
}

func (w *writer) unitChoices() {
	w.line("# units to choose from:")
	seen := map[channel.Quantity]bool{}
	for id := range channel.ID(w.set.Len()) {
		c := w.set.At(id)
		if seen[c.Quantity] || c.Quantity == channel.None || c.Origin != channel.Measured {
			continue
		}
		seen[c.Quantity] = true
		w.line("#   %s: %s", c.Quantity, strings.Join(channel.UnitsOf(c.Quantity), ", "))
	}
}

// certain finds the channel that a name means together with its unit. unit is empty for a bare number.
func (w *writer) certain(name, unit string) (ch, spelling string, ok bool) {
	base, own := channelName(name)
	if unit == "" {
		unit = own
	}
	if w.used[base] {
		return "", "", false
	}
	u, known := channel.UnitMeant(unit)
	if base == "time" {
		return base, u.Spelling, known && u.Quantity == channel.Time
	}
	id, found := w.set.Lookup(base)
	if !found {
		return "", "", false
	}
	c := w.set.At(id)
	switch {
	case c.Origin != channel.Measured || c.Labels != nil:
		return "", "", false
	case c.Quantity == channel.None:
		return base, "", unit == ""
	}
	return base, u.Spelling, known && u.Quantity == c.Quantity
}

// channelName is how a channel would be called that has the name of a column, with the unit in the name.
func channelName(name string) (base, unit string) {
	base, unit = cutUnit(name)
	return strings.ReplaceAll(strings.ToLower(csv.Name(base)), " ", "_"), unit
}

// choices is what a comment says of a name that is no channel for certain.
func (w *writer) choices(name string) (ch, units string) {
	base, _ := channelName(name)
	if base == "time" {
		return base, "unit: one of " + strings.Join(channel.UnitsOf(channel.Time), ", ")
	}
	if id, ok := w.set.Lookup(base); ok && w.set.At(id).Origin == channel.Measured && w.set.At(id).Quantity != channel.None {
		return base, "unit: one of " + strings.Join(channel.UnitsOf(w.set.At(id).Quantity), ", ")
	}
	return "CHANNEL", ""
}

func (s *Sniffer) textFile(w *writer, o Origin) error {
	d := s.Describe()
	w.used = map[string]bool{}
	switch d.Kind {
	case NMEA:
		w.transport(o, true)
		w.line("codec: nmea # maps latitude, longitude, speed, heading and height without more")
		return nil
	case Candump:
		return w.canFile(d, o)
	case JSON, NameValue, CSV:
	default:
		return ErrNothing
	}
	place := map[TextKind]string{JSON: "path", NameValue: "name", CSV: "column"}[d.Kind]
	var certain, open []string
	first, clock := "", false
	for i, c := range d.Columns {
		where := c.Name
		if d.Kind == CSV && !d.Header {
			where = strconv.Itoa(i + 1)
		} else {
			where = quote(csv.Name(where))
		}
		saw := fmt.Sprintf("%s in %d records, last %s", "text", c.Count, strconv.Quote(c.Last))
		if c.Numbers > 0 {
			saw = fmt.Sprintf("%.6g to %.6g in %d records", c.Min, c.Max, c.Count)
		}
		if c.Empty > 0 {
			saw += fmt.Sprintf(`, %d empty: no reading, unless values: has ""`, c.Empty)
		}
		ch, unit, ok := w.certain(c.Name, c.Unit)
		if d.Kind == NameValue && ch == "time" {
			ok = false // the time of such records has no name
		}
		if ok && c.Numbers*2 > c.Count {
			w.used[ch] = true
			clock = clock || ch == "time"
			entry := fmt.Sprintf("  %s: {%s: %s", ch, place, where)
			if unit != "" {
				entry += ", unit: " + quote(unit)
			}
			if ch == "time" && strings.Contains(c.Last, ":") {
				entry += ", format: clock"
			}
			certain = append(certain, entry+"} # "+saw)
			continue
		}
		if c.Numbers > 0 && first == "" && ch != "time" {
			first = where
		}
		ch, units := w.choices(c.Name)
		open = append(open, fmt.Sprintf("  # %s: {%s: %s, unit: UNIT} # %s", ch, place, where, strings.TrimSuffix(saw+"; "+units, "; ")))
	}
	if len(certain) == 0 || len(certain) == 1 && clock {
		if first == "" {
			return ErrNothing
		}
		w.transport(o, clock)
		w.line("own_channels:")
		w.line("  first_field: {quantity: number} # raw, so that the file is whole; take it out when a channel is mapped")
		certain = append(certain, fmt.Sprintf("  first_field: {%s: %s}", place, first))
	} else {
		w.transport(o, clock)
	}
	if d.Kind == CSV {
		w.line("codec: csv")
		w.line("csv:")
		w.line("  delimiter: %s", quote(d.Delimiter))
		if d.DecimalComma {
			w.line("  decimal: comma")
		}
		if !d.Header {
			w.line("  header: false")
		}
		if d.UnitsRow {
			w.line("  units_row: true")
		}
		if d.Comment != "" {
			w.line("  comment: %s", quote(d.Comment))
		}
	} else {
		w.line("codec: json")
		if d.Kind == NameValue {
			t := ""
			if d.TimeKey != "" {
				t = ", time: " + quote(d.TimeKey)
			}
			w.line("json: {name_value: {name: %s, value: %s%s}}", quote(d.NameKey), quote(d.ValueKey), t)
		}
	}
	w.unitChoices()
	w.line("# Inside, left is positive (ISO 8855): a source with the other sign says negate: true.")
	w.line("channels:")
	for _, l := range append(certain, open...) {
		w.line("%s", l)
	}
	return nil
}

func (w *writer) canFile(d Description, o Origin) error {
	if len(d.Columns) == 0 {
		return ErrNothing
	}
	w.transport(o, true)
	w.line("codec: can")
	w.line("own_channels:")
	w.line("  first_field: {quantity: number} # raw, so that the file is whole; take it out when a channel is mapped")
	w.line("can:")
	w.line("  # dbc: FILE.dbc            # the description of the bus by its maker: then signals go by name")
	w.line("  messages:")
	done := false
	for _, c := range d.Columns {
		if !done && len(strings.TrimSpace(c.Last)) >= 2 {
			done = true
			w.line("    %s: # %d frames, last %s", c.Name, c.Count, c.Last)
			w.line("      signals:")
			w.line("        First: {start: 7, length: 8, order: motorola, to: first_field}")
			continue
		}
		w.line("    # %s: %d frames, last %s", c.Name, c.Count, c.Last)
	}
	if !done {
		return ErrNothing
	}
	return nil
}

func (s *Sniffer) packetFile(w *writer, o Origin) error {
	l := s.Layout()
	mappable := func(f Field) bool { return f.Is == Number || f.Is == Clock || f.Is == Count }
	any := slices.ContainsFunc(l.Kinds, func(k Kind) bool { return slices.ContainsFunc(k.Fields, mappable) })
	if !any || o.UDP == "" {
		return ErrNothing
	}
	w.transport(o, true)
	w.line("codec: packet")
	var own []string
	var body writer
	for i, k := range l.Kinds {
		body.line("    kind_%d: # %d datagrams of %d bytes, %.1f a second", i+1, k.Count, k.Size, k.Rate)
		body.line("      length: %d", k.Size)
		var when []string
		for at, b := range strings.Fields(l.Magic) {
			when = append(when, fmt.Sprintf("{at: %d, type: u8, is: 0x%s}", at, b))
		}
		if k.Match != nil {
			when = append(when, fmt.Sprintf("{at: %d, type: u8, is: %d}", k.Match.At, k.Match.Is))
		}
		if len(when) > 0 {
			body.line("      when: [%s]", strings.Join(when, ", "))
		}
		if j := slices.IndexFunc(k.Fields, mappable); j < 0 {
			body.line("      fields: [] # nothing in it moved as measured things do: listen longer")
		} else {
			body.line("      fields:")
			f := k.Fields[j]
			name := fmt.Sprintf("field_%d_%d", i+1, f.At)
			own = append(own, name)
			body.line("        - {at: %d, type: %s, to: %s} # raw, so that the file is whole", f.At, f.Type, name)
		}
		for _, f := range k.Fields {
			text := fmt.Sprintf("%.6g to %.6g, last %.6g", f.Min, f.Max, f.Last)
			note := ""
			if f.Note != "" {
				note = "; " + f.Note
			}
			switch f.Is {
			case Constant, Noise:
				body.line("        # %d, %d bytes: %s", f.At, f.Size, strings.TrimSpace(string(f.Is)+" "+f.Text))
			case Text:
				body.line("        # - {at: %d, type: text, length: %d, to: CHANNEL} # %s", f.At, f.Size, quote(f.Text))
			case Count:
				body.line("        # sequence: {at: %d, type: %s} # a counter: %s; it stands above fields:, or above kinds: if all kinds share it", f.At, f.Type, text)
			case Clock:
				body.line("        # - {at: %d, type: %s, to: time, unit: UNIT} # rises evenly: %s%s", f.At, f.Type, text, note)
			case Flags:
				body.line("        # - {at: %d, type: u8, bit: 0, to: CHANNEL} # %s", f.At, f.Note)
			default:
				body.line("        # - {at: %d, type: %s, to: CHANNEL, unit: UNIT} # %s%s", f.At, f.Type, text, note)
			}
		}
	}
	w.line("own_channels:")
	for _, n := range own {
		w.line("  %s: {quantity: number} # take it out when a channel is mapped", n)
	}
	w.unitChoices()
	w.line("# A field of whole numbers often has a scale besides: {type: i16, to: yaw_rate, unit: deg/s, scale: 0.02}.")
	w.line("# Inside, left is positive (ISO 8855): a source with the other sign says negate: true.")
	w.line("packet:")
	w.line("  byte_order: %s", map[bool]string{false: "little", true: "big"}[l.Big])
	w.line("  kinds:")
	w.b.WriteString(body.b.String())
	return nil
}
