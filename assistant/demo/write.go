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
	channel.Speed, channel.EngineSpeed, channel.Gear, channel.Throttle, channel.Brake, channel.SteeringWheelAngle, channel.YawRate,
	channel.AccelerationLong, channel.AccelerationLat, channel.FuelVolume, channel.FuelFlow, channel.PositionX, channel.PositionY, channel.Heading,
	channel.LapNumber, channel.LapDistance, channel.LapTime, channel.LastLapTime, channel.LapValid, channel.OnCourse, channel.InPitLane, channel.PitLimiter,
	channel.SessionKind, channel.SessionLapsLeft, channel.Flag, channel.ABSLevel, channel.TractionControl, channel.EngineMap, channel.BrakeBias,
	channel.Compound, channel.AirTemperature, channel.TrackTemperature, channel.AirPressure,
}

var givesWheels = []channel.ID{
	channel.WheelSpeed, channel.TyreTemperature, channel.TyreCarcass, channel.TyrePressure, channel.TyreWear, channel.BrakeTemperature,
}

// Gives lists the channels that this session has readings of, in the order of the catalogue.
func (s *Sim) Gives() []channel.ID {
	ids := slices.Clone(gives)
	for _, id := range givesWheels {
		ids = append(ids, id, id+1, id+2, id+3)
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
	}
	r[channel.FuelVolume] = s.fuel / c.Density
	r[channel.FuelFlow] = s.flowRate

	x, y := s.course.Position(s.d)
	dx, dy := math.Sincos(s.course.Heading(s.d))
	r[channel.PositionX], r[channel.PositionY] = x-s.place.lateral*dx, y+s.place.lateral*dy // left is a quarter turn from ahead
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
	r[channel.SessionLapsLeft] = float64(max(0, s.o.Laps-max(0, s.lap-1)))
	r[channel.Flag] = flag(!lane) // green on the course, none in the lane
	r[channel.ABSLevel], r[channel.TractionControl], r[channel.EngineMap] = s.abs, s.tc, float64(c.Map)
	r[channel.BrakeBias] = c.BrakeBias
	r[channel.Compound] = float64(c.Compound)
	r[channel.AirTemperature], r[channel.TrackTemperature], r[channel.AirPressure] = airTemperature, roadTemperature, airPressure

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

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
