package condition

import (
	"math"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/journal"
)

// The phases are those of package course, but which sample belongs to which is decided by what the car did, when it has
// left the corner: mid-corner is from the first to the last sample with most of the lateral acceleration, braking is
// with the brake on and little of it, turn-in is the rest before, exit the rest after. A finding is about the car, and
// where it carries load need not be where the corner is tightest. The figures of a pass are package course's.
const phases = int(course.Exit) + 1

// A corner is called on repetition only. Common practice, no source.
const (
	Repeats = 3 // passes that have to show the same …
	OutOf   = 5 // … of so many in this stint
)

// Common practice, no source.
const (
	mostCorners  = 64   // corners of a course that can repeat anything
	passSamples  = 3000 // a minute at 50 Hz
	passEvery    = 0.02 // s
	midShare     = 0.85 // of the greatest lateral acceleration
	straightPart = 0.5  // of the greatest lateral acceleration: braking with less is braking before the corner
	phaseEnough  = 0.2  // s of known balance
	longPart     = 1.5  // s of a phase that lasts twice as long
	slipHeld     = 0.06 // s that a wheel has to lock or spin
	slowPass     = 0.75 // of the usual lateral acceleration of the corner: a pass with less says nothing about balance
	usualFades   = 0.98 // a pass, of what is usual: the road may be wet now
)

// A findingSet has a bit for each of journal.AllFindings: understeer by phase, oversteer by phase, locking by wheel,
// wheelspin by axle.
type findingSet uint16

const (
	understeerBit = 0
	oversteerBit  = understeerBit + phases
	lockBit       = oversteerBit + phases
	spinBit       = lockBit + 4
	findingBits   = spinBit + 2
)

func (f findingSet) list() []journal.Finding {
	var list []journal.Finding
	for i, finding := range journal.AllFindings {
		if f>>i&1 == 1 {
			list = append(list, finding)
		}
	}
	return list
}

// A passing is what one drive through a corner has shown of the car.
type passing struct {
	corner     int
	begin, end float64         // s on the feed's clock
	balance    [phases]float64 // rad, mean of channel.Balance by phase: positive is understeer; NaN is unknown
	found      findingSet
}

// moment is what a pass keeps of a sample until its phase is known.
type moment struct {
	index, load, dt float64
	braking         bool
}

// corners watches the passes.
type corners struct {
	limit      float64 // rad
	lock, spin [4]float64

	here    int // corner the car is in, 0 where in none
	pass    passing
	moments [passSamples]moment
	n       int
	pending float64 // s not yet given to a moment

	locked [4]float64 // s without a break
	spun   [4]float64
	seen   findingSet // locking and spinning of this pass

	done   passing
	fresh  bool
	past   [mostCorners][OutOf]findingSet
	passes [mostCorners]int
	ended  [mostCorners]float64 // s, when the latest pass ended
	usual  [mostCorners]float64 // m/s², the greatest lateral acceleration

	announced announced
}

func (c *corners) init(k *car.Car) {
	c.limit = k.Whole("balance_limit")
	for w := range 4 {
		c.lock[w], c.spin[w] = k.At("slip_lock", channel.Wheel(w)), k.At("slip_spin", channel.Wheel(w))
	}
	c.clearSlip()
	c.announced.stint()
}

func (c *corners) stint() {
	c.here, c.n, c.fresh = 0, 0, false
	c.past, c.passes = [mostCorners][OutOf]findingSet{}, [mostCorners]int{}
	c.announced.stint()
	c.clearSlip()
}

func (c *corners) clearSlip() {
	c.locked, c.spun, c.seen = [4]float64{}, [4]float64{}, 0
}

func (c *corners) step(at, dt float64, k *Condition, row channel.Row) {
	c.fresh = false
	c.announced.none()
	here := 0
	if x := row[channel.CornerHere]; x >= 1 && !(row[channel.InPitLane] == 1) {
		here = int(x)
	}
	if here != c.here {
		if c.here != 0 {
			c.finish(at)
		}
		if c.here = here; here != 0 {
			c.begin(at)
		}
	}
	c.watchSlip(dt, k)
	if here != 0 {
		c.watch(dt, k)
	}
}

// watchSlip follows locking on the way to and in a corner, and spinning in it.
func (c *corners) watchSlip(dt float64, k *Condition) {
	if !k.brakes.on && c.here == 0 {
		c.locked, c.spun = [4]float64{}, [4]float64{}
		return
	}
	for w, s := range k.slip.wheel {
		if math.IsNaN(s) {
			c.locked[w], c.spun[w] = 0, 0
			continue
		}
		if held(&c.locked[w], dt, k.brakes.on && s < c.lock[w]) {
			c.seen |= 1 << (lockBit + w)
		}
		if held(&c.spun[w], dt, !k.brakes.on && s > c.spin[w]) {
			c.seen |= 1 << (spinBit + w/2)
		}
	}
}

