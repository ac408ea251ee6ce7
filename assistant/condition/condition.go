package condition

import (
	"math"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/journal"
)

// Condition is what is known about the car. Make one with New.
type Condition struct {
	at      float64
	begun   bool
	gains   recentGains
	motion  motion
	tyres   tyres
	brakes  brakes
	slip    slip
	balance balance
	corners corners
	places  places
	fade    fade
	fit     compoundFit
	aids    aids
}

// Means are what a lap leaves for the journal: means over the lap without the time standing
// still (kPa, °C), and means of the peaks of its braking events (°C).
type Means struct {
	TyrePressure    journal.Wheels
	TyreTemperature journal.Wheels
	BrakePeak       journal.Wheels
}

// New returns a Condition of a car of which nothing has been seen.
func New(c *car.Car) *Condition {
	k := &Condition{}
	k.motion.reset()
	k.tyres.init(c)
	k.brakes.init()
	k.slip.init(c)
	k.balance.init(c)
	k.corners.init(c)
	k.places.init(c)
	k.fade.stint(wheelLimits(c, "brake_cold"))
	k.fit.init(c)
	k.aids.init()
	return k
}

// StintStart forgets what a stop may have changed: tyres, brake events, what corners have shown. Radius, offset and
// gradient learned before stay in force until the new stint has taught its own.
func (c *Condition) StintStart(at float64, row channel.Row) {
	c.tyres.stint()
	c.brakes.init()
	c.slip.relearn()
	c.balance.relearn()
	c.corners.stint()
	c.places.stint()
	c.fade.stint(c.fade.cold)
	c.aids.stint()
	c.write(row)
}

// Step takes in the readings of one moment and writes the computed channels of the car's
// condition into row. It is to be called after the course has written channel.CornerHere. at is in
// seconds and does not run backwards; a gap is not an event.
func (c *Condition) Step(at float64, row channel.Row) {
	dt := 0.0
	if c.begun {
		dt = at - c.at
	}
	if !(dt > 0) {
		dt = 0
	}
	c.at, c.begun = at, true
	c.motion.step(c.gains.after(dt), row)
	c.tyres.step(at, dt, &c.motion, row)
	c.brakes.step(at, &c.motion, row)
	c.slip.step(at, &c.motion, c.brakes.on, row)
	c.balance.step(at, &c.motion, row)
	c.corners.step(at, dt, c, row)
	c.places.step(dt, c.brakes.on, row)
	c.fade.step(dt, &c.motion, &c.brakes, row)
	c.fit.step(row)
	c.aids.step(at, row)
	c.write(row)
}

// FirstLap begins the first lap at the line: the way there from where the session began is no part of it.
func (c *Condition) FirstLap() {
	for w := range 4 {
		c.tyres.coreLap[w], c.tyres.pressureLap[w], c.brakes.lap[w] = mean{}, mean{}, mean{}
	}
}

// LapDone closes the lap that has just been completed at the line and writes its means into row. Number, class
// and validity are those of the journal. A slow lap, or one under caution, breaks the trend of the tyres; a lap that
// does not count has heated them all the same.
func (c *Condition) LapDone(_ int, class string, _ bool, row channel.Row) Means {
	m := Means{journal.NoWheels(), journal.NoWheels(), journal.NoWheels()}
	c.tyres.lapDone(class == slowLap || class == cautionLap)
	c.brakes.lapDone()
	c.fade.lapDone(class == flyingLap)
	for w := range 4 {
		m.TyrePressure[w] = journal.Num(c.tyres.pressureMean[w])
		m.TyreTemperature[w] = journal.Num(c.tyres.coreMean[w])
		m.BrakePeak[w] = journal.Num(c.brakes.mean[w])
	}
	c.write(row)
	return m
}

