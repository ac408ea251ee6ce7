package timing

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

// lapState is the lap in progress.
type lapState struct {
	number    int
	begun     float64 // s, interpolated
	odo       float64 // m, at begun
	inexact   string  // why begun is not exact
	why       Void    // why the lap is void
	gap       float64 // s, the longest time without samples
	feedClock float64 // s, the feed's time into the lap at the sample before
	moved     bool    // the car was moved by hand, or time is missing
	left      bool    // the car left the pits in this lap
	entered   bool    // or entered them
	stopped   bool    // or stood on the course
	standing  float64 // s of standing so far
	caution   bool    // a full-course caution was shown
	flagged   bool    // or a yellow flag
	calm      bool    // a sample without either flag came
	beside    int     // places in a row that lie off the course's width
	feedValid bool    // the feed has called this lap valid
	next      int     // boundary that comes next
	splits    []float64
	bounds    []course.Boundary
	placed    float64 // course_distance before
	placedAt  float64
}

func (l *lapState) reset(number int, begun, odo float64, bounds []course.Boundary) {
	n := len(bounds)
	if n == 0 {
		n = maxSectors - 1 // the feed may count them
	}
	splits := l.splits[:0]
	for range n {
		splits = append(splits, math.NaN())
	}
	*l = lapState{number: number, begun: begun, odo: odo, splits: splits, bounds: bounds, placed: math.NaN(),
		placedAt: begun, feedClock: math.NaN()}
	if number > 0 {
		l.placed = 0
	}
}

// pending is a lap whose time the feed may still tell.
type pending struct {
	active   bool
	lap      Lap
	deadline float64
	crossed  float64
	blind    bool // the line was passed unseen, at the beginning or at the end
	in       bool // ended in the pit lane
	flags    lapState
}

// feedTime follows the feed's last_lap_time.
func (t *Timing) feedTime(at float64, row channel.Row) {
	v := row[channel.LastLapTime]
	if math.IsNaN(v) || v == t.feedLast {
		return
	}
	if !math.IsNaN(t.feedLast) || t.pending.active {
		t.feedNew = at
	}
	t.feedLast = v
}

// cross ends the lap in progress at the line and begins the next.
func (t *Timing) cross(at float64, move movement, pits bool, row channel.Row, out []Event) []Event {
	l := &t.lap
	// The odometer at the line, from where the car is now.
	rate, odo := move.speed, t.line.odo.total
	if v := row[channel.Speed]; math.IsNaN(rate) && !math.IsNaN(v) {
		rate = v
		if !math.IsNaN(t.v) {
			rate = (v + t.v) / 2
		}
	}
	if !math.IsNaN(rate) {
		odo -= rate * (at - move.when)
	}
	if t.pending.active { // a lap shorter than the wait
		out = t.complete(math.NaN(), move.when, out)
	}
	if l.number > 0 {
		p := &t.pending
		*p = pending{active: true, crossed: move.when, deadline: move.when + feedWait, in: pits, flags: *l,
			blind: l.inexact+move.inexact != ""}
		p.lap = Lap{
			Number: l.number, Stint: t.stint.number, Begun: l.begun, Computed: move.when - l.begun,
			FeedTime: math.NaN(), Valid: l.why.Code == "", Void: l.why, Length: odo - l.odo, Exact: true,
			Sectors: t.sectorTimes(move.when), Potential: math.NaN(),
		}
		if n := len(p.lap.Sectors); n > 0 {
			t.sector.done(n, p.lap.Sectors[n-1])
		}
		t.trace.end(p.lap.Computed, t.lapEnd(move.when, rate, odo-l.odo))
		switch {
		case l.inexact != "":
			p.lap.Exact, p.lap.WhyInexact = false, l.inexact
		case move.inexact != "":
			p.lap.Exact, p.lap.WhyInexact = false, move.inexact
		case l.gap > 0:
			p.lap.Exact, p.lap.WhyInexact = false, fmt.Sprintf("no samples for %.1f s", l.gap)
		case p.lap.Length > 0 && p.lap.Length < wholePart*t.whole():
			p.lap.Exact, p.lap.WhyInexact = false, fmt.Sprintf("%.0f m of %.0f m were seen", p.lap.Length, t.whole())
			p.flags.moved = true
		}
		out = t.settle(at, row, out)
	}
	out = append(out, Event{Kind: LapBegun, At: move.when, Number: l.number + 1})
	valid := t.seldom[lapValid].value == 1
	l.reset(l.number+1, move.when, odo, l.bounds)
	l.inexact, l.feedValid = move.inexact, valid
	l.moved = move.inexact != ""
	t.trace.begin()
	return out
}

// whole is the length of a lap by the map or by the feed's own distance, where one of them gives it.
func (t *Timing) whole() float64 {
	if t.m != nil {
		return t.m.Length
	}
	return t.line.length
}

// settle completes the pending lap once its time is decided. The feed's own lap time decides as soon as it changes at
// the line, after it or shortly before. Without a feed's time, or when it does not change within feedWait, the computed
// time decides. A feed that shows the same time again is believed where it agrees to a hundredth.
func (t *Timing) settle(at float64, row channel.Row, out []Event) []Event {
	p := &t.pending
	switch {
	case !p.active:
		return out
	case t.feedNew > p.crossed-feedWait && t.feedNew > p.lap.Begun+feedWait:
		return t.complete(t.feedLast, at, out)
	case math.IsNaN(t.feedLast) && !t.line.late: // a late counter may bring the feed's first time with it
		return t.complete(math.NaN(), at, out)
	case at < p.deadline:
		return out
	case math.Abs(t.feedLast-p.lap.Computed) < 0.01:
		return t.complete(t.feedLast, at, out)
	}
	return t.complete(math.NaN(), at, out)
}

