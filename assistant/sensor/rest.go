package sensor

import (
	"math"

	"earshot/assistant/channel"
)

// look takes stock of how long each sensor has stood still, dt seconds after the last look.
func (g *Guard) look(dt float64, held channel.Row) {
	v := held[channel.Speed]
	fastest := v
	for w := range channel.ID(4) { // the speed itself may be frozen
		if x := held[channel.WheelSpeed+w]; !(fastest >= x) && !math.IsNaN(x) {
			fastest = x
		}
	}
	if math.IsNaN(v) {
		v = fastest
	}
	g.moving = fastest > movingFrom && !(held[channel.InPitLane] == 1)
	for i := range g.sensors {
		s := &g.sensors[i]
		x := held[s.id]
		if s.sense.Stir == 0 || s.fault != None || math.IsNaN(x) {
			continue
		}
		if x != s.last {
			if d := math.Abs(x - s.last); !math.IsNaN(d) {
				s.step = min(s.step, d)
				if s.changes++; s.changes > 1 { // the rest before the first change says nothing
					s.longest = max(s.longest, s.rest)
					s.calm = max(s.calm, g.stirred(s))
				}
			}
			s.last = x
			s.rested()
			continue
		}
		for k, other := range s.kin {
			if other < 0 {
				continue
			}
			o := held[g.sensors[other].id]
			if math.IsNaN(s.ref[k]) {
				s.ref[k], s.count[k] = o, g.sensors[other].changes
			}
			if d := math.Abs(o - s.ref[k]); d > s.moved[k] {
				s.moved[k] = d
			}
		}
		if g.moving {
			s.rest += dt
		}
		if !math.IsNaN(v) {
			s.fast = max(s.fast, v)
			s.slowed = max(s.slowed, s.fast-v)
		}
		if g.moving && g.frozen(s) {
			g.fail(i, Frozen, x, s.rest)
		}
	}
}

// rested begins a rest.
func (s *sensor) rested() {
	s.rest, s.fast, s.slowed = 0, math.Inf(-1), 0
	s.ref = [4]float64{math.NaN(), math.NaN(), math.NaN(), math.NaN()}
	s.moved = [4]float64{}
}

// stirred is by how many of their Stirs at least two fellows have moved in this rest, or the only one.
func (g *Guard) stirred(s *sensor) float64 {
	first, second, n := 0.0, 0.0, 0
	for k, other := range s.kin {
		if other < 0 || !g.alive(other) {
			continue
		}
		n++
		if g.sensors[other].changes-s.count[k] < fewMoves {
			continue
		}
		x := s.moved[k] / g.sensors[other].sense.Stir
		first, second = max(first, x), max(second, min(first, x))
	}
	if n < 2 {
		return first
	}
	return second
}

// alive tells whether a sensor gives readings that are believed and not all the same.
func (g *Guard) alive(i int) bool {
	o := &g.sensors[i]
	return o.fault == None && o.changes > 0
}

// frozen judges a sensor that has stood still.
func (g *Guard) frozen(s *sensor) bool {
	if s.last == 0 && s.sense.NoZero { // a flat tyre, or a source that knows no place
		return false
	}
	if s.rest < s.sense.Frozen || s.rest < restFactor*s.longest || s.changes < fewChanges && s.rest < unknownFor {
		return false
	}
	if p := s.pair; p >= 0 { // a car may well go due east
		if o := &g.sensors[p]; !math.IsNaN(o.last) && o.fault != Frozen && o.rest < s.sense.Frozen {
			return false
		}
	}
	step, live := s.step, 0
	for k, other := range s.kin {
		if other >= 0 && g.alive(other) {
			if s.moved[k] > 0 {
				live++
			}
			if o := &g.sensors[other]; s.changes == 0 && o.sense == s.sense {
				step = min(step, o.step)
			}
		}
	}
	need := 1.0
	if !math.IsInf(step, 1) {
		need = max(need, fewSteps*step/s.sense.Stir)
	}
	if x := g.stirred(s); x >= need && x > restFactor*s.calm {
		return true
	}
	if !s.sense.Alone || s.slowed < worked {
		return false
	}
	if s.changes >= fewChanges && step <= finest*s.sense.Stir {
		return true
	}
	if live > 0 || s.rest < 2*restFactor*s.longest {
		return false
	}
	long := math.Inf(1)
	switch {
	case s.changes == 0:
		long = neverMoved
	case s.changes < fewChanges:
	case step <= fine*s.sense.Stir:
		long = fineAlone
	case step <= s.sense.Stir:
		long = coarseAlone
	}
	return s.rest >= long*s.sense.Frozen
}
