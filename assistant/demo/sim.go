package demo

import (
	"math"

	"earshot/assistant/channel"
)

const (
	standBefore = 6.0  // s in the pit lane before the car moves off
	standAfter  = 8.0  // s in the pit lane after the stint, or at the side of the course where the car has stopped
	laneSpeed   = 16.2 // m/s: the speed limit of the lane is 60 km/h
)

// A mode is what the driver is doing.
type mode int

const (
	waiting mode = iota // in front of the stint
	driving
	serving // in the box during it
	parked  // behind it
	over
)

// Sim is one session that is being driven. Next steps it; nothing else does.
type Sim struct {
	o      Options
	course *Course
	loaded float64 // L at the start
	car    *Car    // a copy of its own
	limits *limits
	driver driver
	row    channel.Row

	wander  wander
	swerves []swerve
	cues    []cue
	events  []event
	due     []Press
	pressed []Press

	// The clock counts inner steps, so that no rounding adds up.
	step, perSample int
	dt, t           float64
	mode            mode
	until           float64 // end of waiting and parked
	moved           float64 // s: when the car moved last

	// Motion.
	lap      int     // 0 in the out-lap
	d        float64 // m from the line
	v, ax    float64
	gear     int // from 0
	shifted  float64
	place    place
	pose     pose
	beta     float64 // lags pose.beta
	yawRate  float64
	throttle float64
	brake    float64
	force    [2]float64 // N of the tyres along the car, front and rear
	slip     [4]float64
	wheel    [4]float64 // m/s
	revs     float64

	// Condition.
	fuel     float64 // kg
	flowRate float64 // L/s
	tyres    [4]tyre
	discs    [4]body
	grip     grip
	flow     flow
	abs      float64
	tc       float64
	onRoad   bool

	energy energy
	laps   lapBook
	frozen []freeze
	sky    sky
	engine engine

	// The race.
	others   field
	started  float64 // s: when the driver crossed the line for the first time, NaN before
	flagged  bool    // the leader has finished
	finished int     // the lap with which the driver finished, 0 before
	caution  float64 // s: until when a full-course caution lasts
	served   int     // Lap of the last stop that is over
	taken    float64 // L taken on in this stop
	silent   float64 // s: no samples before
}

// flow is the power in W of one step, from where it arises to where it becomes heat.
type flow struct {
	rub, stop, roll [4]float64 // friction of the tyre, brake disc, load times speed
	shaft           float64    // of the engine at the driven wheels
}

// energy adds up the work of everything in J, so that a test can close the balance.
type energy struct {
	engine, disc, air, roll, rub float64 // at the wheels
	left                         float64 // kinetic energy of the fuel that was burnt
	fuel, indicated              float64 // heat of the fuel burnt, work of the gas in the engine
}

// New prepares a session. Readings go into a Row of set. The error joins one *OptionError for each option that cannot
// be used.
func New(set *channel.Set, o Options) (*Sim, error) {
	o, course, err := o.settle(set)
	if err != nil {
		return nil, err
	}
	car := *o.Car
	s := &Sim{o: o, course: course, car: &car, row: set.NewRow(), mode: waiting, until: standBefore, d: course.box}
	s.perSample = int(math.Ceil(stepRate/o.Rate - 1e-9))
	s.dt = 1 / (o.Rate * float64(s.perSample))
	s.limits = newLimits(course, &car)
	s.sky.begin(o.Seed)
	s.engine.begin()
	s.started = math.NaN()
	for i := range s.wander.phase {
		s.wander.phase[i] = 2 * math.Pi * unit(hash(o.Seed, 11, uint64(i)))
	}
	for i := range s.tyres {
		s.tyres[i] = newTyre(car.TyreSize[i/2], car.ColdPressure[i], airTemperature, airPressure)
		s.discs[i] = body{airTemperature, car.DiscMass[i/2] * car.DiscHeat}
	}
	s.revs = car.RevIdle
	s.abs, s.tc, s.onRoad = float64(car.ABS), float64(car.TC), true
	s.grip.density = airPressure * 1000 / gasAir / (s.sky.air + kelvin)
	if s.loaded = o.Fuel; s.loaded == 0 {
		s.loaded = s.believed()
	}
	s.fuel = s.loaded * car.Density
	s.others.begin(s)
	s.laps.valid = true
	s.laps.start(s)
	s.arm(set)
	s.driver.prepare(s)
	s.place = s.at(0, s.d)
	s.refresh()
	return s, nil
}

