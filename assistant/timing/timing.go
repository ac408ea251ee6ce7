package timing

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

const (
	slowFactor = 1.07 // of the best lap: the 107 % rule of qualifying; common practice
	gapLimit   = 2.0  // s: samples further apart leave a gap
	wholePart  = 0.93 // of a lap's length: with less, part of the lap was not seen; a cut corner saves less
	longGap    = 5.0  // s: over such a gap no crossing is seen by position
	feedWait   = 1.0  // s that the feed may take to tell its own lap time
	graceValid = 1.25 // s after the line in which the feed's lap_valid may still be that of the lap before
	moving     = 1.0  // m/s: slower is standing
	stopTime   = 2.0  // s of standing that make a lap slow
	asideLimit = 40.0 // m from the centre line: farther away the map is not believed

	flagYellow  = 2 // values of channel.Flag
	flagCaution = 3
)

// A Config is what a Timing is made from. The zero Config works.
type Config struct {
	Course     *course.File // line, sectors and pit lane; nil: what the feed says
	SlowFactor float64      // a lap longer than this times the best is slow; 0: 1.07
	Bests      *Bests       // of earlier sessions with this course and car; nil: none are kept. It is not changed
	Compounds  []string     // names of the values of channel.Compound
}

// Timing keeps laps and stints.
type Timing struct {
	cfg  Config
	line line
	m    *course.Map

	begun bool    // a sample has been seen
	at    float64 // of the sample before
	v     float64 // m/s, at the sample before
	place float64 // course_distance; NaN where unknown
	seen  float64 // s, when place was new

	lap      lapState
	pending  pending
	best     float64 // s, NaN before the first
	delta    float64 // of the lap completed last
	done     Lap     // the lap completed last
	doneAny  bool
	feedLast float64 // last_lap_time as the feed shows it
	feedNew  float64 // s, when that changed

	seldom  [len(seldom)]settled // the channels of that table
	doubted [len(seldom)]bool    // a doubt about it has been told

	stint   stintState
	flagged struct{ completed, best, stint, record bool } // in this sample

	aside      float64 // m beside the map's line, left positive; NaN where unknown
	trace      tracer
	reference  *Trace // of another session, nil where there is none
	sector     sectorState
	records    records
	compound   string
	recordTime float64
}

// New returns a Timing before the first sample.
func New(cfg Config) *Timing {
	if cfg.SlowFactor <= 1 {
		cfg.SlowFactor = slowFactor
	}
	nan := math.NaN()
	t := &Timing{cfg: cfg, line: newLine(cfg.Course), place: nan, best: nan, delta: nan, feedLast: nan,
		feedNew: math.Inf(-1)}
	t.lap.reset(0, nan, 0, t.boundaries())
	t.aside, t.recordTime, t.trace, t.records = nan, nan, newTracer(), newRecords(cfg.Bests)
	t.sector.reset()
	t.stint.stood = nan
	for i := range t.seldom {
		t.seldom[i] = newSettled()
	}
	t.useCompound(nan)
	t.compare(cfg.Bests)
	return t
}

// compare chooses the lap of another session to compare with: the one that the driver has chosen, else the quickest.
func (t *Timing) compare(b *Bests) {
	if b == nil {
		return
	}
	if t.cfg.Bests != nil && t.cfg.Bests.Reference != nil {
		t.reference = t.cfg.Bests.Reference
		return
	}
	t.reference = b.Quickest()
}

// UseBests makes b the bests of earlier sessions from now on, since the course has been recognised. The laps of this
// session count already. b is not changed.
func (t *Timing) UseBests(b *Bests) {
	so := t.records
	t.records = newRecords(b)
	t.records.session, t.records.started = so.session, so.started
	if so.all != nil && so.all.Course == "" {
		t.records.changed = t.records.all.improve(so.all)
	}
	t.recordTime = t.records.best(t.compound)
	t.compare(b)
}

// useCompound switches to the records on a compound, a value of channel.Compound.
func (t *Timing) useCompound(v float64) {
	name := "unknown"
	if v > 0 && int(v) < len(t.cfg.Compounds) {
		name = t.cfg.Compounds[int(v)]
	}
	if name != t.compound {
		t.compound, t.recordTime = name, t.records.best(name)
	}
}

