package condition

import (
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/statistics"
)

// Common practice, no source.
const (
	fadePedal    = 0.3  // of the pedal: less is trailing off
	fadeLine     = 1500 // kPa, the same
	fadeSpeed    = 15.0 // m/s: slower, the drive train and the gears decide
	fadeWait     = 4.0  // s from the release of the brake to the corner
	fadeTime     = 0.3  // s of such braking that make an event
	fadeFirst    = 3    // events of a zone that make its reference, once the discs are warm
	fadeLaps     = 3    // laps that are compared with the reference
	fadeEnough   = 2    // zones of a lap
	fadeSameEdge = 0.2  // of the reference: an event further off was another kind of braking
)

// fade follows what the brakes give for the same effort: deceleration over pedal or line pressure, at the same place and so at like speed
// and with like air resistance, against the stint's reference.
type fade struct {
	cold   [4]float64
	sum    mean // deceleration over effort in this event
	where  int  // the corner that it is for, 0 until the car is in it
	braked bool
	waits  float64 // s that an event has waited for its corner

	zones [mostCorners]struct {
		first     [fadeFirst]float64
		n         int
		reference float64
	}
	lap    []float64 // share that each zone of this lap has of its reference
	recent [fadeLaps]float64
	laps   int
	lost   float64 // share, NaN where not known
}

func (f *fade) stint(cold [4]float64) {
	*f = fade{cold: cold, lost: nan, lap: make([]float64, 0, 2*mostCorners)}
}

func (f *fade) step(dt float64, m *motion, b *brakes, row channel.Row) {
	effort := row[channel.Brake]
	if line := row[channel.BrakeLineFront]; line > 0 {
		effort = line / fadeLine * fadePedal
	}
	if n := number(row[channel.CornerHere]); n > 0 {
		f.where = n
	}
	if !b.on {
		if !f.braked {
			return
		}
		if f.waits += dt; f.where == 0 && f.waits < fadeWait {
			return
		}
		f.event(b)
		f.braked, f.sum, f.where, f.waits = false, mean{}, 0, 0
		return
	}
	if f.waits > 0 { // braked again before the corner: one event
		f.waits = 0
	}
	if !f.braked && row[channel.CornerHere] == 0 {
		f.where = 0
	}
	f.braked = true
	if effort >= fadePedal && m.speed > fadeSpeed && -m.long > 0 {
		f.sum.add(dt, -m.long/effort)
	}
}

// event closes a braking event.
func (f *fade) event(b *brakes) {
	where := f.where
	if where == 0 || f.sum.weight < fadeTime || f.coldDiscs(b) {
		return
	}
	z := &f.zones[where-1]
	x := f.sum.value()
	if z.n < fadeFirst {
		z.first[z.n] = x
		if z.n++; z.n == fadeFirst {
			z.reference = statistics.Median(z.first[:])
		}
		return
	}
	if share := x / z.reference; math.Abs(share-1) < fadeSameEdge && len(f.lap) < cap(f.lap) {
		f.lap = append(f.lap, share)
	}
}

// coldDiscs tells whether a disc is below its window in this event: what cold brakes give is no reference, and no fading.
func (f *fade) coldDiscs(b *brakes) bool {
	for w := range 4 {
		if b.hottest[w] < f.cold[w] {
			return true
		}
	}
	return false
}

func (f *fade) lapDone(counts bool) {
	if counts && len(f.lap) >= fadeEnough {
		f.recent[f.laps%fadeLaps] = statistics.Median(f.lap)
		f.laps++
	}
	f.lap = f.lap[:0]
	if f.laps >= fadeLaps {
		f.lost = 1 - statistics.Median(f.recent[:])
	}
}
