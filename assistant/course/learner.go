package course

import (
	"math"

	"earshot/assistant/channel"
)

const (
	brakeOn     = 0.05  // pedal travel beyond which the car counts as braking; common practice, no source
	slowing     = 3.0   // m/s²: counts as braking where the feed has no pedal; common practice, no source
	spacing     = 1.0   // m between the points that are kept of a lap
	mapStep     = 2.0   // m, wished, between the points of a map
	maxPoints   = 40000 // of a lap: longer than 40 km is not learned
	shortest    = 200.0 // m: a shorter lap is not learned
	farApart    = 100.0 // m: a lap with a wider hole in it is not learned
	silence     = 2.0   // s without a sample that spoil a lap
	patience    = 2     // void laps in a row after which a void lap is good enough for a map that rests on one
	turnInPart  = 0.3   // of the greatest curvature driven in a corner: from there on the car turns in
	standing    = 0.5   // m/s: slower is standing
	stop        = 1.0   // s of standing that make a lap a poor one
	telling     = 2     // laps of no use in a row after which the driver is told why
	fullCaution = 3     // value of channel.Flag
	spinning    = 2.5   // rad/s: faster is a spin, and so is
	impossible  = 60.0  // m/s² of yaw rate times speed: no tyre turns a car so; common practice, no source
)

// A point is what is kept of a lap at one place.
type point struct {
	d, x, y, k, v float64 // k is yaw rate over speed, NaN where unknown
	braking       bool

	z      float64 // NaN where unknown
	driven float64 // m since the line by speed, whatever d goes by
	clock  float64 // s since the line without those of standing
}

// A Learner makes the Map from the first lap driven from line to line. Every later lap betters it: braking and turn-in
// points, the centre line and the corners on it. A lap with a gap, one that does not close and one through the pits
// make no map. A lap that was void, or in which the car stood or spun, does: a poor map gives room to talk sooner than
// none, and the first clean lap replaces it. The memory is bounded.
type Learner struct {
	file  *File
	loc   Locator
	m     *Map
	known []memory // per corner

	lap    float64
	at     float64
	points []point
	pedal  bool   // the lap has a brake pedal
	placed bool   // every point has a position
	spoilt string // why the lap is no use: a hole, a jump, a visit to the pits; empty where it is
	failed int    // laps in a row that were of no use while there is no map, those through the pits apart
	void   bool
	voids  int
	last   struct{ d, v, x, y float64 }

	line     centre
	rough    *Map    // is l.m while that rests on a poor lap
	change   change  // on its way to the one who asks
	untold   string  // why there is no map, waits to be told
	driven   float64 // m since the line by speed
	caution  bool    // a full-course caution was shown in the lap
	slowLaps int     // in a row
	stood    float64 // s
	clock    float64 // s since the line without those of standing
	spun     bool
	fell     bool // course_distance fell back within the lap
	torn     bool // two fixes are farther apart than the way between them
	byMap    int  // points whose d is the place on the rough map
}

// NewLearner returns a Learner. f names and corrects the corners; it may be nil.
func NewLearner(f *File) *Learner {
	return &Learner{file: f, loc: NewLocator(f), lap: math.NaN(), points: make([]point, 0, 8192)}
}

// Why a lap through the pits is no use. It is no trouble to tell.
const pitted = "through the pits"

// spoil notes the first reason for which the lap is no use.
func (l *Learner) spoil(why string) {
	if l.spoilt == "" {
		l.spoilt = why
	}
}

// Trouble returns once why the course is not known after whole laps; else it is empty.
func (l *Learner) Trouble() string {
	why := l.untold
	l.untold = ""
	return why
}

// Map returns the map so far, or nil.
func (l *Learner) Map() *Map { return l.m }

// Step processes one sample: lap and course_distance as package timing wrote them; position, else speed and yaw rate;
// the brake pedal, else the fall of speed. It returns a new Map where there is one, else nil.
func (l *Learner) Step(at float64, row channel.Row) *Map {
	lap, d, v := row[channel.Lap], row[channel.CoursePlace], row[channel.Speed]
	p, placed := l.loc.Find(row)
	gone := math.Hypot(p.X-l.last.x, p.Y-l.last.y)
	if !math.IsNaN(v + l.last.v) {
		gone = (v + l.last.v) / 2 * (at - l.at)
	}
	if lap != l.lap && !math.IsNaN(lap) {
		if lap == l.lap+1 && l.lap >= 1 {
			l.finish(l.last.d+gone-d, l.driven+gone-d)
			l.failed++
			if l.m != nil || l.spoilt == pitted {
				l.failed = 0
			}
			if l.failed == telling {
				l.untold = l.spoilt
			}
		}
		l.lap, l.points, l.pedal, l.placed, l.spoilt, l.void = lap, l.points[:0], false, true, "", false
		l.driven, l.stood, l.clock, l.spun, l.fell, l.torn, l.caution, l.byMap = 0, 0, 0, false, false, false, false, 0
		if d > 0 {
			l.driven = d
		}
	} else {
		l.driven += gone
	}
	switch {
	case row[channel.InPits] == 1:
		l.spoilt = pitted
	case at-l.at > silence && len(l.points) > 0:
		l.spoil("the feed was silent for more than two seconds")
	}
	l.void = l.void || row[channel.LapVoid] == 1
	l.caution = l.caution || row[channel.Flag] == fullCaution
	fresh := l.change.due(l.m, l.last.d)
	if !(lap >= 1) || math.IsNaN(d) {
		l.at = at
		return fresh
	}
	l.noteFaults(at-l.at, d, v, row[channel.YawRate])
	l.keep(d, v, p, placed, row)
	l.at = at
	l.last.d, l.last.v, l.last.x, l.last.y = d, v, p.X, p.Y
	return fresh
}

