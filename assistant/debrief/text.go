package debrief

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"earshot/assistant/channel"
	"earshot/assistant/journal"
	"earshot/assistant/words"
)

// display is the units of a report, ready to use.
type display struct{ pressure, temperature, speed, volume channel.Unit }

func (u Units) display() display {
	named := func(spelling, otherwise string) channel.Unit {
		if unit, ok := channel.UnitNamed(spelling); ok {
			return unit
		}
		unit, _ := channel.UnitNamed(otherwise)
		return unit
	}
	return display{named(u.Pressure, "psi"), named(u.Temperature, "°C"), named(u.Speed, "km/h"), named(u.Volume, "l")}
}

// A table is a caption, a header and rows of the same text in every format.
type table struct {
	Caption string
	Head    []string
	Rows    [][]string
	Left    int // the first columns that hold words, the others hold numbers
}

// WriteText writes the report as plain text for a terminal.
func WriteText(w io.Writer, r Report) error {
	t := &text{w: bufio.NewWriter(w)}
	d := r.Units.display()
	t.title("Debrief " + orUnknown(r.Session.ID))
	for _, kv := range headLines(r.Session) {
		t.line(fmt.Sprintf("%-9s %s", kv[0], kv[1]))
	}
	t.section("In short")
	t.bullets(r.Summary, "Nothing to report.")
	if len(r.Notes) > 0 {
		t.section("Know before you read on")
		t.bullets(r.Notes, "")
	}
	if len(r.Stints) > 0 {
		t.section("Stints")
		t.table(stintTable(r, d))
		t.paragraph(r.Pace.TrendNote)
	}
	if len(r.Laps) > 0 {
		t.section("Laps")
		for _, s := range lapTables(r, d) {
			t.table(s)
		}
	}
	t.section("Fuel")
	t.bullets(append(fuelLines(r.Fuel, d), r.Fuel.Meaning...), "No flying lap tells the burn.")
	t.section("Marks and corners")
	if len(r.Corners) == 0 {
		t.paragraph(nothingShowed(r))
	}
	for _, c := range r.Corners {
		t.corner(c, d)
	}
	t.section("Cold pressures")
	if len(r.Pressures) == 0 {
		t.paragraph("The journal has no tyre pressures.")
	}
	for _, p := range r.Pressures {
		t.table(pressureTable(p, d))
		t.bullets(p.Notes, "")
	}
	t.section("What was said")
	t.bullets(append(cueLines(r.Cues), r.Cues.Load...), "")
	if len(r.Cues.Rules) > 0 {
		t.table(ruleTable(r.Cues))
	}
	if len(r.Cues.Silent) > 0 {
		t.table(silenceTable(r.Cues))
	}
	if len(r.Health.Episodes) > 0 {
		t.section("Health of the assistant")
		t.table(healthTable(r.Health))
	}
	t.section("Cautions")
	t.bullets(r.Cautions, "")
	return t.w.Flush()
}

func headLines(h Head) [][2]string {
	return [][2]string{
		{"Course", orUnknown(h.Course)}, {"Car", orUnknown(h.Car)}, {"Feed", orUnknown(h.Feed)},
		{"Started", orUnknown(h.Started)}, {"Length", clock(h.Duration)},
	}
}

func orUnknown(s string) string {
	if strings.TrimSpace(s) == "" {
		return unknown
	}
	return s
}

// nothingShowed says why there is nothing about corners: what was never learned cannot show.
func nothingShowed(r Report) string {
	var never []string
	for _, l := range r.Learned {
		if l.At.IsZero() && !strings.HasPrefix(l.What, "fuel") {
			never = append(never, words.English.NeverLearned(l.What, l.Lacks))
		}
	}
	if len(never) == 0 {
		return "No mark was made, and nothing showed again and again in a corner."
	}
	return "No mark was made. " + strings.Join(never, " ")
}

func number(n int) string { return strconv.Itoa(n) }

