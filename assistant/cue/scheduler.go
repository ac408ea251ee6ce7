package cue

import (
	"fmt"
	"math"
	"slices"
)

// A Scheduler holds what is worth saying until there is room to say it. It is for one goroutine.
// Times that it is given are seconds on the feed's clock; a time before an earlier one counts as that.
type Scheduler struct {
	conf  Config
	words Wording // nil: words never change, and nothing is merged

	now     float64
	waiting []item // by right of way, then age
	seq     int
	regroup bool // the set that waits has changed since it was last grouped

	sound   sounding
	lastEnd float64 // when the last sound ended
	lastWas Priority

	last    Cue // as begun last, for Repeat
	hasLast bool

	mutedUntil  float64
	cornerSince float64            // NaN outside corners
	lapSince    float64            // NaN before the first call
	advisories  int                // begun since lapSince
	calls       []float64          // when something but answers, warnings and what belongs to the line was begun, within callWindow
	begun       map[string]float64 // when each rule was begun last
}

// An item is a cue that waits, or a part of what sounds.
type item struct {
	cue  Cue
	seq  int     // its age; kept when it is offered anew or interrupted
	best float64 // longest room seen while it waited, s
	open float64 // s that it has waited outside braking and turn-in
	hold hold    // what was in its way at the last Step
	mute float64 // the moment until which it had no words
	gone bool    // withdrawn while it sounded

	quiet    bool // the Wording keeps it back
	wordless bool // it has had no words yet

	lead        int // index of the item in whose words it is said; its own index when it speaks for itself
	parts       int // how many items are said in its words
	long, short Phrase
	members     uint64
}

type sounding struct {
	on         bool
	cue        Cue    // as said
	parts      []item // the first gave its identity to cue
	start, end float64
	reason     Reason
	why        string
}

// New returns a Scheduler for which nothing waits. Fields of c that are zero or that Validate refuses take
// their defaults. words may be nil: then nothing is merged or worded anew.
func New(c Config, words Wording) *Scheduler {
	nan := math.NaN()
	c = c.filled()
	return &Scheduler{
		conf: c, words: words, now: math.Inf(-1), lastEnd: math.Inf(-1), lastWas: Advisory,
		mutedUntil: math.Inf(-1), cornerSince: nan, lapSince: nan, begun: map[string]float64{},
	}
}

// Offer hands over a cue. It waits until Step begins it, or it is ruled on at once: refused for want of words or of a clip's
// length, expired, muted, over the budget of advisories, or just being said. A waiting cue of the same rule and instance gives its
// place to the new one and is ruled merged. Rulings are appended to out.
func (s *Scheduler) Offer(now float64, c Cue, out []Ruling) []Ruling {
	now = s.advance(now)
	c.Queued = now
	c.Short = shorter(c.Short, Phrase{c.Text, c.Duration})
	if c.Holds {
		c.Expires = math.Inf(1)
	} else if math.IsNaN(c.Expires) || math.IsInf(c.Expires, 0) || c.Expires == 0 {
		c.Expires = now + s.conf.Life
	}
	if c.Members == 0 && c.Instance >= 0 && c.Instance < 64 {
		c.Members = 1 << c.Instance
	}
	switch {
	case c.Text == "" && c.Live && c.Holds && s.words != nil: // it waits for its words
	case c.Text == "":
		return append(out, unsaid(c, Suppressed, NoWords, "there are no words to say"))
	case !(c.Duration > 0) || math.IsInf(c.Duration, 0):
		return append(out, unsaid(c, Suppressed, NoWords, fmt.Sprintf("its clip has no usable length: %v s", c.Duration)))
	case c.Priority < Advisory || c.Priority > Warning:
		return append(out, unsaid(c, Suppressed, NoWords, "unknown "+c.Priority.String()))
	case c.Expires <= now:
		return append(out, unsaid(c, Expired, AlreadyExpired, "it had expired when it was offered"))
	case s.shelved(&c, now):
		return append(out, unsaid(c, Muted, MutedByDriver, s.whyMuted()))
	}
	if p := s.part(c.Rule, c.Instance); p != nil && (p.cue.Text == c.Text || p.cue.Live && c.Live) {
		p.gone, p.cue.Expires = false, c.Expires
		return append(out, unsaid(c, Merged, BeingSaid, "it is being said at this moment"))
	}
	it := item{cue: c, seq: s.seq, best: math.Inf(-1), wordless: c.Text == ""}
	s.seq++
	if i := s.find(c.Rule, c.Instance); i >= 0 {
		it.seq, it.best, it.open = s.waiting[i].seq, s.waiting[i].best, s.waiting[i].open
		out = append(out, unsaid(s.waiting[i].cue, Merged, NewerText, "a newer text of the same call took its place"))
		s.drop(i)
	} else if full := s.spent(&c, now); full != "" && !c.Holds {
		return append(out, unsaid(c, Suppressed, full, s.whyFull(full)))
	}
	s.insert(it)
	return out
}

