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
	wrapWait    = 5.0   // s by which lap_distance may begin again before or after lap_number steps
	wrapWay     = 150.0 // m, likewise
	shortestWay = 100.0 // m: what begins again sooner was moved
)

// A movement is what one sample shows of the car's movement.
type movement struct {
	crossed bool
	when    float64 // s, interpolated, of the crossing
	inexact string  // why it is not exact

	jumped bool    // the car was moved by hand
	speed  float64 // m/s from position; NaN where unknown

	pit        int // 1 into the pit lane, -1 out of it, 0 nothing seen
	boundary   int // that was passed by its gate, -1: none
	boundaryAt float64

	doubt Doubt // where it has not been told before
}

// A gateWatch detects the passing of a gate.
type gateWatch struct {
	gate  course.Gate
	local bool    // gate is in the plane of the position
	fwd   float64 // direction of travel over it; 0: not known yet
}

func (w *gateWatch) ready(loc *course.Locator) bool {
	if !w.local {
		g, ok := loc.Gate(w.gate)
		if !ok {
			return false
		}
		w.gate, w.local, w.fwd = g, true, g.Forward()
	}
	return true
}

// pass returns how the way from p at time a to q at time b passes the gate: 1 forward, -1 backward, 0 not at all; and
// when, linear in the signed distance. A place on the gate belongs to the side ahead.
func (w *gateWatch) pass(p, q course.Point, a, b float64) (dir int, when float64) {
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

// line detects the passing of the start line and of the pit lane's gates.
type line struct {
	file *course.File
	loc  course.Locator
	main gateWatch
	pit  struct{ entry, exit, line *gateWatch }
	cuts []*gateWatch // of the sector boundaries, nil where they are distances

	found bool // the line is one that nobody told
	trail trail

	pos     course.Point
	posAt   float64
	havePos bool
	everPos bool
	speed   float64 // m/s from position

	dist, distAt float64 // lap_distance, NaN before the first
	leap         leap    // of lap_distance, not believed yet
	length       float64 // of the lap as lap_distance counts it, NaN where unknown
	rate         float64 // m/s, of lap_distance; NaN where unknown
	wrapped      float64 // s, when lap_distance passed the line last, as interpolated
	wrapSeen     float64 // s, of the sample that showed it; NaN once lap_number has stepped with it
	endless      bool    // lap_distance does not begin again at the line
	base         float64 // m of lap_distance at the line, where it is endless
	stepOdo      float64 // m, where lap_number stepped to what is not believed yet, and
	stepDist     float64 // m of lap_distance there
	counter      settled // lap_number
	counterAt    float64 // s, when it stepped to what is not believed yet, and
	counterSeen  float64 // s, of the sample that showed it
	late         bool    // lap_number has been seen to step a moment after lap_distance passed the line
	v            float64 // speed at the sample before
	told         [4]bool // which doubts have been told

	last    float64 // s, of the last crossing that counted
	odo     odometer
	undo    bool // the line was passed backwards
	undoOdo float64
}

func newLine(f *course.File) line {
	nan := math.NaN()
	l := line{file: f, loc: course.NewLocator(f), speed: nan, dist: nan, rate: nan, length: nan, wrapped: math.Inf(-1),
		wrapSeen: nan, counter: newSettled(), v: nan, last: math.Inf(-1)}
	if f == nil {
		return l
	}
	l.main.gate = f.Line.Gate
	if f.Length > 0 {
		l.length = f.Length
	}
	of := func(g *course.Gate) *gateWatch {
		if g == nil {
			return nil
		}
		return &gateWatch{gate: *g}
	}
	l.pit.entry, l.pit.exit, l.pit.line = of(f.Pit.Entry), of(f.Pit.Exit), of(f.Pit.Line)
	for _, b := range f.Sectors {
		l.cuts = append(l.cuts, of(b.Gate))
	}
	return l
}

// byGate is true where the line is a gate. Without a position in the feed a gate is no use; then the feed's own count
// decides.
func (l *line) byGate() bool {
	if l.found {
		return math.IsNaN(l.counter.value) && math.IsNaN(l.dist)
	}
	return l.file != nil && l.file.Line.Source == course.ByGate && l.everPos
}

// known is true where there is a line. Without one no lap ends, not even an out-lap.
func (l *line) known() bool { return !math.IsNaN(l.counter.value) || !math.IsNaN(l.dist) || l.byGate() }

// distanceCounts is true where lap_distance begins at the line that timing uses.
func (l *line) distanceCounts() bool { return !l.byGate() }

// step processes one sample.
func (l *line) step(at, dt float64, row channel.Row) movement {
	v := row[channel.Speed]
	m := movement{boundary: -1}
	dir, when := 0, 0.0
	byPlace := l.position(at, v, row, &m)
	byDistance, wrap := l.lapDistance(at, v, row, &m)
	if byDistance == 1 {
		l.endless, l.base = false, 0
	}
	byNumber, number := l.lapNumber(at, dt, v, row, &m)
	l.odo.step(at, dt, v, l.v, l.pos, l.havePos, l.posAt == at && l.speed > 0, m.jumped)
	m.speed = l.speed
	source := course.Auto
	if l.file != nil {
		source = l.file.Line.Source
	}
	switch {
	case l.byGate():
		dir, when = byPlace.dir, byPlace.when
	case source == course.ByLapDistance || math.IsNaN(l.counter.value):
		dir, when = byDistance, wrap
	default:
		dir, when = byNumber, number
		if byDistance == 1 {
			l.wrapped = wrap
		}
		switch {
		case byNumber == 1 && l.wrapSeen >= at-wrapWait:
			l.late = l.late || l.counterSeen > l.wrapSeen
			when = l.wrapped // finer than the counter
		case byDistance == 1 && l.late:
			dir, when = 1, wrap // the counter will step in a moment; the new lap begins here
		}
		if byNumber == 1 {
			l.wrapSeen = math.NaN()
		}
	}
	l.v = v
	if m.jumped {
		l.undo = false
		if byNumber != 1 {
			return m
		}
	}
	if l.counted(dir, when) {
		m.crossed, m.when = true, when
		switch {
		case m.jumped:
			m.inexact = "the car was moved at the line"
		case dt > gapLimit:
			m.inexact = fmt.Sprintf("no samples for %.1f s at the line", dt)
		}
	}
	return m
}

// place is the distance from the line by lap_distance, NaN where unknown.
func (l *line) place() float64 { return l.dist - l.base }

// counted tells whether a passing of the line is a crossing: forward, not the return from a passing backwards, and not
// just after the last crossing.
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

// A leap is a lap_distance that does not follow from the one before: the lap begins again, the car was moved, or the
// sample is wrong. The next sample decides.
type leap struct {
	open  bool
	d, at float64
	dir   int     // 1: over the line, if it is believed
	when  float64 // s
	gone  float64 // m that the car went until then
}

// The doubts that line tells, each once.
const (
	doubtNumber = iota
	doubtDistance
	doubtEndless
	doubtLine
)

func (l *line) doubt(m *movement, which int, id channel.ID, format string, args ...any) {
	if !l.told[which] {
		l.told[which], m.doubt = true, Doubt{id, fmt.Sprintf(format, args...)}
	}
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
		l.trail.reset()
		return passing{}
	}
	l.speed = d / dt
	if dt > longGap {
		l.trail.reset()
		return passing{} // the way between the two is unknown
	}
	out := passing{}
	if l.found {
		out.dir, out.when = l.main.pass(from, p, t0, at)
	} else if l.foundable() {
		if g, ok := l.trail.step(p); ok {
			l.lay(g)
			l.doubt(m, doubtLine, channel.LapNumber, "nobody tells the start line: "+
				"laps are counted from the longest straight; "+
				"for another line give a gate in a course file")
		}
	}
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

// reach is the greatest distance that a car can go in dt at speeds v and u (m/s, NaN where unknown).
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
		top = fastest // the speed in between is unknown
	}
	return 2*top*dt + jumpFree
}

