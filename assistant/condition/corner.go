package condition

import (
	"math"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/journal"
)

// A Phase is a part of a corner.
type Phase int

// The phases of a corner. Which sample belongs to which is decided when the car has left it: mid-corner is from
// the first to the last sample with most of the lateral acceleration, braking is with the brake on and
// little of it, turn-in is the rest before, exit the rest after.
const (
	Braking Phase = iota
	TurnIn
	MidCorner
	Exit
	phases
)

var phaseName = [phases]string{"braking", "turn-in", "mid-corner", "exit"}

func (p Phase) String() string {
	if p < 0 || p >= phases {
		return "?"
	}
	return phaseName[p]
}

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
	slipHeld     = 0.06 // s that a wheel has to lock or spin
)

// finding bits: understeer by phase, oversteer by phase, locking by wheel, wheelspin by axle.
type findingSet uint16

const (
	understeerBit = 0
	oversteerBit  = understeerBit + int(phases)
	lockBit       = oversteerBit + int(phases)
	spinBit       = lockBit + 4
	findingBits   = spinBit + 2
)

var findingName = [findingBits]string{
	"braking understeer", "turn-in understeer", "mid-corner understeer", "exit understeer",
	"braking oversteer", "turn-in oversteer", "mid-corner oversteer", "exit oversteer",
	"front left locking", "front right locking", "rear left locking", "rear right locking",
	"front wheelspin", "rear wheelspin",
}

func (f findingSet) names() []string {
	var names []string
	for i, name := range findingName {
		if f>>i&1 == 1 {
			names = append(names, name)
		}
	}
	return names
}

// A Pass is one drive through a corner. Unknown numbers are NaN.
type Pass struct {
	Corner          int
	Begin, End      float64         // s on the feed's clock
	EntrySpeed      float64         // m/s
	MinSpeed        float64         // m/s
	ExitSpeed       float64         // m/s
	MinGear         float64         // forward gears only
	Balance         [phases]float64 // rad, mean of channel.Balance by Phase: positive is understeer
	MaxSlip         [4]float64      // of the largest magnitude, sign kept, braking into the corner included
	BrakeTemp       [4]float64      // °C, highest
	TyreTemperature [4]float64      // °C, mean of channel.TyreCore

	found findingSet
}

// Findings lists what this pass alone has shown, in a fixed order.
func (p *Pass) Findings() []string { return p.found.names() }

// Event returns the pass for the journal; the name of the corner is the course's to give.
func (p *Pass) Event() *journal.Corner {
	e := journal.NewCorner()
	e.Number, e.Findings = p.Corner, p.Findings()
	e.EntrySpeed, e.MinSpeed, e.ExitSpeed = journal.Num(p.EntrySpeed), journal.Num(p.MinSpeed), journal.Num(p.ExitSpeed)
	e.MinGear, e.Time, e.Balance = journal.Num(p.MinGear), journal.Num(p.End-p.Begin), journal.Num(p.Balance[MidCorner])
	for w := range 4 {
		e.MaxSlip[w] = journal.Num(p.MaxSlip[w])
		e.BrakeTemp[w] = journal.Num(p.BrakeTemp[w])
		e.TyreTemperature[w] = journal.Num(p.TyreTemperature[w])
	}
	return e
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
	pass    Pass
	tyre    [4]mean
	moments [passSamples]moment
	n       int
	pending float64 // s not yet given to a moment

	slipMost [4]float64 // since the last corner, under braking or in the corner
	locked   [4]float64 // s without a break
	spun     [4]float64
	seen     findingSet // locking and spinning of this pass

	done   Pass
	fresh  bool
	past   [mostCorners][OutOf]findingSet
	passes [mostCorners]int
}

func (c *corners) init(k *car.Car) {
	c.limit = k.Whole("balance_limit")
	for w := range 4 {
		c.lock[w], c.spin[w] = k.At("slip_lock", channel.Wheel(w)), k.At("slip_spin", channel.Wheel(w))
	}
	c.clearSlip()
}

