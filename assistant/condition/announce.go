package condition

import (
	"math"

	"earshot/assistant/car"
	"earshot/assistant/channel"
)

// Common practice, no source.
const (
	againAfter = 10   // passes after which a finding that is still there is worth telling again
	kindsApart = 30.0 // s between two findings of one kind: a car that pushes everywhere is not told corner by corner at once
)

// The kinds of findings, each of which speaks for itself.
const (
	kindUndersteer = iota
	kindOversteer
	kindLocking
	kindWheelspin
	kinds
)

func kindOf(bit int) int {
	switch {
	case bit >= spinBit:
		return kindWheelspin
	case bit >= lockBit:
		return kindLocking
	case bit >= oversteerBit:
		return kindOversteer
	}
	return kindUndersteer
}

// announced decides which of the repeated findings is news, and when.
type announced struct {
	now    findingSet              // to be told at this sample
	shown  bool                    // the row has it
	corner [findingBits]int        // where each was told last
	told   [mostCorners]findingSet // told, and not yet to be told again
	passes [mostCorners][findingBits]int
	last   [kinds]float64 // s, when one of the kind was told last
}

func (a *announced) stint() {
	*a = announced{}
	for i := range a.last {
		a.last[i] = math.Inf(-1)
	}
}

// pass takes in what a corner has shown on repetition at the end of a pass.
func (a *announced) pass(at float64, corner, passes int, repeated, shown findingSet) {
	i := corner - 1
	for bit := range findingBits {
		one := findingSet(1) << bit
		if a.told[i]&one != 0 && passes-a.passes[i][bit] >= againAfter {
			a.told[i] &^= one
		}
		kind := kindOf(bit)
		if repeated&shown&one == 0 || a.told[i]&one != 0 || at-a.last[kind] < kindsApart && a.now&a.of(kind) == 0 {
			continue
		}
		a.now, a.shown = a.now|one, false
		a.corner[bit], a.last[kind] = corner, at
		told := one
		if kind <= kindOversteer {
			told = a.of(kind) // one phase of a corner is enough: the first is the one to mend first
		}
		a.told[i] |= told
		for b := range findingBits {
			if told>>b&1 == 1 {
				a.passes[i][b] = passes
			}
		}
	}
}

// of returns the bits of a kind.
func (a *announced) of(kind int) (set findingSet) {
	for bit := range findingBits {
		if kindOf(bit) == kind {
			set |= 1 << bit
		}
	}
	return set
}

// none begins a sample.
func (a *announced) none() {
	if a.now != 0 {
		a.now, a.shown = 0, false
	}
}

// write writes what has changed: nothing at nearly every sample.
func (a *announced) write(row channel.Row) {
	if a.shown {
		return
	}
	a.shown = true
	for bit := range findingBits {
		on := float64(a.now >> bit & 1)
		place := nan
		if a.corner[bit] > 0 {
			place = float64(a.corner[bit])
		}
		switch kind := kindOf(bit); kind {
		case kindLocking:
			w := channel.ID(bit - lockBit)
			row[channel.LockingFound+w], row[channel.LockingCorner+w] = on, place
		case kindWheelspin:
			axle := channel.ID(bit - spinBit)
			row[channel.WheelspinFoundFront+axle], row[channel.WheelspinCornerFront+axle] = on, place
		}
	}
	a.writeBalance(row, kindUndersteer, understeerBit, channel.UndersteerFound, channel.UndersteerCorner, channel.UndersteerPhase)
	a.writeBalance(row, kindOversteer, oversteerBit, channel.OversteerFound, channel.OversteerCorner, channel.OversteerPhase)
}

func (a *announced) writeBalance(row channel.Row, kind, first int, found, corner, phase channel.ID) {
	row[found] = 0
	for p := range phases {
		if a.now>>(first+p)&1 == 1 {
			row[found], row[corner], row[phase] = 1, float64(a.corner[first+p]), float64(p)
		}
	}
}

// A habit is something that happens at one place of the course lap after lap: passes of the place, and those of the latest OutOf in
// which it happened.
type habit struct {
	past   [OutOf]bool
	passes int
	told   int // the pass in which it was told last, 0 for never
}

// pass takes a pass in and tells whether it is news.
func (h *habit) pass(happened bool) bool {
	h.past[h.passes%OutOf] = happened
	h.passes++
	n := 0
	for _, p := range h.past {
		if p {
			n++
		}
	}
	if !happened || n < Repeats || h.told > 0 && h.passes-h.told < againAfter {
		return false
	}
	h.told = h.passes
	return true
}

// Common practice, no source.
const (
	limiterShare = 0.99 // of the limiter's speed: the cut makes the engine swing below it
	limiterGap   = 0.2  // s below that which are such a swing
	limiterHeld  = 0.5  // s on one straight
	kerbStrike   = 0.2  // s: what touches for longer is no kerb
	usualAfter   = 3    // passes of a corner that make its usual gear
	lowRunning   = 2    // laps running with a lower gear
)

// A gearPass is the lowest gear of a corner and the least speed in it.
type gearPass struct{ gear, slowest float64 }

// places follows what happens at places of the course besides the findings of corners: the limiter on the straight behind a corner, the
// floor or the stops in a corner or behind it, the lowest gear of a corner.
type places struct {
	limiterSpeed float64    // rad/s
	low, stop    [4]float64 // m: ride height and suspension travel

	last, here int // corner left last, corner the car is in
	onLimiter  float64
	below      float64 // s since the engine was there
	longest    float64 // s on this straight
	touching   float64
	touched    float64
	gear       float64 // lowest in this corner, with the clutch closed
	slowest    float64 // m/s, the least speed in it

	limiter  [mostCorners]habit
	bottom   [2 * mostCorners]habit // in the corner, behind it
	gears    [mostCorners][OutOf]gearPass
	gearsN   [mostCorners]int
	lowLaps  [mostCorners]int
	limFound struct {
		now          bool
		corner, time float64
	}
	botFound, gearFound struct {
		now    bool
		corner float64
	}
	gearUsed float64
}