// Session names the session that new best laps belong to, and when it began (RFC 3339).
func (t *Timing) Session(id, started string) { t.records.session, t.records.started = id, started }

// FreshBests returns a copy of the bests of all sessions where a lap has changed them since the last call, else nil.
func (t *Timing) FreshBests() *Bests {
	if !t.records.changed {
		return nil
	}
	t.records.changed = false
	return t.records.all.copyOf()
}

// LastTrace returns a copy of the lap completed last by distance, or nil where it was not seen whole.
func (t *Timing) LastTrace() *Trace {
	if !t.trace.lastOK {
		return nil
	}
	return t.trace.last.copyOf()
}

func (t *Timing) boundaries() []course.Boundary {
	if t.cfg.Course == nil {
		return nil
	}
	return t.cfg.Course.Sectors
}

// UseMap makes course_distance the place along the map's centre line where the feed has a
// position and no lap distance of its own that begins at the same line.
func (t *Timing) UseMap(m *course.Map) {
	t.m = m
	t.line.useMap(m)
}

// Step processes one sample, writes its channels into row and appends the events to out. at (s) never falls; a sample
// that is not later than the one before is skipped. A row whose feed_silence is positive is a Tick and no sample.
func (t *Timing) Step(at float64, row channel.Row, out []Event) []Event {
	if row[channel.FeedSilence] > 0 {
		return t.Tick(at, row, out)
	}
	t.unflag()
	dt := at - t.at
	if t.begun && dt <= 0 {
		t.write(t.at, row)
		return out
	}
	if !t.begun {
		t.begun, t.at, dt = true, at, 0
	}
	t.feedTime(at, row)
	t.useCompound(row[channel.Compound])
	out = t.settleFlags(at, row, out)
	was := t.stint.pits
	move := t.line.step(at, dt, row)
	v := row[channel.Speed]
	if math.IsNaN(v) {
		v = move.speed
	}
	out = t.pits(at, v, row, move, out)
	if dt > gapLimit {
		t.lap.gap = max(t.lap.gap, dt)
	}
	if move.jumped {
		t.trace.whole, t.lap.moved = false, true
		out = t.void(at, t.because(Moved, row), out)
	}
	if move.crossed {
		// For the lap a pit lane counts even before it is believed.
		out = t.cross(at, move, was || t.stint.pits || t.seldom[pitLane].next >= 0.5, row, out)
	}
	t.locate(at, row)
	if move.doubt.Why != "" {
		out = append(out, Event{Kind: Doubted, At: at, Doubt: move.doubt})
	}
	if t.lap.number > 0 && t.seen == at {
		t.trace.add(t.place, at-t.lap.begun)
	}
	t.sectors(at, dt, move, row)
	out = t.validate(at, v, dt, row, out)
	out = t.settle(at, row, out)
	t.write(at, row)
	t.at, t.v = at, v
	return out
}

// settleFlags updates the channels that must be held before they are believed.
func (t *Timing) settleFlags(at float64, row channel.Row, out []Event) []Event {
	for i, id := range seldom {
		s := &t.seldom[i]
		if row[id] == s.value && s.count == 0 || math.IsNaN(row[id]) && math.IsNaN(s.value) { // nearly always
			continue
		}
		hold := holdTime
		if id == channel.InPitLane && row[channel.Speed] > pitFast {
			hold = holdLong
		}
		if told := s.next; s.step(at, row[id], hold) && !t.doubted[i] {
			t.doubted[i] = true
			out = append(out, Event{Kind: Doubted, At: at, Doubt: Doubt{id, fmt.Sprintf("the feed told %g for a "+
				"moment, then %g again: not believed", told, row[id])}})
		}
	}
	return out
}

// Tick notes that time has passed without a sample.
func (t *Timing) Tick(at float64, row channel.Row, out []Event) []Event {
	t.unflag()
	out = t.settle(at, row, out)
	t.write(max(at, t.at), row)
	return out
}

func (t *Timing) unflag() {
	t.flagged.completed, t.flagged.best, t.flagged.stint, t.flagged.record = false, false, false, false
	t.sector.completed = false
}

