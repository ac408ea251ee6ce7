package feed

import (
	"math"

	"earshot/assistant/feed/feedfile"
)

// likeArrival is by how much, in seconds, a step of the clock may differ from that of the arrivals to be mere silence.
const likeArrival = 1.0

// A clock makes Sample.At out of the source's time or the time of arrival. The
// package comment says how.
type clock struct {
	feedfile.Clock

	begun   bool
	wrapped float64 // s that wrapping around has taken away so far
	raw     float64 // the source's last time, wraps undone
	base    float64 // At is the source's time minus this
	at      float64
	arrived float64 // of the record before
	records int64
	before  mark // where the clock was before its last step
	strange int  // records in which it may go on from there

	back, jumps, untimed int64
	rebased              int64   // of back: how often the source's clock began anew
	lastBack, lastJump   float64 // s, of the last of them
}

// A mark is a state of the source's clock.
type mark struct{ wrapped, raw, base float64 }

// nonsense is how many records may tell absurd times before the source's clock is believed to have been set.
const nonsense = 8

func (c *clock) stamp(t, arrived float64) float64 {
	switch {
	case c.Own:
		if !math.IsNaN(t) && !math.IsInf(t, 0) {
			c.source(t, arrived)
			c.arrived = arrived
		} else {
			c.untimed++
		}
	case c.Period > 0:
		c.at = float64(c.records) * c.Period
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
	if c.strange > 0 && c.resume(t) {
		return
	}
	was := mark{c.wrapped, c.raw, c.base}
	t = c.unwrap(t)
	if t < c.raw {
		c.back++
		c.lastBack = c.raw - t
	}
	c.raw = t
	ahead := t - c.base - c.at
	switch {
	case ahead < -c.Jump:
		c.doubt(was)
		c.base = t - c.at
		c.rebased++
	case ahead > c.Jump:
		step := arrived - c.arrived
		if math.Abs(ahead-step) < likeArrival { // mere silence
			c.at = t - c.base
			return
		}
		c.doubt(was)
		c.jumps++
		c.lastJump = ahead
		if math.IsNaN(step) {
			step = c.Jump
		}
		c.at += max(0, step)
		c.base = t - c.at
	case ahead > 0:
		c.at = t - c.base
	}
}

// unwrap returns the source's time without the wraps of its counter.
func (c *clock) unwrap(t float64) float64 {
	t += c.wrapped
	if c.Modulus > 0 && t-c.raw < -c.Modulus/2 {
		c.wrapped += c.Modulus
		t += c.Modulus
	}
	return t
}

// doubt remembers where the clock was, unless that is in doubt itself.
func (c *clock) doubt(was mark) {
	if c.strange == 0 {
		c.before = was
	}
	c.strange = nonsense
}

// resume goes on from before the last step where t does: the step was the nonsense of a record or a few, and no time is
// lost by it.
func (c *clock) resume(t float64) bool {
	c.strange--
	d := *c
	d.wrapped, d.raw, d.base = c.before.wrapped, c.before.raw, c.before.base
	t = d.unwrap(t)
	ahead := t - d.base - d.at
	if ahead < -likeArrival || ahead > d.Jump {
		return false
	}
	d.raw, d.at, d.strange = t, d.at+max(0, ahead), 0
	*c = d
	return true
}
