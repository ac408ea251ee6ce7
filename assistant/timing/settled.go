package timing

import (
	"math"

	"earshot/assistant/channel"
)

// How long the feed must hold a change of such a channel before it is believed. Common practice, no source.
const (
	holdTime = 0.25 // s, and at least two samples: a flag, a counter or a pit lane
	holdLong = 2.0  // s: where the place or the speed of the car speaks against it
	pitFast  = 40.0 // m/s: nobody drives so fast in a pit lane
)

// seldom are the channels that must be held before they are believed, besides lap_number.
var seldom = [...]channel.ID{pitLane: channel.InPitLane, lapValid: channel.LapValid, onCourse: channel.OnCourse,
	flagShown: channel.Flag}

const (
	pitLane = iota
	lapValid
	onCourse
	flagShown
)

// A settled value is one that the feed changes seldom. A change is believed once it has been held for a while: a single
// wrong sample must not make a stint, a lap or a void lap.
type settled struct {
	value float64 // that is believed, NaN before the first
	next  float64 // that would be, NaN: none
	since float64 // s, when next was first told
	count int     // samples with next
}

func newSettled() settled { return settled{value: math.NaN(), next: math.NaN()} }

// step processes the feed's value. It returns true when the feed takes back a change that was not yet believed. The
// first value is believed at once, and so is an absent one.
func (s *settled) step(at, v, hold float64) (takenBack bool) {
	switch {
	case v == s.value:
		takenBack = s.count > 0
		s.next, s.count = math.NaN(), 0
	case math.IsNaN(v) || math.IsNaN(s.value):
		s.value, s.next, s.count = v, math.NaN(), 0
	case v != s.next:
		s.next, s.since, s.count = v, at, 1
	default:
		if s.count++; at-s.since >= hold {
			s.value, s.next, s.count = v, math.NaN(), 0
		}
	}
	return takenBack
}

// believe believes a value at once, since something else confirms it.
func (s *settled) believe(v float64) { s.value, s.next, s.count = v, math.NaN(), 0 }