func stintTable(r Report, d display) table {
	t := table{Left: 1, Head: []string{"Stint", "Laps", "Valid flying", "Best", "Median", "Trend s/lap", "Fuel at start",
		"Fuel used", "Compound", "Air", "Track"}}
	for _, s := range r.Stints {
		trend := unknown
		if !s.Trend.PerLap.IsZero() {
			trend = fmt.Sprintf("%s (%s to %s)", signed(s.Trend.PerLap, 3), signed(s.Trend.Low, 3), signed(s.Trend.High, 3))
		}
		t.Rows = append(t.Rows, []string{
			number(s.Number), number(s.Laps), number(s.Flying), lapTime(s.Best), lapTime(s.Median), trend,
			volume(d.volume, s.Fuel), volume(d.volume, s.FuelUsed), orUnknown(s.Compound),
			quantity(d.temperature, s.AirTemperature), quantity(d.temperature, s.TrackTemperature),
		})
	}
	return t
}

// lapTables makes one table of times and one of readings per stint, leaving columns out of which nothing is known.
func lapTables(r Report, d display) []table {
	var tables []table
	for i, s := range r.Stints {
		var laps []Lap
		for _, l := range r.Laps {
			if l.InStint == i {
				laps = append(laps, l)
			}
		}
		if len(laps) > 0 {
			tables = append(tables, lapTable(s, laps, d))
		}
	}
	return tables
}

