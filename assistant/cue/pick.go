package cue

import (
	"fmt"
	"math"
	"math/bits"
	"strconv"
)

// A hold is what keeps a cue from being begun, or the reason for which it may.
type hold int

const (
	holdNone     hold = iota // not looked at yet
	holdSpeaking             // another cue sounds, or has just ended
	holdOthers               // another cue had the right of way
	holdQuiet                // the Wording keeps it back
	holdWords                // it had no words
	holdMuted                // the driver wanted quiet
	holdBudget               // there is no place for it in the budget
	holdCorner               // in a corner, room not known
	holdStraight             // wants a straight
	holdLine                 // wants to be near the line
	holdRoom                 // too little room
	goWarning
	goStanding
	goRoom
	goOpen   // room not known, not in a corner
	goDoubt  // room not known, the corner flag is not believed
	goLate   // the driver has waited long enough for his answer
	goMost   // nowhere is more room
	firstYes = goWarning
)

// reasons are the codes of the holds.
var reasons = [...]Reason{
	holdNone: NoMoment, holdSpeaking: OtherSounded, holdOthers: OthersFirst, holdQuiet: KeptBack, holdWords: NoWords, holdMuted: MutedByDriver,
	holdBudget: WindowFull, holdCorner: InCorner, holdStraight: NotStraight, holdLine: NotAtLine, holdRoom: NoRoom,
	goWarning: ByWarning, goStanding: Standing, goRoom: RoomEnough, goOpen: RoomUnknown, goDoubt: RoomUnknown, goLate: Waited, goMost: Waited,
}

// A choice is an item to begin, and how.
type choice struct {
	index        int
	alone, short bool // without the others of its group; in its short form
	why          hold
}

func (ch choice) phrase(s *Scheduler) Phrase {
	it := &s.waiting[ch.index]
	long, short := it.long, it.short
	if ch.alone {
		long, short = Phrase{it.cue.Text, it.cue.Duration}, it.cue.Short
	}
	if ch.short {
		return short
	}
	return long
}

// choose finds the item to begin now and words it anew. New words may be too long: then another one may have room.
func (s *Scheduler) choose(now float64, sit Situation) (choice, bool) {
	for range 2*len(s.waiting) + 1 {
		ch := s.pick(now, sit)
		if ch.index < 0 {
			return ch, false
		}
		it := &s.waiting[ch.index]
		was := ch.phrase(s)
		if s.reword(it, ch.alone, now) {
			if is := ch.phrase(s); is == was || ch.why == goMost && is.Seconds > 0 || is.Seconds > 0 && s.may(it, is.Seconds, now, sit) >= firstYes {
				return ch, true
			}
		}
	}
	return choice{index: -1}, false
}

// noWords is how long a cue that had no words is left alone, s.
const noWords = 1.0

// reword makes the words of an item anew. It is false where there are none.
func (s *Scheduler) reword(it *item, alone bool, now float64) bool {
	if s.words == nil || !it.cue.Live {
		return true
	}
	members := it.members
	if alone || it.parts == 1 {
		members = it.cue.Members
	}
	long, short, ok := s.words.Words(&it.cue, members)
	switch {
	case ok && long.usable():
	case it.cue.Priority == Warning && !it.wordless: // the words that it had then are better than none
		return true
	default:
		it.mute = now + noWords
		return false
	}
	short = shorter(short, long)
	if members == it.cue.Members {
		it.cue.Text, it.cue.Duration, it.cue.Short = long.Text, long.Seconds, short
	}
	if !alone {
		it.long, it.short = long, short
	}
	return true
}

// pick returns the item to begin now; its index is -1 where there is none.
func (s *Scheduler) pick(now float64, sit Situation) choice {
	best := choice{index: -1}
	asked := false // an answer waits: nothing but a warning may take its room
	for i := range s.waiting {
		it := &s.waiting[i]
		if sit.Room > it.best { // false for NaN
			it.best = sit.Room
		}
		if it.lead != i {
			it.hold = s.waiting[it.lead].hold
			continue
		}
		ch := s.form(i, now, sit)
		switch {
		case ch.why >= firstYes && (best.index >= 0 || asked && it.cue.Priority < Answer):
			ch.why = holdOthers
		case ch.why >= firstYes:
			best = ch
		}
		asked = asked || it.cue.Priority == Answer
		it.hold = ch.why
	}
	return best
}