// Withdraw says that the state behind a cue has cleared. While it waits it is dropped; while it sounds it is
// said to its end, since half a sentence tells nothing, but not again.
func (s *Scheduler) Withdraw(rule string, instance int, now float64, out []Ruling) []Ruling {
	s.advance(now)
	if p := s.part(rule, instance); p != nil {
		p.gone = true
	}
	if i := s.find(rule, instance); i >= 0 {
		out = append(out, unsaid(s.waiting[i].cue, Expired, NoLongerTrue, "no longer true"))
		s.drop(i)
	}
	return out
}

// Step moves time on to now. It returns the cue to begin now, or nil; the pointer is good until the next call. stop says
// that what sounds must be cut at once, before say begins. Rulings are appended to out. A Step in which
// nothing is begun, ended or dropped allocates nothing.
func (s *Scheduler) Step(now float64, sit Situation, out []Ruling) (say *Cue, stop bool, rulings []Ruling) {
	before := s.now
	now = s.advance(now)
	s.watchCorner(now, sit.Corner)
	if len(s.waiting) == 0 && !s.sound.on { // nearly always
		return nil, false, out
	}
	out = s.finish(now, out)
	if s.sound.on && now < s.mutedUntil && s.sound.cue.Priority < Answer {
		v := Muted
		if s.sound.cue.Holds {
			v = Interrupted
		}
		out, stop = s.cut(now, v, MutedByDriver, "cut off: "+s.whyMuted(), s.sound.cue.Holds, out), true
	}
	out = s.sweep(now, out)
	s.look(now)
	if s.regroup {
		s.group()
	}
	for i := range s.waiting {
		if !sit.Busy && before > math.Inf(-1) {
			s.waiting[i].open += now - before
		}
	}
	ch, ok := s.choose(now, sit)
	if !ok {
		return nil, stop, out
	}
	said, why := ch.phrase(s), s.why(ch, sit)
	parts := s.take(ch.index, ch.alone) // before what is interrupted comes back into the line
	if s.sound.on {
		out, stop = s.cut(now, Interrupted, ByWarning, "interrupted by the warning "+quoted(parts[0].cue.Rule), true, out), true
	}
	s.begin(now, parts, said, reasons[ch.why], why)
	return &s.sound.cue, stop, out
}

// Repeat offers the words begun last once more, as an Answer of the rule "repeat". It is false where nothing has been said yet.
func (s *Scheduler) Repeat(now float64, out []Ruling) ([]Ruling, bool) {
	if !s.hasLast {
		return out, false
	}
	c := Cue{Rule: "repeat", Wheel: s.last.Wheel, Text: s.last.Text, Priority: Answer, Duration: s.last.Duration}
	return s.Offer(now, c, out), true
}

// Mute shelves all but warnings and answers for so many seconds from now, or for Config.MuteFor where seconds
// is not a positive number. It ends by itself. What waits or sounds is ruled muted by the next Step.
func (s *Scheduler) Mute(now, seconds float64) {
	if !(seconds > 0) || math.IsInf(seconds, 0) {
		seconds = s.conf.MuteFor
	}
	s.mutedUntil = s.advance(now) + seconds
}

// Unmute ends a mute early.
func (s *Scheduler) Unmute() { s.mutedUntil = math.Inf(-1) }

// Muted tells whether a mute lasts at now.
func (s *Scheduler) Muted(now float64) bool { return max(s.now, now) < s.mutedUntil }

// LapBegun says that the car has crossed the line: the budget of advisories is full again.
func (s *Scheduler) LapBegun(now float64) { s.lapSince, s.advisories = s.advance(now), 0 }

// Flush ends everything at now, as when the session ends: what waits is ruled expired, what sounds interrupted.
func (s *Scheduler) Flush(now float64, out []Ruling) []Ruling {
	now = s.advance(now)
	out = s.finish(now, out)
	for _, it := range s.waiting {
		why := "session ended"
		if it.hold == holdWords {
			why += ": a value in its words was not known"
		}
		out = append(out, unsaid(it.cue, Expired, SessionEnded, why))
	}
	s.waiting, s.regroup = s.waiting[:0], false
	if s.sound.on {
		out = s.cut(now, Interrupted, SessionEnded, "session ended", false, out)
	}
	return out
}

