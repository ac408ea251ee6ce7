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
	merge MergeFunc

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
	cornerSince float64 // NaN outside corners
	lapSince    float64 // NaN before the first call
	advisories  int     // begun since lapSince
}

// An item is a cue that waits, or a part of what sounds.
type item struct {
	cue  Cue
	seq  int     // its age; kept when it is offered anew or interrupted
	best float64 // longest room seen while it waited, s
	hold hold    // what was in its way at the last Step
	gone bool    // withdrawn while it sounded

	lead    int // index of the item in whose words it is said; its own index when it speaks for itself
	parts   int // how many items are said in its words
	text    string
	length  float64 // s
	members uint64
}

type sounding struct {
	on         bool
	cue        Cue    // as said
	parts      []item // the first gave its identity to cue
	start, end float64
	why        string
}

// New returns a Scheduler for which nothing waits. Fields of c that are zero or that Validate refuses take
// their defaults. merge may be nil: then nothing is merged.
func New(c Config, merge MergeFunc) *Scheduler {
	nan := math.NaN()
	return &Scheduler{
		conf: c.filled(), merge: merge, now: math.Inf(-1), lastEnd: math.Inf(-1), lastWas: Advisory,
		mutedUntil: math.Inf(-1), cornerSince: nan, lapSince: nan,
	}
}

// Offer hands over a cue. It waits until Step begins it, or it is ruled on at once: refused for want of words or of a clip's
// length, expired, muted, over the budget of advisories, or just being said. A waiting cue of the same rule and instance gives its
// place to the new one and is ruled merged. Rulings are appended to out.
func (s *Scheduler) Offer(now float64, c Cue, out []Ruling) []Ruling {
	now = s.advance(now)
	c.Queued = now
	if math.IsNaN(c.Expires) || math.IsInf(c.Expires, 0) || c.Expires == 0 {
		c.Expires = now + s.conf.Life
	}
	if c.Members == 0 && c.Instance >= 0 && c.Instance < 64 {
		c.Members = 1 << c.Instance
	}
	switch {
	case c.Text == "":
		return append(out, unsaid(c, Suppressed, "there are no words to say"))
	case !(c.Duration > 0) || math.IsInf(c.Duration, 0):
		return append(out, unsaid(c, Suppressed, fmt.Sprintf("its clip has no usable length: %v s", c.Duration)))
	case c.Priority < Advisory || c.Priority > Warning:
		return append(out, unsaid(c, Suppressed, "unknown "+c.Priority.String()))
	case c.Expires <= now:
		return append(out, unsaid(c, Expired, "it had expired when it was offered"))
	case s.shelved(c.Priority, now):
		return append(out, unsaid(c, Muted, s.whyMuted()))
	}
	if p := s.part(c.Rule, c.Instance); p != nil && p.cue.Text == c.Text {
		p.gone, p.cue.Expires = false, c.Expires
		return append(out, unsaid(c, Merged, "it is being said at this moment"))
	}
	it := item{cue: c, seq: s.seq, best: math.Inf(-1)}
	s.seq++
	if i := s.find(c.Rule, c.Instance); i >= 0 {
		it.seq, it.best = s.waiting[i].seq, s.waiting[i].best
		out = append(out, unsaid(s.waiting[i].cue, Merged, "a newer text of the same call took its place"))
		s.drop(i)
	} else if c.Priority == Advisory && s.spent(now) {
		return append(out, unsaid(c, Suppressed, s.whySpent()))
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
		out = append(out, unsaid(s.waiting[i].cue, Expired, "no longer true"))
		s.drop(i)
	}
	return out
}

