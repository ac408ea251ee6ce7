package debrief

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"earshot/assistant/journal"
	"earshot/assistant/words"
)

// Figures of ANSI/ISA-18.2-2016 for one operator of a process plant, over thirty days: about one alarm in ten
// minutes is very likely acceptable, about two is the most that can be managed, and more than ten
// in ten minutes is a flood. Three times within a minute is the usual detector of chatter.
const (
	tenMinutes      = 600.0 // s
	acceptableInTen = 1.0
	manageableInTen = 2.0
	floodInTen      = 10
	chatterCount    = 3
	chatterWithin   = 60.0 // s
	shortestForRate = 60.0 // s of session below which a rate means nothing
)

// cues counts calls. Answers to the driver's own questions are counted apart: he asked.
func (b *builder) cues(duration Num) Cues {
	c := Cues{Minutes: duration / 60, PerTenMinutes: journal.Unknown}
	var starts []float64
	byPriority := map[string]int{}
	byRule := map[string]*RuleCues{}
	speaking := map[string][]float64{}
	type why struct{ rule, verdict, why string }
	silent := map[why]*Silence{}
	for i := range b.m.Cues {
		x := &b.m.Cues[i]
		if x.Priority == "answer" {
			if x.Spoken() {
				c.Answers++
			}
			continue
		}
		c.Offered++
		r := byRule[x.Rule]
		if r == nil {
			r = &RuleCues{Rule: x.Rule}
			byRule[x.Rule] = r
		}
		if r.Example == "" {
			r.Example = x.Text
		}
		if !x.Spoken() {
			c.NotSaid++
			r.NotSaid++
			text := words.English.Reason(&x.Cue)
			key := why{x.Rule, x.Verdict, text}
			if silent[key] == nil {
				silent[key] = &Silence{Rule: x.Rule, Verdict: x.Verdict, Reason: x.Reason, Why: text, Example: x.Text}
			}
			silent[key].Count++
			continue
		}
		c.Said++
		r.Said++
		byPriority[x.Priority]++
		at := float64(x.Start)
		if math.IsNaN(at) {
			at = float64(x.T)
		}
		starts = append(starts, at)
		speaking[x.Rule] = append(speaking[x.Rule], at)
	}
	for p, n := range byPriority {
		c.Priorities = append(c.Priorities, Share{p, n})
	}
	slices.SortFunc(c.Priorities, func(x, y Share) int { return strings.Compare(order(x.Priority), order(y.Priority)) })
	for _, r := range byRule {
		c.Rules = append(c.Rules, *r)
	}
	byCount(c.Rules, func(r RuleCues) int { return r.Said + r.NotSaid }, func(r RuleCues) string { return r.Rule })
	for _, s := range silent {
		c.Silent = append(c.Silent, *s)
	}
	byCount(c.Silent, func(s Silence) int { return s.Count },
		func(s Silence) string { return s.Rule + "\x00" + s.Verdict + "\x00" + s.Why })
	for rule, at := range speaking {
		if slices.Sort(at); chatters(at) {
			c.Chatter = append(c.Chatter, rule)
		}
	}
	slices.Sort(c.Chatter)
	slices.Sort(starts)
	b.load(&c, starts, float64(duration))
	return c
}

// order sorts the priorities by how much they matter; what a later version may have comes behind, by name.
func order(priority string) string {
	if i := slices.Index([]string{"warning", "caution", "advisory"}, priority); i >= 0 {
		return fmt.Sprint(i)
	}
	return "9" + priority
}

func chatters(at []float64) bool {
	for i := chatterCount - 1; i < len(at); i++ {
		if at[i]-at[i-chatterCount+1] <= chatterWithin {
			return true
		}
	}
	return false
}

// load compares the calls with what people can take in.
func (b *builder) load(c *Cues, starts []float64, whole float64) {
	for i, j := 0, 0; i < len(starts); i++ {
		for starts[i]-starts[j] >= tenMinutes {
			j++
		}
		c.Busiest = max(c.Busiest, i-j+1)
	}
	if !math.IsNaN(whole) {
		c.Periods = int(min(whole/tenMinutes, math.MaxInt32))
	}
	counts := map[int]int{}
	for _, at := range starts {
		if k := (at - float64(b.m.From)) / tenMinutes; k >= 0 && k < float64(c.Periods) {
			counts[int(k)]++
		}
	}
	for _, n := range counts {
		if n > floodInTen {
			c.Floods++
		}
	}
	say := func(format string, args ...any) { c.Load = append(c.Load, fmt.Sprintf(format, args...)) }
	if !(whole >= shortestForRate) {
		if c.Offered > 0 {
			say("The session is too short for a rate of calls.")
		}
		return
	}
	c.PerTenMinutes = Num(float64(c.Said) / whole * tenMinutes)
	if c.Offered == 0 {
		return
	}
	line := fmt.Sprintf("%s calls in ten minutes", fixed(c.PerTenMinutes, 1))
	if whole < tenMinutes {
		line += fmt.Sprintf(" (reckoned from %s minutes)", fixed(c.Minutes, 1))
	}
	switch rate := float64(c.PerTenMinutes); {
	case rate <= acceptableInTen:
		line += ": within the one or so that ISA-18.2 holds very likely acceptable for a plant operator."
	case rate <= manageableInTen:
		line += ": between the one that ISA-18.2 holds acceptable for a plant operator and the two that it holds the most " +
			"manageable."
	default:
		line += ": more than the two that ISA-18.2 holds the most a plant operator can manage for long. A driver who " +
			"finds that too much has rules to mute or to give a longer delay."
	}
	c.Load = append(c.Load, line)
	if c.Busiest > floodInTen {
		say("The busiest ten minutes had %d calls; ISA-18.2 calls more than ten a flood.", c.Busiest)
	} else if c.Busiest > 0 {
		say("The busiest ten minutes had %s, which is not a flood (more than ten).", plural(c.Busiest, "call", "calls"))
	}
	if len(c.Chatter) > 0 {
		say("Spoke three times within a minute, the usual sign of chatter: %s. A deadband or delay would calm that.",
			list(c.Chatter))
	}
}