// Speaking tells whether a cue sounds at now.
func (s *Scheduler) Speaking(now float64) bool { return s.sound.on && max(s.now, now) < s.sound.end }

// Waiting is the number of cues that wait.
func (s *Scheduler) Waiting() int { return len(s.waiting) }

func (s *Scheduler) advance(now float64) float64 {
	if now > s.now { // false for NaN
		s.now = now
	}
	return s.now
}

func (s *Scheduler) watchCorner(now float64, corner bool) {
	if !corner {
		s.cornerSince = math.NaN()
	} else if math.IsNaN(s.cornerSince) {
		s.cornerSince = now
	}
}

// shelved tells whether a cue is lost to a mute. What tells of a state waits for its end.
func (s *Scheduler) shelved(c *Cue, now float64) bool {
	return c.Priority < Answer && now < s.mutedUntil && !c.Holds
}

func (s *Scheduler) whyMuted() string {
	return fmt.Sprintf("the driver has muted advisories and cautions until %.1f s", s.mutedUntil)
}

// spent says why there is no place for a cue yet: its rule spoke up too short a time ago, or there were enough advisories of its
// importance. It says nothing where there is a place.
func (s *Scheduler) spent(c *Cue, now float64) Reason {
	if at, ok := s.begun[c.Rule]; ok && now < at+c.Apart {
		return TooSoon
	}
	if c.Priority != Advisory {
		return ""
	}
	if !(now-s.lapSince < s.conf.LapAtMost) { // also where lapSince is NaN
		s.lapSince, s.advisories = now, 0
	}
	if most := s.conf.MaxAdvisoriesPerLap; most >= 0 && s.advisories >= max(1, most+int(c.Importance)) {
		return LapFull
	}
	if most := s.conf.MaxCalls; c.Importance < High && c.Where != Line && most >= 0 && s.recent(now) >= most+lowLeaves*min(int(c.Importance), 0) {
		return WindowFull
	}
	return ""
}

func (s *Scheduler) whyFull(full Reason) string {
	switch full {
	case TooSoon:
		return "the same rule spoke up a short time ago"
	case LapFull:
		return fmt.Sprintf("%d advisories in a lap are the most, one fewer for low importance", s.conf.MaxAdvisoriesPerLap)
	}
	return fmt.Sprintf("%d calls in ten minutes are the most for an advisory that is not of high importance, %d fewer for low", s.conf.MaxCalls, lowLeaves)
}

// recent counts the calls begun within callWindow.
func (s *Scheduler) recent(now float64) int {
	old := 0
	for old < len(s.calls) && now-s.calls[old] >= callWindow {
		old++
	}
	s.calls = slices.Delete(s.calls, 0, old)
	return len(s.calls)
}

func (s *Scheduler) find(rule string, instance int) int {
	for i := range s.waiting {
		if s.waiting[i].cue.Rule == rule && s.waiting[i].cue.Instance == instance {
			return i
		}
	}
	return -1
}

// part finds the part of what sounds that came from that rule and instance.
func (s *Scheduler) part(rule string, instance int) *item {
	if !s.sound.on {
		return nil
	}
	for i := range s.sound.parts {
		if p := &s.sound.parts[i]; p.cue.Rule == rule && p.cue.Instance == instance {
			return p
		}
	}
	return nil
}

func (s *Scheduler) insert(it item) {
	i := len(s.waiting)
	for i > 0 && before(&it, &s.waiting[i-1]) {
		i--
	}
	s.waiting = slices.Insert(s.waiting, i, it)
	s.regroup = true
}

// before orders what waits: by priority; then what may only be said near the line, as its chance passes first; by importance; then
// by age.
func before(a, b *item) bool {
	if a.cue.Priority != b.cue.Priority {
		return a.cue.Priority > b.cue.Priority
	}
	if line := a.cue.Where == Line; line != (b.cue.Where == Line) {
		return line
	}
	if a.cue.Importance != b.cue.Importance {
		return a.cue.Importance > b.cue.Importance
	}
	return a.seq < b.seq
}

func (s *Scheduler) drop(i int) {
	s.waiting = slices.Delete(s.waiting, i, i+1)
	s.regroup = true
}

