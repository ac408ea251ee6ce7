package probe

import (
	"math"

	"earshot/assistant/channel"
)

const (
	span    = 0.25 // s of a window
	keptObs = 4096
)

// What an observation holds: the readings of one window, and what the windows around it say of change.
const (
	oSpeed     = iota // m/s
	oWheels           // m/s: middle of the wheels
	oWay              // m/s: from position to position
	oLap              // m/s: of lap_distance
	oYaw              // rad/s
	oTurn             // rad/s: of heading, unwrapped at a full turn in rad
	oTurnDeg          // the same unwrapped at 360, for degrees taken for radians
	oTurnRad          // the same unwrapped at 2π·π/180, for radians taken for degrees
	oCourse           // rad/s: of the way's direction
	oDirection        // rad: of the way
	oHeading          // rad
	oLong             // m/s²
	oLat              // m/s²
	oVert             // m/s²
	oLeftRight        // m/s: right wheels minus left wheels
	oSteer            // rad
	oRoad             // rad
	oLapTime          // s/s
	oSpeedRate        // m/s²: of speed, from the windows around
	oWheelRate        // m/s²
	oWayRate          // m/s²
	oWheel            // m/s: of each wheel
	oCount     = oWheel + 4
)

// An observation belongs to one window.
type observation [oCount]float64

// windows gathers samples into windows and windows into observations.
type windows struct {
	covers []channel.ID
	cols   map[channel.ID]int
	local  bool // position_x and _y are there
	globe  bool // latitude and longitude

	sum    []float64
	num    []int
	held   []float64
	heldAt []float64 // s: when held was taken
	from   float64
	open   bool

	px, py, pt  float64 // the last position that changed, m, s
	lapD, lapDT float64 // the last lap_distance that changed
	past        [3]window
	full        int

	obs thinned[observation]
}

// window is the end of a window.
type window struct {
	at         float64
	row        []float64
	x, y, t    float64 // position and when it was told
	d, dt      float64 // lap_distance and when
	head, lapT float64 // at its end
}

func (w *windows) prepare(covers []channel.ID) {
	w.covers, w.cols = covers, map[channel.ID]int{}
	for i, id := range covers {
		w.cols[id] = i
	}
	has := func(id channel.ID) bool { _, ok := w.cols[id]; return ok }
	w.local = has(channel.PositionX) && has(channel.PositionY)
	w.globe = !w.local && has(channel.Latitude) && has(channel.Longitude)
	n := len(covers)
	w.sum, w.num, w.held, w.heldAt = make([]float64, n), make([]int, n), make([]float64, n), make([]float64, n)
	for i := range w.held {
		w.held[i] = math.NaN()
	}
	for i := range w.past {
		w.past[i].row = make([]float64, n)
	}
	w.px, w.pt, w.lapD = math.NaN(), math.NaN(), math.NaN()
}

func (w *windows) value(id channel.ID) float64 {
	if i, ok := w.cols[id]; ok {
		return w.held[i]
	}
	return math.NaN()
}

const earth = 6371008.8 // m: mean radius (IUGG 1980), in Moritz, Geodetic Reference System 1980, from memory

func (w *windows) add(s channel.Sample) {
	if !w.open {
		w.open, w.from = true, s.At
	}
	if s.At-w.from >= span {
		w.close(s.At)
	}
	for i, id := range w.covers {
		v := s.Row[id]
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		w.sum[i] += v
		w.num[i]++
		w.held[i], w.heldAt[i] = v, s.At
	}
	x, y := math.NaN(), math.NaN()
	switch {
	case w.local:
		x, y = w.value(channel.PositionX), w.value(channel.PositionY)
	case w.globe:
		lat, lon := w.value(channel.Latitude), w.value(channel.Longitude)
		x, y = earth*lon*math.Cos(lat), earth*lat
	}
	if !math.IsNaN(x) && (x != w.px || y != w.py) {
		w.px, w.py, w.pt = x, y, s.At
	}
	if d := w.value(channel.LapDistance); !math.IsNaN(d) && d != w.lapD {
		w.lapD, w.lapDT = d, s.At
	}
}