// Step moves time on to now. It returns the cue to begin now, or nil; the pointer is good until the next call. stop says
// that what sounds must be cut at once, before say begins. Rulings are appended to out. A Step in which
// nothing is begun, ended or dropped allocates nothing.
func (s *Scheduler) Step(now float64, sit Situation, out []Ruling) (say *Cue, stop bool, rulings []Ruling) {
	now = s.advance(now)
	s.watchCorner(now, sit.Corner)
	out = s.finish(now, out)
	if s.sound.on && s.shelved(s.sound.cue.Priority, now) {
		out, stop = s.cut(now, Muted, "cut off: "+s.whyMuted(), false, out), true
	}
	out = s.sweep(now, out)
	if s.regroup {
		s.group()
	}
	i, alone, why := s.pick(now, sit)
	if i < 0 {
		return nil, stop, out
	}
	reason := s.reason(why, sit, &s.waiting[i], alone)
	if s.sound.on {
		// What is begun leaves the line first, since the interrupted cue comes back into it.
		parts := s.take(i, alone)
		out, stop = s.cut(now, Interrupted, "interrupted by the warning "+quoted(parts[0].cue.Rule), true, out), true
		s.begin(now, parts, reason)
	} else {
		s.begin(now, s.take(i, alone), reason)
	}
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
		out = append(out, unsaid(it.cue, Expired, "session ended"))
	}
	s.waiting, s.regroup = s.waiting[:0], false
	if s.sound.on {
		out = s.cut(now, Interrupted, "session ended", false, out)
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

func (s *Scheduler) shelved(p Priority, now float64) bool { return p < Answer && now < s.mutedUntil }

func (s *Scheduler) whyMuted() string {
	return fmt.Sprintf("the driver has muted advisories and cautions until %.1f s", s.mutedUntil)
}

// spent tells whether the budget of advisories is used up.
func (s *Scheduler) spent(now float64) bool {
	if !(now-s.lapSince < s.conf.LapAtMost) { // also where lapSince is NaN
		s.lapSince, s.advisories = now, 0
	}
	return s.conf.MaxAdvisoriesPerLap >= 0 && s.advisories >= s.conf.MaxAdvisoriesPerLap
}

func (s *Scheduler) whySpent() string {
	return fmt.Sprintf("%d advisories in this lap already, which is the most", s.conf.MaxAdvisoriesPerLap)
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

// before orders what waits: by priority; then what may only be said near the line, as its chance passes first; then
// by age.
func before(a, b *item) bool {
	if a.cue.Priority != b.cue.Priority {
		return a.cue.Priority > b.cue.Priority
	}
	if line := a.cue.Where == Line; line != (b.cue.Where == Line) {
		return line
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
			out = append(out, unsaid(it.cue, Expired, s.whyExpired(it, now)))
		case s.shelved(it.cue.Priority, now):
			out = append(out, unsaid(it.cue, Muted, s.whyMuted()))
		case it.cue.Priority == Advisory && s.spent(now):
			out = append(out, unsaid(it.cue, Suppressed, s.whySpent()))
		default:
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

func (s *Scheduler) begin(now float64, parts []item, why string) {
	c := parts[0].cue
	if len(parts) > 1 {
		c.Text, c.Duration, c.Members = parts[0].text, parts[0].length, parts[0].members
		for _, p := range parts[1:] {
			c.Expires = min(c.Expires, p.cue.Expires)
			if p.cue.Wheel != c.Wheel {
				c.Wheel = ""
			}
		}
	}
	s.sound = sounding{on: true, cue: c, parts: parts, start: now, end: now + c.Duration, why: why}
	s.last, s.hasLast = c, true
	if c.Priority == Advisory {
		s.advisories++
	}
}

// finish rules on what has sounded to its end.
func (s *Scheduler) finish(now float64, out []Ruling) []Ruling {
	if !s.sound.on || now < s.sound.end {
		return out
	}
	snd := &s.sound
	out = append(out, Ruling{snd.cue, Said, snd.why, snd.start, snd.end, true})
	for _, p := range snd.parts[1:] {
		out = append(out, Ruling{p.cue, Merged, "said within " + quoted(snd.cue.Text), snd.start, snd.end, true})
	}
	s.ended(snd.end)
	return out
}

func (s *Scheduler) ended(at float64) {
	s.lastEnd, s.lastWas = at, s.sound.cue.Priority
	s.sound.on = false
}

// cut rules on what is cut off now. With again, what is still true waits once more, in its old place.
func (s *Scheduler) cut(now float64, v Verdict, why string, again bool, out []Ruling) []Ruling {
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
			out = append(out, Ruling{said, v, because, snd.start, now, final})
		}
		if !final {
			p.hold = holdNone
			s.insert(p)
		}
	}
	if snd.cue.Priority == Advisory {
		s.advisories = max(0, s.advisories-1) // it was not heard
	}
	s.ended(now)
	return out
}

// unsaid is the ruling on a cue that was never begun.
func unsaid(c Cue, v Verdict, why string) Ruling {
	return Ruling{c, v, why, math.NaN(), math.NaN(), true}
}