func (c *Condition) write(row channel.Row) {
	c.tyres.write(row)
	c.brakes.write(row)
	c.slip.write(row)
	row[channel.Balance] = c.balance.index
	c.corners.announced.write(row)
	c.places.write(row)
	row[channel.BrakeFade] = c.fade.lost
}

// Shown lists what the latest pass of a corner showed, in the order of journal.AllFindings; nothing where that pass ended
// before since, the moment in which the pass meant began.
func (c *Condition) Shown(corner int, since float64) []journal.Finding {
	return c.corners.shown(corner, since)
}

// Repeated lists what a corner has shown on at least Repeats of its last OutOf passes in this stint, in the same order.
func (c *Condition) Repeated(corner int) []journal.Finding { return c.corners.repeated(corner) }

// Steering is what has been learned about the car's steering. Unknown numbers are NaN.
type Steering struct {
	Offset   float64 // rad at the road wheels when going straight
	Gradient float64 // rad per m/s², the understeer gradient K of δ = L·r/v + K·a_y
	Seconds  float64 // of driving that taught it, gentle where there was enough

	Wheelbase, Ratio float64 // m, hand wheel over road wheel; as the car file tells them, or
	Measured         bool    // learned
}

// Steering returns what has been learned about the car's steering.
func (c *Condition) Steering() Steering {
	b := &c.balance
	seconds := b.taught * learnEvery
	if !b.gently {
		seconds = float64(b.hardN) * learnEvery
	}
	return Steering{b.offset, b.gradient, seconds, b.wheelbase, b.ratio, b.measured}
}

// RollingRadius returns, for the front and the rear axle, the factor from the feed's wheel speed to the
// ground speed as learned on steady straights: 1 where the feed assumes the right rolling radius. NaN
// until learned.
func (c *Condition) RollingRadius() (front, rear float64) { return c.slip.factor[0], c.slip.factor[1] }

// NeverReady tells that a tyre's lap means clearly settle below its window.
func (c *Condition) NeverReady() bool { return c.tyres.never == 1 }

// Values in this package that are not in the car file are common practice, no source.
const (
	flyingLap  = "flying" // classes of the journal
	slowLap    = "slow"
	cautionLap = "caution"
	standing   = 2.0   // m/s: below this the car stands
	learnEvery = 0.04  // s between two samples that are learned from, whatever the feed's rate
	almost     = 0.005 // s: a feed's clock jitters; a sample that little early is in time
)

// A cadence picks samples to learn from, learnEvery apart on average whatever the feed's rate.
type cadence struct{ next float64 }

func (c *cadence) due(at float64) bool {
	switch late := at - c.next; {
	case late < -1, late > learnEvery: // the feed's clock stepped back, or there was nothing to learn from
		c.next = at + learnEvery
	case late < -almost:
		return false
	default:
		c.next += learnEvery
	}
	return true
}

// A mean is weighted by time.
type mean struct{ sum, weight float64 }

func (m *mean) add(dt, x float64) {
	if !math.IsNaN(x) {
		m.sum += x * dt
		m.weight += dt
	}
}

// enoughKnown is the share of what the best known wheel has by which a mean may be compared with that of another wheel: that of a sensor
// which failed in the middle of the lap is the mean of another drive. Common practice, no source.
const enoughKnown = 0.8

// alike returns the means of the four wheels, NaN for one that was known for too little of the time.
func alike(m *[4]mean) (values [4]float64) {
	most := max(m[0].weight, m[1].weight, m[2].weight, m[3].weight)
	for w := range values {
		values[w] = nan
		if m[w].weight >= enoughKnown*most {
			values[w] = m[w].value()
		}
	}
	return values
}

// value is NaN where nothing was added.
func (m *mean) value() float64 {
	if m.weight == 0 {
		return nan
	}
	return m.sum / m.weight
}

func wheelLimits(c *car.Car, name string) (at [4]float64) {
	for w := range at {
		at[w] = c.At(name, channel.Wheel(w))
	}
	return at
}