func (c *corners) stint() {
	c.here, c.n, c.fresh = 0, 0, false
	c.past, c.passes = [mostCorners][OutOf]findingSet{}, [mostCorners]int{}
	c.clearSlip()
}

func (c *corners) clearSlip() {
	c.slipMost = [4]float64{nan, nan, nan, nan}
	c.locked, c.spun, c.seen = [4]float64{}, [4]float64{}, 0
}

func (c *corners) step(at, dt float64, k *Condition, row channel.Row) {
	c.fresh = false
	here := 0
	if x := row[channel.CornerHere]; x >= 1 && !(row[channel.InPitLane] == 1) {
		here = int(x)
	}
	if here != c.here {
		if c.here != 0 {
			c.finish(at)
		}
		if c.here = here; here != 0 {
			c.begin(at, k.motion.speed)
		}
	}
	c.watchSlip(dt, k)
	if here != 0 {
		c.watch(dt, k, row)
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
		if !(math.Abs(s) <= math.Abs(c.slipMost[w])) {
			c.slipMost[w] = s
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

func (c *corners) begin(at, speed float64) {
	c.n, c.pending, c.tyre = 0, 0, [4]mean{}
	c.pass = Pass{Corner: c.here, Begin: at, EntrySpeed: speed, MinSpeed: speed, ExitSpeed: speed, MinGear: nan}
	c.pass.BrakeTemp = [4]float64{nan, nan, nan, nan}
}

func (c *corners) watch(dt float64, k *Condition, row channel.Row) {
	p := &c.pass
	speed := k.motion.speed
	if speed < p.MinSpeed || math.IsNaN(p.MinSpeed) {
		p.MinSpeed = speed
	}
	if !math.IsNaN(speed) {
		p.ExitSpeed = speed
	}
	if g := row[channel.Gear]; g >= 1 && !(g >= p.MinGear) {
		p.MinGear = g
	}
	for w := range 4 {
		if x := row[channel.BrakeTemperature+channel.ID(w)]; !math.IsNaN(x) && !(x <= p.BrakeTemp[w]) {
			p.BrakeTemp[w] = x
		}
		c.tyre[w].add(dt, k.tyres.core[w])
	}
	c.pending += dt
	if c.pending >= passEvery-almost/5 && c.n < passSamples {
		c.moments[c.n] = moment{k.balance.index, math.Abs(k.motion.lateral), c.pending, k.brakes.on}
		c.n++
		c.pending = 0
	}
}

func (c *corners) finish(at float64) {
	p := &c.pass
	p.End = at
	p.MaxSlip = c.slipMost
	for w := range 4 {
		p.TyreTemperature[w] = c.tyre[w].value()
	}
	p.Balance = c.byPhase()
	p.found = c.seen
	for phase, x := range p.Balance {
		if x > c.limit {
			p.found |= 1 << (understeerBit + phase)
		}
		if x < -c.limit {
			p.found |= 1 << (oversteerBit + phase)
		}
	}
	if i := p.Corner - 1; i < mostCorners {
		c.past[i][c.passes[i]%OutOf] = p.found
		c.passes[i]++
	}
	c.done, c.fresh = *p, true
	c.clearSlip()
}

// byPhase cuts the pass into its phases and returns the mean balance of each.
func (c *corners) byPhase() [phases]float64 {
	most := 0.0
	for _, m := range c.moments[:c.n] {
		if m.load > most { // an unknown load is never the greatest
			most = m.load
		}
	}
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
		phase := MidCorner
		switch {
		case i < first && m.braking && m.load < straightPart*most:
			phase = Braking
		case i < first:
			phase = TurnIn
		case i > last:
			phase = Exit
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
	return means
}

func (c *corners) findings(corner int) []string {
	if corner < 1 || corner > mostCorners {
		return nil
	}
	var all findingSet
	for bit := range findingBits {
		n := 0
		for _, f := range c.past[corner-1] {
			n += int(f >> bit & 1)
		}
		if n >= Repeats {
			all |= 1 << bit
		}
	}
	return all.names()
}
