package probe

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/assistant/feed/codec/can"
	"earshot/assistant/feed/codec/csv"
)

// guess keeps lines of text: the first ones, and of the others a selection spread evenly over the time.
type guess struct {
	lines  codec.Lines
	head   []string
	rest   []string
	n      int64
	size   int
	stride int64
}

const headLines = 64

func (g *guess) add(p []byte, whole bool) {
	g.lines.Feed(p, g.line, func() { g.n++ })
	if whole {
		g.lines.End(g.line, func() { g.n++ })
	}
}

func (g *guess) line(b []byte) {
	if g.stride == 0 {
		g.stride = 1
	}
	g.n++
	if len(bytes.TrimSpace(b)) == 0 || len(b) > 1<<16 {
		return
	}
	if len(g.head) < headLines {
		g.head = append(g.head, string(b))
		return
	}
	if g.n%g.stride != 0 {
		return
	}
	if len(g.rest) >= mostLines || g.size+len(b) > textMemory {
		g.rest, g.size = everyOther(g.rest), 0
		for _, l := range g.rest {
			g.size += len(l)
		}
		g.stride *= 2
	}
	g.rest = append(g.rest, string(b))
	g.size += len(b)
}

// A TextKind is what lines of text are.
type TextKind string

// The kinds of text.
const (
	JSON      TextKind = "json"
	NameValue TextKind = "json name and value" // every record is one reading
	CSV       TextKind = "csv"
	NMEA      TextKind = "nmea 0183"
	Candump   TextKind = "candump"
	Prose     TextKind = "text"
)

// A Column is one path, column, sentence or identifier of a text.
type Column struct {
	Name    string  `json:"name"`
	Unit    string  `json:"unit,omitempty"` // as the source writes it
	Count   int     `json:"count"`
	Numbers int     `json:"numbers"`         // of Count
	Empty   int     `json:"empty,omitempty"` // cells of a table without anything in them
	Min     float64 `json:"min"`
	Max     float64 `json:"max"`
	Last    string  `json:"last"`
}

// A Description is what a text looks like.
type Description struct {
	Kind         TextKind `json:"kind"`
	Lines        int64    `json:"lines"`
	Fit          float64  `json:"fit"` // share of the lines looked at that are of the kind
	Columns      []Column `json:"columns"`
	Delimiter    string   `json:"delimiter,omitempty"` // of csv: "," ";" "|" or "tab"
	DecimalComma bool     `json:"decimal_comma,omitempty"`
	Header       bool     `json:"header,omitempty"`
	UnitsRow     bool     `json:"units_row,omitempty"`
	Comment      string   `json:"comment,omitempty"`
	NameKey      string   `json:"name_key,omitempty"` // of name and value
	ValueKey     string   `json:"value_key,omitempty"`
	TimeKey      string   `json:"time_key,omitempty"`
}

const mostColumns = 512

// Describe says what the text looks like.
func (s *Sniffer) Describe() Description {
	g := &s.text
	all := append(slices.Clone(g.head), g.rest...)
	d := Description{Kind: Prose, Lines: g.n}
	if len(all) == 0 {
		return d
	}
	for _, mark := range []string{"#", "//", "%"} {
		n := 0
		for _, l := range all {
			if strings.HasPrefix(l, mark) {
				n++
			}
		}
		// A header may begin with a mark: a comment comes more often, or before other text.
		if n > 1 && n < len(all) {
			d.Comment = mark
			all = slices.DeleteFunc(all, func(l string) bool { return strings.HasPrefix(l, mark) })
			break
		}
	}
	for _, try := range []func([]string, Description) (Description, bool){asNMEA, asCandump, asJSON, asCSV} {
		if got, ok := try(all, d); ok {
			return got
		}
	}
	return d
}

// A tally collects columns by name.
type tally struct {
	order []string
	by    map[string]*Column
}

func (t *tally) add(name, text string, v float64) {
	if t.by == nil {
		t.by = map[string]*Column{}
	}
	c := t.by[name]
	if c == nil {
		if len(t.order) == mostColumns {
			return
		}
		c = newColumn(name)
		t.by[name] = c
		t.order = append(t.order, name)
	}
	c.add(text, v)
}

func newColumn(name string) *Column { return &Column{Name: name, Min: math.Inf(1), Max: math.Inf(-1)} }

