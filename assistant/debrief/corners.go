package debrief

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/journal"
	"earshot/assistant/session/model"
	"earshot/assistant/statistics"
	"earshot/assistant/words"
)

// repeats tells whether what count of the flying passes showed is a finding: more than once, and either half of them
// showed it or the car found it repeated while driving, when it had seen fewer laps and none of another setting.
func repeats(count, of int, repeated bool) bool { return count > 1 && (repeated || 2*count >= of) }

// corners groups marks and findings by corner.
func (b *builder) corners() []Corner {
	by := map[int]*Corner{}
	at := func(number int, name string) *Corner {
		c := by[number]
		if c == nil {
			c = &Corner{Number: number, Distance: journal.Unknown, Usual: noPass()}
			by[number] = c
		}
		if name != "" {
			c.Name = name
		}
		return c
	}
	passes := map[int][]*model.Pass{}
	for i := range b.m.Passes {
		p := &b.m.Passes[i]
		passes[p.Number] = append(passes[p.Number], p)
		at(p.Number, p.Name)
	}
	meant := map[*model.Pass]bool{} // passes that a mark means
	for i := range b.m.Marks {
		m := &b.m.Marks[i]
		c := at(m.Corner, m.CornerName)
		mark := b.mark(m)
		if k := b.m.PassOf(m); k >= 0 {
			p := &b.m.Passes[k]
			meant[p] = true
			mark.Pass, mark.Findings = passOf(p), p.Findings
		}
		c.Marks = append(c.Marks, mark)
	}
	var list []Corner
	for number, c := range by {
		b.fillCorner(c, passes[number], meant)
		if len(c.Marks) > 0 || len(c.Findings) > 0 {
			if b.ctx.Advise != nil {
				c.Advice = b.ctx.Advise(*c)
			}
			list = append(list, *c)
		}
	}
	slices.SortFunc(list, func(x, y Corner) int {
		return cmp.Or(cmp.Compare(len(y.Marks), len(x.Marks)), cmp.Compare(mostFound(y), mostFound(x)),
			cmp.Compare(x.Number, y.Number))
	})
	return list
}

func mostFound(c Corner) int {
	most := 0
	for _, f := range c.Findings {
		most = max(most, f.Count)
	}
	return most
}

func noPass() Pass {
	u := journal.Unknown
	return Pass{u, u, u, u, u, u, journal.NoWheels(), journal.NoWheels(), journal.NoWheels(), u, u}
}

func passOf(c *model.Pass) Pass {
	return Pass{c.EntrySpeed, c.MinSpeed, c.ExitSpeed, c.MinGear, c.Time, c.Balance, c.MaxSlip, c.BrakeTemp,
		c.TyreTemperature, c.Lost, c.LineApex}
}

func (b *builder) mark(m *model.Mark) Mark {
	out := Mark{
		Number: m.Number, T: m.T, Lap: m.LapNumber, Distance: m.Distance, Tag: m.Tag, Memo: m.Memo,
		Speed: m.Speed, Gear: m.Gear, TyreTemperature: m.TyreTemperature, BrakeTemperature: m.BrakeTemperature,
		Pass: noPass(),
	}
	// Until the pass itself is found, the mark's own word for it stands.
	out.Pass.MinSpeed, out.Pass.MinGear, out.Pass.Balance = m.MinSpeed, m.MinGear, m.Balance
	if m.Lap >= 0 {
		out.Class = b.laps[m.Lap].Class
	}
	return out
}

