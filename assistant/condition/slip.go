package condition

import (
	"math"

	"earshot/assistant/car"
	"earshot/assistant/channel"
)

// Common practice, no source.
const (
	slipFloor     = 5.0  // m/s: below this slip is a quotient of two noises
	radiusFloor   = 10.0 // m/s
	radiusLateral = 2.5  // m/s²: beyond this the tyres slip sideways
	radiusLight   = 0.4  // throttle: beyond this the driven wheels slip
	radiusLong    = 1.5  // m/s²: beyond this they are driven or braked
	radiusHard    = 6.0  // m/s²: beyond this they spin
	radiusLeast   = 0.8  // of the readings of driven wheels lie below the ratio of those that slip least
	radiusSamples = 125  // 5 s
	radiusEvery   = 25   // samples between two looks at what was learned
)

// slip measures s = (ωR − v)/v (SAE J670: 0 rolls freely, −1 is locked) with the R of each axle learned on straights, off the
// brakes. Wheels that are not driven roll freely there whatever the throttle. Driven wheels do so at low throttle; a race may have little
// of that, and then those of their readings that slip least at any throttle have to do: a few percent, far from the fifth that is spinning.
type slip struct {
	light  [2]centre  // ground speed over wheel speed, by axle, at low throttle or undriven
	any    [2]centre  // the same at any throttle, of the wheels that slip least
	driven [2]bool    // the axle is, or may be
	factor [2]float64 // what is in force, NaN before
	half   [4]float64 // m from the middle of the car to the wheel, left positive; 0 where not known
	pick   cadence
	wheel  [4]float64
}

func (s *slip) init(c *car.Car) {
	s.driven = [2]bool{c.Driven != "rear", c.Driven != "front"}
	for axle := range 2 {
		s.light[axle], s.any[axle] = newCentre(0.5, 2, 3000), newQuantile(radiusLeast, 0.5, 2, 3000)
		s.factor[axle] = nan
	}
	for w := range 4 {
		s.wheel[w] = nan
		if half := c.TrackWidth[w] / 2; !math.IsNaN(half) {
			s.half[w] = half * float64(1-2*(w%2))
		}
	}
}

func (s *slip) relearn() {
	for axle := range 2 {
		s.light[axle].reset()
		s.any[axle].reset()
	}
}

func (s *slip) learn(throttle float64, m *motion, row channel.Row) {
	for axle := range 2 {
		left, right := row[channel.WheelSpeed+channel.ID(2*axle)], row[channel.WheelSpeed+channel.ID(2*axle+1)]
		ratio := 2 * m.speed / (left + right) // a missing wheel gives NaN, which no cell holds
		s.any[axle].add(ratio)
		if !s.driven[axle] || !(throttle > radiusLight) && math.Abs(m.long) < radiusLong {
			s.light[axle].add(ratio)
		}
		switch n := s.light[axle].n; {
		case n >= radiusSamples:
			if n%radiusEvery == 0 {
				s.factor[axle] = s.light[axle].value()
			}
		case s.any[axle].n >= radiusSamples && s.any[axle].n%radiusEvery == 0:
			s.factor[axle] = s.any[axle].value()
		}
	}
}

func (s *slip) step(at float64, m *motion, braking bool, row channel.Row) {
	if !braking && m.speed > radiusFloor && math.Abs(m.long) < radiusHard && !(math.Abs(m.lateral) > radiusLateral) && s.pick.due(at) {
		s.learn(row[channel.Throttle], m, row)
	}
	for w := range 4 {
		s.wheel[w] = nan
		if !(m.speed > slipFloor) {
			continue
		}
		ground := m.speed
		if s.half[w] != 0 && !math.IsNaN(m.yaw) {
			ground -= m.yaw * s.half[w] // in a left-hand bend the left wheel goes slower
		}
		if ground > slipFloor/2 {
			s.wheel[w] = row[channel.WheelSpeed+channel.ID(w)]*s.factor[w/2]/ground - 1
		}
	}
}

func (s *slip) write(row channel.Row) {
	for w := range 4 {
		row[channel.WheelSlip+channel.ID(w)] = s.wheel[w]
	}
}
