package demo

import "math"

// Springs of Baseline at the wheel (common practice, no source).
var baseSprings = [2]float64{175e3, 160e3} // N/m

const (
	// share of the roll stiffness that comes from the springs, the rest from the bars; common practice, no source
	bySprings = 0.6
	barStep   = 0.15 // share of the bar's part that a step adds
	// share of the longitudinal force that a step of the differential shifts from one rear wheel to the other
	lockStep = 0.05
	lockGrip = 0.02 // share of traction that a step of power lock brings where all load of the axle is on one wheel
)

// rollShare is the part of the lateral load transfer that an axle takes: that of its roll stiffness (Milliken and
// Milliken, ch. 18, from memory). Stiffer springs or a stiffer bar at one end take more of it.
func (c *Car) rollShare(axle int) float64 {
	var k [2]float64
	for i, split := range [2]float64{c.RollSplit, 1 - c.RollSplit} {
		k[i] = split * (bySprings*c.Springs[i]/baseSprings[i] + (1 - bySprings) + (1-bySprings)*barStep*c.Bars[i])
	}
	return k[axle] / (k[0] + k[1])
}

// locked is the moment in N m that the differential holds against the bend, of the sign of ay: under power the inner
// rear wheel pushes more, off it the outer one drags more (Milliken and Milliken, ch. 20, from memory). Less than in
// the middle of its range it turns the car in.
func (c *Car) locked(mass, ax, ay float64) float64 {
	steps := c.PowerLock
	if ax < 0 {
		steps = c.CoastLock
		ax = math.Min(-ax, 3) // off the throttle only the drag of the engine goes through it
	}
	bend := math.Max(-1, math.Min(1, ay/3)) // on a straight both wheels have the same way
	return steps * lockStep * mass * ax * c.Track[1] / 2 * bend
}

// traction is the factor by which the differential lets the rear axle of this load and load transfer ratio push more.
func (c *Car) traction(ratio float64) float64 { return 1 + lockGrip*c.PowerLock*ratio }