// sweep rules on what need not wait any longer.
func (s *Scheduler) sweep(now float64, out []Ruling) []Ruling {
	for i := 0; i < len(s.waiting); {
		it := &s.waiting[i]
		switch {
		case it.cue.Expires <= now:
			out = append(out, unsaid(it.cue, Expired, reasons[it.hold], s.whyExpired(it, now)))
		case s.shelved(&it.cue, now):
			out = append(out, unsaid(it.cue, Muted, MutedByDriver, s.whyMuted()))
		default:
			if full := s.spent(&it.cue, now); full != "" && !it.cue.Holds {
				out = append(out, unsaid(it.cue, Suppressed, full, s.whyFull(full)))
				break
			}
			i++
			continue
		}
		s.drop(i)
	}
	return out
}

// take removes item i, and unless alone all that is said in its words, from the line.
func (s *Scheduler) take(i int, alone bool) []item {
	lead := s.waiting[i]
	parts := []item{lead}
	if !alone && lead.parts > 1 {
		for _, it := range s.waiting[i+1:] {
			if it.lead == i {
				parts = append(parts, it)
			}
		}
	} else {
		parts[0].parts = 1
	}
	s.waiting = slices.DeleteFunc(s.waiting, func(it item) bool {
		return slices.ContainsFunc(parts, func(p item) bool { return p.seq == it.seq })
	})
	s.regroup = true
	return parts
}

func (s *Scheduler) begin(now float64, parts []item, said Phrase, reason Reason, why string) {
	c := parts[0].cue
	c.Text, c.Duration = said.Text, said.Seconds
	if len(parts) > 1 {
		c.Members = parts[0].members
		for _, p := range parts[1:] {
			c.Expires = min(c.Expires, p.cue.Expires)
			if p.cue.Wheel != c.Wheel {
				c.Wheel = ""
			}
		}
	}
	s.sound = sounding{on: true, cue: c, parts: parts, start: now, end: now + c.Duration, reason: reason, why: why}
	s.last, s.hasLast = c, true
	s.begun[c.Rule] = now
	if c.Priority == Advisory {
		s.advisories++
	}
	if c.Priority < Answer && c.Where != Line {
		s.calls = append(s.calls, now)
	}
}

// finish rules on what has sounded to its end.
func (s *Scheduler) finish(now float64, out []Ruling) []Ruling {
	if !s.sound.on || now < s.sound.end {
		return out
	}
	snd := &s.sound
	out = append(out, Ruling{snd.cue, Said, snd.reason, snd.why, snd.start, snd.end, true})
	for _, p := range snd.parts[1:] {
		out = append(out, Ruling{p.cue, Merged, SaidWithin, "said within " + quoted(snd.cue.Text), snd.start, snd.end, true})
	}
	s.ended(snd.end)
	return out
}

func (s *Scheduler) ended(at float64) {
	s.lastEnd, s.lastWas = at, s.sound.cue.Priority
	s.sound.on = false
}

// cut rules on what is cut off now. With again, what is still true waits once more, in its old place.
func (s *Scheduler) cut(now float64, v Verdict, reason Reason, why string, again bool, out []Ruling) []Ruling {
	snd := &s.sound
	for k, p := range snd.parts {
		final, because := true, why
		if again {
			switch {
			case p.gone:
				because += "; not said again: no longer true"
			case s.find(p.cue.Rule, p.cue.Instance) >= 0:
				because += "; not said again: a newer text of the same call waits"
			case p.cue.Expires <= now:
				because += "; not said again: expired"
			default:
				because += "; waits to be said again from its beginning"
				final = false
			}
		}
		said := p.cue
		if k == 0 {
			said = snd.cue
		}
		if k == 0 || final {
			out = append(out, Ruling{said, v, reason, because, snd.start, now, final})
		}
		if !final {
			p.hold = holdNone
			s.insert(p)
		}
	}
	delete(s.begun, snd.cue.Rule)
	if snd.cue.Priority == Advisory {
		s.advisories = max(0, s.advisories-1) // it was not heard
	}
	if n := len(s.calls); n > 0 && s.calls[n-1] == snd.start && snd.cue.Priority < Answer {
		s.calls = s.calls[:n-1]
	}
	s.ended(now)
	return out
}

// unsaid is the ruling on a cue that was never begun.
func unsaid(c Cue, v Verdict, reason Reason, why string) Ruling {
	return Ruling{c, v, reason, why, math.NaN(), math.NaN(), true}
}
