package timing

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

const (
	fastest     = 120.0 // m/s, where the feed has no speed
	jumpFree    = 10.0  // m by which a position may be wrong without being a jump
	stillAfter  = 1.5   // s after which a position that does not change is that of a standing car
	shortestLap = 5.0   // s between two crossings
	undone      = 500.0 // m after which a crossing backwards is forgotten
	dirSpeed    = 3.0   // m/s: a gate learns its direction from a car that is at least as fast
)

// A movement is what one sample tells of the car's way.
type movement struct {
	crossed bool
	when    float64 // s, interpolated, of the crossing
	inexact string  // why it is not exact

	jumped bool    // the car was moved by hand
	speed  float64 // m/s from position; NaN where unknown

	pit        int // 1 into the pit lane, -1 out of it, 0 nothing seen
	boundary   int // that was passed by its gate, -1: none
	boundaryAt float64
}

// A watch sees a gate being passed.
type watch struct {
	gate  course.Gate
	local bool    // gate is in the plane of the position
	fwd   float64 // direction of travel over it; 0: not known yet
}

func (w *watch) ready(loc *course.Locator) bool {
	if !w.local {
		g, ok := loc.Gate(w.gate)
		if !ok {
			return false
		}
		w.gate, w.local, w.fwd = g, true, g.Forward()
	}
	return true
}

// pass tells whether the way from p at time a to q at time b passes the gate: 1 forward, -1 backward, 0 not; and
// when, linearly in the signed distance. A place on the gate belongs to the side ahead.
func (w *watch) pass(p, q course.Point, a, b float64) (dir int, when float64) {
	s0, s1 := w.gate.Side(p), w.gate.Side(q)
	if w.fwd == 0 {
		fast := math.Hypot(q.X-p.X, q.Y-p.Y) >= dirSpeed*(b-a)
		if !fast || s0 == 0 || s0*s1 > 0 || !w.gate.Between(p, q) {
			return 0, 0
		}
		w.fwd = -math.Copysign(1, s0)
	}
	s0, s1 = s0*w.fwd, s1*w.fwd
	if (s0 < 0) == (s1 < 0) || !w.gate.Between(p, q) {
		return 0, 0
	}
	dir = 1
	if s0 >= 0 {
		dir = -1
	}
	return dir, a + (b-a)*s0/(s0-s1)
}

// line sees the start line and the pit lane's gates being passed.
type line struct {
	file *course.File
	loc  course.Locator
	main watch
	pit  struct{ entry, exit, line *watch }
	cuts []*watch // of the sector boundaries, nil where they are distances

	pos     course.Point
	posAt   float64
	havePos bool
	everPos bool
	speed   float64 // m/s from position

	dist, distAt float64 // lap_distance, NaN before the first
	length       float64 // of the lap as lap_distance counts it, NaN where unknown
	rate         float64 // m/s, of lap_distance; NaN where unknown
	wrapped      float64 // s, when lap_distance passed the line last
	number       float64 // lap_number, NaN before the first
	late         bool    // lap_number has been seen to step a moment after lap_distance passed the line
	v            float64 // speed at the sample before

	last    float64 // s, of the last crossing that counted
	odo     odometer
	undo    bool // the line was passed backwards
	undoOdo float64
}

func newLine(f *course.File) line {
	nan := math.NaN()
	l := line{file: f, loc: course.NewLocator(f), speed: nan, dist: nan, rate: nan, length: nan, wrapped: math.Inf(-1), number: nan, v: nan, last: math.Inf(-1)}
	if f == nil {
		return l
	}
	l.main.gate = f.Line.Gate
	if f.Length > 0 {
		l.length = f.Length
	}
	of := func(g *course.Gate) *watch {
		if g == nil {
			return nil
		}
		return &watch{gate: *g}
	}
	l.pit.entry, l.pit.exit, l.pit.line = of(f.Pit.Entry), of(f.Pit.Exit), of(f.Pit.Line)
	for _, b := range f.Sectors {
		l.cuts = append(l.cuts, of(b.Gate))
	}
	return l
}

