package assistant

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/cue"
	"earshot/assistant/health"
	"earshot/assistant/journal"
	"earshot/rules"
)

// What the core says of its own accord, besides the rules.
const (
	textMarked       = "Marked."
	textMarkedCorner = "Marked, turn %s."
	textNothingSaid  = "Nothing said yet."
	textMuted        = "Muted."
	textUnmuted      = "Talking again."
	textNoAnswer     = "No %s data."
	textNewStint     = "New stint."

	textCleared        = "Clear." // latched rules are let go
	textNothingToClear = "Nothing to clear."
)

// healthTexts are what the driver hears of parts that fall ill. The feed's silence under way is a rule's business.
var healthTexts = map[health.Words]string{
	"feed-lost": "No telemetry.", "keys-lost": "Keys lost.", "recording-lost": "Recording stopped.", "journal-lost": "Journal stopped.",
	"sound-back": "Sound back.",
}

// Phrases lists the fixed texts of the core, with the words of its questions, so that a voice can be checked to have them all.
func Phrases(asks []string) []string {
	list := []string{textMarked, "Marked, turn", textNothingSaid, textMuted, textUnmuted, textNewStint, textCleared, textNothingToClear}
	for _, ask := range asks {
		list = append(list, fmt.Sprintf(textNoAnswer, ask))
	}
	for _, p := range parts {
		for _, w := range []health.Words{p.Lost, p.Back} {
			if w != "" {
				list = append(list, healthTexts[w])
			}
		}
	}
	return list
}

// How long what the driver asked for may wait, s (common practice, no source). He waits for the answer to a question,
// for a lap if need be; that a key was taken is worth telling only soon after.
const (
	answerLife  = 90
	confirmLife = 15
)

func (c *Core) answer(rule, text string, life float64, out *Output) {
	c.offer(cue.Cue{Rule: rule, Text: text, Priority: cue.Answer, Expires: c.now + life}, out)
}

func (c *Core) callHealth(part string, words health.Words, out *Output) {
	c.offer(cue.Cue{Rule: "health-" + part, Text: healthTexts[words], Priority: cue.Caution}, out)
}

func (c *Core) offer(q cue.Cue, out *Output) {
	q.Duration, _ = c.setup.Voice.Duration(q.Text)
	c.rulings = c.scheduler.Offer(c.now, q, c.rulings[:0])
	c.verdicts(out)
}

// transition journals what a rule makes of the present moment and hands its words to the scheduler.
func (c *Core) transition(t *rules.Transition, out *Output) {
	// That an instance is known to be normal, or is unknown again without having been active, is no news.
	if t.From != t.To && (t.From == rules.Active || t.To == rules.Active) {
		c.event(out, &journal.State{
			Rule: t.Rule.Name, Wheel: t.Wheel, From: t.From.String(), To: t.To.String(), Value: journal.Num(t.Value), Limit: journal.Num(t.Limit),
		})
	}
	if t.From == rules.Active && t.To != rules.Active && !t.Rule.Momentary {
		c.rulings = c.scheduler.Withdraw(t.Rule.Name, t.Instance, c.now, c.rulings[:0])
		c.verdicts(out)
	}
	if !t.Say {
		if t.Why != "" {
			c.silent(t, out)
		}
		return
	}
	q := cue.Cue{
		Rule: t.Rule.Name, Instance: t.Instance, Wheel: t.Wheel, Text: t.Text,
		Priority: priorities[t.Rule.Priority], Where: places[t.Rule.Where],
	}
	if t.Rule.Expires > 0 {
		q.Expires = c.now + t.Rule.Expires
	}
	if t.Rule.Merge && t.To == rules.Active {
		q.Group = t.Rule.Name
		c.ruleByName[q.Group] = t.Rule
	}
	c.offer(q, out)
}

// silent journals why a rule that has words says nothing.
func (c *Core) silent(t *rules.Transition, out *Output) {
	q := journal.NewCue()
	q.Rule, q.Priority, q.Verdict, q.Why = t.Rule.Name, string(t.Rule.Priority), string(cue.Suppressed), t.Why
	q.Queued = journal.Num(c.now)
	c.event(out, q)
}

var priorities = map[rules.Priority]cue.Priority{
	rules.Warning: cue.Warning, rules.Caution: cue.Caution, rules.Advisory: cue.Advisory,
}

var places = map[rules.Where]cue.Where{
	rules.Anywhere: cue.Anywhere, rules.Straight: cue.Straight, rules.Line: cue.Line,
}

// merge words several instances of one rule as one cue.
func (c *Core) merge(group string, members uint64) (text string, seconds float64, ok bool) {
	r := c.ruleByName[group]
	if r == nil {
		return "", 0, false
	}
	if text, _, ok = c.rules.Merged(r, members, c.hold.Row); !ok {
		return "", 0, false
	}
	seconds, _ = c.setup.Voice.Duration(text)
	return text, seconds, true
}

// talk lets the scheduler decide whether this is the moment.
func (c *Core) talk(out *Output) {
	row := c.hold.Row
	say, stop, rulings := c.scheduler.Step(c.now, cue.Situation{
		Room: row[channel.RoomToTalk], Corner: row[channel.CornerHere] > 0, SinceLine: c.now - c.lineAt, Standing: c.standing(),
	}, c.rulings[:0])
	c.rulings = rulings
	c.verdicts(out)
	out.Hush = out.Hush || stop
	if say == nil {
		return
	}
	corner := 0
	if n := row[channel.CornerLast]; n >= 1 {
		corner = int(n)
	}
	out.Say = &Utterance{
		At: c.now, Text: say.Text, Rule: say.Rule, Priority: say.Priority.String(), Lap: c.lap(), Place: row[channel.CoursePlace], Corner: corner,
	}
}

// standing tells whether there is always room to talk. Without a feed nobody is known to be driving.
func (c *Core) standing() bool {
	if math.IsNaN(c.sampled) {
		return true
	}
	row := c.hold.Row
	return math.Abs(row[channel.Speed]) < 1 || row[channel.InPits] == 1
}

// verdicts journals the rulings of the scheduler's last call.
func (c *Core) verdicts(out *Output) {
	for i := range c.rulings {
		r := &c.rulings[i]
		q := journal.NewCue()
		q.Rule, q.Text, q.Priority, q.Verdict, q.Why = r.Cue.Rule, r.Cue.Text, r.Cue.Priority.String(), string(r.Verdict), r.Why
		q.Queued, q.Start, q.End = journal.Num(r.Cue.Queued), journal.Num(r.Start), journal.Num(r.End)
		c.event(out, q)
	}
	c.rulings = c.rulings[:0]
}
