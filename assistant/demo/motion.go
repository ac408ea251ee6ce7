package demo

import (
	"math"

	"earshot/assistant/channel"
)

const (
	peakSlip = 0.07 // slip at the grip of a slick; 0.08 to 0.15 for the peak in Milliken and Milliken, ch. 2, from memory
	answer   = 0.06 // s: lag of the acceleration behind the driver's wish
	calm     = 0.10 // s: lag of the sideslip
	caught   = 1.25 // times the force that a wheel can carry, up to which the driver aids catch it
)

// drive is one step of the driver and the motion.
func (s *Sim) drive() {
	s.driver.keep(s)
	c, g := s.car, &s.grip
	s.place = s.at(s.lap, s.d)
	k := s.place.curvature
	s.pose = s.limits.take(g, s.driver.stiff, s.v, k, s.ax)
	s.shift()

	// Forces along the path, in N.
	q := 0.5 * g.density * s.v * s.v
	air := q * s.limits.drag
	var roll, slide float64
	for i, load := range s.pose.load {
		roll += c.Rolling * load
		slide += s.pose.side[i/2] * s.pose.alpha[i/2] / 2
	}
	resist := air + slide
	if s.v > 0 {
		resist += roll
	}
	ratio := c.Gears[s.gear] * c.FinalDrive / c.TyreRadius
	most := c.drive(s.v, s.gear)
	if s.fuel <= 0 {
		most = 0
	}
	drag := c.EngineDrag * ratio * min(1, s.v/5)
	stop := c.BrakeForce * (c.BrakeBias*(bite(s.discs[0].T)+bite(s.discs[1].T)) +
		(1-c.BrakeBias)*(bite(s.discs[2].T)+bite(s.discs[3].T))) / 2

	// The driver: what the plan wants a moment ahead, and back to its speed; the car answers with a lag.
	want, flat := s.driver.want(s)
	if flat {
		want = (most - resist) / g.mass
	}
	s.ax += (want - s.ax) * min(1, s.dt/answer)
	need := min(max(s.ax*g.mass+resist, -stop-drag), most)
	if s.driver.rolls(s) {
		need = -drag
	}
	s.ax = (need - resist) / g.mass
	var brake float64
	s.throttle, s.brake = 0, 0
	if need >= -drag {
		s.throttle = (need + drag) / (most + drag + 1)
	} else {
		brake = -need - drag
		s.brake = brake / stop
	}
	engine := need + brake // at the rear wheels; negative is the drag of the engine
	s.force = [2]float64{-brake * c.BrakeBias, engine - brake*(1-c.BrakeBias)}

	// Work over the mean speed of the step agrees exactly with the change of kinetic energy.
	before := s.v
	s.v = max(0, s.v+s.ax*s.dt)
	mean := (before + s.v) / 2
	s.turn(before, k)
	s.account(mean, engine, brake, air, roll)
	s.forward(before, mean*s.dt)

	s.revs = max(s.v*ratio, c.RevIdle)
	if s.gear == 0 && s.throttle > 0 {
		s.revs = max(s.revs, launch*c.PowerPeak*min(1, 3*s.throttle)) // the clutch slips
	}
	if s.v > 0.4 || s.moved == 0 {
		s.moved = s.t
	}
	if p := s.calling(); p != nil && s.v < 0.4 && s.d > s.course.box-1 {
		s.mode, s.until, s.taken = serving, s.t+p.seconds(), 0
		return
	}
	if s.lap > s.inLap() && s.v < 0.4 && s.d > s.course.box-1 || s.t-s.moved > 10 {
		s.mode, s.until = parked, s.t+standAfter // in the box, or out of fuel on the course
	}
}

// turn sets yaw and the speeds of the wheels for speed v on a path of curvature k.
func (s *Sim) turn(v, k float64) {
	c := s.car
	toward := s.pose.beta
	if v < 5 {
		toward = 0
	}
	rate := (toward - s.beta) / calm
	s.yawRate = v*k - rate // heading is the direction of travel minus sideslip
	s.beta += rate * s.dt

	sin, cos := math.Sincos(s.pose.delta)
	vx := v * math.Cos(s.beta)
	side := v*math.Sin(s.beta) + s.yawRate*(1-c.FrontShare)*c.Wheelbase // of the front axle
	for i := range 4 {
		out := c.Track[i/2] / 2 // m left of the middle
		if i%2 == 1 {
			out = -out
		}
		along := vx - s.yawRate*out
		if i < 2 {
			along = along*cos + side*sin
		}
		s.slide(channel.Wheel(i))
		s.wheel[i] = along * (1 + s.slip[i])
	}
}