// byGate tells whether the line is a gate. A course file's gate is no use where the feed has no
// position; then the feed's own counting is taken.
func (l *line) byGate() bool {
	return l.file != nil && l.file.Line.Source == course.ByGate && l.everPos
}

// known tells whether there is a line at all: without one no lap ends, an out-lap neither.
func (l *line) known() bool { return !math.IsNaN(l.number) || !math.IsNaN(l.dist) || l.byGate() }

// distanceCounts tells whether lap_distance begins at the line that timing goes by.
func (l *line) distanceCounts() bool { return !l.byGate() }

// step takes one sample in.
func (l *line) step(at, dt float64, row channel.Row) movement {
	v := row[channel.Speed]
	m := movement{boundary: -1}
	dir, when := 0, 0.0
	byPlace := l.position(at, v, row, &m)
	byNumber, number := l.lapNumber(at, dt, row, &m) // before lap_distance: it looks at the same step of it
	byDistance, wrap := l.lapDistance(at, v, row, &m)
	l.odo.step(at, dt, v, l.v, l.pos, l.havePos, l.posAt == at && l.speed > 0, m.jumped)
	m.speed = l.speed
	source := course.Auto
	if l.file != nil {
		source = l.file.Line.Source
	}
	switch {
	case l.byGate():
		dir, when = byPlace.dir, byPlace.when
	case source == course.ByLapDistance || math.IsNaN(l.number):
		dir, when = byDistance, wrap
	default:
		dir, when = byNumber, number
		if byDistance == 1 {
			l.wrapped = wrap
		}
		switch {
		case byNumber == 1 && at-l.wrapped < 1:
			l.late = l.late || byDistance != 1
			when = l.wrapped // finer than the counter
		case byDistance == 1 && l.late:
			dir, when = 1, wrap // the counter will step in a moment; what comes between is of the new lap already
		}
	}
	l.v = v
	if m.jumped {
		l.undo = false
		return m
	}
	if l.counted(dir, when) {
		m.crossed, m.when = true, when
		if dt > gapLimit {
			m.inexact = fmt.Sprintf("no samples for %.1f s at the line", dt)
		}
	}
	return m
}

// counted tells whether a passing of the line is a crossing: forward, not one that only makes a
// passing backwards undone, and not just after the last.
func (l *line) counted(dir int, when float64) bool {
	switch {
	case dir < 0:
		l.undo, l.undoOdo = l.last > math.Inf(-1), l.odo.total
		return false
	case dir == 0:
		return false
	case l.undo && l.odo.total-l.undoOdo < undone:
		l.undo = false
		return false
	case when-l.last < shortestLap:
		return false
	}
	l.undo, l.last = false, when
	return true
}

type passing struct {
	dir  int
	when float64
}

// position follows the car in the plane and over the gates.
func (l *line) position(at, v float64, row channel.Row, m *movement) passing {
	p, ok := l.loc.Find(row)
	if !ok {
		l.havePos, l.speed = false, math.NaN()
		return passing{}
	}
	l.everPos = true
	from, t0 := l.pos, l.posAt
	if !l.havePos {
		l.havePos, l.pos, l.posAt = true, p, at
		return passing{}
	}
	if p == from { // held, or standing
		if v < 0.5 || at-t0 > stillAfter {
			l.posAt, l.speed = at, 0
		}
		return passing{}
	}
	l.pos, l.posAt = p, at
	d, dt := math.Hypot(p.X-from.X, p.Y-from.Y), at-t0
	if d > reach(dt, v, l.v) {
		m.jumped = true
		return passing{}
	}
	l.speed = d / dt
	if dt > longGap {
		return passing{} // the straight way between the two is a guess
	}
	out := passing{}
	if l.file == nil {
		return out
	}
	if w := &l.main; l.file.Line.Source == course.ByGate && w.ready(&l.loc) {
		out.dir, out.when = w.pass(from, p, t0, at)
	}
	if w := l.pit.line; w != nil && out.dir == 0 && w.ready(&l.loc) {
		out.dir, out.when = w.pass(from, p, t0, at)
	}
	if w := l.pit.entry; w != nil && w.ready(&l.loc) {
		if dir, _ := w.pass(from, p, t0, at); dir > 0 {
			m.pit = 1
		}
	}
	if w := l.pit.exit; w != nil && w.ready(&l.loc) {
		if dir, _ := w.pass(from, p, t0, at); dir > 0 {
			m.pit = -1
		}
	}
	for i, w := range l.cuts {
		if w != nil && w.ready(&l.loc) {
			if dir, when := w.pass(from, p, t0, at); dir > 0 {
				m.boundary, m.boundaryAt = i, when
			}
		}
	}
	return out
}

