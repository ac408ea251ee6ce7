package timing

import (
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

const (
	boxStop  = 5.0  // s of standing at the stop place that end a stint; common practice, no source
	boxReach = 15.0 // m around where the car first stood: a receiver without corrections is that wrong
	roadHalf = 10.0 // m from the line driven: nearer is the course, and no stop place
)

// stintState tells whether the car is out, and in which stint. The pit lane decides where the feed or the course file
// knows it. Otherwise a stop at the stop place does: where the car stood before it first moved, if that is not on the
// course. A stop elsewhere ends no stint. The driver's command always counts.
type stintState struct {
	number int
	laps   int
	out    bool // a stint is running
	pits   bool // in the pit lane, or at the stop place
	known  bool // the feed or the course file knows the pit lane

	stood   float64 // s, since when the car stands; NaN while it moves
	home    course.Point
	hasHome bool
	looked  bool // this stop has been judged
}

// atHome is true where the car has stopped at its stop place.
func (t *Timing) atHome(at, v float64, row channel.Row) bool {
	s := &t.stint
	if !(v < moving) {
		s.stood, s.looked = math.NaN(), false
		return false
	}
	if math.IsNaN(s.stood) {
		s.stood = at
	}
	if at-s.stood < boxStop || !t.line.havePos {
		return s.pits
	}
	p := t.line.pos
	switch {
	case s.number == 0:
		s.home, s.hasHome = p, true
	case s.pits || s.looked || !s.hasHome:
		return s.pits
	}
	s.looked = true
	if s.number == 0 || math.Hypot(p.X-s.home.X, p.Y-s.home.Y) > boxReach {
		return s.pits
	}
	if t.m == nil {
		return true
	}
	_, aside, ok := t.m.Place(row, math.NaN())
	return !ok || math.Abs(aside) > roadHalf
}

// pits follows the pit lane and the stints.
func (t *Timing) pits(at, v float64, row channel.Row, move movement, out []Event) []Event {
	s := &t.stint
	in := s.pits
	if p := t.seldom[pitLane].value; !math.IsNaN(p) {
		s.known = true
		in = p >= 0.5
	} else if move.pit != 0 {
		s.known = true
		in = move.pit > 0
	}
	if home := t.atHome(at, v, row); !s.known {
		in = home
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

// NewStint ends the present stint, if one runs, and begins the next at that moment (s), at the driver's command. The
// lap in progress belongs to the new stint. It writes what it changes into row.
func (t *Timing) NewStint(at float64, row channel.Row, out []Event) []Event {
	t.unflag()
	out = t.beginStint(at, t.endStint(at, out))
	t.write(max(at, t.at), row)
	return out
}
