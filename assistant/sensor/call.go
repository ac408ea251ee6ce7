package sensor

import (
	"math"
	"slices"

	"earshot/assistant/channel"
)

// Common practice, no source.
const (
	gather = 1.5   // s in which sensors that fail together are gathered into one name
	turn   = 30.0  // s that a name stands before the next one
	again  = 300.0 // s after which a sensor that has measured meanwhile may be named again
)

// A Call names the sensors that have a fault one after the other, several of a kind at once, each once.
type Call struct {
	fault Fault
	label float64 // among the labels of channel.FrozenChannel
	ids   []channel.ID
	since float64 // when that name came up
	first float64 // when the oldest fault came up that has no name yet, NaN: none
	told  map[channel.ID]float64
	wait  []channel.ID
	now   []channel.ID
}

// NewCall returns a Call for one kind of fault.
func NewCall(f Fault) *Call {
	return &Call{fault: f, label: math.NaN(), first: math.NaN(), told: map[channel.ID]float64{}}
}

// Step tells whether a name stands now, and which. A name that gives way to the next is gone for one step.
func (c *Call) Step(at float64, g *Guard) (stands, label float64) {
	if len(g.watched) == 0 && len(c.ids) == 0 {
		return 0, math.NaN()
	}
	c.now, c.wait = g.Faults(c.fault, c.now[:0]), c.wait[:0]
	for _, id := range c.now {
		if _, ok := c.told[id]; !ok {
			c.wait = append(c.wait, id)
		}
	}
	for id, last := range c.told {
		if at-last >= again && !slices.Contains(c.now, id) {
			delete(c.told, id)
		}
	}
	switch {
	case len(c.wait) == 0:
		c.first = math.NaN()
	case math.IsNaN(c.first):
		c.first = at
	}
	if len(c.ids) > 0 {
		over := !slices.ContainsFunc(c.ids, func(id channel.ID) bool { return slices.Contains(c.now, id) })
		if over || len(c.wait) > 0 && at-c.since >= turn {
			c.ids, c.label = c.ids[:0], math.NaN()
			return 0, c.label
		}
		return 1, c.label
	}
	if len(c.wait) == 0 || at-c.first < gather {
		return 0, math.NaN()
	}
	var ids []channel.ID
	c.label, ids = channel.SensorName(c.wait)
	c.ids, c.since = append(c.ids[:0], ids...), at
	for _, id := range ids {
		c.told[id] = at
	}
	return 1, c.label
}