// storyLoad is how many laps' fuel beyond the race the driver of the Story takes.
const storyLoad = 1.7

// believed is the load in L that the driver computes before the race, from the burn of an ideal lap.
func (s *Sim) believed() float64 {
	g := s.grip
	g.mass, g.mu = s.car.Mass+40, [2]float64{s.car.Grip * 0.95, s.car.Grip * 0.95}
	p := s.limits.profile(&g)
	perLap := (p.work/s.car.Driveline/s.car.Efficiency + 0.16*p.work) / heatFuel / s.car.Density
	laps := float64(s.o.Laps) + 3
	if s.o.Story {
		laps = float64(s.o.Laps) + storyLoad // the out-lap burns most of one lap, and one is to be left over
	}
	return max(3, laps*perLap)
}

// refresh computes what depends on the condition of tyres and fuel.
func (s *Sim) refresh() {
	m := &compounds[s.car.Compound]
	s.grip.mass = s.car.Mass + s.fuel
	s.grip.density = airPressure * 1000 / gasAir / (s.sky.air + kelvin)
	for axle := range 2 {
		l, r := 2*axle, 2*axle+1
		wl, wr := s.pose.load[l]+1, s.pose.load[r]+1
		s.grip.mu[axle] = s.sky.grip(s.car.Compound) * s.car.Grip * (wl*s.tyres[l].grip(m, airPressure) +
			wr*s.tyres[r].grip(m, airPressure)) / (wl + wr)
	}
}

// Next returns the next sample. Its Row belongs to the Sim and holds until the next call. It returns false when the car
// has stood in its box after the stint for a while, and from then on.
func (s *Sim) Next() (channel.Sample, bool) {
	for s.mode != over {
		at := s.t
		s.write(at)
		quiet := at < s.silent
		for range s.perSample {
			s.advance()
		}
		if !quiet {
			return channel.Sample{At: at, Row: s.row}, true
		}
	}
	return channel.Sample{}, false
}

// Presses returns what the driver has pressed since the last call, in order. The slice holds until the next call of
// Next.
func (s *Sim) Presses() []Press {
	if len(s.due) == 0 {
		return nil
	}
	p := s.due
	s.due = s.due[:0]
	return p
}

// Truth tells what the session has been so far.
func (s *Sim) Truth() Truth {
	return Truth{
		Version: Version, Seed: s.o.Seed, Course: s.course, Car: *s.car, Rate: s.o.Rate, Laps: s.o.Laps, Stint: s.o.Stint,
		Duration: s.o.Duration, Rivals: s.o.Rivals, Finished: s.finished, Stops: s.o.Stops, Weather: s.o.Weather,
		Fuel: s.loaded, Box: s.course.box, Faults: append([]Fault(nil), s.o.Faults...),
		Presses: append([]Press(nil), s.pressed...), Done: append([]Lap(nil), s.laps.done...),
		Gradient: s.car.Gradient(s.car.Mass + s.fuel),
	}
}

// advance moves everything on by one inner step.
func (s *Sim) advance() {
	s.step++
	switch s.mode {
	case waiting:
		if s.t >= s.until {
			s.mode = driving
			s.laps.begin(s.t)
		}
	case serving:
		s.serve()
	case parked:
		if s.t >= s.until {
			s.mode = over
		}
	}
	if s.mode == driving {
		s.drive()
	} else {
		s.v, s.ax, s.throttle, s.brake, s.yawRate, s.gear = 0, 0, 0, 0, 0, 0
		s.force, s.slip, s.wheel, s.revs = [2]float64{}, [4]float64{}, [4]float64{}, s.car.RevIdle
		s.flow, s.pose, s.beta = flow{}, s.limits.take(&s.grip, s.driver.stiff, 0, 0, 0), 0
	}
	s.sky.advance(&s.o.Weather, s.t, s.dt)
	s.raceOn()
	s.warm()
	s.burn()
	s.refresh()
	s.laps.follow(s)
	s.t = float64(s.step) / (s.o.Rate * float64(s.perSample))
}
