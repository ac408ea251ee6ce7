package demo

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
)

// A Stop is a visit to the box at the end of a lap.
type Stop struct {
	Lap      int     `json:"lap"`      // the lap at whose end the car comes in
	Fuel     float64 `json:"fuel"`     // L to take on
	Tyres    bool    `json:"tyres"`    // fit new tyres, set to the cold pressures
	Compound int     `json:"compound"` // of the new tyres; 0 means the same
}

// Times of a stop (common practice, no source): fuel first, then the wheels.
const (
	refuelRate = 2.4  // L/s
	tyreTime   = 16.0 // s
	shortest   = 4.0  // s: even a drive-through halts
)

func (p *Stop) seconds() float64 {
	s := p.Fuel / refuelRate
	if p.Tyres {
		s += tyreTime
	}
	return max(shortest, s)
}

func validateStops(stops []Stop, laps int, timed bool, bad func(option, msg, hint string)) {
	for i, p := range stops {
		name := fmt.Sprintf("Stops[%d].", i)
		if p.Lap < 1 || !timed && p.Lap >= laps || i > 0 && p.Lap <= stops[i-1].Lap {
			bad(name+"Lap", fmt.Sprintf("a stop after lap %d", p.Lap), "use rising laps from 1 to the last but one of the stint")
		}
		if !(p.Fuel >= 0 && p.Fuel <= 200) {
			bad(name+"Fuel", fmt.Sprintf("%g litres", p.Fuel), "use 0 to 200")
		}
		if p.Compound < 0 || p.Compound >= len(compounds) {
			bad(name+"Compound", fmt.Sprintf("compound %d", p.Compound), "use 0 for the same, or 1 to 5")
		}
	}
}

// stopsAfter returns the stop at the end of that lap, or nil.
func (s *Sim) stopsAfter(lap int) *Stop {
	for i := range s.o.Stops {
		if s.o.Stops[i].Lap == lap {
			return &s.o.Stops[i]
		}
	}
	return nil
}

// calling returns the stop for which the car is on its way to the box, or nil.
func (s *Sim) calling() *Stop {
	if p := s.stopsAfter(s.lap - 1); p != nil && s.served != p.Lap {
		return p
	}
	return nil
}

// serve is one step of a stop; at its end the car leaves.
func (s *Sim) serve() {
	p := s.calling()
	s.fuel += min(refuelRate*s.dt, max(0, p.Fuel-s.taken)) * s.car.Density
	s.taken = min(p.Fuel, s.taken+refuelRate*s.dt)
	if s.t < s.until {
		return
	}
	if p.Tyres {
		if p.Compound != 0 {
			s.car.Compound = p.Compound
		}
		for i := range s.tyres {
			s.tyres[i] = newTyre(s.car.TyreSize[i/2], s.car.ColdPressure[i], airTemperature, airPressure)
			s.tyres[i].tread.T, s.tyres[i].carcass.T = s.sky.air, s.sky.air
		}
	}
	s.mode, s.served, s.moved = driving, p.Lap, s.t
	s.driver.planned = false
}

// cautionSpeed is the limit under a full-course caution: 80 km/h (common practice, no source).
const cautionSpeed = 80 / 3.6 // m/s

// crossed tells the race that the driver has completed a lap, at time t, before the next one is counted.
func (s *Sim) crossed(t float64) {
	if s.lap == 0 {
		s.started = t
		s.others.start()
		return
	}
	if s.finished != 0 || s.lap > s.o.Stint && s.o.Duration == 0 {
		return
	}
	position, _, _, _ := s.others.gaps()
	if s.o.Duration > 0 && position == 1 && s.timeLeft(t) < 0 || s.o.Duration == 0 && s.lap >= s.o.Laps {
		s.flagged = true
	}
	if s.flagged {
		s.finished = s.lap
	}
}

// raceOn moves the race on by one step.
func (s *Sim) raceOn() {
	if s.caution > 0 && s.t >= s.caution {
		s.caution, s.driver.planned = 0, false // and away
	}
	if !s.others.advance(s, s.dt) || s.flagged {
		return
	}
	_, _, _, laps := s.others.gaps()
	s.flagged = s.o.Duration > 0 && s.timeLeft(s.t) < 0 || s.o.Duration == 0 && laps >= float64(s.o.Laps)
}

// inLap is the lap at whose end the car comes in for good; where it is not known yet, one that is far off.
func (s *Sim) inLap() int {
	switch {
	case s.finished != 0:
		return s.finished + 1
	case s.o.Duration > 0:
		return math.MaxInt - 1
	}
	return s.o.Stint + 1
}

// timeLeft is what the clock of the race shows at t.
func (s *Sim) timeLeft(t float64) float64 {
	if math.IsNaN(s.started) {
		return s.o.Duration
	}
	return s.o.Duration - (t - s.started)
}

// lapsLeft is what the leader has still to do, the lap in progress included.
func (s *Sim) lapsLeft() float64 {
	done := float64(max(0, s.lap-1))
	if len(s.others.cars) > 0 {
		_, _, _, done = s.others.gaps()
	}
	if s.finished != 0 || s.flagged {
		return 0
	}
	return max(0, float64(s.o.Laps)-done)
}

// Values of channel.Flag.
const (
	flagNone = iota
	flagGreen
	flagYellow
	flagCaution
	_
	flagBlue
	_
	flagChequered
)

// shown is the flag that the marshals show the driver.
func (s *Sim) shown(lane bool) float64 {
	switch {
	case s.finished != 0:
		return flagChequered
	case s.t < s.caution:
		return flagCaution
	case lane:
		return flagNone
	case s.yellowAt(s.lap, s.driver.parts[min(int(s.d/s.course.gap), len(s.driver.parts)-1)]) > 0:
		return flagYellow
	case s.others.racing && s.others.blue():
		return flagBlue
	}
	return flagGreen
}

// yellowAt is the share of its speed that the driver takes off for a yellow flag in that part of that lap.
func (s *Sim) yellowAt(lap, part int) (share float64) {
	for _, f := range s.o.Faults {
		if f.Kind == Yellow && f.at(lap, part) {
			share = max(share, f.Amount)
		}
	}
	return share
}

// writeRace puts the readings of the race into the row.
func (s *Sim) writeRace(at float64, lane bool) {
	r := s.row
	if s.o.Duration > 0 {
		r[channel.SessionTimeLeft] = s.timeLeft(at)
	} else {
		r[channel.SessionLapsLeft] = s.lapsLeft()
	}
	r[channel.Flag] = s.shown(lane)
	if len(s.others.cars) == 0 {
		return
	}
	if s.others.racing {
		position, ahead, behind, _ := s.others.gaps()
		r[channel.RacePosition], r[channel.GapAhead], r[channel.GapBehind] = float64(position), ahead, behind
	}
	if s.o.Duration == 0 {
		r[channel.LeaderLapsLeft] = s.lapsLeft()
	}
}
