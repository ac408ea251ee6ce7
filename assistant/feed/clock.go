package feed

import "math"

// jumpLimit is how far a source's clock may step ahead, in seconds, before the step is not believed.
const jumpLimit = 5.0

// likeArrival is by how much, in seconds, a step of the clock may differ from that of the arrivals to be mere silence.
const likeArrival = 1.0

// A clock makes Sample.At out of the source's time or the time of arrival. The
// package comment says how.
type clock struct {
	own     bool    // a field is mapped to time
	jump    float64 // s
	period  float64 // s between records that have no time, 0: the arrival counts
	modulus float64 // s after which the source's clock wraps around, 0: never

	begun   bool
	wrapped float64 // s that wrapping around has taken away so far
	raw     float64 // the source's last time, wraps undone
	base    float64 // At is the source's time minus this
	at      float64
	arrived float64 // of the record before
	records int64

	back, jumps, untimed int64
	rebased              int64   // of back: how often the source's clock began anew
	lastBack, lastJump   float64 // s, of the last of them; a jump is 0 when as much time has passed between the arrivals
}

func (c *clock) stamp(t, arrived float64) float64 {
	switch {
	case c.own:
		if !math.IsNaN(t) && !math.IsInf(t, 0) {
			c.source(t, arrived)
			c.arrived = arrived
		} else {
			c.untimed++
		}
	case c.period > 0:
		c.at = float64(c.records) * c.period
		c.records++
	case !math.IsNaN(arrived):
		if !c.begun {
			c.begun, c.base = true, arrived
		}
		c.at = max(c.at, arrived-c.base)
	}
	return c.at
}

func (c *clock) source(t, arrived float64) {
	if !c.begun {
		c.begun, c.raw, c.base = true, t, t-c.at
		return
	}
	t += c.wrapped
	if c.modulus > 0 && t-c.raw < -c.modulus/2 {
		c.wrapped += c.modulus
		t += c.modulus
	}
	if t < c.raw {
		c.back++
		c.lastBack = c.raw - t
	}
	c.raw = t
	ahead := t - c.base - c.at
	switch {
	case ahead < -c.jump:
		c.base = t - c.at
		c.rebased++
	case ahead > c.jump:
		c.jumps++
		step := arrived - c.arrived
		c.lastJump = ahead
		if math.Abs(ahead-step) < likeArrival {
			c.lastJump = 0
		}
		if math.IsNaN(step) {
			step = c.jump
		}
		c.at += max(0, step)
		c.base = t - c.at
	case ahead > 0:
		c.at = t - c.base
	}
}
