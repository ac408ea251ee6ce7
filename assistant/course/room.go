package course

import (
	"math"

	"earshot/assistant/channel"
)

// Standing is the room to talk of a car that does not move, in seconds.
const Standing = 60.0

// Common practice, no source, except where a source is named.
const (
	slowerLap  = 1.07 // of the learned lap: longer laps teach no pace (the 107 % rule of qualifying) …
	slowToStay = 3    // … until so many come in a row
	easeOff    = 0.25 // share by which a slower lap moves the learned times towards its own
	paceOver   = 15.0 // s of driving over which the present pace is measured
	paceSlack  = 1.05 // of the learned times: a smaller loss is traffic or a mistake, not a slower driver
	calmPace   = 1.15 // of the learned speed: above it, a corner that asked nothing of the driver may ask something
	sweepLoad  = 5.0  // m/s² to the side: with more of it …
	sweepTime  = 0.4  // … for so many s a driver does not listen
	likely     = 3.0  // m/s²: assumed acceleration where the times along the lap are unknown
	calmFor    = 0.5  // s of driving straight, after which an unknown course is expected to stay straight for …
	CalmRoom   = 2.5  // … so many s. It holds at the beginning of three in four straights of the demo's courses.
	gentle     = 3.0  // m/s² to the side: more is a bend
)

// FreeRoad returns the metres until the next braking or turn-in point: 0 from such a point to the corner's exit, +Inf
// on a course without corners.
func (m *Map) FreeRoad(d float64) float64 { return m.freeRoad(d, m.busy(false)) }

// A stretch is a part of the course.
type stretch struct{ from, length float64 } // m

// busy lists the stretches on which the driver does not listen. With calm it leaves out the corners in which this
// driver, at the learned speed, has nothing to do.
func (m *Map) busy(calm bool) (list []stretch) {
	for i := range m.Corners {
		c := &m.Corners[i]
		if calm && m.calm != nil && m.calm[i] {
			continue
		}
		from := m.busyFrom(c)
		list = append(list, stretch{from, m.ahead(from, c.Exit)})
	}
	for _, s := range m.sweeps {
		list = append(list, stretch{s.from, m.ahead(s.from, s.to)})
	}
	return list
}

// freeRoad is the way from d to the first of the stretches, 0 on one of them.
func (m *Map) freeRoad(d float64, busy []stretch) float64 {
	metres := math.Inf(1)
	for _, s := range busy {
		if m.ahead(s.from, d) <= s.length {
			return 0
		}
		metres = min(metres, m.ahead(d, s.from))
	}
	return metres
}

// A sweep is a bend that is no corner, since nobody slows for it, or the wide beginning of one, with so much lateral
// acceleration that the driver does not listen. Distances are metres from the line.
type sweep struct{ from, to float64 }

// findSweeps sets the sweeps and the calm corners of a map that is being made, by the lateral acceleration at the
// learned speed where the driver neither brakes nor has turned in.
func (m *Map) findSweeps() {
	m.sweeps, m.calm = nil, nil
	if m.Times == nil {
		return
	}
	m.calm = make([]bool, len(m.Corners))
	for i := range m.Corners {
		c := &m.Corners[i]
		m.calm[i] = math.IsNaN(c.Braking)
		for j, k := range m.within(c) {
			v := m.speedAt(m.Wrap(c.Entry + float64(j)*m.Step))
			m.calm[i] = m.calm[i] && v*v*math.Abs(k) < gentle
		}
	}
	n, busy := len(m.K), m.busy(false)
	hard := func(i int) bool {
		d := float64(i%n) * m.Step
		v := m.speedAt(d)
		return v*v*math.Abs(m.K[i%n]) >= sweepLoad && m.freeRoad(d, busy) > 0
	}
	start := 0
	for start < n && hard(start) {
		start++
	}
	for i := start; i < start+n; i++ {
		if !hard(i) {
			continue
		}
		j := i
		for j < start+n && hard(j) {
			j++
		}
		s := sweep{m.Wrap((float64(i) - 0.5) * m.Step), m.Wrap((float64(j) - 0.5) * m.Step)}
		if m.seconds(s.from, s.to) >= sweepTime {
			m.sweeps = append(m.sweeps, s)
		}
		i = j
	}
}

// Room returns the seconds until the next braking or turn-in point for a car at d metres from the line: 0 from such a
// point to the corner's exit, at most Standing. It uses the learned times along the lap. A car that is faster now
// (speed, m/s) or has been faster for a while has less. Only a car that is slower now and has been for a while has
// more. pace is the time taken lately divided by the learned time for the same way; NaN: not known.
func (m *Map) Room(d, speed, pace float64) float64 {
	return m.room(d, speed, pace, m.busy(false), m.busy(true))
}

// room is Room. busy and calm are the stretches on which a driver, or this driver at the learned speed, does not
// listen.
func (m *Map) room(d, speed, pace float64, busy, calm []stretch) float64 {
	if speed < 1 {
		return Standing
	}
	if m.Times != nil && !(speed > calmPace*m.speedAt(d)) {
		busy = calm
	}
	metres := m.freeRoad(d, busy)
	if metres == 0 || math.IsInf(metres, 1) {
		return min(metres, Standing)
	}
	if m.Times == nil {
		return min((math.Sqrt(speed*speed+2*likely*metres)-speed)/likely, Standing)
	}
	learned := m.seconds(d, m.Wrap(d+metres))
	room := learned
	if pace < 1 {
		room *= pace
	}
	if math.IsNaN(speed) {
		return min(room, Standing)
	}
	was := m.speedAt(d)
	if speed > was {
		// The lead in energy stays, as both accelerate alike.
		mean := metres / learned
		return min(room, metres/math.Sqrt(mean*mean+speed*speed-was*was), Standing)
	}
	return min(room*max(1, min(pace/paceSlack, was/speed)), Standing)
}

