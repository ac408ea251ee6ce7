package condition

import (
	"math"

	"earshot/assistant/channel"
)

// Common practice, no source.
const (
	pedalOn, pedalOff = 0.05, 0.03   // share of the pedal's travel
	lineOn, lineOff   = 300.0, 150.0 // kPa
	decelOn, decelOff = -4.0, -2.0   // m/s², where neither pedal nor line pressure is known
	rolling           = 5.0          // m/s: slower than this a pressed pedal holds the car and does not stop it
	worthSpeed        = 3.0          // m/s lost: a lesser dab says nothing about the disc
	worthTime         = 0.5          // s, where the speed is not known
	discDelay         = 1.5          // s after release in which the disc's reading still rises
	dabGap            = 0.3          // s: a shorter release is part of the same braking
)

// brakes finds braking events and the highest disc temperature of each.
type brakes struct {
	on       bool // the brake is being applied
	open     bool // an event is under way or its peak is still awaited
	began    float64
	released float64
	entry    float64 // m/s
	lowest   float64 // m/s
	hottest  [4]float64

	peak   [4]float64 // of the last event
	events float64    // in this stint; NaN before anything was seen
	shown  bool       // the row has these
	lap    [4]mean    // of the events of the lap in progress
	mean   [4]float64 // of the lap completed last
}

func (b *brakes) init() {
	*b = brakes{events: nan}
	for w := range 4 {
		b.peak[w], b.mean[w] = nan, nan
	}
}

// applied tells whether the brake is on, and whether that can be known at all.
func (b *brakes) applied(m *motion, row channel.Row) (on, known bool) {
	past := func(x, on, off float64) bool { return x > on || b.on && x > off }
	switch {
	case row.Has(channel.Brake):
		on = past(row[channel.Brake], pedalOn, pedalOff)
	case row.Has(channel.BrakeLineFront):
		on = past(row[channel.BrakeLineFront], lineOn, lineOff)
	case row.Has(channel.BrakeLineRear):
		on = past(row[channel.BrakeLineRear], lineOn, lineOff)
	case !math.IsNaN(m.long):
		on = past(-m.long, -decelOn, -decelOff)
	default:
		return false, false
	}
	return on && !(m.speed < rolling), true
}

func (b *brakes) step(at float64, m *motion, row channel.Row) {
	on, known := b.applied(m, row)
	if known && math.IsNaN(b.events) {
		b.events, b.shown = 0, false
	}
	switch {
	case on && !b.on:
		if b.open && at-b.released > dabGap {
			b.finish()
		}
		if !b.open {
			b.open, b.began, b.entry, b.lowest = true, at, m.speed, m.speed
			b.hottest = [4]float64{nan, nan, nan, nan}
		}
	case !on && b.on:
		b.released = at
	}
	b.on = on
	if !b.open {
		return
	}
	if on {
		b.lowest = min(b.lowest, m.speed)
	}
	for w := range 4 {
		if x := row[channel.BrakeTemperature+channel.ID(w)]; x > b.hottest[w] || math.IsNaN(b.hottest[w]) {
			b.hottest[w] = x
		}
	}
	if !on && at-b.released >= discDelay {
		b.finish()
	}
}

// finish closes the event and counts it where it says something about the brakes.
func (b *brakes) finish() {
	b.open = false
	lost := b.entry - b.lowest
	if lost < worthSpeed || math.IsNaN(lost) && b.released-b.began < worthTime {
		return
	}
	b.events, b.shown = b.events+1, false
	b.peak = b.hottest
	for w := range 4 {
		b.lap[w].add(1, b.peak[w])
	}
}

func (b *brakes) lapDone() {
	b.mean, b.shown = alike(&b.lap), false
	b.lap = [4]mean{}
}

// write writes what has changed: after an event, a lap or a stop.
func (b *brakes) write(row channel.Row) {
	if b.shown {
		return
	}
	b.shown = true
	for w := range 4 {
		row[channel.BrakePeak+channel.ID(w)] = b.peak[w]
		row[channel.BrakePeakMean+channel.ID(w)] = b.mean[w]
	}
	row[channel.BrakePeakFront] = (b.peak[channel.FL] + b.peak[channel.FR]) / 2
	row[channel.BrakePeakRear] = (b.peak[channel.RL] + b.peak[channel.RR]) / 2
	row[channel.BrakeEvents] = b.events
	row[channel.BrakeSpreadFront] = b.mean[channel.FR] - b.mean[channel.FL]
	row[channel.BrakeSpreadRear] = b.mean[channel.RR] - b.mean[channel.RL]
}