func held(t *float64, dt float64, holds bool) bool {
	if !holds {
		*t = 0
		return false
	}
	*t += dt
	return *t >= slipHeld
}

func (c *corners) begin(at float64) {
	c.n, c.pending = 0, 0
	c.pass = passing{corner: c.here, begin: at}
}

func (c *corners) watch(dt float64, k *Condition) {
	c.pending += dt
	if c.pending >= passEvery-almost/5 && c.n < passSamples {
		c.moments[c.n] = moment{k.balance.index, math.Abs(k.motion.lateral), c.pending, k.brakes.on}
		c.n++
		c.pending = 0
	}
}

func (c *corners) finish(at float64) {
	p := &c.pass
	p.end = at
	p.balance = c.byPhase()
	p.found = c.seen
	slow := c.slow(p.corner)
	for phase, x := range p.balance {
		if slow {
			break
		}
		if x > c.limit {
			p.found |= 1 << (understeerBit + phase)
		}
		if x < -c.limit {
			p.found |= 1 << (oversteerBit + phase)
		}
	}
	if i := p.corner - 1; i < mostCorners {
		c.past[i][c.passes[i]%OutOf] = p.found
		c.passes[i]++
		c.ended[i] = at
		c.announced.pass(at, p.corner, c.passes[i], c.repeatedSet(p.corner), p.found)
	}
	c.done, c.fresh = *p, true
	c.clearSlip()
}

// slow tells whether the corner was taken with much less than its usual load, as on an in-lap.
func (c *corners) slow(corner int) bool {
	if corner > mostCorners {
		return false
	}
	most := c.load()
	usual := &c.usual[corner-1]
	*usual = max(*usual*usualFades, most)
	return most < slowPass**usual
}

// load is the greatest lateral acceleration of the pass.
func (c *corners) load() (most float64) {
	for _, m := range c.moments[:c.n] {
		if m.load > most { // an unknown load is never the greatest
			most = m.load
		}
	}
	return most
}

// byPhase cuts the pass into its phases and returns the mean balance of each.
func (c *corners) byPhase() [phases]float64 {
	most := c.load()
	first, last := -1, -1
	for i, m := range c.moments[:c.n] {
		if m.load >= midShare*most {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	var sum [phases]mean
	for i, m := range c.moments[:c.n] {
		phase := course.MidCorner
		switch {
		case i < first && m.braking && m.load < straightPart*most:
			phase = course.Braking
		case i < first:
			phase = course.TurnIn
		case i > last:
			phase = course.Exit
		}
		sum[phase].add(m.dt, m.index)
	}
	var means [phases]float64
	for i := range sum {
		means[i] = nan
		if sum[i].weight >= phaseEnough-almost {
			means[i] = sum[i].value()
		}
	}
	if first >= 0 {
		c.long(&means[course.MidCorner], sum[course.MidCorner].weight, c.moments[first:last+1])
		c.long(&means[course.Exit], sum[course.Exit].weight, c.moments[last+1:c.n])
	}
	return means
}

// long replaces the mean of a phase that lasts long, as in bends that are one corner, by that of its worst part: what happens at one place is
// not to vanish among seconds of good driving.
func (c *corners) long(x *float64, weight float64, moments []moment) {
	if weight < 2*longPart {
		return
	}
	var sum, known float64
	for begin, i := 0, 0; i < len(moments); i++ {
		if m := moments[i]; m.index == m.index {
			sum, known = sum+m.dt*m.index, known+m.dt
		}
		for known > longPart {
			if m := moments[begin]; m.index == m.index {
				sum, known = sum-m.dt*m.index, known-m.dt
				if mean := (sum + m.dt*m.index) / (known + m.dt); math.Abs(mean) > math.Abs(*x) {
					*x = mean
				}
			}
			begin++
		}
	}
}

// shown is what the latest pass of a corner showed, where that pass ended since a moment.
func (c *corners) shown(corner int, since float64) []journal.Finding {
	i := corner - 1
	if i < 0 || i >= mostCorners || c.passes[i] == 0 || c.ended[i] < since {
		return nil
	}
	return c.past[i][(c.passes[i]-1)%OutOf].list()
}

func (c *corners) repeated(corner int) []journal.Finding { return c.repeatedSet(corner).list() }

func (c *corners) repeatedSet(corner int) (all findingSet) {
	if corner < 1 || corner > mostCorners {
		return 0
	}
	for bit := range findingBits {
		n := 0
		for _, f := range c.past[corner-1] {
			n += int(f >> bit & 1)
		}
		if n >= Repeats {
			all |= 1 << bit
		}
	}
	return all
}
