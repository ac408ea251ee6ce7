package pace

import (
	"math"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/statistics"
)

// Common practice, no source, except where a comment names one.
const (
	kept     = 60    // laps of a stint that make its line
	recent   = 12    // latest laps that tell a late drop, which the line of a long stint hides
	enough   = 6     // laps before anything is told
	warmUp   = 2     // laps of a stint in which tyres that are not ready yet cost time; later they will not come
	normal95 = 1.96  // standard deviations of a 95 % interval
	petrol   = 0.745 // kg/L, within the 0.743 to 0.756 of the EU's E5 reference petrol, where the car file has none
	holdOn   = 0.8   // share of the limit below which a drop or a scatter is over
	goesOn   = 0.5   // share of the limit by which the latest laps must drop where only the stint is certain
	close    = 1.5   // s to the car ahead: the driver laps at its pace
	traffic  = 0.25  // share of a lap behind another car that makes it a lap in traffic
)

// Values of channel.Flag.
const (
	yellow  = 2
	caution = 3
	blue    = 5
)

// Values of channel.PaceFuel.
const (
	notTakenOut = iota
	fromCarFile
	estimated
)

// A lap is a valid flying lap.
type lap struct {
	age    float64 // laps that the tyres had when it ended
	time   float64 // s
	fuel   float64 // kg aboard when it ended, NaN where not known
	hemmed bool    // in traffic
}

// A Line is a straight line through lap times: the slope in s a lap with its 95 % interval, and the scatter about it in s.
type Line struct{ Slope, Low, High, Scatter float64 }

var unknown = Line{math.NaN(), math.NaN(), math.NaN(), math.NaN()}

// Fit draws the line through lap times (s) over tyre age (laps) by Theil and Sen. The scatter is the median absolute
// deviation, scaled to a standard deviation. A lap time that is NaN does not count.
func Fit(age, time []float64) Line {
	l := unknown
	l.Slope, l.Low, l.High = statistics.TheilSen(age, time, normal95)
	off := make([]float64, len(age))
	for i := range age {
		off[i] = time[i] - l.Slope*age[i]
	}
	l.Scatter = statistics.Normal * statistics.Deviation(off)
	return l
}

// Pace follows the stint. Make one with New.
type Pace struct {
	effect, density        float64
	dropLimit, unevenLimit float64

	laps     []lap // of the stint
	session  []lap // of the session on this compound, to learn what fuel costs
	compound float64
	age      float64 // laps completed in the stint
	dropped  float64 // laps completed since the pace has been dropping, NaN while it does not
	uneven   float64 // the same for the scatter

	at, span float64 // s: of the sample before, and of the lap so far
	behind   float64 // s of the lap behind another car
	slowed   bool    // by a flag in this lap
	cold     bool    // the tyres were not ready in all of this lap
}

// New returns a Pace for the car, whose fuel effect and limits are used.
func New(c *car.Car) *Pace {
	p := &Pace{
		effect: c.FuelEffect, density: c.FuelDensity, dropLimit: c.Whole("drop_off_limit"), unevenLimit: c.Whole("pace_scatter_limit"),
		laps: make([]lap, 0, kept), session: make([]lap, 0, kept), compound: math.NaN(), dropped: math.NaN(), uneven: math.NaN(), at: math.NaN(),
	}
	if math.IsNaN(p.density) {
		p.density = petrol
	}
	return p
}

// StintStart forgets the laps on the tyres before.
func (p *Pace) StintStart(row channel.Row) {
	if c := row[channel.Compound]; c != p.compound && !math.IsNaN(c) {
		p.compound, p.session = c, p.session[:0]
	}
	p.laps, p.age = p.laps[:0], 0
	p.dropped, p.uneven = math.NaN(), math.NaN()
	for id := channel.PaceLaps; id <= channel.PaceUnevenLaps; id++ {
		row[id] = math.NaN()
	}
}

// Step takes in the readings of one moment. at is in seconds.
func (p *Pace) Step(at float64, row channel.Row) {
	if dt := at - p.at; dt > 0 {
		p.span += dt
		gap := math.Abs(row[channel.GapAhead]) // 0 where nobody is ahead
		if gap > 0 && gap < close || row[channel.Flag] == blue {
			p.behind += dt
		}
	}
	p.at = at
	if row[channel.TyresReady] == 0 && p.age < warmUp {
		p.cold = true
	}
	if f := row[channel.Flag]; f == yellow || f == caution {
		p.slowed = true
	}
}