func lapTable(s Stint, laps []Lap, d display) table {
	t := table{Caption: fmt.Sprintf("Stint %d", s.Number), Left: 1, Head: []string{"Lap", "Kind", "Time", "To best"}}
	readings := []struct {
		title string
		unit  channel.Unit
		get   func(Lap) Wheels
	}{
		{"Pressure ", d.pressure, func(l Lap) Wheels { return l.TyrePressure }},
		{"Tyres ", d.temperature, func(l Lap) Wheels { return l.TyreTemperature }},
		{"Brake peaks ", d.temperature, func(l Lap) Wheels { return l.BrakePeak }},
	}
	sectors, marks, fuel, known := 0, false, false, make([]bool, len(readings))
	for _, l := range laps {
		sectors = max(sectors, len(l.Sectors))
		marks = marks || l.Marks > 0
		fuel = fuel || !l.FuelUsed.IsZero()
		for i, x := range readings {
			known[i] = known[i] || !x.get(l).IsZero()
		}
	}
	for i := range sectors {
		t.Head = append(t.Head, fmt.Sprintf("S%d", i+1))
	}
	if fuel {
		t.Head = append(t.Head, "Fuel "+volumeName(d.volume))
	}
	for i, x := range readings {
		if known[i] {
			t.Head = append(t.Head, x.title+x.unit.Spelling+" FL/FR/RL/RR")
		}
	}
	if marks {
		t.Head = append(t.Head, "Marks")
	}
	for _, l := range laps {
		row := []string{number(l.Number), lapKind(l), lapTime(l.Time), signed(l.Delta, 3)}
		if l.Best {
			row[3] = "best"
		}
		for i := range sectors {
			time := journal.Unknown
			if i < len(l.Sectors) {
				time = l.Sectors[i]
			}
			row = append(row, lapTime(time))
		}
		if fuel {
			row = append(row, fixed(Num(d.volume.Out(float64(l.FuelUsed))), 2))
		}
		for i, x := range readings {
			if known[i] {
				row = append(row, four(x.unit, x.get(l)))
			}
		}
		if marks {
			mark := ""
			if l.Marks > 0 {
				mark = number(l.Marks)
			}
			row = append(row, mark)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func four(u channel.Unit, w Wheels) string {
	var s [4]string
	for i, x := range w {
		s[i] = bare(u, x)
	}
	return strings.Join(s[:], "/")
}

// lapKind says class and validity in words: colour is never the only carrier.
func lapKind(l Lap) string {
	kind := orUnknown(l.Class)
	if l.Record {
		kind += ", best of all sessions"
	}
	if l.Inexact != "" {
		kind += ", time not exact: " + l.Inexact
	}
	switch {
	case l.Valid:
		return kind
	case l.WhyInvalid != "":
		return kind + ", void: " + words.English.Void(&l.Lap.Lap)
	}
	return kind + ", void"
}

func fuelLines(f Fuel, d display) []string {
	if f.Laps == 0 {
		return nil
	}
	return []string{fmt.Sprintf("%s a lap: the median of %s, typically within %s of it.",
		burn(d.volume, f.PerLap), plural(f.Laps, "flying lap", "flying laps"), burn(d.volume, f.Spread))}
}

func pressureTable(p Pressure, d display) table {
	t := table{Caption: fmt.Sprintf("Stint %d, %s", p.Stint, d.pressure.Spelling), Left: 1,
		Head: []string{"", "Cold", "Hot", "Target", "Set cold", "Change"}}
	if len(p.HotLaps) > 0 {
		t.Caption += ", hot from " + lapsWord(p.HotLaps)
	}
	for w, x := range p.Wheels {
		set := bare(d.pressure, x.Set)
		if x.BelowMinimum {
			set += " (min.)"
		}
		u := d.pressure
		u.Offset = 0
		t.Rows = append(t.Rows, []string{
			capital(wheelNames[w]), bare(d.pressure, x.Cold), bare(d.pressure, x.Hot), bare(d.pressure, x.Target), set,
			signed(Num(u.Out(float64(x.Change()))), decimalsOf(u)),
		})
	}
	return t
}

func cueLines(c Cues) []string {
	if c.Offered == 0 && c.Answers == 0 {
		return []string{"Nothing was called."}
	}
	line := fmt.Sprintf("%s said, %d not said", plural(c.Said, "call", "calls"), c.NotSaid)
	if c.Answers > 0 {
		line += fmt.Sprintf(", %s to your own questions", plural(c.Answers, "answer", "answers"))
	}
	var shares []string
	for _, p := range c.Priorities {
		shares = append(shares, fmt.Sprintf("%s %d", p.Priority, p.Said))
	}
	if len(shares) > 0 {
		line += " (" + strings.Join(shares, ", ") + ")"
	}
	return []string{line + "."}
}

func ruleTable(c Cues) table {
	t := table{Caption: "Calls by rule", Left: 1, Head: []string{"Rule", "Said", "Not said", "For example"}}
	for _, r := range c.Rules {
		t.Rows = append(t.Rows, []string{orUnknown(r.Rule), number(r.Said), number(r.NotSaid), r.Example})
	}
	return t
}

func silenceTable(c Cues) table {
	t := table{Caption: "Not said, and why", Left: 3, Head: []string{"Rule", "What became of it", "Why", "Times",
		"For example"}}
	for _, s := range c.Silent {
		t.Rows = append(t.Rows, []string{orUnknown(s.Rule), orUnknown(s.Verdict), orUnknown(s.Why), number(s.Count),
			s.Example})
	}
	return t
}

// healthRows is as many as a person reads.
const healthRows = 50

func healthTable(h Health) table {
	t := table{Left: 5, Head: []string{"From", "To", "Part", "State", "What"}}
	for i, e := range h.Episodes {
		if i == healthRows {
			t.Caption = fmt.Sprintf("The first %d of %d", healthRows, len(h.Episodes))
			break
		}
		t.Rows = append(t.Rows, []string{clock(e.From), clock(e.To), e.Part, e.State, e.Text})
	}
	return t
}

// text lays out lines and remembers nothing but the writer: bufio keeps the first error.
type text struct{ w *bufio.Writer }

func (t *text) line(s string) { fmt.Fprintln(t.w, clean(s)) }

// clean keeps a name or memo from steering the terminal.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r >= 0x7f && r < 0xa0 {
			return ' '
		}
		return r
	}, s)
}