func (c *Column) add(text string, v float64) {
	c.Count++
	c.Last = text
	if len(c.Last) > 80 {
		c.Last = c.Last[:77] + "..."
	}
	if !math.IsNaN(v) && !math.IsInf(v, 0) {
		c.Numbers++
		c.Min, c.Max = min(c.Min, v), max(c.Max, v)
	}
}

// known is the column with bounds that are numbers.
func (c Column) known() Column {
	if c.Numbers == 0 {
		c.Min, c.Max = 0, 0
	}
	return c
}

func (t *tally) columns() []Column {
	var list []Column
	for _, n := range t.order {
		list = append(list, t.by[n].known())
	}
	return list
}

// asNMEA wants a checksum that is right (the exclusive or of what stands between $ and *, NMEA 0183).
func asNMEA(lines []string, d Description) (Description, bool) {
	var t tally
	good := 0
	for _, l := range lines {
		at := strings.LastIndexByte(l, '*')
		if len(l) < 9 || l[0] != '$' && l[0] != '!' || at < 6 || len(l) < at+3 {
			continue
		}
		sum, err := strconv.ParseUint(l[at+1:at+3], 16, 8)
		var x byte
		for _, c := range []byte(l[1:at]) {
			x ^= c
		}
		if err != nil || byte(sum) != x {
			continue
		}
		good++
		name, _, _ := strings.Cut(l[1:at], ",")
		t.add(name, l, math.NaN())
	}
	d.Kind, d.Fit, d.Columns = NMEA, float64(good)/float64(len(lines)), t.columns()
	return d, d.Fit > 0.6
}

func asCandump(lines []string, d Description) (Description, bool) {
	var t tally
	var f can.Frame
	good := 0
	for _, l := range lines {
		if _, ok := f.Parse(bytes.TrimSpace([]byte(l))); !ok {
			continue
		}
		good++
		name := fmt.Sprintf("0x%03X", f.ID)
		if f.Extended {
			name = fmt.Sprintf("0x%08X", f.ID)
		}
		t.add(name, fmt.Sprintf("%X", f.Data[:f.Len]), math.NaN())
	}
	d.Kind, d.Fit, d.Columns = Candump, float64(good)/float64(len(lines)), t.columns()
	slices.SortFunc(d.Columns, func(a, b Column) int { return strings.Compare(a.Name, b.Name) })
	return d, d.Fit > 0.9
}

func asJSON(lines []string, d Description) (Description, bool) {
	var t, byName tally
	good := 0
	keys := map[string]int{}
	var records []map[string]any
	for _, l := range lines {
		var v any
		if err := json.Unmarshal([]byte(l), &v); err != nil {
			continue
		}
		o, ok := v.(map[string]any)
		if !ok {
			continue
		}
		good++
		records = append(records, o)
		for k := range o {
			keys[k]++
		}
		flatten(&t, "", o)
	}
	d.Kind, d.Fit = JSON, float64(good)/float64(len(lines))
	if d.Fit <= 0.8 {
		return d, false
	}
	d.Columns = t.columns()
	for _, pair := range [][2]string{{"name", "value"}, {"key", "value"}, {"id", "value"}, {"n", "v"}} {
		if keys[pair[0]] != good || keys[pair[1]] < good*9/10 || len(keys) > 4 {
			continue
		}
		for _, o := range records {
			name, _ := o[pair[0]].(string)
			text, v := scalar(o[pair[1]])
			byName.add(name, text, v)
		}
		if len(byName.order) < 2 || len(byName.order)*2 > good {
			continue
		}
		d.Kind, d.NameKey, d.ValueKey, d.Columns = NameValue, pair[0], pair[1], byName.columns()
		for _, k := range []string{"timestamp", "time", "t", "ts"} {
			if keys[k] == good {
				d.TimeKey = k
				break
			}
		}
	}
	return d, true
}

func scalar(v any) (string, float64) {
	switch v := v.(type) {
	case float64:
		return strconv.FormatFloat(v, 'g', 8, 64), v
	case string:
		return v, math.NaN()
	case nil:
		return "null", math.NaN()
	}
	return fmt.Sprint(v), math.NaN()
}

