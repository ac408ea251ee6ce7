package assistant

import (
	"fmt"
	"math"
	"math/bits"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/cue"
	"earshot/assistant/health"
	"earshot/assistant/journal"
	"earshot/assistant/words"
	"earshot/rules"
)

// Phrases lists the fixed texts of the core and its questions, so that a voice can be checked for them.
func Phrases(l *words.Language, asks []string) []string {
	calls := &l.Calls
	turn, _, _ := strings.Cut(calls.MarkedCorner, " %s")
	list := []string{calls.Marked, turn, calls.NothingSaid, calls.Muted, calls.Unmuted, calls.NewStint, calls.Cleared,
		calls.NothingToClear}
	for _, ask := range asks {
		list = append(list, noAnswer(l, ask))
	}
	for _, p := range parts {
		for _, w := range []health.Words{p.Lost, p.Back} {
			if w != "" {
				list = append(list, calls.Health[w])
			}
		}
	}
	return list
}

func noAnswer(l *words.Language, ask string) string {
	return fmt.Sprintf(l.Calls.NoAnswer, strings.NewReplacer("_", " ", "-", " ").Replace(ask))
}

// How long an answer and the confirmation of a key may wait, s (common practice, no source). The scheduler says both
// within seconds outside braking and turn-in. A confirmation is worth hearing only soon after the press.
const (
	answerLife  = 60
	confirmLife = 15
)

// answerPrefix begins the rule of the answer to a question.
const answerPrefix = "answer-"

// answer answers a question of the driver, with the values at the moment at which it is said.
func (c *Core) answer(ask string, out *Output) {
	text, short, ok := c.rules.Answer(ask, c.hold.Row)
	if !ok {
		text = noAnswer(c.setup.Words, ask)
	}
	c.offer(cue.Cue{
		Rule: answerPrefix + ask, Text: text, Short: c.phrase(short), Priority: cue.Answer, Expires: c.now + answerLife,
		Live: ok,
	}, out)
}

// confirm tells the driver that something was done for him.
func (c *Core) confirm(rule, text, short string, out *Output) {
	c.offer(cue.Cue{Rule: rule, Text: text, Short: c.phrase(short), Priority: cue.Answer, Expires: c.now + confirmLife},
		out)
}

// phrase is a text with the time that it takes.
func (c *Core) phrase(text string) cue.Phrase {
	if text == "" {
		return cue.Phrase{}
	}
	seconds, _ := c.setup.Voice.Duration(text)
	return cue.Phrase{Text: text, Seconds: seconds}
}

func (c *Core) callHealth(part string, code health.Words, out *Output) {
	c.offer(cue.Cue{Rule: "health-" + part, Text: c.setup.Words.Calls.Health[code], Priority: cue.Caution}, out)
}

func (c *Core) offer(q cue.Cue, out *Output) {
	if q.Text != "" {
		q.Duration, _ = c.setup.Voice.Duration(q.Text)
	}
	c.rulings = c.scheduler.Offer(c.now, q, c.rulings[:0])
	c.verdicts(out)
}

// transition journals the change of a rule's state and offers its words to the scheduler.
func (c *Core) transition(t *rules.Transition, out *Output) {
	// A change between unknown and normal is no news.
	if t.From != t.To && (t.From == rules.Active || t.To == rules.Active) {
		c.event(out, &journal.State{
			Rule: t.Rule.Name, Wheel: t.Wheel, From: t.From.String(), To: t.To.String(), Value: journal.Num(t.Value),
			Limit: journal.Num(t.Limit),
		})
	}
	if t.From == rules.Active && t.To != rules.Active && !t.Rule.Momentary {
		c.rulings = c.scheduler.Withdraw(t.Rule.Name, t.Instance, c.now, c.rulings[:0])
		c.verdicts(out)
	}
	// The call of a state waits until its words are known.
	if waits := t.To == rules.Active && !t.Rule.Momentary && !t.Rule.Placed; !t.Say && !(waits && t.Why != "") {
		if t.Why != "" {
			c.silent(t, out)
		}
		return
	}
	q := cue.Cue{
		Rule: t.Rule.Name, Instance: t.Instance, Wheel: t.Wheel, Text: t.Text, Where: places[t.Rule.Where],
		Importance: importances[t.Rule.Importance], Apart: t.Rule.Apart,
	}
	if t.Rule.Expires > 0 {
		q.Expires = c.now + t.Rule.Expires
	}
	if t.To == rules.Active {
		q.Short, q.Priority, q.Live, q.Holds = c.phrase(t.Short), priorities[t.Rule.Priority], !t.Rule.Placed,
			!t.Rule.Momentary
		if t.Rule.Merge {
			q.Group = t.Rule.Name
		}
	} else {
		q.Priority = priorities[t.Rule.Clear]
		if !t.Rule.EndOnly { // the end of a state matters less than the state
			q.Importance = cue.Low
		}
	}
	c.offer(q, out)
}

