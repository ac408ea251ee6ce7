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
	cellsEnough  = 4    //
	spanEnough   = 1.0  // m/s² from the least to the most lateral cell

	// What counts where a car is never driven gently: steady cornering at any load, of which the lesser part is nearly linear.
	hardLong     = 4.0  // m/s²
	hardSteer    = 0.15 // rad/s at the road wheels
	hardYaw      = 0.6  // rad/s²
	hardCell     = 0.5  // m/s²
	hardCells    = 120  // from −30 to 30 m/s²
	hardLinear   = 0.6  // of the most lateral cell: up to this the line is drawn
	hardSpan     = 4.0  // m/s²
	hardExtra    = 1.3  // of the most lateral cell: the line is not believed further out
	extrapolate  = 15.0 // spans: a line is not believed further out than this; slicks corner at ten times what is gentle
	offsetMost   = 0.07 // rad
	gradientMost = 0.01 // rad per m/s²; a strongly understeering road car has 0.0016
	steerLag     = 0.10 // s by which a car follows its front wheels: one that does so at once or twice as late is no fault;
	// what it is compared with is calmed alike
)

// balance compares the steering with what speed, yaw rate and lateral acceleration need: the steady-state
// bicycle model δ_ref = L·r/v + K·a_y (ISO 4138; Gillespie, Fundamentals of Vehicle Dynamics,
// chapter 6), with a steering offset and K learned from the car's own gentle driving.
type balance struct {
	wheelbase float64
	ratio     float64

	cells    [lateralCells]centre // steering beyond L·r/v, by lateral acceleration
	lateral  [lateralCells]mean   // lateral acceleration in the cell
	taught   float64              // samples learned from in this stint
	hard     [hardCells]centre    // as cells, from steady cornering at any load
	hardMean [hardCells]mean
	hardN    int
	gently   bool // gradient and offset are from gentle driving
	offset   float64
	gradient float64
	reach    float64 // m/s² up to which the gradient is believed
	pick     cadence

	geometry geometry
	measured bool // wheelbase or ratio are learned

	steer, steerCalm, need, rate lag
	fresh                        lag // as steerCalm, of a car that follows at once
	index                        float64
}

func (b *balance) init(c *car.Car) {
	*b = balance{wheelbase: c.Wheelbase, ratio: c.SteeringRatio, offset: nan, gradient: nan, index: nan}
	for i := range b.cells {
		b.cells[i] = newCentre(-steerReach, steerReach, 1600)
	}
	for i := range b.hard {
		b.hard[i] = newCentre(-2*steerReach, 2*steerReach, 800)
	}
	b.steer, b.steerCalm, b.need = newLag(bySteering), newLag(bySteering), newLag(bySteering)
	b.rate, b.fresh = newLag(bySteering), newLag(bySteering)
}

func (b *balance) relearn() {
	for i := range b.cells {
		b.cells[i].reset()
	}
	for i := range b.hard {
		b.hard[i].reset()
	}
	b.lateral, b.hardMean = [lateralCells]mean{}, [hardCells]mean{}
	b.taught, b.hardN = 0, 0
}

// angle returns the angle of the road wheels, NaN where it is not known.
func (b *balance) angle(row channel.Row) float64 {
	if row.Has(channel.RoadWheelAngle) {
		return row[channel.RoadWheelAngle]
	}
	return row[channel.SteeringWheelAngle] / b.ratio
}

func (b *balance) step(at float64, m *motion, row channel.Row) {
	b.index = nan
	if math.IsNaN(b.wheelbase) || math.IsNaN(b.ratio) && !row.Has(channel.RoadWheelAngle) {
		b.measure(at, m, row)
		return
	}
	delta := b.angle(row)
	steerRate := b.rate.slope(m.gains, delta)
	bend := b.wheelbase * m.yaw / m.speed
	known := m.speed > balanceFloor && !math.IsNaN(delta+bend+m.lateral)
	if !known {
		b.steer.y, b.steerCalm.y, b.need.y, b.fresh.y = nan, nan, nan, nan
		return
	}
	if math.Abs(m.long) < hardLong && math.Abs(steerRate) < hardSteer && math.Abs(m.yawAcc) < hardYaw && !(row[channel.OnCourse] == 0) && b.pick.due(at) {
		// A measured ratio that is some per cent off is made good where most load is, and carried no farther.
		if !b.measured && math.Abs(m.lateral) < gentle && !(math.Abs(m.long) > gentleLong) && math.Abs(steerRate) < steadySteer && math.Abs(m.yawAcc) < steadyYaw {
			b.learn(delta-bend, m.lateral)
		}
		b.learnHard(delta-bend, m.lateral)
	}
	if math.IsNaN(b.gradient) {
		return
	}
	b.steer.step(m.gains, delta-b.offset)
	b.steerCalm.step(m.gains, b.steer.y)
	b.need.step(m.gains, bend+b.gradient*m.lateral)
	b.fresh.step(m.gains, delta-b.offset)
	if math.Abs(m.lateral) > b.reach {
		return
	}
	// The hand of the bend, not the sign of the steering: counter-steer is then deep oversteer.
	turn := math.Copysign(1, m.lateral)
	x := turn * (b.steerCalm.y - b.need.y)
	// While the wheel is turned quickly, what the car does depends on how soon it follows. That much is in doubt and is nobody's fault.
	doubt := math.Abs(b.fresh.y - b.steerCalm.y)
	b.index = math.Copysign(max(0, math.Abs(x)-doubt), x)
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

// learnHard takes in what is not gentle, and is believed as long as there is nothing better.
func (b *balance) learnHard(beyond, lateral float64) {
	i := int(lateral/hardCell + hardCells/2)
	if i < 0 || i >= hardCells {
		return
	}
	b.hard[i].add(beyond)
	b.hardMean[i].add(1, lateral)
	b.hardN++
	if b.gently || b.hardN < taughtEnough || b.hardN%taughtEvery != 0 {
		return
	}
	most := 0.0
	for i := range b.hard {
		if b.hard[i].n >= cellEnough {
			most = max(most, math.Abs(b.hardMean[i].value()))
		}
	}
	if offset, gradient, _, ok := line(b.hard[:], b.hardMean[:], hardLinear*most, hardSpan); ok {
		b.gradient, b.offset, b.reach = gradient, offset, hardExtra*most
	}
}

// fit draws the line of gentle driving.
func (b *balance) fit() {
	if offset, gradient, span, ok := line(b.cells[:], b.lateral[:], gentle, spanEnough); ok {
		b.gradient, b.offset, b.reach, b.gently = gradient, offset, extrapolate*span, true
	}
}

// line draws a straight line through the medians of the cells up to a lateral acceleration, each as heavy as it has samples. It is
// refused where the cells span too little, and where the result is that of another wheelbase, another steering ratio or a car that
// crabs: that is not to be judged.
func line(cells []centre, lateral []mean, most, spanLeast float64) (offset, gradient, span float64, ok bool) {
	var x, y, weights [hardCells]float64
	n := 0
	low, high := math.Inf(1), math.Inf(-1)
	for i := range cells {
		a := lateral[i].value()
		if cells[i].n < cellEnough || math.Abs(a) > most {
			continue
		}
		x[n], y[n], weights[n] = a, cells[i].value(), float64(cells[i].n)
		low, high = min(low, a), max(high, a)
		n++
	}
	if n < cellsEnough || high-low < spanLeast {
		return 0, 0, 0, false
	}
	offset, gradient = stat.LinearRegression(x[:n], y[:n], weights[:n], false)
	return offset, gradient, high - low, math.Abs(gradient) <= gradientMost && math.Abs(offset) <= offsetMost
}
