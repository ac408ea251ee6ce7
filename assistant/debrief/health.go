package debrief

import (
	"fmt"
	"slices"
	"strings"

	"earshot/assistant/feed"
	"earshot/assistant/health"
	"earshot/assistant/journal"
)

// health adds up how long the feed was lost.
func (b *builder) health() Health {
	h := Health{Episodes: b.m.Health, Silent: journal.Unknown}
	for _, ep := range h.Episodes {
		if ep.Part != feed.Whole.Name || ep.State != string(health.Lost) {
			continue
		}
		if h.Silent.IsZero() {
			h.Silent = 0
		}
		to := ep.To
		if to.IsZero() {
			to = b.m.To
		}
		h.Silent += to - ep.From
	}
	return h
}

// summary is what to know when there is time for one look.
func (b *builder) summary(r Report) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if p := r.Pace; p.Laps > 0 {
		line := fmt.Sprintf("Best lap %s (lap %d)", lapTime(p.Best), p.BestLap)
		switch {
		case p.Potential.IsZero():
		case lapTime(p.Potential) == lapTime(p.Best):
			line += ", which has all your best sectors"
		default:
			line += fmt.Sprintf("; your best sectors together make %s", lapTime(p.Potential))
		}
		out = append(out, line+".")
		if p.Laps > 1 {
			say("%d valid flying laps, median %s, typically within %s s of it.", p.Laps, lapTime(p.Median),
				fixed(p.Consistency, 2))
		}
	}
	for _, s := range r.Stints {
		if t := s.Trend; t.Low > 0 {
			say("Stint %d lost %s s a lap (95 %% interval %s to %s, %d laps).", s.Number, fixed(t.PerLap, 3), fixed(t.Low, 3),
				fixed(t.High, 3), t.Laps)
		}
	}
	if f := r.Fuel; f.Laps > 0 {
		say("Fuel %s a lap, ± %s (%s).", burn(b.ctx.Volume, f.PerLap), burn(b.ctx.Volume, f.Spread),
			plural(f.Laps, "flying lap", "flying laps"))
	}
	for _, p := range slices.Backward(r.Pressures) { // the newest stint that gives figures
		if line := pressureLine(b, p); line != "" {
			out = append(out, line)
			break
		}
	}
	for i, c := range r.Corners {
		if i == 3 || len(c.Marks) == 0 {
			break
		}
		say("%s: m%s", cornerName(c), strings.TrimPrefix(c.Sentences[0], "M"))
	}
	if !r.Health.Silent.IsZero() {
		say("The feed was silent for %s s altogether.", fixed(r.Health.Silent, 1))
	}
	return out
}

func pressureLine(b *builder, p Pressure) string {
	known := false
	line := "Cold pressures for the hot target:"
	for w, x := range p.Wheels {
		known = known || !x.Set.IsZero()
		line += fmt.Sprintf(" %s\u00a0%s", wheelShorts[w], bare(b.ctx.Pressure, x.Set))
		if x.BelowMinimum {
			line += " (minimum)"
		}
		if w < 3 {
			line += ","
		}
	}
	if !known {
		return ""
	}
	return fmt.Sprintf("%s %s (from stint %d).", line, b.ctx.Pressure.Spelling, p.Stint)
}

func cornerName(c Corner) string {
	switch {
	case c.Number == 0:
		return "Away from any corner"
	case c.Name != "":
		return fmt.Sprintf("Turn %d, %s", c.Number, c.Name)
	}
	return fmt.Sprintf("Turn %d", c.Number)
}