// lapDistance detects a crossing by the feed's lap distance.
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
	if l.leap.open {
		return l.land(at, d, v, m)
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
		l.wrapSeen = at
		return 1, t0 + dt*d0/(d0-d)
	}
	span := l.length
	if math.IsNaN(span) {
		span = max(d0, d)
	}
	slack := 0.02 * span // the length in a file may differ from the feed's
	far := reach(dt, v, l.v)
	switch {
	case span < 2*jumpFree:
	case d0-d > span/2 && d <= far: // began again
		when, gone := wrapTime(at, dt, d, v, l.v, span-d0)
		if !math.IsNaN(l.length) && span-d0+d <= far+slack {
			l.wrapSeen = at
			return 1, when
		}
		l.open(d0, t0, leap{d: d, at: at, dir: 1, when: when, gone: gone})
	case d-d0 > span/2 && span-d+d0 <= far+slack: // back over the line
		return -1, at
	case math.Abs(d-d0) > far:
		l.open(d0, t0, leap{d: d, at: at})
	}
	return 0, 0
}

// open keeps a leap until the next sample.
func (l *line) open(d0, t0 float64, x leap) {
	x.open = true
	l.leap, l.dist, l.distAt = x, d0, t0
}

// land decides what a leap was, now that lap_distance has gone on to d.
func (l *line) land(at, d, v float64, m *movement) (dir int, when float64) {
	x := l.leap
	if d == x.d && at-x.at < stillAfter {
		return 0, 0 // held
	}
	if math.Abs(d-l.dist) <= reach(at-l.distAt, v, l.v) { // it was a wrong sample
		l.doubt(m, doubtDistance, channel.LapDistance, "the feed told %.0f m for a moment between %.0f and %.0f m: "+
			"not believed", x.d, l.dist, d)
		l.leap.open, l.dist, l.distAt = false, d, at
		return 0, 0
	}
	if math.Abs(d-x.d) > reach(at-x.at, v, l.v) { // d follows from neither
		l.leap.d, l.leap.at, l.leap.dir = d, at, 0
		return 0, 0
	}
	l.leap.open = false
	was := l.dist
	l.dist, l.distAt = d, at
	if x.dir == 0 || !math.IsNaN(l.length) || was < shortestWay {
		m.jumped = m.jumped || !l.byGate()
		return 0, 0
	}
	if x.gone > 0 {
		l.length = was + x.gone - x.d
	}
	l.wrapSeen = x.at
	return 1, x.when
}

