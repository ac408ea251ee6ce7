package timing

import (
	"math"

	"earshot/assistant/channel"
)

// stintState tells whether the car is out, and since which stint. Where the feed or the course
// file knows the pit lane, it alone decides; a stop on the course ends nothing. Where nobody knows
// it, the first movement begins the only stint, unless the driver says otherwise.
type stintState struct {
	number int
	laps   int
	out    bool // a stint is running
	pits   bool // in the pit lane
	known  bool // there is a pit lane to know of
}

// pits follows the pit lane and the stints.
func (t *Timing) pits(at, v float64, row channel.Row, move movement, out []Event) []Event {
	s := &t.stint
	in := s.pits
	if p := row[channel.InPitLane]; !math.IsNaN(p) {
		s.known = true
		in = p >= 0.5
	} else if move.pit != 0 {
		s.known = true
		in = move.pit > 0
	}
	left := s.pits && !in
	if in && !s.pits {
		t.lap.entered = true
		out = t.endStint(at, out)
	}
	s.pits = in
	if left || !s.out && !in && v > moving {
		out = t.beginStint(at, out)
		t.lap.left = t.lap.left || left
	}
	return out
}

func (t *Timing) beginStint(at float64, out []Event) []Event {
	s := &t.stint
	if s.out {
		return out
	}
	s.number++
	s.laps, s.out = 0, true
	t.flagged.stint = true
	return append(out, Event{Kind: StintStart, At: at, Number: s.number})
}

func (t *Timing) endStint(at float64, out []Event) []Event {
	s := &t.stint
	if !s.out {
		return out
	}
	s.out = false
	return append(out, Event{Kind: StintEnd, At: at, Number: s.number})
}

// NewStint ends the present stint, if one runs, and begins the next at that moment (s), because the driver
// says so. The lap in progress belongs to the new stint.
func (t *Timing) NewStint(at float64, out []Event) []Event {
	return t.beginStint(at, t.endStint(at, out))
}