// noteFaults notes what makes a lap poor. A start from the grid does not.
func (l *Learner) noteFaults(dt, d, v, yaw float64) {
	if !(v < standing) {
		l.clock += dt
	} else if d > farApart {
		l.stood += dt
	}
	if yaw = math.Abs(yaw); v > 5 && yaw > spinning || yaw*v > impossible {
		l.spun = true
	}
}

// poor is true for a lap that is whole but no measure for others.
func (l *Learner) poor() bool { return l.void || l.spun || l.stood > stop }

func (l *Learner) keep(d, v float64, p Point, placed bool, row channel.Row) {
	if n := len(l.points); n > 0 {
		q := &l.points[n-1]
		l.fell = l.fell || q.d-d > farApart
		if d-q.d < spacing || placed && l.placed && p.X == q.x && p.Y == q.y {
			return
		}
		switch {
		case d-q.d > farApart:
			l.spoil("the distance along the lap jumped by more than 100 m")
		case n == maxPoints:
			l.spoil("a lap is longer than 40 km")
		case l.fell:
			l.spoil("the distance along the lap fell back before the lap ended")
		}
		if l.spoilt != "" {
			return
		}
		l.torn = l.torn || placed && l.placed && apart(p.X-q.x, p.Y-q.y, d-q.d)
	}
	q := point{d: d, x: p.X, y: p.Y, k: math.NaN(), v: v, z: row[channel.PositionZ], driven: l.driven, clock: l.clock}
	if placed && l.m != nil && l.rough == l.m {
		if on, _, ok := l.m.Place(row, d); ok && math.Abs(on-d) < 1e-6 {
			l.byMap++
		}
	}
	if v > 3 && row.Has(channel.YawRate) {
		q.k = row[channel.YawRate] / v
	}
	if row.Has(channel.Brake) {
		l.pedal = true
		q.braking = row[channel.Brake] > brakeOn
	}
	l.placed = l.placed && placed
	l.points = append(l.points, q)
}

// finish closes a lap of that length in metres, by course_distance and by speed.
func (l *Learner) finish(length, driven float64) {
	for n := len(l.points); n > 0 && l.points[n-1].d >= length; n-- { // points beyond the line
		l.points = l.points[:n-1]
	}
	switch n := len(l.points); {
	case l.spoilt != "":
	case n == 0:
		l.spoilt = "the feed has neither a distance along the lap, nor a position or a speed to work it out"
	case n < 20 || length < shortest:
		l.spoilt = "a lap has too few samples, or is shorter than 200 m"
	case l.points[0].d > farApart || length-l.points[n-1].d > farApart:
		l.spoilt = "the distance along the lap does not begin where the lap does"
	}
	if l.spoilt != "" {
		return
	}
	if l.void {
		l.voids++
	} else {
		l.voids = 0
	}
	poor, rough := l.poor(), l.m != nil && l.rough == l.m
	switch {
	case l.m == nil:
		if !l.build(length) {
			return
		}
		rough = poor
	case rough && !poor:
		if l.byMap > len(l.points)/5 { // what the poor lap got wrong must not come back by its distances
			for i := range l.points {
				l.points[i].d = l.points[i].driven
			}
			length = driven
		}
		if !l.build(length) {
			return
		}
		rough = false
	case l.void && !(rough && l.voids > patience), l.caution && !rough:
		return
	case !poor:
		l.refine()
	}
	lined := l.line.of == l.m
	l.observe()
	l.change.made = l.m
	if l.rough = nil; lined {
		l.line.of = l.m // the same line
	}
	if rough {
		l.rough = l.m
	}
}

// apart tells whether two places are too far apart for the way (m) that was driven between them.
func apart(dx, dy, way float64) bool { return math.Hypot(dx, dy) > 1.5*way+20 }

// build makes the map from the points of the lap.
func (l *Learner) build(length float64) bool {
	if end := l.points[len(l.points)-1].d; !(length > end && length-end <= farApart) {
		return false
	}
	n := max(int(math.Round(length/mapStep)), 8)
	m := &Map{Length: length, Step: length / float64(n)}
	if l.m != nil {
		m.first = l.m.First()
	}
	if l.file != nil {
		m.Name = l.file.Name
	}
	d, a, b := make([]float64, len(l.points)), make([]float64, len(l.points)), make([]float64, len(l.points))
	for i, p := range l.points {
		d[i], a[i], b[i] = p.d, p.x, p.y
	}
	first, last := l.points[0], l.points[len(l.points)-1]
	switch {
	case l.placed && !l.torn && !apart(last.x-first.x, last.y-first.y, length-last.d+first.d):
		m.X, m.Y = resample(d, a, length, 0, n), resample(d, b, length, 0, n)
		m.K = l.curvature(m, d, a)
		m.Placed, m.loc = true, l.loc
	case l.placed:
		l.spoilt = "by its positions the lap does not end where it began, or the car was carried"
		return false
	case !l.reckon(m, d, a, n):
		l.spoilt = "there is no position, and speed and yaw rate, by the distance along the lap, do not draw a " +
			"closed line"
		return false
	}
	for _, k := range m.K {
		m.Turning += k * m.Step
	}
	m.Z = l.elevation(length, n)
	m.Corners = correct(findCorners(m.K, m.Step, m.yardstick()), l.file, m.K, m.Step)
	m.describe()
	l.m, l.known = m, make([]memory, len(m.Corners))
	l.line.start(m)
	return true
}