// form finds out whether an item may begin now, and in which of its forms: whole, else short, else without its group.
func (s *Scheduler) form(i int, now float64, sit Situation) choice {
	it := &s.waiting[i]
	ch := choice{index: i}
	ch.why = s.may(it, it.long.Seconds, now, sit)
	if ch.why == goLate && it.short.Seconds > 0 {
		ch.short, ch.why = true, s.may(it, it.short.Seconds, now, sit)
	}
	if ch.why != holdRoom {
		return ch
	}
	patience := s.conf.Patience
	switch {
	case it.cue.Priority == Answer:
		patience = s.conf.AnswerWithin / 2
	case it.cue.Where == Line:
		patience = 0
	}
	waited := now - it.cue.Queued
	if it.short.Seconds > 0 && (waited >= patience || it.long.Seconds+s.conf.Margin > sit.MostRoom && sit.MostRoom > 0) {
		if why := s.may(it, it.short.Seconds, now, sit); why >= firstYes {
			return choice{index: i, short: true, why: why}
		}
	}
	// What is too long for every place of the course is said where there is most room, rather than never.
	least := it.long.Seconds
	if it.short.Seconds > 0 {
		least = it.short.Seconds
	}
	if it.cue.Priority == Caution && waited >= patience && least+s.conf.Margin > sit.MostRoom && sit.MostRoom > 0 && sit.Room >= 0.9*sit.MostRoom {
		return choice{index: i, short: it.short.Seconds > 0, why: goMost}
	}
	if it.parts < 2 || waited < min(patience, (it.cue.Expires-it.cue.Queued)/2) {
		return ch
	}
	if why := s.may(it, it.cue.Duration, now, sit); why >= firstYes {
		return choice{index: i, alone: true, why: why}
	}
	if short := it.cue.Short.Seconds; short > 0 {
		if why := s.may(it, short, now, sit); why >= firstYes {
			return choice{index: i, alone: true, short: true, why: why}
		}
	}
	return ch
}

// may tells whether a clip of length seconds of this item may begin now.
func (s *Scheduler) may(it *item, length, now float64, sit Situation) hold {
	c := &it.cue
	switch {
	case c.Priority == Warning:
		if s.sound.on && s.sound.cue.Priority == Warning || s.lastWas == Warning && now < s.lastEnd+s.conf.Gap {
			return holdSpeaking
		}
	case s.sound.on || now < s.lastEnd+s.conf.Gap:
		return holdSpeaking
	case c.Priority < Answer && now < s.mutedUntil:
		return holdMuted
	}
	switch {
	case now < it.mute || it.wordless:
		return holdWords
	case it.quiet:
		return holdQuiet
	case s.spent(c, now) != "":
		return holdBudget
	case c.Priority == Warning:
		return goWarning
	case sit.Standing:
		return goStanding
	}
	h := s.room(c.Where, length, now, sit)
	within := s.conf.AnswerWithin
	if length <= aWord {
		within /= 2
	}
	if h < firstYes && c.Priority == Answer && it.open >= within && !sit.Busy {
		return goLate
	}
	return h
}

// aWord is how short an answer must be, such as that a key was taken, to be said in a corner before others, s. Common practice, no source.
const aWord = 1.0

// room tells whether there is room for so many seconds at the place that a cue wants.
func (s *Scheduler) room(where Where, length, now float64, sit Situation) hold {
	doubt := sit.Corner && now-s.cornerSince >= s.conf.CornerPatience
	corner := sit.Corner && !doubt
	switch where {
	case Line:
		if !math.IsNaN(sit.SinceLine) {
			if sit.SinceLine < 0 || sit.SinceLine > s.conf.LineWindow {
				return holdLine
			}
			break
		}
		fallthrough // without a line a straight must do, or it would never be said
	case Straight:
		if corner {
			return holdStraight
		}
	}
	switch {
	case sit.Room >= length+s.conf.Margin:
		return goRoom
	case !math.IsNaN(sit.Room):
		return holdRoom
	case corner:
		return holdCorner
	case doubt:
		return goDoubt
	}
	return goOpen
}

// look asks which cues are to be kept back now. A call for several wheels names none of those.
func (s *Scheduler) look(now float64) {
	if s.words == nil {
		return
	}
	for i := range s.waiting {
		it := &s.waiting[i]
		if q := s.words.Quiet(&it.cue); q != it.quiet {
			it.quiet = q
			s.regroup = s.regroup || it.cue.Group != ""
		}
		if it.wordless && !it.quiet && now >= it.mute && s.reword(it, true, now) && it.cue.Duration > 0 {
			it.wordless, s.regroup = false, true
		}
	}
}

