package condition

import (
	"math"

	"gonum.org/v1/gonum/stat"

	"earshot/assistant/car"
	"earshot/assistant/channel"
)

// Common practice, no source.
const (
	balanceFloor = 8.0  // m/s: below this a manoeuvre, not a bend
	gentle       = 4.0  // m/s²: the range in which a tyre is linear
	gentleLong   = 2.5  // m/s²
	steadySteer  = 0.06 // rad/s at the road wheels
	steadyYaw    = 0.3  // rad/s²
	lateralCell  = 0.25 // m/s²
	lateralCells = 32   // from −gentle to gentle
	steerReach   = 0.08 // rad beyond which a reading is no gentle steering
	taughtEnough = 500  // samples: 20 s
	taughtEvery  = 25   // samples between two fits
	cellEnough   = 10   // samples
	cellCap      = 250  // samples: the straight has most of them and must not outvote the bends
	cellsEnough  = 4    //
	spanEnough   = 1.0  // m/s² from the least to the most lateral cell
	extrapolate  = 15.0 // spans: a line is not believed further out than this; slicks corner at ten times what is gentle
	offsetMost   = 0.07 // rad
	gradientMost = 0.01 // rad per m/s²; a strongly understeering road car has 0.0016
	steerLag     = 0.10 // s by which a car follows its front wheels
	balanceCalm  = 0.10 // s
)

// balance compares the steering with what speed, yaw rate and lateral acceleration need: the steady-state
// bicycle model δ_ref = L·r/v + K·a_y (ISO 4138; Gillespie, Fundamentals of Vehicle Dynamics,
// chapter 6), with a steering offset and K learned from the car's own gentle driving.
type balance struct {
	wheelbase float64
	ratio     float64

	cells    [lateralCells]centre // steering beyond L·r/v, by lateral acceleration
	lateral  [lateralCells]mean   // lateral acceleration in the cell
	taught   float64              // samples learned from since the last fit began
	offset   float64
	gradient float64
	reach    float64 // m/s² up to which the gradient is believed
	pick     cadence

	steer, steerCalm, need, rate lag
	index                        float64
}

func (b *balance) init(c *car.Car) {
	*b = balance{wheelbase: c.Wheelbase, ratio: c.SteeringRatio, offset: nan, gradient: nan, index: nan}
	for i := range b.cells {
		b.cells[i] = newCentre(-steerReach, steerReach, 1600)
	}
	b.steer, b.steerCalm, b.need, b.rate = newLag(steerLag), newLag(balanceCalm), newLag(balanceCalm), newLag(balanceCalm)
}

func (b *balance) relearn() {
	for i := range b.cells {
		b.cells[i].reset()
	}
	b.lateral = [lateralCells]mean{}
	b.taught = 0
}

// angle returns the angle of the road wheels, NaN where it is not known.
func (b *balance) angle(row channel.Row) float64 {
	if row.Has(channel.RoadWheelAngle) {
		return row[channel.RoadWheelAngle]
	}
	return row[channel.SteeringWheelAngle] / b.ratio
}

func (b *balance) step(at, dt float64, m *motion, row channel.Row) {
	b.index = nan
	delta := b.angle(row)
	steerRate := b.rate.step(dt, delta)
	bend := b.wheelbase * m.yaw / m.speed
	known := m.speed > balanceFloor && !math.IsNaN(delta+bend+m.lateral)
	if !known {
		b.steer.y, b.steerCalm.y, b.need.y = nan, nan, nan
		return
	}
	if math.Abs(m.lateral) < gentle && !(math.Abs(m.long) > gentleLong) && math.Abs(steerRate) < steadySteer &&
		math.Abs(m.yawAcc) < steadyYaw && !(row[channel.OnCourse] == 0) && b.pick.due(at) {
		b.learn(delta-bend, m.lateral)
	}
	if math.IsNaN(b.gradient) {
		return
	}
	b.steer.step(dt, delta-b.offset)
	b.steerCalm.step(dt, b.steer.y)
	b.need.step(dt, bend+b.gradient*m.lateral)
	if math.Abs(m.lateral) > b.reach {
		return
	}
	// The hand of the bend, not the sign of the steering: counter-steer is then deep oversteer.
	turn := math.Copysign(1, m.lateral)
	b.index = turn * (b.steerCalm.y - b.need.y)
}

func (b *balance) learn(beyond, lateral float64) {
	i := min(max(int((lateral+gentle)/lateralCell), 0), lateralCells-1)
	b.cells[i].add(beyond)
	b.lateral[i].add(1, lateral)
	b.taught++
	if b.taught >= taughtEnough && int(b.taught)%taughtEvery == 0 {
		b.fit()
	}
}

// fit draws a straight line through the medians of the cells.
func (b *balance) fit() {
	var x, y, weights [lateralCells]float64
	n := 0
	least, most := math.Inf(1), math.Inf(-1)
	for i := range b.cells {
		if b.cells[i].n < cellEnough {
			continue
		}
		x[n], y[n], weights[n] = b.lateral[i].value(), b.cells[i].median(), float64(min(b.cells[i].n, cellCap))
		least, most = min(least, x[n]), max(most, x[n])
		n++
	}
	if n < cellsEnough || most-least < spanEnough {
		return
	}
	offset, gradient := stat.LinearRegression(x[:n], y[:n], weights[:n], false)
	if math.Abs(gradient) > gradientMost || math.Abs(offset) > offsetMost {
		return // another wheelbase, another steering ratio, or a car that crabs: not to be judged
	}
	b.gradient, b.offset, b.reach = gradient, offset, extrapolate*(most-least)
}