func flatten(t *tally, path string, v any) {
	switch v := v.(type) {
	case map[string]any:
		for _, k := range slices.Sorted(maps.Keys(v)) {
			p := k
			if path != "" {
				p = path + "." + k
			}
			flatten(t, p, v[k])
		}
	case []any:
		for i, e := range v {
			if i == 16 {
				break // a list of many is no list of wheels
			}
			flatten(t, fmt.Sprintf("%s[%d]", path, i), e)
		}
	default:
		text, x := scalar(v)
		t.add(path, text, x)
	}
}

func asCSV(lines []string, d Description) (Description, bool) {
	best, delimiter := 0.0, byte(0)
	width := 0
	for _, c := range []byte{';', '\t', '|', ','} {
		counts := map[int]int{}
		for _, l := range lines {
			counts[strings.Count(l, string(c))]++
		}
		most, n := 0, 0
		for _, k := range slices.Sorted(maps.Keys(counts)) {
			if counts[k] >= n {
				most, n = k, counts[k]
			}
		}
		// Of two that fit the first counts: where a comma is the decimal sign the other one is the delimiter.
		if fit := float64(n) / float64(len(lines)); most > 0 && fit > best+0.05 {
			best, delimiter, width = fit, c, most+1
		}
	}
	if best < 0.8 || len(lines) < 2 {
		return d, false
	}
	rows := [][]string{}
	for _, l := range lines {
		cells := strings.Split(l, string(delimiter))
		for i := range cells {
			cells[i] = strings.TrimSpace(strings.Trim(strings.TrimSpace(cells[i]), `"`))
		}
		if len(cells) == width {
			rows = append(rows, cells)
		}
	}
	d.Kind, d.Fit, d.Delimiter = CSV, best, string(delimiter)
	if delimiter == '\t' {
		d.Delimiter = "tab"
	}
	points, commas := 0, 0
	for _, r := range rows[1:] {
		for _, c := range r {
			if strings.Contains(c, ",") && !math.IsNaN(number(c, true)) {
				commas++
			} else if strings.Contains(c, ".") && !math.IsNaN(number(c, false)) {
				points++
			}
		}
	}
	d.DecimalComma = delimiter != ',' && commas > points
	share := func(r []string) float64 {
		n := 0
		for _, c := range r {
			if !math.IsNaN(number(c, d.DecimalComma)) {
				n++
			}
		}
		return float64(n) / float64(len(r))
	}
	if len(rows) < 2 {
		return d, false
	}
	typical := share(rows[len(rows)-1])
	if typical == 0 {
		return d, false // words with commas between them are no table of readings
	}
	columns := make([]*Column, min(width, mostColumns))
	for i := range columns {
		columns[i] = newColumn(strconv.Itoa(i + 1))
	}
	var units []string
	if share(rows[0]) < 0.5*typical {
		d.Header = true
		rows[0][0] = strings.TrimPrefix(rows[0][0], "\ufeff")
		for i, c := range columns {
			c.Name = csv.Name(rows[0][i])
		}
		rows = rows[1:]
		if share(rows[0]) == 0 && slices.ContainsFunc(rows[0], isUnit) {
			d.UnitsRow = true
			units, rows = rows[0], rows[1:]
		}
	}
	for i, c := range columns {
		for _, r := range rows {
			if r[i] == "" {
				c.Empty++
				continue
			}
			c.add(r[i], number(r[i], d.DecimalComma))
		}
		if units != nil {
			c.Unit = strings.Trim(units[i], "[]() ")
		} else {
			_, c.Unit = cutUnit(c.Name)
		}
		d.Columns = append(d.Columns, c.known())
	}
	return d, true
}

// number reads a number or a clock's time; NaN where the text is neither.
func number(s string, comma bool) float64 {
	if v, ok := codec.ParseClock([]byte(s), comma); ok {
		return v
	}
	if v, ok := codec.ParseNumber([]byte(s), comma); ok {
		return v
	}
	return math.NaN()
}

func isUnit(cell string) bool {
	_, ok := channel.UnitMeant(strings.Trim(cell, "[]() "))
	return ok
}

// cutUnit takes a unit in brackets off the end of a name.
func cutUnit(name string) (base, unit string) {
	name = strings.TrimSpace(name)
	for _, b := range []string{"[]", "()"} {
		if i := strings.LastIndexByte(name, b[0]); i > 0 && strings.HasSuffix(name, b[1:]) {
			return strings.TrimSpace(name[:i]), strings.TrimSpace(name[i+1 : len(name)-1])
		}
	}
	return name, ""
}
