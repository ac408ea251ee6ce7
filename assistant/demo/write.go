package demo

import (
	"math"
	"slices"

	"earshot/assistant/channel"
)

// A freeze is a channel that keeps its reading.
type freeze struct {
	id      channel.ID
	value   float64
	lastLap int
}

// Noise of the sensors, standard deviations.
const (
	noiseAccel = 0.15  // m/s²
	noiseYaw   = 0.002 // rad/s
	noiseSteer = 0.004 // rad at the hand wheel
	noiseWheel = 0.02  // m/s
)

// gives lists the channels of every session, those of one wheel only by the front left.
var gives = []channel.ID{
	channel.Speed, channel.EngineSpeed, channel.Gear, channel.Throttle, channel.Brake, channel.SteeringWheelAngle,
	channel.YawRate, channel.AccelerationLong, channel.AccelerationLat, channel.FuelVolume, channel.FuelFlow,
	channel.PositionX, channel.PositionY, channel.Heading, channel.LapNumber, channel.LapDistance, channel.LapTime,
	channel.LastLapTime, channel.LapValid, channel.OnCourse, channel.InPitLane, channel.PitLimiter, channel.SessionKind,
	channel.Flag, channel.ABSLevel, channel.TractionControl, channel.EngineMap, channel.BrakeBias, channel.Compound,
	channel.AirTemperature, channel.TrackTemperature, channel.AirPressure, channel.CoolantTemperature,
	channel.OilTemperature, channel.OilPressure,
}

var givesWheels = []channel.ID{
	channel.WheelSpeed, channel.TyreTemperature, channel.TyreCarcass, channel.TyrePressure, channel.TyreWear,
	channel.BrakeTemperature, channel.SuspensionTravel, channel.RideHeight,
}

// Gives lists the channels that this session has readings of, in the order of the catalogue.
func (s *Sim) Gives() []channel.ID {
	ids := slices.Clone(gives)
	for _, id := range givesWheels {
		ids = append(ids, id, id+1, id+2, id+3)
	}
	if s.o.Duration > 0 {
		ids = append(ids, channel.SessionTimeLeft)
	} else {
		ids = append(ids, channel.SessionLapsLeft)
	}
	if s.o.Rivals > 0 {
		ids = append(ids, channel.RacePosition, channel.GapAhead, channel.GapBehind)
		if s.o.Duration == 0 {
			ids = append(ids, channel.LeaderLapsLeft)
		}
	}
	slices.Sort(ids)
	return ids
}

// write puts the present readings into the row.
func (s *Sim) write(at float64) {
	r, c := s.row, s.car
	noise := func(of uint64, size float64) float64 {
		if s.mode != driving {
			return 0
		}
		return size * scatter(hash(s.o.Seed, uint64(s.step)<<8|of, 3))
	}
	r[channel.Speed] = s.v
	r[channel.EngineSpeed] = s.revs
	r[channel.Gear] = float64(s.gear + 1)
	if s.mode != driving {
		r[channel.Gear] = 0
	}
	r[channel.Throttle] = max(0, min(1, s.throttle))
	r[channel.Brake] = max(0, min(1, s.brake))
	r[channel.SteeringWheelAngle] = s.pose.delta*c.Steering + noise(1, noiseSteer)
	r[channel.YawRate] = s.yawRate + noise(2, noiseYaw)
	ay := s.v * s.v * s.place.curvature
	sin, cos := math.Sincos(s.beta)
	// Sensors turn with the car: its axes stand at the sideslip angle to the path.
	r[channel.AccelerationLong] = s.ax*cos + ay*sin + noise(3, noiseAccel)
	r[channel.AccelerationLat] = ay*cos - s.ax*sin + noise(4, noiseAccel)
	for i := range 4 {
		w := channel.ID(i)
		t := &s.tyres[i]
		r[channel.WheelSpeed+w] = s.wheel[i] + noise(8+uint64(i), noiseWheel)
		r[channel.TyreTemperature+w] = t.tread.T
		r[channel.TyreCarcass+w] = t.carcass.T
		r[channel.TyrePressure+w] = t.pressure(airPressure)
		r[channel.TyreWear+w] = t.wear
		r[channel.BrakeTemperature+w] = s.discs[i].T
		travel := s.travel(i)
		r[channel.SuspensionTravel+w], r[channel.RideHeight+w] = travel, max(0, rideHeight[i/2]-travel)
	}
	r[channel.FuelVolume] = s.fuel / c.Density
	r[channel.FuelFlow] = s.flowRate

	x, y := s.course.Position(s.d)
	dx, dy := math.Sincos(s.course.Heading(s.d))
	// left is a quarter turn from ahead
	r[channel.PositionX], r[channel.PositionY] = x-s.place.lateral*dx, y+s.place.lateral*dy
	r[channel.Heading] = s.place.heading - s.beta

	r[channel.LapNumber] = float64(s.lap)
	r[channel.LapDistance] = s.d
	r[channel.LapTime] = 0
	if s.laps.begun {
		r[channel.LapTime] = max(0, at-s.laps.now.Start)
	}
	r[channel.LastLapTime] = s.laps.last
	r[channel.LapValid] = flag(s.laps.valid)
	r[channel.OnCourse] = flag(s.onRoad)
	lane := s.inLane(s.lap, s.d)
	r[channel.InPitLane] = flag(lane)
	r[channel.PitLimiter] = flag(lane && s.v > 1)
	r[channel.SessionKind] = 3 // race
	s.writeRace(at, lane)
	r[channel.ABSLevel], r[channel.TractionControl], r[channel.EngineMap] = s.abs, s.tc, float64(c.Map)
	r[channel.BrakeBias] = c.BrakeBias
	r[channel.Compound] = float64(c.Compound)
	r[channel.AirTemperature], r[channel.TrackTemperature], r[channel.AirPressure] = s.sky.air, s.sky.road, airPressure
	r[channel.CoolantTemperature], r[channel.OilTemperature] = s.engine.coolant.T, s.engine.oil.T
	r[channel.OilPressure] = s.engine.pressure(s.revs, s.driver.oil)

	for i := range s.frozen {
		f := &s.frozen[i]
		if s.lap > f.lastLap {
			continue
		}
		if math.IsNaN(f.value) {
			f.value = r[f.id]
		}
		r[f.id] = f.value
	}
}

// rideHeight is the height at rest without air (common practice, no source).
var rideHeight = [2]float64{0.062, 0.078} // m

// travel is how far the spring of wheel i is pressed together beyond its state at rest, in m, bump positive; the car
// meets its stops where it would touch the road.
func (s *Sim) travel(i int) float64 {
	rest := s.car.share(i/2) * s.car.Mass * gravity / 2
	x := (s.pose.load[i] - rest) / s.car.Springs[i/2]
	for _, f := range s.o.Faults {
		if f.Kind != Bottoming || !f.in(s.lap) {
			continue
		}
		for _, t := range s.course.Corners {
			if f.at(s.lap, t.Number) {
				if u := (s.d - t.Apex) / 12; u > -1 && u < 1 {
					x += f.Amount * (1 - u*u) * (1 - u*u)
				}
			}
		}
	}
	return min(x, rideHeight[i/2])
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