// locate works out course_distance.
func (t *Timing) locate(at float64, row channel.Row) {
	old := t.place
	switch {
	case t.byDistance():
		t.place = t.line.place()
		if t.place < 0 {
			t.place = math.NaN() // on the way to the line for the first time
		}
		if t.place == old {
			return
		}
	default:
		t.place = math.NaN()
		if t.lap.number > 0 {
			t.place = max(t.line.odo.total-t.lap.odo, 0)
		}
		if t.m != nil {
			t.place = t.onMap(row)
		}
	}
	t.seen = at
}

// onMap is course_distance by the map; driven is what the odometer says.
func (t *Timing) onMap(row channel.Row) float64 {
	driven := t.place
	t.aside = math.NaN()
	d, aside, ok := t.m.Place(row, driven)
	if ok && math.Abs(aside) > asideLimit {
		d, aside, ok = t.m.Place(row, math.NaN()) // the odometer and the map disagree: look everywhere
	}
	if !ok || math.Abs(aside) > asideLimit {
		return math.Min(driven, math.Nextafter(t.m.Length, 0))
	}
	t.aside = aside
	// Around the line the lap count decides on which side of it the car is.
	switch beyond := t.m.Length / 2; {
	case driven < beyond/2 && d > beyond+beyond/2:
		return 0
	case driven > beyond+beyond/2 && d < beyond/2:
		return math.Nextafter(t.m.Length, 0)
	}
	return d
}

// write writes the computed channels into the row.
func (t *Timing) write(at float64, row channel.Row) {
	nan := math.NaN()
	row[channel.Lap] = float64(t.lap.number)
	row[channel.LapElapsed] = nan
	if t.lap.number > 0 {
		row[channel.LapElapsed] = at - t.lap.begun
	}
	row[channel.LapCompleted] = flag(t.flagged.completed)
	row[channel.PersonalBest] = flag(t.flagged.best)
	row[channel.StintStarted] = flag(t.flagged.stint)
	row[channel.LapVoid] = flag(t.lap.why.Code != "")
	row[channel.LapTimeDone], row[channel.LapFlying] = nan, nan
	if t.doneAny {
		row[channel.LapTimeDone] = t.done.Time
		row[channel.LapFlying] = flag(t.done.Valid && t.done.Exact && t.done.Class == Flying)
	}
	row[channel.BestLap], row[channel.LapDelta] = t.best, t.delta
	row[channel.Stint] = float64(t.stint.number)
	row[channel.StintLaps] = float64(t.stint.laps)
	row[channel.InPits] = flag(t.stint.pits)
	row[channel.OnOutLap] = flag(!t.stint.pits && t.line.known() && (t.lap.left || t.lap.number == 0))
	row[channel.CoursePlace] = t.place
	row[channel.SectorCompleted], row[channel.LastSector] = flag(t.sector.completed), nan
	if t.sector.last > 0 {
		row[channel.LastSector] = float64(t.sector.last)
	}
	row[channel.SectorTime], row[channel.SectorDelta], row[channel.PotentialLap] = t.sector.time, t.sector.delta,
		t.sector.potential
	row[channel.RecordLap], row[channel.PersonalRecord] = t.recordTime, flag(t.flagged.record)
	t.deltas(row)
}

// deltas compares with other laps at the last known place. A lap that was not seen from the line, or that has a gap,
// has no delta.
func (t *Timing) deltas(row channel.Row) {
	best, last, ref := math.NaN(), math.NaN(), math.NaN()
	if t.trace.whole && t.lap.number > 0 && !t.stint.pits {
		d, elapsed, length := t.trace.d, t.trace.t, t.length()
		if t.trace.bestOK {
			best = delta(t.trace.best, elapsed, d, length)
		}
		if t.trace.lastOK {
			last = delta(t.trace.last, elapsed, d, length)
		}
		ref = delta(t.reference, elapsed, d, length)
	}
	row[channel.DeltaBest], row[channel.DeltaLast], row[channel.DeltaReference] = best, last, ref
}

// length is the expected length of the lap in progress, in the measure of its places; NaN where not known.
func (t *Timing) length() float64 {
	switch {
	case t.m != nil && t.m.Placed && !t.byDistance():
		return t.m.Length
	case t.trace.lastOK:
		return t.trace.last.Length
	}
	return t.line.length
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