// fillCorner compares the marked passes with the others and counts findings. Only flying laps are compared: a lap out
// of the pits says nothing about a quick one.
func (b *builder) fillCorner(c *Corner, passes []*model.Pass, meant map[*model.Pass]bool) {
	var usual []*model.Pass
	var places []float64
	found, repeated := map[journal.Finding]*Finding{}, map[journal.Finding]bool{}
	for _, p := range passes {
		places = append(places, float64(p.Distance))
		for _, f := range p.Repeated {
			repeated[f] = true
		}
		if p.Lap < 0 || !b.laps[p.Lap].Flying() {
			continue
		}
		c.Passes++
		if !meant[p] {
			usual = append(usual, p)
		}
		for _, shown := range p.Findings {
			f := found[shown]
			if f == nil {
				f = &Finding{Finding: shown, Text: words.English.Finding(shown)}
				found[shown] = f
			}
			f.Count++
			if n := b.laps[p.Lap].Number; !slices.Contains(f.Laps, n) {
				f.Laps = append(f.Laps, n)
			}
		}
	}
	for _, f := range found {
		if f.Of = c.Passes; repeats(f.Count, f.Of, repeated[f.Finding]) {
			c.Findings = append(c.Findings, *f)
		}
	}
	byCount(c.Findings, func(f Finding) int { return f.Count }, func(f Finding) string { return f.Text })
	c.Usual, c.UsualPasses = usualPass(usual), len(usual)
	c.Distance = Num(statistics.Median(places))

	tags := map[string]int{}
	for i := range c.Marks {
		m := &c.Marks[i]
		m.Sentences = b.markSentences(*c, *m)
		if !slices.Contains(c.MarkedLaps, m.Lap) {
			c.MarkedLaps = append(c.MarkedLaps, m.Lap)
		}
		if m.Tag != "" {
			tags[m.Tag]++
		}
	}
	for tag, n := range tags {
		c.Tags = append(c.Tags, Tag{tag, n})
	}
	byCount(c.Tags, func(t Tag) int { return t.Count }, func(t Tag) string { return t.Tag })
	c.Sentences = b.cornerSentences(*c)
}

// usualPass takes the median of every figure by itself.
func usualPass(passes []*model.Pass) Pass {
	of := func(get func(*model.Pass) Num) Num {
		x := make([]float64, len(passes))
		for i, c := range passes {
			x[i] = float64(get(c))
		}
		return Num(statistics.Median(x))
	}
	p := noPass()
	p.EntrySpeed = of(func(c *model.Pass) Num { return c.EntrySpeed })
	p.MinSpeed = of(func(c *model.Pass) Num { return c.MinSpeed })
	p.ExitSpeed = of(func(c *model.Pass) Num { return c.ExitSpeed })
	p.MinGear = of(func(c *model.Pass) Num { return c.MinGear })
	p.Time = of(func(c *model.Pass) Num { return c.Time })
	p.Balance = of(func(c *model.Pass) Num { return c.Balance })
	p.Lost = of(func(c *model.Pass) Num { return c.Lost })
	p.Line = of(func(c *model.Pass) Num { return c.LineApex })
	for w := range 4 {
		p.MaxSlip[w] = of(func(c *model.Pass) Num { return c.MaxSlip[w] })
		p.BrakeTemperature[w] = of(func(c *model.Pass) Num { return c.BrakeTemp[w] })
		p.TyreTemperature[w] = of(func(c *model.Pass) Num { return c.TyreTemperature[w] })
	}
	return p
}

func (b *builder) cornerSentences(c Corner) []string {
	var out []string
	if n := len(c.Marks); n > 0 {
		line := "Marked once"
		if n > 1 {
			line = fmt.Sprintf("Marked %d times", n)
		}
		if laps := c.MarkedLaps; len(laps) > 1 {
			line += " in laps " + numbers(laps)
		} else if laps[0] >= 0 {
			line += fmt.Sprintf(" in lap %d", laps[0])
		}
		var tags []string
		for _, t := range c.Tags {
			tag := "“" + t.Tag + "”"
			if t.Count > 1 {
				tag += fmt.Sprintf(" ×%d", t.Count)
			}
			tags = append(tags, tag)
		}
		if len(tags) > 0 {
			line += ": " + list(tags)
		}
		out = append(out, line+".")
	}
	for _, f := range c.Findings {
		out = append(out, fmt.Sprintf("The data show %s in %d of %d flying passes (%s).", f.Text, f.Count, f.Of,
			lapsWord(f.Laps)))
	}
	return out
}

func lapsWord(laps []int) string {
	if len(laps) == 1 {
		return "lap " + numbers(laps)
	}
	return "laps " + numbers(laps)
}

