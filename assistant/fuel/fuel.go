package fuel

import (
	"math"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/journal"
)

// The kinds of lap that have accounts apart. Out, flying, in and slow are the classes of the journal; a lap in which
// the feed showed a yellow flag or a full-course caution is yellow whatever else it was.
const (
	Flying = "flying"
	Out    = "out"
	In     = "in"
	Slow   = "slow"
	Yellow = "yellow"
)

var classes = [...]string{Flying, Out, In, Slow, Yellow}

// Common practice, no source.
const (
	kept       = 20   // laps of a kind that make its figure: older ones are of another pace and another tank
	lineTau    = 5.0  // s: some bends long
	sloshTau   = 1.0  // s: the reading of a tank swings in every bend
	stepUp     = 1.0  // L: a reading that rises so far while the car stands is a refuel
	hoseOut    = 0.01 // L/s: a slower rise is the end of it
	jump       = 5.0  // L from one sample to the next: the tank was set, not filled
	standing   = 2.0  // m/s
	longestGap = 1.0  // s without flow, beyond which the integral of a lap has a hole
	enough     = 3    // laps before a spread means anything
	confidence = 2.0  // standard deviations that doubt covers
	finished   = 7    // value of channel.Flag for chequered
	yellowFlag = 2    // value of channel.Flag
	caution    = 3    // value of channel.Flag, full-course caution
	leastPace  = 3e-3 // share of the lap time by which a pace is never known better: tyres, fuel and traffic to come are not
	recent     = 6    // latest flying laps that make the pace
)

// Fuel is the account of the tank. Make one with New.
type Fuel struct {
	car   *car.Car
	extra float64

	at    float64
	begun bool

	raw       float64 // L aboard as the feed has it, NaN where it has no tank
	calm      float64 // without slosh
	slow      float64 // the same, and slower: what is read at the line must not depend on the last bend
	slower    float64
	gainsFor  float64 // s: the interval that the gains of the three are for
	gains     [3]float64
	stood     float64   // since when the car stands, NaN while it moves
	lowest    float64   // calm, since the car stands
	rising    bool      // a refuel is going on
	atLine    float64   // L at the last crossing, plus what was added since; NaN before
	refuelled bool      // in this lap
	flow      float64   // L by flow since the line
	hole      bool      // the flow since the line is incomplete
	flowing   bool      // the feed has a flow
	flowAt    float64   // when flow was read last
	yellow    bool      // shown in this lap
	line      float64   // time of the last crossing, NaN before
	after     float64   // crossings since the clock ran out
	over      bool      // the flag has fallen for this car
	written   [4]uint64 // what the channels written last depend on, in bits: unknown equals unknown
	stale     bool      // something else has changed besides
	behind    bool      // another car leads

	burn    [len(classes)]laps // of each class, in L
	driving driving            // flying laps, by how hard the car is driven
	pace    laps               // s, flying laps
	verdict verdict

	centre, spread  float64 // of flying laps as driven now
	paceS, paceDev  float64
	low, high, goal float64 // laps to go
}

// New returns an empty account for the car. Its density, tank and reserve are used.
func New(c *car.Car) *Fuel {
	f := &Fuel{car: c, stale: true}
	f.raw, f.calm, f.lowest, f.atLine, f.line = nan, nan, nan, nan, nan
	f.slow, f.slower = nan, nan
	f.centre, f.spread, f.paceS, f.paceDev = nan, nan, nan, nan
	f.low, f.high, f.goal = nan, nan, nan
	f.flowAt, f.stood = nan, nan
	f.driving = newDriving()
	f.verdict.target, f.verdict.over = nan, nan
	return f
}

// Extra sets the laps that the rules of the race add after the clock has reached zero: 0 where the
// flag falls at the first crossing after that, 1 for "time plus one lap".
func (f *Fuel) Extra(laps int) { f.extra = float64(max(laps, 0)) }

// Step takes in the readings of one moment and writes the computed fuel channels into row. at is in seconds.
func (f *Fuel) Step(at float64, row channel.Row) {
	dt := 0.0
	if f.begun && at > f.at {
		dt = at - f.at
	}
	f.at, f.begun = at, true
	f.tank(at, dt, row)
	f.integrate(at, dt, row)
	if flag := row[channel.Flag]; flag == yellowFlag || flag == caution {
		f.yellow = true
	}
	f.toGo(at, row)
	if f.verdict.again && !f.rising {
		f.judge(false)
		f.stale = true
	}
	f.write(row)
}

