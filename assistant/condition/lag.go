package condition

import (
	"math"

	"earshot/assistant/channel"
)

var nan = math.NaN()

// motion is what several parts need to know about how the car moves. Unknown is NaN.
type motion struct {
	speed   float64 // m/s
	yaw     float64 // rad/s
	lateral float64 // m/s², measured, else speed times yaw rate
	long    float64 // m/s², measured, else the change of speed
	slow    lag     // of speed
	yawRate lag
	yawAcc  float64 // rad/s²
	gains   *gains  // of this sample
}

func (m *motion) reset() {
	*m = motion{slow: newLag(byMotion), yawRate: newLag(byMotion)}
	m.speed, m.yaw, m.lateral, m.long, m.yawAcc = nan, nan, nan, nan, nan
}

func (m *motion) step(g *gains, row channel.Row) {
	m.gains = g
	m.speed = row[channel.Speed]
	m.yaw = row[channel.YawRate]
	m.lateral = row[channel.AccelerationLat]
	if math.IsNaN(m.lateral) {
		m.lateral = m.speed * m.yaw
	}
	if math.IsNaN(m.yaw) && m.speed > 5 {
		m.yaw = m.lateral / m.speed
	}
	slope := m.slow.slope(g, m.speed)
	if m.long = row[channel.AccelerationLong]; math.IsNaN(m.long) {
		m.long = slope
	}
	m.yawAcc = m.yawRate.slope(g, m.yaw)
}

// moving tells whether the car moves; a car whose speed is not known is taken to.
func (m *motion) moving() bool { return !(m.speed < standing) }

// A constant is the time constant of a low-pass filter, as an index of taus.
type constant int

const (
	bySteering constant = iota
	byMotion
	byCarcass
	byCarcassSlope
	byTread
	byTreadSlope
	bySlow
	byLeak
)

// taus are the time constants, s. Common practice, no source.
var taus = [...]float64{steerLag, 0.2, carcassTau, slopeTaus * carcassTau, treadTau, slopeTaus * treadTau, slowTau, leakCalm}

// gains are the shares of what is new that the filters take after one interval.
type gains [len(taus)]float64

// recentGains keeps the gains of the latest intervals. The intervals of a feed repeat, but for the last digit, and exp takes long.
type recentGains struct {
	dt   [4]float64 // s
	of   [4]gains
	next int
}

// after returns the gains after dt seconds. They are good until the next call.
func (r *recentGains) after(dt float64) *gains {
	for i := range r.dt {
		if r.dt[i] == dt { // before the first interval all are 0, which is right after 0 s
			return &r.of[i]
		}
	}
	i := r.next
	r.next = (i + 1) % len(r.dt)
	r.dt[i] = dt
	for k, tau := range taus {
		r.of[i][k] = 1 - math.Exp(-dt/tau)
	}
	return &r.of[i]
}

// A lag is a first-order low-pass filter. An unknown input empties it.
type lag struct {
	tau constant
	y   float64
}

func newLag(tau constant) lag { return lag{tau: tau, y: nan} }

// step takes in x.
func (l *lag) step(g *gains, x float64) {
	y := l.y + (x-l.y)*g[l.tau]
	if math.IsNaN(y) { // the first one, or no more
		y = x
	}
	l.y = y
}

// slope takes in x and returns the slope of the filtered signal per second.
func (l *lag) slope(g *gains, x float64) float64 {
	if math.IsNaN(l.y) && !math.IsNaN(x) {
		l.y = x
		return 0
	}
	l.step(g, x)
	return (x - l.y) / taus[l.tau]
}