// markSentences say what the data showed at the mark.
func (b *builder) markSentences(c Corner, m Mark) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	p, u, unit := m.Pass, c.Usual, b.ctx.Speed
	if !p.MinSpeed.IsZero() {
		line := "Slowest point " + quantity(unit, p.MinSpeed)
		if !u.MinSpeed.IsZero() {
			line += ", " + compared(unit, p.MinSpeed-u.MinSpeed, "slower than", "faster than", "at") +
				" the median of " + plural(c.UsualPasses, "other flying pass", "other flying passes")
		}
		if !p.MinGear.IsZero() {
			line += fmt.Sprintf(", gear %s", fixed(p.MinGear, 0))
			if !u.MinGear.IsZero() && math.Round(float64(u.MinGear)) != math.Round(float64(p.MinGear)) {
				line += fmt.Sprintf(" instead of %s", fixed(u.MinGear, 0))
			}
		}
		out = append(out, line+".")
	}
	if !p.EntrySpeed.IsZero() || !p.ExitSpeed.IsZero() {
		out = append(out, fmt.Sprintf("In at %s%s, out at %s%s.", quantity(unit, p.EntrySpeed),
			usually(unit, p.EntrySpeed-u.EntrySpeed, "slower", "faster"),
			quantity(unit, p.ExitSpeed), usually(unit, p.ExitSpeed-u.ExitSpeed, "slower", "faster")))
	}
	if !p.Balance.IsZero() {
		line := "Balance: " + b.balanceWords(p.Balance)
		if !u.Balance.IsZero() {
			line += "; usually " + b.balanceWords(u.Balance)
		}
		out = append(out, line+"."+b.agreement(m.Tag, p.Balance))
	}
	for w, s := range p.MaxSlip {
		switch {
		case s.IsZero():
		case float64(s) < b.ctx.SlipLock:
			say("%s locking: slip %s.", capital(wheelNames[w]), fixed(s, 2))
		case float64(s) > b.ctx.SlipSpin:
			say("%s spinning: slip %s.", capital(wheelNames[w]), signed(s, 2))
		}
	}
	for _, t := range []struct {
		what   string
		at, of Wheels
	}{{"tyre", m.TyreTemperature, u.TyreTemperature}, {"brake", m.BrakeTemperature, u.BrakeTemperature}} {
		if w := hottest(t.at); w >= 0 {
			say("Hottest %s %s, %s%s.", t.what, wheelNames[w], quantity(b.ctx.Temperature, t.at[w]),
				usually(b.ctx.Temperature, t.at[w]-t.of[w], "cooler", "hotter"))
		}
	}
	if len(m.Findings) > 0 {
		var texts []string
		for _, f := range m.Findings {
			texts = append(texts, words.English.Finding(f))
		}
		say("Found in that pass: %s.", list(texts))
	}
	if m.Class != "" && m.Class != "flying" && len(out) > 0 {
		say("This was an %s lap, so a comparison with flying laps says little.", m.Class)
	}
	if len(out) == 0 {
		say("The data say nothing about this place.")
	}
	return out
}

// compared says by how much and which way x, a difference of two readings of u, goes.
func compared(u channel.Unit, x Num, less, more, same string) string {
	u.Offset = 0
	amount := quantity(u, max(x, -x))
	switch {
	case strings.Trim(bare(u, max(x, -x)), "0.") == "":
		return same
	case x < 0:
		return amount + " " + less
	}
	return amount + " " + more
}

// usually is that against the usual passes, in brackets; empty where nothing is known.
func usually(u channel.Unit, x Num, less, more string) string {
	if x.IsZero() {
		return ""
	}
	if s := compared(u, x, less, more, ""); s != "" {
		return " (" + s + " than usual)"
	}
	return " (as usual)"
}

func hottest(w Wheels) int {
	at := -1
	for i, t := range w {
		if !t.IsZero() && (at < 0 || t > w[at]) {
			at = i
		}
	}
	return at
}

// balanceWords grades by the car's limit: half of it is still neutral, twice it is strong. Common practice, no source.
func (b *builder) balanceWords(x Num) string {
	share := math.Abs(float64(x)) / b.ctx.BalanceLimit
	what := "understeer"
	if x < 0 {
		what = "oversteer"
	}
	switch {
	case share < 0.5:
		return "neutral (" + degrees(x) + " of " + what + ")"
	case share < 1:
		what = "a little " + what
	case share >= 2:
		what = "strong " + what
	}
	return what + ", " + degrees(x)
}

// agreement holds the driver's word against the data.
func (b *builder) agreement(tag string, balance Num) string {
	tag = strings.ToLower(tag)
	under, over := strings.Contains(tag, "understeer"), strings.Contains(tag, "oversteer")
	if under == over {
		return ""
	}
	towards := float64(balance) / b.ctx.BalanceLimit
	if over {
		towards = -towards
	}
	switch {
	case towards >= 1:
		return " That agrees with the mark."
	case towards <= -1:
		return " That is the opposite of the mark."
	}
	return " The mean over the pass is too small to confirm the mark; it may have been one phase only."
}