// complete completes the pending lap. feed is the feed's own time of the lap, or NaN.
func (t *Timing) complete(feed, at float64, out []Event) []Event {
	p := &t.pending
	lap := p.lap
	p.active = false
	lap.FeedTime, lap.Time = feed, lap.Computed
	// A time that is far from the crossings is that of another lap.
	tolerance := max(1, 0.02*lap.Computed)
	if p.blind {
		tolerance += p.flags.gap
	}
	if math.Abs(feed-lap.Computed) <= tolerance {
		lap.Time = feed
		if !lap.Exact {
			lap.Exact, lap.WhyInexact = true, ""
		}
	}
	switch {
	case p.flags.left:
		lap.Class = Out
	case p.in || p.flags.entered:
		lap.Class = In
	case p.flags.caution || p.flags.flagged && !p.flags.calm:
		lap.Class = Caution
	case p.flags.stopped || lap.Time > t.best*t.cfg.SlowFactor:
		lap.Class = Slow
	default:
		lap.Class = Flying
	}
	// A lap with a gap is not compared, whatever time the feed gives, and neither is an out-lap or in-lap.
	lap.Whole = p.flags.gap == 0 && !p.flags.moved && lap.Exact
	if t.delta = lap.Time - t.best; !lap.Whole || lap.Class == Out || lap.Class == In {
		t.delta = math.NaN()
	}
	counts := lap.Valid && lap.Whole && lap.Class == Flying
	if counts && !(lap.Time >= t.best) {
		lap.Best = !math.IsNaN(t.best)
		t.best = lap.Time
		t.trace.keepBest()
	}
	if counts {
		var trace *Trace
		if t.trace.lastOK {
			trace = t.trace.last
		}
		t.sector.learn(lap.Sectors)
		lap.Record = t.records.enter(&lap, t.compound, boundariesText(t.lap.bounds), trace)
		t.recordTime = t.records.best(t.compound)
	}
	lap.Potential = t.sector.potential
	if lap.Stint == t.stint.number {
		t.stint.laps++
	}
	t.done, t.doneAny = lap, true
	t.flagged.completed, t.flagged.best, t.flagged.record = true, lap.Best, lap.Record
	return append(out, Event{Kind: LapDone, At: p.crossed, Number: lap.Number, Lap: lap})
}

// validate checks whether the lap in progress is void.
func (t *Timing) validate(at, v, dt float64, row channel.Row, out []Event) []Event {
	l := &t.lap
	if v < moving && !t.stint.pits {
		l.standing += dt
		l.stopped = l.stopped || l.standing >= stopTime
	} else {
		l.standing = 0
	}
	if gone := row[channel.LapTime] - l.feedClock; gone > dt+gapLimit { // the log was cut, and its clock goes on
		l.gap = max(l.gap, gone-dt)
	}
	l.feedClock = row[channel.LapTime]
	switch f := t.seldom[flagShown].value; {
	case f == flagCaution:
		l.caution = true
	case f == flagYellow:
		l.flagged = true
	default:
		l.calm = true
	}
	if l.why.Code != "" {
		return out
	}
	switch valid := t.seldom[lapValid].value; {
	case t.seldom[onCourse].value == 0, t.offWidth(at, row):
		out = t.void(at, t.because(OffCourse, row), out)
	case valid >= 0.5:
		l.feedValid = true
	// Just behind the line the feed may still speak of the lap before.
	case valid < 0.5 && (l.feedValid || at-l.begun > graceValid || l.number == 0):
		out = t.void(at, t.because(FeedSays, row), out)
	}
	return out
}

// offWidth tells by position whether the car is off the course, where the feed does not say it. The learned line was
// driven and may lie at either edge of the road, so only a car farther from it than the whole width is certainly off.
// Two places in a row must show it.
func (t *Timing) offWidth(at float64, row channel.Row) bool {
	l := &t.lap
	switch {
	case t.cfg.Course == nil || !(t.cfg.Course.Width > 0) || row.Has(channel.OnCourse) || t.stint.pits ||
		!(math.Abs(t.aside) > t.cfg.Course.Width):
		l.beside = 0
	case t.seen == at:
		l.beside++
	}
	return l.beside >= 2
}

// lapEnd is the length of the lap in progress at the line, which is passed at when, in the measure of its places.
// driven is the odometer's, rate the speed (m/s).
func (t *Timing) lapEnd(when, rate, driven float64) float64 {
	switch {
	case !math.IsNaN(t.place) && t.byDistance():
		if math.IsNaN(rate) {
			return t.trace.d
		}
		return t.trace.d + rate*(when-t.lap.begun-t.trace.t) // back, where a late crossing is believed
	case t.m != nil && t.m.Placed:
		return t.m.Length
	}
	return driven
}

// byDistance is true where course_distance is the feed's own lap distance.
func (t *Timing) byDistance() bool { return t.line.distanceCounts() && !math.IsNaN(t.line.dist) }

// because makes the reason of a void lap, with the place of the car as far as it is known.
func (t *Timing) because(code string, row channel.Row) Void {
	v := Void{Code: code, Distance: t.place}
	if n := row[channel.CornerLast]; n > 0 {
		v.Corner = int(n)
	}
	return v
}

// void makes the lap in progress void, once.
func (t *Timing) void(at float64, why Void, out []Event) []Event {
	if t.lap.why.Code != "" {
		return out
	}
	t.lap.why = why
	if t.lap.number == 0 {
		return out // before the first line there is no lap
	}
	return append(out, Event{Kind: LapVoid, At: at, Number: t.lap.number,
		Lap: Lap{Number: t.lap.number, Stint: t.stint.number, Void: why}})
}