// silent journals why a rule says nothing although it has words.
func (c *Core) silent(t *rules.Transition, out *Output) {
	q := journal.NewCue()
	q.Rule, q.Priority, q.Verdict, q.Why = t.Rule.Name, string(t.Rule.Priority), string(cue.Suppressed), t.Why
	q.Reason = string(cue.NoWords)
	q.Queued = journal.Num(c.now)
	c.event(out, q)
}

var priorities = map[rules.Priority]cue.Priority{
	rules.Warning: cue.Warning, rules.Caution: cue.Caution, rules.Advisory: cue.Advisory,
}

var places = map[rules.Where]cue.Where{
	rules.Anywhere: cue.Anywhere, rules.Straight: cue.Straight, rules.Line: cue.Line,
}

var importances = map[rules.Importance]cue.Importance{
	rules.LowImportance: cue.Low, rules.NormalImportance: cue.Normal, rules.HighImportance: cue.High,
}

// A wording gives the scheduler the words of rules and answers with the values of the present moment.
type wording struct{ c *Core }

func (w wording) Quiet(q *cue.Cue) bool {
	c := w.c
	return (q.Live || q.Holds) && q.Priority != cue.Answer &&
		c.memory.Quiet(c.rules.Rule(q.Rule), q.Instance, q.Holds, c.situation())
}

func (w wording) Words(q *cue.Cue, members uint64) (long, short cue.Phrase, ok bool) {
	c := w.c
	var text, brief string
	if ask, is := strings.CutPrefix(q.Rule, answerPrefix); is {
		text, brief, ok = c.rules.Answer(ask, c.hold.Row)
	} else if rule := c.rules.Rule(q.Rule); bits.OnesCount64(members) > 1 {
		text, brief, ok = c.rules.Merged(rule, members, c.hold.Row)
	} else {
		text, brief, ok = c.memory.Words(rule, q.Instance, c.hold.Row)
	}
	return c.phrase(text), c.phrase(brief), ok
}

// talk asks the scheduler whether something is to be said now.
func (c *Core) talk(out *Output) {
	row := c.hold.Row
	say, stop, rulings := c.scheduler.Step(c.now, cue.Situation{
		Room: row[channel.RoomToTalk], MostRoom: c.longestRoom(), Corner: row[channel.CornerHere] > 0, Busy: c.busy(),
		SinceLine: c.now - c.lineAt, Standing: c.standing(),
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
		At: c.now, Text: say.Text, Rule: say.Rule, Priority: say.Priority.String(), Lap: c.lap(),
		Place: row[channel.CoursePlace], Corner: corner,
	}
}

// longestRoom is the longest room to talk, s: on the learned lap, or on an unknown course.
func (c *Core) longestRoom() float64 {
	if c.course != c.mostOf {
		c.mostOf, c.most = c.course, course.CalmRoom
		if c.course != nil {
			c.most = c.course.LongestRoom()
		}
	}
	return c.most
}

// busy is true while the driver brakes or turns in. Without a map, turning in is the moment after braking.
func (c *Core) busy() bool {
	row := c.hold.Row
	if row[channel.Brake] > brakesFrom || math.IsNaN(row[channel.Brake]) && row[channel.AccelerationLong] < -slowsFrom {
		c.braked = c.now
		return true
	}
	if c.course == nil {
		return c.now-c.braked < turnInTime
	}
	phase, ok := c.passes.Phase()
	return ok && phase <= course.TurnIn
}

// When the driver brakes, as a share of the pedal, or as m/s² without one; and how long turning in takes, s. Common
// practice, no source.
const (
	brakesFrom = 0.1
	slowsFrom  = 3.0
	turnInTime = 1.0
)

// standing is true where there is always room to talk: the car stands, or no sample has come yet.
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
		q.Rule, q.Text, q.Priority, q.Verdict, q.Why = r.Cue.Rule, r.Cue.Text, r.Cue.Priority.String(),
			string(r.Verdict), r.Why
		q.Reason = string(r.Reason)
		q.Queued, q.Start, q.End = journal.Num(r.Cue.Queued), journal.Num(r.Start), journal.Num(r.End)
		c.event(out, q)
	}
	c.rulings = c.rulings[:0]
}
