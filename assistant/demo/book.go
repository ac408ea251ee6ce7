package demo

import "math"

// A lapBook keeps the truth of each lap.
type lapBook struct {
	done    []Lap
	now     Lap
	time    float64 // s summed for the means
	carcass [4]float64
	press   [4]float64
	valid   bool
	begun   bool
	last    float64 // s: time of the last lap begun at the line, NaN before
	passes  []Pass  // of all laps; each Lap has a part of it
	first   int     // of them the first of this lap
}

func (b *lapBook) start(s *Sim) {
	b.done = make([]Lap, 0, s.o.Stint+3)
	b.last = math.NaN()
	b.passes = make([]Pass, 0, (s.o.Stint+3)*len(s.course.Corners))
	b.now = Lap{FuelLeft: s.fuel / s.car.Density}
}

// begin starts the out-lap when the car moves off.
func (b *lapBook) begin(t float64) {
	b.begun = true
	b.now.Start = t
}

// follow takes one step in.
func (b *lapBook) follow(s *Sim) {
	if s.mode != driving {
		return
	}
	n := &b.now
	b.time += s.dt
	for i := range 4 {
		n.DiscPeak[i] = max(n.DiscPeak[i], s.discs[i].T)
		b.carcass[i] += s.tyres[i].carcass.T * s.dt
		b.press[i] += s.tyres[i].pressure(airPressure) * s.dt
	}
	n.TopSpeed = max(n.TopSpeed, s.v)
	b.pass(s)
	s.onRoad = s.inLane(s.lap, s.d) || math.Abs(s.place.lateral) <= s.course.Width/2
	if !s.onRoad && b.valid {
		b.valid = false
		n.WhyInvalid = "off the course at corner " + s.course.Corners[s.course.part(s.d)-1].Name
	}
}

// pass follows the car through a corner.
func (b *lapBook) pass(s *Sim) {
	number := s.course.CornerAt(s.d)
	if number == 0 || s.lap > s.inLap() {
		return
	}
	if n := len(b.passes); n == b.first || b.passes[n-1].Number != number {
		b.passes = append(b.passes, Pass{Number: number, MinSpeed: s.v, EntrySpeed: s.v})
	}
	p := &b.passes[len(b.passes)-1]
	p.Time += s.dt
	p.MinSpeed, p.ExitSpeed = min(p.MinSpeed, s.v), s.v
}

// cross closes the lap at time t, before the Sim counts the next one.
func (b *lapBook) cross(s *Sim, t float64) {
	n := b.now
	n.Number, n.End, n.Time = s.lap, t, t-n.Start
	n.Valid, n.Class, n.Distance = b.valid, "flying", s.course.Length
	switch {
	case s.lap == 0:
		n.Class, n.Distance = "out", s.course.Length-s.course.box
	case s.lap == s.inLap() || s.stopsAfter(s.lap) != nil:
		n.Class = "in"
	case s.stopsAfter(s.lap-1) != nil:
		n.Class = "out"
	}
	if s.others.racing && s.finished == 0 || s.finished == s.lap {
		if len(s.others.cars) > 0 {
			n.Position, _, _, _ = s.others.gaps()
		}
	}
	n.Wet, n.Coolant, n.Oil, n.Compound = s.sky.wet, s.engine.coolant.T, s.engine.oil.T, s.car.Compound
	left := s.fuel / s.car.Density
	n.FuelUsed, n.FuelLeft = n.FuelLeft-left, left
	if p := s.stopsAfter(s.lap - 1); p != nil {
		n.FuelUsed += p.Fuel
	}
	for i := range 4 {
		t := &s.tyres[i]
		n.Tread[i], n.Carcass[i], n.Disc[i], n.Pressure[i], n.Wear[i] = t.tread.T, t.carcass.T, s.discs[i].T,
			t.pressure(airPressure), t.wear
		n.CarcassMean[i], n.PressureMean[i] = b.carcass[i]/b.time, b.press[i]/b.time
	}
	n.Corners = b.passes[b.first:len(b.passes):len(b.passes)]
	b.first = len(b.passes)
	if s.lap <= s.inLap() {
		b.done = append(b.done, n)
	}
	if s.lap > 0 {
		b.last = n.Time
	}
	b.now = Lap{Start: t, FuelLeft: left}
	b.time, b.carcass, b.press, b.valid = 0, [4]float64{}, [4]float64{}, true
}