// LapDone takes in a completed lap; counts tells whether it was a valid flying lap timed from line to line. It writes the
// computed channels into row.
func (p *Pace) LapDone(counts bool, time float64, row channel.Row) {
	l := lap{age: p.age, time: time, fuel: row[channel.FuelLeft] * p.density, hemmed: p.behind > traffic*p.span}
	if math.IsNaN(l.fuel) {
		l.fuel = row[channel.FuelMass]
	}
	counts = counts && !p.slowed && !p.cold && time > 0
	p.age++
	p.span, p.behind, p.slowed, p.cold = 0, 0, false, false
	if counts {
		p.laps, p.session = add(p.laps, l), add(p.session, l)
	}
	effect, how := p.fuelEffect()
	stint, now := p.line(p.laps, effect), p.line(p.laps[max(0, len(p.laps)-recent):], effect)
	p.judge(stint, &now)
	p.write(stint, now, how, row)
}

func add(laps []lap, l lap) []lap {
	if len(laps) == kept {
		laps = laps[:copy(laps, laps[1:])]
	}
	return append(laps, l)
}

// fuelEffect is what a kg aboard costs, in s a lap: 0 where it is not known.
func (p *Pace) fuelEffect() (effect float64, how int) {
	for _, l := range p.laps {
		if math.IsNaN(l.fuel) {
			return 0, notTakenOut
		}
	}
	if !math.IsNaN(p.effect) {
		return p.effect, fromCarFile
	}
	if e, ok := estimate(p.session); ok {
		return e, estimated
	}
	return 0, notTakenOut
}

// line is NaN for too few laps. The scatter is that of the laps out of traffic.
func (p *Pace) line(laps []lap, effect float64) Line {
	if len(laps) < enough {
		return unknown
	}
	var age, time, free, freeTime []float64
	for _, l := range laps {
		t := l.time
		if effect != 0 {
			t -= effect * l.fuel
		}
		age, time = append(age, l.age), append(time, t)
		if !l.hemmed {
			free, freeTime = append(free, l.age), append(freeTime, t)
		}
	}
	line := Fit(age, time)
	line.Scatter = math.NaN()
	if len(free) >= enough {
		line.Scatter = Fit(free, freeTime).Scatter
	}
	return line
}

// judge tells whether the pace drops, over the stint or over the latest laps, and whether the laps are uneven. It leaves in
// now the line that tells the drop.
func (p *Pace) judge(stint Line, now *Line) {
	drops := func(l Line) bool { return l.Low > 0 && l.Slope > p.dropLimit }
	begins := drops(*now)
	if !begins && drops(stint) && now.Slope > goesOn*p.dropLimit { // else it has dropped and is steady now
		begins, now.Slope = true, stint.Slope
	}
	p.dropped = since(p.dropped, begins, now.Slope >= holdOn*p.dropLimit)
	share := now.Scatter / p.lapTime()
	p.uneven = since(p.uneven, share > p.unevenLimit, share >= holdOn*p.unevenLimit)
}

// since counts the laps of a state that begins and that goes on while it holds.
func since(laps float64, begins, holds bool) float64 {
	switch {
	case !math.IsNaN(laps) && (begins || holds):
		return laps + 1
	case begins:
		return 0
	}
	return math.NaN()
}

// lapTime is that of the latest laps.
func (p *Pace) lapTime() float64 {
	var time []float64
	for _, l := range p.laps[max(0, len(p.laps)-recent):] {
		time = append(time, l.time)
	}
	return statistics.Median(time)
}

func (p *Pace) write(stint, now Line, how int, row channel.Row) {
	row[channel.PaceLaps] = float64(len(p.laps))
	row[channel.PaceFuel] = float64(how)
	row[channel.PaceSlope], row[channel.PaceSlopeLow], row[channel.PaceSlopeHigh] = stint.Slope, stint.Low, stint.High
	row[channel.PaceLoss], row[channel.PaceLossLaps] = now.Slope, p.dropped
	if math.IsNaN(p.dropped) {
		row[channel.PaceLoss] = math.NaN()
	}
	row[channel.PaceScatter], row[channel.PaceUneven] = now.Scatter, now.Scatter/p.lapTime()
	row[channel.PaceUnevenLaps] = p.uneven
}