// reach is the farthest that a car can come in dt at speeds v and u (m/s, NaN where unknown).
func reach(dt, v, u float64) float64 {
	top := max(v, u)
	switch {
	case math.IsNaN(v) && math.IsNaN(u):
		top = fastest
	case math.IsNaN(v):
		top = u
	case math.IsNaN(u):
		top = v
	}
	if dt > gapLimit {
		top = fastest // who knows what it did in between
	}
	return 2*top*dt + jumpFree
}

// lapDistance looks for the feed's lap distance passing the line.
func (l *line) lapDistance(at, v float64, row channel.Row, m *movement) (dir int, when float64) {
	d := row[channel.LapDistance]
	switch {
	case math.IsNaN(d):
		l.dist = d
		return 0, 0
	case d == l.dist:
		if v < 0.5 || at-l.distAt > stillAfter {
			l.distAt = at
		}
		return 0, 0
	}
	d0, t0 := l.dist, l.distAt
	l.dist, l.distAt = d, at
	if math.IsNaN(d0) {
		return 0, 0
	}
	dt := at - t0
	if math.IsNaN(v) {
		v = l.rate
	}
	if d > d0 {
		l.rate = (d - d0) / dt
	}
	if d0 < 0 && d >= 0 && d-d0 <= reach(dt, v, l.v) {
		return 1, t0 + dt*d0/(d0-d)
	}
	span := l.length
	if math.IsNaN(span) {
		span = max(d0, d)
	}
	slack := 0.02 * span // a length from a file need not be the feed's
	far := reach(dt, v, l.v)
	switch {
	case span < 2*jumpFree:
	case d0-d > span/2: // wrapped forward
		when, gone := wrapTime(at, dt, d, v, l.v, span-d0)
		if d > far || !math.IsNaN(l.length) && span-d0+d > far+slack {
			m.jumped = m.jumped || !l.byGate()
			return 0, 0
		}
		if math.IsNaN(l.length) && gone > 0 {
			l.length = d0 + gone - d
		}
		return 1, when
	case d-d0 > span/2 && span-d+d0 <= far+slack: // wrapped backward
		return -1, at
	case math.Abs(d-d0) > far && !l.byGate():
		m.jumped = true
	}
	return 0, 0
}

// wrapTime returns when the line was passed, d metres before a sample at time at, dt after the
// one before it, and how far the car went between the two. With speeds (v now, u before)
// the deceleration between the samples is allowed for; else rest, what was left to the line at the
// sample before, gives the proportion.
func wrapTime(at, dt, d, v, u, rest float64) (when, gone float64) {
	switch {
	case v > 1:
		if math.IsNaN(u) {
			u = v
		}
		tau := d / v
		for range 2 {
			tau = d / (v - (v-u)/dt*tau/2)
		}
		return at - min(max(tau, 0), dt), (v + u) / 2 * dt
	case rest+d > 0:
		return at - dt*d/(rest+d), 0
	}
	return at, 0
}

// lapNumber looks for the feed's counter to step. When it was: the feed's time into the lap where that began
// between the last two samples, else the middle between them.
func (l *line) lapNumber(at, dt float64, row channel.Row, m *movement) (dir int, when float64) {
	n := row[channel.LapNumber]
	if math.IsNaN(n) || n == l.number {
		return 0, 0
	}
	old := l.number
	l.number = n
	if math.IsNaN(old) {
		return 0, 0
	}
	if n != old+1 {
		m.jumped = m.jumped || !l.byGate()
		return 0, 0
	}
	when = at - dt/2
	if since := row[channel.LapTime]; since >= 0 && since <= dt {
		when = at - since
	}
	return 1, when
}
