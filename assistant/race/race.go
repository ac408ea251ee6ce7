package race

import (
	"math"

	"earshot/assistant/channel"
)

// All common practice, no source.
const (
	near      = 5.0  // s: a car farther away does not matter to the driver
	alongside = 0.1  // s: the driver sees a car that is nearer
	fighting  = 1.0  // s: nearer is a fight …
	parted    = 1.5  // … until it is farther than this
	everyLaps = 3    // laps between two calls outside a fight
	worth     = 0.2  // s by which a gap must change to be told again outside a fight
	otherCar  = 2.0  // s: a gap that jumps so far between two samples is to another car
	settles   = 5.0  // s for which a position must last
	told      = 90.0 // s for which a moment of the countdown is news
	lateCount = 1.0  // s after the line by which a feed has counted the lap
	sure      = 0.97 // of the best lap: a clock with less left than that ends in this lap
)

// A Race follows one race. It belongs to one caller at a time.
type Race struct {
	gaps [2]gap // ahead, behind

	position, settled float64
	since             float64 // when position became what it is

	at              float64
	lap             float64 // number of the lap, to see the line
	began           float64 // when the lap began
	share, distance float64 // of the lap at the sample before: by time, in metres
	place           float64 // where gaps are compared from lap to lap, m; NaN before the first

	total     float64 // s on the clock at the start, NaN where the start was not seen
	left      float64 // s on the clock at the sample before
	mostLaps  float64 // most laps to go seen
	counted   bool    // the count of this lap has been looked at
	countdown float64
	until     float64 // when countdown stops being news
}

// A gap is the gap to one car as it was at one place of the course.
type gap struct {
	last     float64 // at the sample before
	atPlace  float64 // at the place of the lap before, NaN
	closing  float64 // s a lap, NaN
	told     float64 // the gap told last, NaN
	toldLaps int     // laps since
	fight    bool
	sooner   bool // told since the place was passed last
}

var nan = math.NaN()

// New returns a Race before its first sample.
func New() *Race {
	r := &Race{position: nan, settled: nan, lap: nan, place: nan, share: nan, distance: nan, total: nan, left: nan}
	for i := range r.gaps {
		r.gaps[i].forget()
	}
	return r
}

func (g *gap) forget() {
	*g = gap{last: nan, atPlace: nan, closing: nan, told: nan}
}

// Values of channel.Countdown, in the order of its labels.
const (
	nothing = float64(iota)
	halfTime
	tenMinutes
	fiveMinutes
	fiveLaps
	threeLaps
	lastLap
)

// Step processes the readings of one moment and writes the computed channels of the race into row. Call it after timing
// and fuel.
func (r *Race) Step(at float64, row channel.Row) {
	line := row[channel.Lap] != r.lap && row[channel.Lap] > 0
	if line {
		r.lap, r.began, r.counted = row[channel.Lap], at, false
		if r.countdown == fiveLaps || r.countdown == threeLaps {
			r.countdown = nothing
		}
	}
	passed := r.passed(row)
	r.follow(at, row)
	for i := range r.gaps {
		r.gaps[i].step(passed, channel.ID(i), row)
	}
	r.count(at, row)
	r.at = at
}

// passed is true when the car passes the place of the gaps: where it was after half a lap's time, away from the calls
// at the line. Where the distance is known, the place stays the same in every lap.
func (r *Race) passed(row channel.Row) bool {
	was, wasAt := r.share, r.distance
	r.share, r.distance = row[channel.LapElapsed]/row[channel.LapTimeDone], row[channel.CoursePlace]
	half := was < 0.5 && r.share >= 0.5
	if math.IsNaN(r.distance) {
		return half
	}
	if half && math.IsNaN(r.place) {
		r.place = r.distance
		return true
	}
	return wasAt < r.place && r.distance >= r.place
}

// follow writes the position once it has lasted, since two cars side by side change places many times.
func (r *Race) follow(at float64, row channel.Row) {
	if p := row[channel.RacePosition]; p != r.position && !math.IsNaN(p) {
		r.position, r.since = p, at
		for i := range r.gaps {
			r.gaps[i].forget() // to another car
		}
	}
	if at-r.since >= settles && !math.IsNaN(r.position) {
		r.settled = r.position
	}
	row[channel.PositionSettled] = r.settled
}

func (g *gap) step(passed bool, i channel.ID, row channel.Row) {
	now := math.Abs(row[channel.GapAhead+i])
	due := false
	switch {
	case math.IsNaN(now):
		row[channel.GapAheadDue+i], row[channel.GapAheadClosing+i] = 0, g.closing
		return
	case math.Abs(now-g.last) > otherCar:
		g.forget()
	}
	g.last = now
	g.fight = now < fighting || g.fight && now < parted
	if g.fight && !(g.told < parted) && !g.sooner && now > alongside {
		due, g.sooner = true, true
	}
	if passed {
		g.closing = g.atPlace - now
		g.atPlace = now
		g.toldLaps++
		news := math.IsNaN(g.told) || g.toldLaps >= everyLaps && math.Abs(now-g.told) >= worth || g.fight
		if !g.sooner && news && now < near && now > alongside {
			due = true
		}
		g.sooner = false
	}
	if due {
		g.told, g.toldLaps = now, 0
	}
	row[channel.GapAheadDue+i] = 0
	if due {
		row[channel.GapAheadDue+i] = 1
	}
	row[channel.GapAheadClosing+i] = g.closing
}

// count writes what is left of the race, at the moments when it is told. It looks at the laps when the car has begun a
// lap, since the count is the leader's and may change in the middle of our lap.
func (r *Race) count(at float64, row channel.Row) {
	laps := row[channel.SessionLapsLeft]
	if math.IsNaN(laps) {
		laps = row[channel.LeaderLapsLeft]
	}
	left := row[channel.SessionTimeLeft]
	if at >= r.until {
		r.countdown = nothing
	}
	defer func() { row[channel.Countdown] = r.countdown }()
	if math.IsNaN(laps) && math.IsNaN(left) {
		return
	}
	tell := func(what float64, seconds float64) { r.countdown, r.until = what, at+seconds }
	if !(row[channel.Lap] > 1) && left > 0 && !(r.total >= left) {
		r.total = left
	}
	for _, m := range [...]struct{ at, what float64 }{{r.total / 2, halfTime}, {600, tenMinutes}, {300, fiveMinutes}} {
		if r.left > m.at && left <= m.at && left > m.at-told {
			tell(m.what, told)
		}
	}
	onLine := !r.counted && at-r.began >= lateCount && row[channel.Lap] > 0
	if onLine {
		r.counted = true
		switch {
		case laps < r.mostLaps && laps == 5:
			tell(fiveLaps, 1e9)
		case laps < r.mostLaps && laps == 3:
			tell(threeLaps, 1e9)
		case laps < r.mostLaps && laps == 1:
			tell(lastLap, 1e9)
		}
	}
	// A clock ends the race at the first crossing after zero. Whether it will reach zero in this lap may be in doubt at
	// the line.
	ends := onLine && left+lateCount < sure*row[channel.BestLap] || r.left > 0 && left <= 0
	if ends && r.counted && r.countdown != lastLap && !(row[channel.LapsToGo] > 1) && !(laps > 1) {
		tell(lastLap, 1e9)
	}
	r.left = left
	if laps > r.mostLaps {
		r.mostLaps = laps
	}
}
