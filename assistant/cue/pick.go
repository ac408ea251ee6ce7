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
	holdCorner               // in a corner, room not known
	holdStraight             // wants a straight
	holdLine                 // wants to be near the line
	holdRoom                 // too little room
	goWarning
	goStanding
	goRoom
	goOpen   // room not known, not in a corner
	goDoubt  // room not known, the corner flag is not believed
	firstYes = goWarning
)

// pick returns the index of the item to begin now, or -1. alone says that it is to be said without the others of its group.
func (s *Scheduler) pick(now float64, sit Situation) (index int, alone bool, why hold) {
	index = -1
	for i := range s.waiting {
		it := &s.waiting[i]
		if sit.Room > it.best { // false for NaN
			it.best = sit.Room
		}
		if it.lead != i {
			it.hold = s.waiting[it.lead].hold
			continue
		}
		h := s.may(it, it.length, now, sit)
		single := false
		if h == holdRoom && it.parts > 1 && now >= (it.cue.Queued+it.cue.Expires)/2 {
			if a := s.may(it, it.cue.Duration, now, sit); a >= firstYes {
				h, single = a, true
			}
		}
		switch {
		case h >= firstYes && index < 0:
			index, alone, why = i, single, h
		case h >= firstYes:
			h = holdOthers
		}
		it.hold = h
	}
	return index, alone, why
}

// may tells whether a clip of length seconds of this item may begin now.
func (s *Scheduler) may(it *item, length, now float64, sit Situation) hold {
	if it.cue.Priority == Warning {
		if s.sound.on && s.sound.cue.Priority == Warning || s.lastWas == Warning && now < s.lastEnd+s.conf.Gap {
			return holdSpeaking
		}
		return goWarning
	}
	if s.sound.on || now < s.lastEnd+s.conf.Gap {
		return holdSpeaking
	}
	if sit.Standing {
		return goStanding
	}
	doubt := sit.Corner && now-s.cornerSince >= s.conf.CornerPatience
	corner := sit.Corner && !doubt
	switch it.cue.Where {
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

// group finds out which of the items that wait are said as one. Warnings join warnings only: a caution must not make a warning longer.
func (s *Scheduler) group() {
	s.regroup = false
	for i := range s.waiting {
		it := &s.waiting[i]
		it.lead, it.parts, it.text, it.length, it.members = i, 1, it.cue.Text, it.cue.Duration, it.cue.Members
	}
	if s.merge == nil {
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
	return b.lead == j && b.parts == 1 && b.cue.Group == a.cue.Group && (a.cue.Priority == Warning) == (b.cue.Priority == Warning)
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
	text, length, ok := s.merge(lead.cue.Group, members)
	if !ok || text == "" || !(length > 0) || math.IsInf(length, 0) {
		return false
	}
	lead.text, lead.length, lead.members = text, length, members
	for j := i + 1; j < len(s.waiting); j++ {
		if m := s.waiting[j].cue.Members; s.joins(i, j) && m != 0 && m&^members == 0 {
			s.waiting[j].lead = i
			lead.parts++
		}
	}
	return true
}

// reason puts into words why a cue is begun.
func (s *Scheduler) reason(h hold, sit Situation, it *item, alone bool) string {
	length := it.length
	if alone {
		length = it.cue.Duration
	}
	var why string
	switch h {
	case goWarning:
		why = "a warning waits for nothing"
	case goStanding:
		why = "the car stands or is in the pits"
	case goRoom:
		why = fmt.Sprintf("%.1f s of room for %.1f s", sit.Room, length)
	case goDoubt:
		why = fmt.Sprintf("room not known, and no corner lasts %.0f s", s.conf.CornerPatience)
	default:
		why = "room not known, but not in a corner"
	}
	if alone {
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
	case holdCorner:
		why = "in a corner, and the room not known"
	case holdStraight:
		why = "not on a straight"
	case holdLine:
		why = "not near the line"
	case holdRoom:
		why = fmt.Sprintf("it needs %.1f s of room and %.1f s before the braking point; the most there was is %.1f s", it.length, s.conf.Margin, max(0, it.best))
	default:
		why = "no moment came to say it"
	}
	return fmt.Sprintf("expired after waiting %.1f s: %s", now-it.cue.Queued, why)
}

func quoted(s string) string { return strconv.Quote(s) }