// group finds out which of the items that wait are said as one. Warnings join warnings only: a caution must not make a warning longer.
func (s *Scheduler) group() {
	s.regroup = false
	for i := range s.waiting {
		it := &s.waiting[i]
		it.lead, it.parts, it.members = i, 1, it.cue.Members
		it.long, it.short = Phrase{it.cue.Text, it.cue.Duration}, it.cue.Short
	}
	if s.words == nil {
		return
	}
	for i := range s.waiting {
		if s.waiting[i].lead != i || s.waiting[i].cue.Group == "" {
			continue
		}
		// All of them at once, else as many as there are words for.
		if !s.join(i, s.union(i)) {
			for j := i + 1; j < len(s.waiting); j++ {
				if s.joins(i, j) {
					s.join(i, s.waiting[i].members|s.waiting[j].cue.Members)
				}
			}
		}
	}
}

// joins tells whether item j could be said with item i before it.
func (s *Scheduler) joins(i, j int) bool {
	a, b := &s.waiting[i], &s.waiting[j]
	return b.lead == j && b.parts == 1 && !a.quiet && !b.quiet && !a.wordless && !b.wordless && b.cue.Group == a.cue.Group && (a.cue.Priority == Warning) == (b.cue.Priority == Warning)
}

func (s *Scheduler) union(i int) uint64 {
	u := s.waiting[i].cue.Members
	for j := i + 1; j < len(s.waiting); j++ {
		if s.joins(i, j) {
			u |= s.waiting[j].cue.Members
		}
	}
	return u
}

// join words the members as one in item i and puts under it every later item that they cover.
func (s *Scheduler) join(i int, members uint64) bool {
	lead := &s.waiting[i]
	if bits.OnesCount64(members) < 2 || members == lead.members {
		return false
	}
	long, short, ok := s.words.Words(&lead.cue, members)
	if !ok || !long.usable() {
		return false
	}
	lead.long, lead.short, lead.members = long, shorter(short, long), members
	for j := i + 1; j < len(s.waiting); j++ {
		if m := s.waiting[j].cue.Members; s.joins(i, j) && m != 0 && m&^members == 0 {
			s.waiting[j].lead = i
			lead.parts++
		}
	}
	return true
}

// why puts into words why a cue is begun.
func (s *Scheduler) why(ch choice, sit Situation) string {
	var why string
	switch ch.why {
	case goWarning:
		why = "a warning waits for nothing"
	case goStanding:
		why = "the car stands or is in the pits"
	case goRoom:
		why = fmt.Sprintf("%.1f s of room for %.1f s", sit.Room, ch.phrase(s).Seconds)
	case goDoubt:
		why = fmt.Sprintf("room not known, and no corner lasts %.0f s", s.conf.CornerPatience)
	case goMost:
		why = fmt.Sprintf("%.1f s of room for %.1f s, and nowhere is more", sit.Room, ch.phrase(s).Seconds)
	case goLate:
		why = fmt.Sprintf("the driver has waited %.1f s for his answer", s.waiting[ch.index].open)
	default:
		why = "room not known, but not in a corner"
	}
	if ch.short {
		why += "; the short form"
	}
	if ch.alone {
		why += "; said without its group, for which there was no room"
	}
	return why
}

// whyExpired puts into words why there was no chance to say it.
func (s *Scheduler) whyExpired(it *item, now float64) string {
	var why string
	switch it.hold {
	case holdSpeaking:
		why = "another cue was being said"
	case holdOthers:
		why = "others went first"
	case holdQuiet:
		why = "it was not the time for it"
	case holdWords:
		why = "a value in its words was not known"
	case holdMuted:
		why = "the driver wanted quiet"
	case holdBudget:
		why = "there were enough calls"
	case holdCorner:
		why = "in a corner, and the room not known"
	case holdStraight:
		why = "not on a straight"
	case holdLine:
		why = "not near the line"
	case holdRoom:
		why = fmt.Sprintf("it needs %.1f s of room and %.1f s before the braking point; the most there was is %.1f s", it.long.Seconds, s.conf.Margin, max(0, it.best))
	default:
		why = "no moment came to say it"
	}
	return fmt.Sprintf("expired after waiting %.1f s: %s", now-it.cue.Queued, why)
}

func quoted(s string) string { return strconv.Quote(s) }