// slide lets the slip of a wheel follow what it carries: linear up to the grip, then without hold unless an aid catches
// it.
func (s *Sim) slide(w channel.Wheel) {
	axle := int(w) / 2
	load := s.pose.load[2*axle] + s.pose.load[2*axle+1]
	used := min(s.pose.used[axle], 0.9)
	hold := s.limits.axleGrip(&s.grip, axle, s.v*s.v*math.Abs(s.place.curvature), load) * load * math.Sqrt(1-used*used)
	u := s.driver.overdo(s, w, s.force[axle]/hold) // negative when braking
	slip := peakSlip * max(-1, min(1, u))
	if past := math.Abs(u) - 1; past > 0 {
		most := 0.7
		if (u < 0 && s.abs > 0 || u > 0 && s.tc > 0) && math.Abs(u) <= caught {
			most = 0.04
		}
		slip += math.Copysign(min(most, 2.2*past), u)
	}
	s.slip[w] += (slip - s.slip[w]) * min(1, s.dt/0.04)
}

// shift changes gear at the limits of the engine, one at a time.
func (s *Sim) shift() {
	c := s.car
	if s.t-s.shifted < 0.18 {
		return
	}
	revs := func(g int) float64 { return s.v * c.Gears[g] * c.FinalDrive / c.TyreRadius }
	switch {
	case s.gear < 5 && revs(s.gear) > c.RevShift && s.brake == 0:
		s.gear++
		s.shifted = s.t
	case s.gear > 0 && revs(s.gear-1) < 0.9*c.RevShift && (s.brake > 0 || revs(s.gear) < 0.62*c.RevShift):
		s.gear--
		s.shifted = s.t
	}
}

// account adds up work and hands heat to where it arises; forces in N, v the mean speed of the step.
func (s *Sim) account(v, engine, brake, air, roll float64) {
	c, e, f := s.car, &s.energy, &s.flow
	e.air += air * v * s.dt
	e.roll += roll * v * s.dt
	for axle := range 2 {
		l, r := 2*axle, 2*axle+1
		slide := s.pose.side[axle] * s.pose.alpha[axle] * v
		along := s.force[axle] * (s.slip[l] + s.slip[r]) / 2 * v
		e.rub += (slide + along) * s.dt
		disc := brake * c.BrakeBias / 2
		if axle == 1 {
			disc = brake * (1 - c.BrakeBias) / 2
		}
		for i := l; i <= r; i++ {
			// Camber makes the inner wheel work on its edge: heat is shared less unevenly than load (no source).
			part := 0.5 + 0.6*(s.pose.load[i]/(s.pose.load[l]+s.pose.load[r])-0.5)
			f.rub[i] = part*slide + 0.5*along
			f.roll[i] = s.pose.load[i] * v
			f.stop[i] = disc * v * (1 + s.slip[i])
			e.disc += f.stop[i] * s.dt
		}
	}
	f.shaft = engine * v * (1 + (s.slip[2]+s.slip[3])/2)
	e.engine += f.shaft * s.dt
}

// warm moves heat for one step.
func (s *Sim) warm() {
	c, m := s.car, &compounds[s.car.Compound]
	for i := range 4 {
		t := &s.tyres[i]
		t.rollStep(m, max(0, s.flow.rub[i]), s.flow.roll[i], s.v, s.sky.air, s.sky.road, s.discs[i].T, s.sky.cooling(), s.dt)
		t.gas -= s.driver.leak[i] / 60 * s.dt / (t.carcass.T + kelvin)
		duct := c.DiscStill + c.DiscAir[i/2]*c.Ducts[i]*s.driver.duct[i]*s.v
		discStep(&s.discs[i], s.flow.stop[i], duct, s.sky.air, s.dt)
	}
}

// burn takes the fuel that the work of this step needs: the engine's own friction included, and at least what it idles
// on.
func (s *Sim) burn() {
	c, e := s.car, &s.energy
	const idle = 5e3 // W of indicated work
	gas := max(idle, s.flow.shaft/c.Driveline+0.5*c.EngineDrag*s.revs)
	if s.throttle == 0 && s.v > 5 {
		gas = 0 // cut off when the engine drags
	}
	m := min(s.fuel, gas*s.dt/c.Efficiency/heatFuel)
	s.fuel -= m
	s.flowRate = m / c.Density / s.dt
	s.engine.step(m*heatFuel/s.dt, s.v, s.sky.air, s.driver.blocked, s.dt)
	e.left += m * s.v * s.v / 2
	e.fuel += m * heatFuel
	e.indicated += gas * s.dt
}

// forward moves the car by so many metres of its path, over the line if need be.
func (s *Sim) forward(v, metres float64) {
	along := metres * s.place.stretch
	if left := s.course.Length - s.d; along >= left {
		// The crossing between two steps: uniform acceleration from v.
		x := left / s.place.stretch
		t := s.t + 2*x/(v+math.Sqrt(max(0, v*v+2*s.ax*x)))
		s.crossed(t)
		s.laps.cross(s, t)
		s.lap++
		s.driver.planned = false // what begins with the lap begins at the line
		s.d -= s.course.Length
	}
	s.d += along
	s.happen()
}
