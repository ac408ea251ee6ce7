package course

import (
	"math"

	"earshot/assistant/channel"
)

const (
	brakeOn    = 0.05  // pedal travel beyond which the car counts as braking; common practice, no source
	slowing    = 3.0   // m/s²: counts as braking where the feed has no pedal; common practice, no source
	spacing    = 1.0   // m between the points that are kept of a lap
	mapStep    = 2.0   // m, wished, between the points of a map
	maxPoints  = 40000 // of a lap: longer than 40 km is not learned
	shortest   = 200.0 // m: a shorter lap is not learned
	farApart   = 100.0 // m: a lap with a wider hole in it is not learned
	silence    = 2.0   // s without a sample that spoil a lap
	patience   = 2     // void laps in a row after which a void lap is good enough
	turnInPart = 0.3   // of the greatest curvature driven in a corner: from there on the car turns in
)

// A point is what is kept of a lap at one place.
type point struct {
	d, x, y, k, v float64 // k is yaw rate over speed, NaN where unknown
	braking       bool
}

// A Learner makes the Map from the first good lap that was driven from line to line, and
// betters its braking and turn-in points with every lap after it. Its memory is bounded.
type Learner struct {
	file  *File
	loc   Locator
	m     *Map
	known []memory // per corner

	lap    float64
	at     float64
	points []point
	pedal  bool // the lap has a brake pedal
	placed bool // every point has a position
	bad    bool // the lap has a hole, a jump, a visit to the pits
	void   bool
	voids  int
	last   struct{ d, v, x, y float64 }
}

// NewLearner returns a Learner. f names and corrects the corners; it may be nil.
func NewLearner(f *File) *Learner {
	return &Learner{file: f, loc: NewLocator(f), lap: math.NaN(), points: make([]point, 0, 8192)}
}

// Map returns the map so far, or nil.
func (l *Learner) Map() *Map { return l.m }

// Step takes one sample in: lap and course_distance as package timing wrote them; position, or
// else speed and yaw rate; the brake pedal, or else the fall of speed. It returns a Map where
// there is a new one, else nil.
func (l *Learner) Step(at float64, row channel.Row) *Map {
	lap, d, v := row[channel.Lap], row[channel.CoursePlace], row[channel.Speed]
	p, placed := l.loc.Find(row)
	var fresh *Map
	if lap != l.lap && !math.IsNaN(lap) {
		if lap == l.lap+1 && l.lap >= 1 {
			gone := math.Hypot(p.X-l.last.x, p.Y-l.last.y)
			if !math.IsNaN(v + l.last.v) {
				gone = (v + l.last.v) / 2 * (at - l.at)
			}
			fresh = l.finish(l.last.d + gone - d)
		}
		l.lap, l.points, l.pedal, l.placed, l.bad, l.void = lap, l.points[:0], false, true, false, false
	}
	if at-l.at > silence && len(l.points) > 0 || row[channel.InPits] == 1 {
		l.bad = true
	}
	l.void = l.void || row[channel.LapVoid] == 1
	if !(lap >= 1) || math.IsNaN(d) {
		l.at = at
		return fresh
	}
	l.keep(d, v, p, placed, row)
	l.at = at
	l.last.d, l.last.v, l.last.x, l.last.y = d, v, p.X, p.Y
	return fresh
}

func (l *Learner) keep(d, v float64, p Point, placed bool, row channel.Row) {
	if n := len(l.points); n > 0 {
		q := &l.points[n-1]
		if d-q.d < spacing || placed && l.placed && p.X == q.x && p.Y == q.y {
			return
		}
		if d-q.d > farApart || n == maxPoints {
			l.bad = true
			return
		}
	}
	q := point{d: d, x: p.X, y: p.Y, k: math.NaN(), v: v}
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

// finish closes a lap of that length in metres.
func (l *Learner) finish(length float64) *Map {
	if n := len(l.points); l.bad || n < 20 || length < shortest || l.points[0].d > farApart || length-l.points[n-1].d > farApart || length <= l.points[n-1].d {
		return nil
	}
	if l.void {
		if l.voids++; l.m != nil || l.voids <= patience {
			return nil
		}
	}
	if l.m == nil && !l.build(length) {
		return nil
	}
	l.observe()
	return l.m
}

// build makes the map from the points of the lap.
func (l *Learner) build(length float64) bool {
	n := max(int(math.Round(length/mapStep)), 8)
	m := &Map{Length: length, Step: length / float64(n)}
	if l.file != nil {
		m.Name = l.file.Name
	}
	d, a, b := make([]float64, len(l.points)), make([]float64, len(l.points)), make([]float64, len(l.points))
	for i, p := range l.points {
		d[i], a[i], b[i] = p.d, p.x, p.y
	}
	first, last := l.points[0], l.points[len(l.points)-1]
	switch open := math.Hypot(last.x-first.x, last.y-first.y); {
	case l.placed && open <= 1.5*(length-last.d+first.d)+20:
		m.X, m.Y = resample(d, a, length, 0, n), resample(d, b, length, 0, n)
		m.K = l.curvature(m, d, a)
		m.Placed, m.loc = true, l.loc
	case l.placed:
		return false // the lap does not end where it began
	default:
		if !l.reckon(m, d, a, n) {
			return false
		}
	}
	for _, k := range m.K {
		m.Turning += k * m.Step
	}
	m.Corners = correct(findCorners(m.K, m.Step), l.file, m.K, m.Step)
	l.m, l.known = m, make([]memory, len(m.Corners))
	return true
}