// wrapTime returns when the line was passed, d metres before a sample at time at, which came dt after the one before,
// and how far the car went between the two. With speeds (v now, u before) it allows for the deceleration between the
// samples. Without them it divides dt in proportion to rest, the metres to the line at the sample before.
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

// lapNumber detects a crossing by a step of the feed's counter. Where lap_distance begins again, that is the line, and
// the step is believed with it, some samples earlier or later. Otherwise a step is believed once it is held. Its moment
// then comes from the feed's time into the lap, if that began between the two samples, or is the middle between them.
func (l *line) lapNumber(at, dt, v float64, row channel.Row, m *movement) (dir int, when float64) {
	n, c := row[channel.LapNumber], &l.counter
	if math.IsNaN(n) {
		return 0, 0
	}
	old := c.value
	step := n == old+1
	since := row[channel.LapTime]
	if n != old && n != c.next {
		l.counterAt, l.counterSeen, l.stepOdo, l.stepDist = at-dt/2, at, l.odo.total, l.dist
		if since >= 0 && since <= dt {
			l.counterAt = at - since
		}
		if v > 0 {
			l.stepDist -= v * (l.distAt - l.counterAt)
		}
	}
	hold := holdLong
	switch {
	case step && (math.IsNaN(l.dist) || l.endless):
		hold = holdTime
	case step && l.odo.total-l.stepOdo < wrapWay:
		hold = wrapWait
	}
	if step && l.wrapSeen >= at-wrapWait || math.IsNaN(l.dist) && since >= 0 && since <= dt && at-l.last > shortestLap {
		c.believe(n)
	} else if told := c.next; c.step(at, n, hold) {
		l.doubt(m, doubtNumber, channel.LapNumber, "the feed told %g for a moment, then %g again: not believed", told,
			n)
	}
	switch {
	case c.value == old || math.IsNaN(old):
		return 0, 0
	case !step:
		m.jumped = m.jumped || !l.byGate()
		return 0, 0
	}
	if rest := l.length - l.stepDist; math.IsNaN(l.wrapSeen) && !math.IsNaN(l.dist) && !(rest > wrapWay) {
		if l.base = l.stepDist; !l.endless {
			l.endless = true
			l.doubt(m, doubtEndless, channel.LapDistance, "it does not begin again where lap_number steps: the "+
				"place is counted from there")
		}
	}
	return 1, l.counterAt
}