func (t *text) title(s string) {
	t.line(s)
	t.line(strings.Repeat("=", utf8.RuneCountInString(clean(s))))
}

func (t *text) section(s string) {
	t.line("")
	t.line(s)
	t.line(strings.Repeat("-", utf8.RuneCountInString(s)))
}

func (t *text) paragraph(s string) {
	if s != "" {
		t.wrapped(s, "", "")
	}
}

func (t *text) bullets(lines []string, none string) {
	for _, l := range lines {
		t.wrapped(l, "- ", "  ")
	}
	if len(lines) == 0 {
		t.paragraph(none)
	}
}

const textWidth = 100

func (t *text) wrapped(s, first, next string) {
	line, width := first, utf8.RuneCountInString(first)
	empty := true
	for _, word := range strings.FieldsFunc(clean(s), func(r rune) bool { return r == ' ' }) {
		n := utf8.RuneCountInString(word)
		if !empty && width+1+n > textWidth {
			t.line(line)
			line, width, empty = next, utf8.RuneCountInString(next), true
		}
		if !empty {
			line, width = line+" ", width+1
		}
		line, width, empty = line+word, width+n, false
	}
	t.line(line)
}

func (t *text) table(x table) {
	if x.Caption != "" {
		t.line(x.Caption)
	}
	widths := make([]int, len(x.Head))
	for _, row := range append([][]string{x.Head}, x.Rows...) {
		for i, cell := range row {
			widths[i] = max(widths[i], utf8.RuneCountInString(clean(cell)))
		}
	}
	for _, row := range append([][]string{x.Head}, x.Rows...) {
		var b strings.Builder
		for i, cell := range row {
			cell = clean(cell)
			pad := strings.Repeat(" ", widths[i]-utf8.RuneCountInString(cell))
			if x.words(i) {
				b.WriteString("  " + cell + pad)
			} else {
				b.WriteString("  " + pad + cell)
			}
		}
		t.line(strings.TrimRight(b.String(), " "))
	}
	t.line("")
}

// words tells whether column i holds words, which are set to the left.
func (x table) words(i int) bool {
	switch h := x.Head[i]; h {
	case "Kind", "For example", "Compound":
		return true
	default:
		return i < x.Left
	}
}

func (t *text) corner(c Corner, d display) {
	t.line("")
	head := cornerName(c)
	if !c.Distance.IsZero() && c.Number > 0 {
		head += fmt.Sprintf(", at %s m", fixed(c.Distance, 0))
	}
	t.line(head)
	t.bullets(c.Sentences, "")
	for _, m := range c.Marks {
		t.wrapped(markHead(m), "  ", "    ")
		for _, s := range m.Sentences {
			t.wrapped(s, "  - ", "    ")
		}
	}
	if len(c.Marks) > 0 {
		t.table(passTable(c, d))
	}
	for _, a := range c.Advice {
		t.wrapped(a.line(), "  > ", "    ")
	}
}

// markHead says which mark it is, with the driver's words.
func markHead(m Mark) string {
	s := fmt.Sprintf("Mark %d, %s", m.Number, clock(m.T))
	if m.Lap >= 0 {
		s += fmt.Sprintf(", lap %d", m.Lap)
	}
	if !m.Distance.IsZero() {
		s += fmt.Sprintf(", at %s m", fixed(m.Distance, 0))
	}
	if m.Tag != "" {
		s += ", “" + m.Tag + "”"
	}
	if m.Memo != "" {
		s += ": " + m.Memo
	}
	return s
}

func (a Advice) line() string {
	s := a.Lever
	for _, part := range []struct{ name, text string }{{"why", a.Why}, {"side effect", a.SideEffect},
		{"caution", a.Caution}} {
		if part.text != "" {
			s += "; " + part.name + ": " + part.text
		}
	}
	return s
}
