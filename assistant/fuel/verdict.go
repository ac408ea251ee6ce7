package fuel

import (
	"math"

	"earshot/assistant/channel"
)

// The verdicts on the fuel, in the order of the labels of channel.FuelState.
const (
	good     = iota // reaches the flag, beyond doubt
	marginal        // within the doubt
	short           // does not reach it, and saving can bring what is missing
	stop            // does not reach it, and saving cannot
)

var verdictNames = [...]string{"good", "marginal", "short", "stop"}

// Common practice, no source.
const (
	saveMost   = 0.08 // share of the burn at full pace that saving brings where the car file does not say
	stopLetGo  = 0.01 // share of the burn by which a need for a stop must have gone to be taken back
	onTarget   = 0.01 // share of the burn by which a lap may miss the target
	targetLaps = 2    // latest laps that are compared with the target
)

// verdict is the judgement at the line. It is kept through the lap, and left only where the margin has clearly gone the other way: a
// call that is taken back and made again within minutes is worth nothing.
type verdict struct {
	state  int
	known  bool
	laps   float64 // completed in this state
	target float64 // L a lap that reach the flag; NaN where nothing has to be saved
	over   float64 // L by which the latest laps missed the target, NaN where there is none
	missed [targetLaps]float64
	misses int
	again  bool // fuel came in: judge at the next sample
}

func (f *Fuel) marginAt(laps, burn float64) float64 {
	return (f.tankNow() - (laps+f.car.ReserveLaps)*burn - f.car.ReserveVolume) / burn
}

// marginFull is the margin in laps at full pace.
func (f *Fuel) marginFull() float64 { return f.marginAt(f.goal, f.driving.flatOut) }

// most is the share of the burn that saving can bring.
func (f *Fuel) most() float64 {
	if m := f.car.Whole("fuel_save_most"); m > 0 {
		return m
	}
	return saveMost
}

// judge makes up the verdict. Both ends of the laps to go count: fuel is short where even the fewest laps take more than is
// aboard, and good where even the most do not.
func (f *Fuel) judge(lapDone bool) {
	v := &f.verdict
	v.again = false
	doubt := f.scatterDoubt()
	least, most := f.marginAt(f.high, f.centre), f.marginAt(f.low, f.centre)
	if math.IsNaN(least+most+doubt) || f.goal == 0 {
		*v = verdict{target: nan, over: nan}
		return
	}
	next := marginal
	switch {
	case most < -doubt, v.known && v.state >= short && most < 0:
		next = short
	case least > doubt, v.known && v.state == good && least > 0:
		next = good
	}
	if next == short {
		need := f.driving.flatOut * (1 - f.most())
		can := f.reach(f.low)
		if f.carries() {
			need = 0 // what is missing is of the reserve
		}
		if can < need || v.state == stop && v.known && can < need*(1+stopLetGo) {
			next = stop
		}
	}
	switch {
	case !v.known || next != v.state:
		v.state, v.known, v.laps = next, true, 0
		if !lapDone {
			v.laps = -1 // fuel came in at the stop: what is said at the line comes with the next
		}
	case lapDone:
		v.laps++
	}
	f.aim()
}

// reach is the burn of a lap with which the tank reaches the flag after so many laps, reserve kept, in L.
func (f *Fuel) reach(laps float64) float64 {
	return (f.tankNow() - f.car.ReserveVolume) / (laps + f.car.ReserveLaps)
}

// carries tells whether the tank carries the car to the flag, with nothing left over.
func (f *Fuel) carries() bool { return f.tankNow()/f.centre >= f.goal }

// aim sets the target for the laps to come. A driver who saves as he should is no longer short at the pace that he drives: the target
// holds as long as full pace would not reach.
func (f *Fuel) aim() {
	v := &f.verdict
	saving := v.state == short || v.state != stop && !math.IsNaN(v.target) && f.marginFull() < 0
	if !saving {
		v.target, v.over, v.misses = nan, nan, 0
		return
	}
	v.target = f.reach(f.goal)
	if v.target < f.driving.flatOut*(1-f.most()) { // no saving brings what the reserve lacks in the last laps
		v.target, v.over, v.misses = nan, nan, 0
	}
}

// compare holds a flying lap against the target that was in force when it began.
func (f *Fuel) compare(used float64) {
	v := &f.verdict
	if math.IsNaN(v.target) || math.IsNaN(used) {
		return
	}
	v.missed[v.misses%targetLaps] = used - v.target
	v.misses++
	if v.misses < targetLaps {
		return
	}
	sum := 0.0
	for _, m := range v.missed {
		sum += m
	}
	v.over = sum / targetLaps
}

// boxLaps is in how many crossings from now at the latest the car has to come in: 0 is in this lap. NaN where that is not known,
// and where the tank carries the car to the flag.
func (f *Fuel) boxLaps() float64 {
	per := f.driving.flatOut
	if s := f.driving.scatter; s > 0 {
		per += confidence * s / math.Sqrt(float64(f.driving.now.n))
	}
	if f.goal == 0 || f.carries() {
		return nan
	}
	return math.Max(0, math.Floor((f.tankNow()-f.car.ReserveVolume)/per)-1)
}

// windowOpens is in how many laps a stop may come at the earliest, so that no further one is needed than the tank's size demands: 0 is at
// the end of this lap. NaN where no stop is needed, or the size of the tank is not known.
func (f *Fuel) windowOpens() float64 {
	if !f.verdict.known || f.verdict.state != stop || !(f.car.Tank > 0) {
		return nan
	}
	missing := (f.goal+f.car.ReserveLaps)*f.centre + f.car.ReserveVolume - f.tankNow()
	stops := math.Ceil(missing / f.car.Tank)
	after := (f.goal-1+f.car.ReserveLaps)*f.centre + f.car.ReserveVolume // from the end of this lap to the flag
	return math.Max(0, math.Ceil((after-stops*f.car.Tank)/f.centre))
}

func (f *Fuel) writeVerdict(row channel.Row) {
	v := &f.verdict
	row[channel.FuelPerLapFull] = f.driving.flatOut
	row[channel.FuelMarginFull] = f.marginFull()
	row[channel.FuelBoxLaps], row[channel.StopWindow] = f.boxLaps(), f.windowOpens()
	row[channel.FuelTarget], row[channel.FuelOverTarget] = v.target, v.over
	row[channel.FuelState], row[channel.FuelStateLaps] = nan, nan
	if v.known {
		row[channel.FuelState] = float64(v.state)
		if v.laps >= 0 {
			row[channel.FuelStateLaps] = v.laps
		}
	}
	row[channel.FuelSaving] = nan
	if !math.IsNaN(v.over) {
		row[channel.FuelSaving] = 0
		if v.over > onTarget*f.driving.flatOut {
			row[channel.FuelSaving] = 1
		}
	}
}