// tank follows the reading of the tank. Fuel comes in either in one jump, as when a session is set up anew, or
// steadily while the car stands; what looks like it while the car moves is slosh.
func (f *Fuel) tank(at, dt float64, row channel.Row) {
	before := f.raw
	f.raw = row[channel.FuelVolume]
	if math.IsNaN(f.raw) {
		f.raw = row[channel.FuelMass] / f.car.FuelDensity
	}
	if math.IsNaN(f.raw) {
		return // the calm reading is kept for when the tank is heard of again
	}
	if math.IsNaN(f.calm) {
		f.calm, f.lowest, f.slow, f.slower = f.raw, f.raw, f.raw, f.raw
		return
	}
	if math.IsNaN(before) {
		before = f.calm // the tank was not heard of for a while
	}
	if math.Abs(f.raw-before) > jump {
		f.atLine += f.raw - f.calm
		f.calm, f.lowest, f.slow, f.slower = f.raw, f.raw, f.raw, f.raw
		f.refuelled, f.rising, f.verdict.again = true, false, true
		return
	}
	last := f.calm
	if dt != f.gainsFor { // a feed's interval seldom changes
		f.gainsFor, f.gains = dt, [3]float64{1 - math.Exp(-dt/sloshTau), 1 - math.Exp(-dt/lineTau), 1 - math.Exp(-dt/(2*lineTau))}
	}
	f.calm += (f.raw - f.calm) * f.gains[0]
	f.slow += (f.raw - f.slow) * f.gains[1]
	f.slower += (f.raw - f.slower) * f.gains[2]

	if !(row[channel.Speed] < standing) {
		f.stood = nan
	} else if math.IsNaN(f.stood) {
		f.stood = at
	}
	still := at-f.stood >= sloshTau
	switch {
	case f.rising && (!still || dt > 0 && f.calm-last < hoseOut*dt):
		f.rising = false
		f.atLine += f.calm - f.lowest
		f.lowest = f.calm
	case f.rising:
	case still && f.calm > f.lowest+stepUp:
		f.rising, f.refuelled, f.verdict.again = true, true, true
	case still:
		f.lowest = min(f.lowest, f.calm)
	}
	if !still {
		f.lowest = f.calm
	} else {
		f.slow, f.slower = f.calm, f.calm
	}
}

// integrate follows the flow.
func (f *Fuel) integrate(at, dt float64, row channel.Row) {
	x := row[channel.FuelFlow]
	if math.IsNaN(x) {
		return
	}
	if f.flowing && at-f.flowAt > longestGap {
		f.hole = true
	} else {
		f.flow += x * dt
	}
	f.flowing, f.flowAt = true, at
}

// FirstLap begins the first lap at the line, so that its burn is known when it ends.
func (f *Fuel) FirstLap() { f.atTheLine() }

// lineTank is the reading at the line. A lag of a steady fall is behind by its time constant, and one of twice that by twice as much: their
// difference takes that out.
func (f *Fuel) lineTank() float64 { return 2*f.slow - f.slower }

// atTheLine begins a lap's account.
func (f *Fuel) atTheLine() {
	f.line = f.at
	f.atLine, f.lowest = f.lineTank(), f.calm
	if math.IsNaN(f.raw) {
		f.atLine = nan
	}
	f.refuelled, f.rising = false, false
	f.flow, f.hole = 0, false
	f.yellow = false
}

// LapDone closes the lap that has just been completed at the line: its class is that of the journal, its time in
// seconds (NaN where not known). It returns the litres burnt in it, NaN where the lap had
// no beginning, was refuelled or was not measured, and writes the account into row.
func (f *Fuel) LapDone(class string, time float64, row channel.Row) (used float64) {
	used = nan
	started := !math.IsNaN(f.line)
	switch {
	case !started:
	case !math.IsNaN(f.raw) && !math.IsNaN(f.atLine):
		if !f.refuelled {
			used = f.atLine - f.lineTank()
		}
	case f.flowing && !f.hole && f.at-f.flowAt <= longestGap:
		used = f.flow
	}
	if used < 0 {
		used = nan
	}
	if f.yellow {
		class = Yellow
	}
	for i, c := range classes {
		if c == class {
			f.burn[i].add(used)
		}
	}
	if class == Flying {
		f.pace.add(time)
		f.driving.add(used)
		f.compare(used)
	}
	f.centre, f.spread = f.driving.burn, f.driving.now.spread()
	f.paceS, f.paceDev = f.pace.latest(recent), f.pace.spread()
	if row[channel.SessionTimeLeft] < 0 {
		f.after++
	}
	last := f.extra
	if f.behind {
		last++ // the leader may take the flag after this car's first crossing
	}
	if row[channel.Flag] == finished || row[channel.SessionLapsLeft] == 0 || f.after > last {
		f.over = true
	}
	f.atTheLine()
	f.toGo(f.at, row)
	f.judge(true)
	f.stale = true
	f.write(row)
	return used
}