// close ends the window at the sample that comes after it.
func (w *windows) close(now float64) {
	c := w.past[0]
	w.past[0], w.past[1], w.past[2] = w.past[1], w.past[2], c
	k := &w.past[2]
	k.at = now
	for i := range w.covers {
		switch {
		case w.num[i] > 0:
			k.row[i] = w.sum[i] / float64(w.num[i])
		case now-w.heldAt[i] < 2:
			k.row[i] = w.held[i]
		default:
			k.row[i] = math.NaN()
		}
		w.sum[i], w.num[i] = 0, 0
	}
	k.x, k.y, k.t = w.px, w.py, w.pt
	k.d, k.dt = w.lapD, w.lapDT
	k.head, k.lapT = w.value(channel.Heading), w.value(channel.LapTime)
	if now-w.from > 4*span { // a gap: nothing is known of change across it
		w.full = 0
	}
	w.from = now
	w.full++
	if w.full >= 3 {
		w.obs.add(w.observe(), keptObs)
	}
}

func (w *windows) at(k *window, id channel.ID) float64 {
	if i, ok := w.cols[id]; ok {
		return k.row[i]
	}
	return math.NaN()
}

func (w *windows) wheels(k *window) (middle, rightLeft float64) {
	var v [4]float64
	for i := range v {
		v[i] = w.at(k, channel.WheelSpeed+channel.ID(i))
	}
	rightLeft = (v[1] - v[0] + v[3] - v[2]) / 2
	lo, hi := min(v[0], v[1], v[2], v[3]), max(v[0], v[1], v[2], v[3])
	middle = (v[0] + v[1] + v[2] + v[3] - lo - hi) / 2 // NaN where one is absent
	return middle, rightLeft
}

// observe says what the middle one of three windows tells.
func (w *windows) observe() observation {
	a, b, c := &w.past[0], &w.past[1], &w.past[2]
	var o observation
	for i := range o {
		o[i] = math.NaN()
	}
	o[oSpeed] = w.at(b, channel.Speed)
	o[oWheels], o[oLeftRight] = w.wheels(b)
	for i := range 4 {
		o[oWheel+i] = w.at(b, channel.WheelSpeed+channel.ID(i))
	}
	o[oYaw], o[oLong], o[oLat], o[oVert] = w.at(b, channel.YawRate), w.at(b, channel.AccelerationLong), w.at(b, channel.AccelerationLat), w.at(b, channel.AccelerationVert)
	o[oSteer], o[oRoad] = w.at(b, channel.SteeringWheelAngle), w.at(b, channel.RoadWheelAngle)
	o[oHeading] = b.head
	dt := c.at - a.at
	o[oSpeedRate] = (w.at(c, channel.Speed) - w.at(a, channel.Speed)) / dt
	wa, _ := w.wheels(a)
	wc, _ := w.wheels(c)
	o[oWheelRate] = (wc - wa) / dt
	o[oTurn] = wrap(c.head-a.head, 2*math.Pi) / dt
	o[oTurnDeg] = wrap(c.head-a.head, 360) / dt
	o[oTurnRad] = wrap(c.head-a.head, 2*math.Pi*math.Pi/180) / dt
	o[oLapTime] = (c.lapT - a.lapT) / dt
	if c.dt > a.dt && c.d > a.d {
		o[oLap] = (c.d - a.d) / (c.dt - a.dt)
	}
	if c.t > b.t && b.t > a.t {
		before, after := math.Hypot(b.x-a.x, b.y-a.y)/(b.t-a.t), math.Hypot(c.x-b.x, c.y-b.y)/(c.t-b.t)
		o[oWay] = math.Hypot(c.x-a.x, c.y-a.y) / (c.t - a.t)
		o[oWayRate] = (after - before) / ((c.t - a.t) / 2)
		o[oDirection] = math.Atan2(c.y-a.y, c.x-a.x)
		turn := wrap(math.Atan2(c.y-b.y, c.x-b.x)-math.Atan2(b.y-a.y, b.x-a.x), 2*math.Pi)
		if before > 1e-9 && after > 1e-9 {
			o[oCourse] = turn / ((c.t - a.t) / 2)
		}
	}
	return o
}

// wrap brings a difference into half a turn on either side.
func wrap(d, turn float64) float64 { return d - turn*math.Round(d/turn) }