func (p *places) init(c *car.Car) {
	p.limiterSpeed = c.Whole("limiter_speed")
	for w := range 4 {
		p.low[w], p.stop[w] = c.At("ride_height_low", channel.Wheel(w)), c.At("travel_stop", channel.Wheel(w))
	}
	p.limFound.corner, p.limFound.time, p.botFound.corner, p.gearFound.corner, p.gearUsed, p.gear, p.slowest = nan, nan, nan, nan, nan, nan, nan
}

func (p *places) stint() {
	*p = places{limiterSpeed: p.limiterSpeed, low: p.low, stop: p.stop, limFound: p.limFound, botFound: p.botFound, gearFound: p.gearFound, gearUsed: p.gearUsed, gear: nan, slowest: nan}
	p.limFound.now, p.botFound.now, p.gearFound.now = false, false, false
}

func (p *places) step(dt float64, braking bool, row channel.Row) {
	p.limFound.now, p.botFound.now, p.gearFound.now = false, false, false
	here, last := number(row[channel.CornerHere]), number(row[channel.CornerLast])
	if row[channel.InPitLane] == 1 || row[channel.PitLimiter] == 1 {
		here, last = 0, 0
	}
	if here != p.here || last != p.last {
		p.leave()
		p.here, p.last = here, last
	}
	if last == 0 && here == 0 {
		return
	}
	if row[channel.EngineSpeed] >= limiterShare*p.limiterSpeed && !braking {
		p.onLimiter, p.below = p.onLimiter+p.below+dt, 0
		p.longest = max(p.longest, p.onLimiter)
	} else if p.below += dt; p.below > limiterGap || braking {
		p.onLimiter, p.below = 0, 0
	}
	touches := false
	for w := range channel.ID(4) {
		touches = touches || row[channel.RideHeight+w] <= p.low[w] || row[channel.SuspensionTravel+w] >= p.stop[w]
	}
	if touches && row[channel.Speed] > slipFloor {
		p.touching += dt
		p.touched = max(p.touched, p.touching)
	} else {
		p.touching = 0
	}
	if g := row[channel.Gear]; here > 0 && g >= 1 && !(row[channel.Clutch] > 0.5) && !(g >= p.gear) {
		p.gear = g
	}
	if v := row[channel.Speed]; here > 0 && !(v >= p.slowest) {
		p.slowest = v
	}
}

func number(x float64) int {
	if x >= 1 && x <= mostCorners {
		return int(x)
	}
	return 0
}

// leave closes the corner or the straight that the car was on.
func (p *places) leave() {
	i, zone := p.here-1, p.here-1
	if p.here == 0 {
		i, zone = p.last-1, mostCorners+p.last-1
	}
	if i >= 0 {
		if p.limiterSpeed > 0 && p.here == 0 && p.limiter[i].pass(p.longest >= limiterHeld) {
			p.limFound.now, p.limFound.corner, p.limFound.time = true, float64(p.last), p.longest
		}
		if p.bottom[zone].pass(p.touched > kerbStrike) {
			p.botFound.now, p.botFound.corner = true, float64(i+1)
		}
		if p.here > 0 {
			p.lowestGear(i)
		}
	}
	p.onLimiter, p.below, p.longest, p.touching, p.touched, p.gear, p.slowest = 0, 0, 0, 0, 0, nan, nan
}

// lowestGear compares the lowest gear of a pass with that of the passes before, where they agree. A corner driven slower than in any of them
// needs the lower gear: at the edge between two gears half a per cent of speed decides, and no mistake.
func (p *places) lowestGear(i int) {
	if math.IsNaN(p.gear) {
		return
	}
	usual, slowest := p.usualGear(i)
	if p.gear < usual {
		if p.slowest < slowest {
			return // neither this nor that
		}
		p.lowLaps[i]++
		if p.lowLaps[i] == lowRunning {
			p.gearFound.now, p.gearFound.corner, p.gearUsed = true, float64(i+1), p.gear
		}
		return // what is not usual does not become so
	}
	p.lowLaps[i] = 0
	p.gears[i][p.gearsN[i]%OutOf] = gearPass{p.gear, p.slowest}
	p.gearsN[i]++
}

// usualGear is the gear that all of the latest passes had, and the least speed of any of them; NaN where they differ, or are too few.
func (p *places) usualGear(i int) (gear, slowest float64) {
	passes := p.gears[i][:min(p.gearsN[i], OutOf)]
	if len(passes) < usualAfter {
		return nan, nan
	}
	slowest = math.Inf(1)
	for _, pass := range passes {
		if pass.gear != passes[0].gear {
			return nan, nan
		}
		slowest = min(slowest, pass.slowest)
	}
	return passes[0].gear, slowest
}

func (p *places) write(row channel.Row) {
	flag := func(on bool) float64 {
		if on {
			return 1
		}
		return 0
	}
	row[channel.LimiterFound], row[channel.LimiterCorner], row[channel.LimiterTime] = flag(p.limFound.now), p.limFound.corner, p.limFound.time
	row[channel.BottomingFound], row[channel.BottomingCorner] = flag(p.botFound.now), p.botFound.corner
	row[channel.GearLowFound], row[channel.GearLowCorner], row[channel.GearLow] = flag(p.gearFound.now), p.gearFound.corner, p.gearUsed
}