// PerLap returns centre and spread of what laps of a class burn, in L: the Hodges–Lehmann centre and the scaled
// median absolute deviation of up to twenty laps. NaN where the class has no lap, or too few for a spread.
func (f *Fuel) PerLap(class string) (centre, spread float64) {
	for i, c := range classes {
		if c == class {
			return f.burn[i].centre(), f.burn[i].spread()
		}
	}
	return nan, nan
}

// FlyingLaps is how many flying laps have taught what a lap burns.
func (f *Fuel) FlyingLaps() int { return f.burn[0].n }

// ToGo returns both ends of the number of line crossings that are still to come, the lap in progress included, from the
// slowest and the fastest pace that the driver's laps allow. They are equal where the feed counts laps.
func (f *Fuel) ToGo() (low, high float64) { return f.low, f.high }

// Account returns the account for the journal.
func (f *Fuel) Account() *journal.Fuel {
	a := &journal.Fuel{
		PerLap: journal.Num(f.centre), Spread: journal.Num(f.spread), Left: journal.Num(f.left()),
		LapsLeft: journal.Num(f.left() / f.centre), LapsToGo: journal.Num(f.goal), Margin: journal.Num(f.margin()),
		Doubt: journal.Num(f.doubt()), PerLapFull: journal.Num(f.driving.flatOut), MarginFull: journal.Num(f.marginFull()),
		Target: journal.Num(f.verdict.target), BoxLaps: journal.Num(f.boxLaps()),
	}
	if f.verdict.known {
		a.State = verdictNames[f.verdict.state]
	}
	return a
}

// left is what is aboard now, without slosh.
func (f *Fuel) left() float64 {
	if math.IsNaN(f.raw) {
		return nan
	}
	return f.calm
}

// tankNow is what was aboard at the line and has been added since: with whole laps to go it gives a
// margin that stays put through a lap.
func (f *Fuel) tankNow() float64 {
	switch {
	case math.IsNaN(f.raw):
		return nan
	case f.rising && !math.IsNaN(f.atLine):
		return f.atLine + f.calm - f.lowest
	case !math.IsNaN(f.atLine):
		return f.atLine
	}
	return f.calm
}

// need is the volume from the line to the flag with the reserve.
func (f *Fuel) need() float64 {
	return (f.goal+f.car.ReserveLaps)*f.centre + f.car.ReserveVolume
}

func (f *Fuel) margin() float64 { return (f.tankNow() - f.need()) / f.centre }

// doubt is how wrong the margin may be, by the scatter of the laps and by the number of laps to go.
func (f *Fuel) doubt() float64 {
	return f.scatterDoubt() + max(f.high-f.goal, f.goal-f.low)
}

// scatterDoubt is how wrong the margin may be for a known number of laps to go: the figure of a lap is known to scatter/√n, and each lap to
// come differs by the scatter of its own.
func (f *Fuel) scatterDoubt() float64 {
	relative := f.driving.scatter / f.centre
	carries := (f.tankNow() - f.car.ReserveVolume) / f.centre
	known := carries * relative / math.Sqrt(float64(f.driving.now.n))
	own := relative * math.Sqrt(f.goal)
	n := float64(f.driving.now.n)
	return confidence * (1 + 2/n) * math.Hypot(known, own) // Student's t for few laps, near enough
}

func (f *Fuel) write(row channel.Row) {
	row[channel.FuelLeft] = f.left()
	row[channel.FuelLapsLeft] = f.left() / f.centre
	was := f.written
	f.written = [4]uint64{math.Float64bits(f.goal), math.Float64bits(f.low), math.Float64bits(f.high), math.Float64bits(f.tankNow())}
	if f.written == was && !f.stale {
		return // all else changes with these, at the line or with a verdict
	}
	f.stale = false
	row[channel.FuelPerLap] = f.centre
	row[channel.FuelSpread] = f.spread
	row[channel.LapsToGo] = f.goal
	margin := f.margin()
	row[channel.FuelMargin] = margin
	row[channel.FuelDoubt] = f.doubt()
	short := max(0, -margin*f.centre)
	row[channel.FuelToAdd] = short
	row[channel.FuelSave] = short
	if short != 0 {
		row[channel.FuelSave] = short / f.goal
	}
	if f.goal == 0 {
		row[channel.FuelSave] = nan // nothing is left to save on
	}
	f.writeVerdict(row)
}