// LongestRoom is the longest time of a lap between two places where the driver is busy, in seconds; NaN where the times
// along the lap are not known.
func (m *Map) LongestRoom() float64 {
	if m.Times == nil {
		return math.NaN()
	}
	longest := 0.0
	ends := make([]float64, 0, len(m.Corners)+len(m.sweeps))
	for i := range m.Corners {
		ends = append(ends, m.Corners[i].Exit)
	}
	for _, s := range m.sweeps {
		ends = append(ends, s.to)
	}
	busy := m.busy(false)
	for _, d := range ends {
		d = m.Wrap(d + 1e-6)
		if metres := m.freeRoad(d, busy); metres > 0 {
			longest = max(longest, m.seconds(d, m.Wrap(d+metres)))
		}
	}
	if len(ends) == 0 {
		return Standing
	}
	return min(longest, Standing)
}

// timeAt is the learned time at d metres, s since the line.
func (m *Map) timeAt(d float64) float64 {
	at := d / m.Step
	i := min(int(at), len(m.Times)-2)
	return m.Times[i] + (at-float64(i))*(m.Times[i+1]-m.Times[i])
}

// seconds is the learned time from a forward to b, both from 0 to Length.
func (m *Map) seconds(a, b float64) float64 {
	t := m.timeAt(b) - m.timeAt(a)
	if b < a {
		t += m.Times[len(m.Times)-1]
	}
	return t
}

// speedAt is the learned speed at d metres.
func (m *Map) speedAt(d float64) float64 {
	i := min(int(d/m.Step), len(m.Times)-2)
	return m.Step / (m.Times[i+1] - m.Times[i])
}

// lapTimes returns the times of the lap at n even steps and at its end, in s since the line; nil where its places do
// not rise.
func (l *Learner) lapTimes(length float64, n int) []float64 {
	last := len(l.points) - 1
	d, t := make([]float64, last+1), make([]float64, last+1)
	for i, p := range l.points {
		d[i], t[i] = p.d, p.clock
	}
	// The car passes the line at the speed of the metres before it.
	over := (length - d[last] + d[0]) * (t[last] - t[last-1]) / (d[last] - d[last-1])
	whole := t[last] - t[0] + over
	lap := resample(d, t, length, whole, n)
	first := lap[0]
	lap = append(lap, first+whole)
	for i := range lap {
		lap[i] -= first
		if i > 0 && !(lap[i] > lap[i-1]) {
			return nil
		}
	}
	return lap
}

// slower is true for a lap too slow to show where this driver brakes: a cool-down lap, traffic, a caution. A driver who
// stays as slow, as in the wet, is believed in the end.
func (l *Learner) slower(lap []float64) bool {
	if l.m.Times == nil || lap == nil || lap[len(lap)-1] <= slowerLap*l.m.Times[len(l.m.Times)-1] {
		l.slowLaps = 0
		return false
	}
	l.slowLaps++
	return l.slowLaps < slowToStay
}

// pace puts the times of a lap into a map that is being made. The quickest lap counts, since a driver gets quicker, and
// too long a room is worse than too short a one. Slower laps move the times a little, as tyres age.
func (m *Map) pace(lap []float64, stays bool) {
	if lap == nil {
		return
	}
	if whole := len(lap) - 1; m.Times == nil || stays || lap[whole] < m.Times[whole] {
		m.Times = lap
		return
	}
	for i := range lap {
		lap[i] = m.Times[i] + easeOff*(lap[i]-m.Times[i])
	}
	m.Times = lap
}

// A calm measures how long the car has gone straight without braking, for room to talk on an unknown course.
type calm struct {
	at, v float64 // of the sample before
	since float64 // s, NaN while the driver is busy
	fall  float64 // m/s², speed lost, smoothed
}

// room returns the room to talk in seconds: CalmRoom once the car has gone straight for calmFor, whatever the throttle;
// Standing for a car that stands; 0 while it brakes or turns and shortly after. NaN where the feed shows too little.
func (c *calm) room(at float64, row channel.Row) float64 {
	const smooth = 0.3 // s
	v, dt := row[channel.Speed], at-c.at
	if fall := (c.v - v) / dt; dt > 0 && dt < silence && !math.IsNaN(fall) {
		c.fall += (fall - c.fall) * min(dt/smooth, 1)
	}
	if !(dt < silence) {
		c.since, c.fall = math.NaN(), 0
	}
	if dt != 0 {
		c.at, c.v = at, v
	}
	side := row[channel.AccelerationLat]
	if math.IsNaN(side) {
		side = v * row[channel.YawRate]
	}
	brakes, known := row[channel.Brake] > brakeOn, row.Has(channel.Brake)
	if !known {
		brakes, known = c.fall > slowing, !math.IsNaN(v)
	}
	switch {
	case v < 1:
		return Standing
	case brakes, math.Abs(side) > gentle:
		c.since = math.NaN()
		return 0
	case math.IsNaN(side) || !known:
		return math.NaN()
	}
	if math.IsNaN(c.since) {
		c.since = at
	}
	if at-c.since < calmFor {
		return 0
	}
	return CalmRoom
}
