package probe

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/statistics"
)

// A witness tells of one quantity in its own way.
type witness struct {
	name   string
	ids    []channel.ID // those that a fix would change; nil: never accused
	weight float64
	col    []float64
}

func (j *judge) witnesses(list ...witness) []witness {
	var here []witness
	for _, w := range list {
		if len(present(w.col)) >= enough {
			here = append(here, w)
		}
	}
	return here
}

func (j *judge) wheelIDs() []channel.ID {
	return []channel.ID{channel.WheelSpeed, channel.WheelSpeed + 1, channel.WheelSpeed + 2, channel.WheelSpeed + 3}
}

func (j *judge) positionIDs() []channel.ID {
	if j.m.windows.globe {
		return []channel.ID{channel.Latitude, channel.Longitude}
	}
	return []channel.ID{channel.PositionX, channel.PositionY}
}

// likely adds to the weight of a speed that a car reaches and keeps to.
func likely(c []float64) float64 {
	if v := magnitude(c); v > 8 && v < 110 {
		return 0.5
	}
	return 0
}

// speeds holds speed, wheels and way against each other.
func (j *judge) speeds() {
	speed, wheels, way, lap := j.column(oSpeed), j.column(oWheels), j.column(oWay), j.column(oLap)
	fromBend := make([]float64, len(j.obs)) // lateral acceleration is speed times yaw rate
	bend := 0.5 * magnitude(j.column(oYaw))
	for i, o := range j.obs {
		fromBend[i] = math.NaN()
		if math.Abs(o[oYaw]) > bend {
			fromBend[i] = math.Abs(o[oLat] / o[oYaw])
		}
	}
	ws := j.witnesses(
		witness{"speed", []channel.ID{channel.Speed}, 2 + likely(speed), speed},
		witness{"the wheels' speed", j.wheelIDs(), 2 + likely(wheels), wheels},
		witness{"the way from position to position", j.positionIDs(), 2.5 + likely(way), way},
		witness{"the progress of lap_distance", []channel.ID{channel.LapDistance}, 2 + likely(lap), lap},
		witness{"lateral acceleration ÷ yaw rate", nil, 1, fromBend},
	)
	best := j.agree(ws, func(x, y witness) bool {
		r, spread, n := ratio(x.col, y.col)
		return n >= enough && spread < 0.35 && math.Abs(math.Log(r)) < 0.14
	})
	if best.ref < 0 {
		return
	}
	j.speed = ws[best.ref].col
	for i, w := range ws {
		if best.in[i] || w.ids == nil {
			continue
		}
		r, spread, n := ratio(w.col, j.speed)
		if n < enough || spread > 0.25 {
			continue
		}
		unit := j.unitFor(w.ids[0], r, 0.06)
		evidence := fmt.Sprintf("%s ÷ %s = %.4g, the middle half within %.1f %% (%d observations)", w.name, ws[best.ref].name, r, 100*spread, n)
		switch {
		case unit == "" && w.ids[0] == channel.WheelSpeed && spread < 0.08 && (r < 0.8 || r > 1.25):
			j.accuse(Finding{Kind: "unit", Samples: n, Ratio: r, Evidence: evidence,
				Hypothesis: "wheel_speed fits no unit of speed: perhaps it is an angular speed, and the ratio is that of the rolling radius",
				Fix:        fmt.Sprintf("add scale: %.4g", j.mapping(w.ids[0]).Scale/r)}, w.ids...)
		case unit == "":
		case best.tie(ws, i) && ws[best.ref].ids != nil:
			o := ws[best.ref]
			other := j.unitFor(o.ids[0], 1/r, 0.06)
			if other == "" {
				j.accuseUnit(unit, evidence, n, r, w.ids...)
				continue
			}
			j.accuse(Finding{Kind: "unit", Unit: unit, Alternate: true, Samples: n, Ratio: r, Evidence: evidence,
				Hypothesis: fmt.Sprintf("either %s is in %s, or %s is in %s: nothing else in the feed tells which", w.name, unit, o.name, other),
				Fix:        fmt.Sprintf("unit: %s for the former, or unit: %s for the latter", quoted(unit), quoted(other))}, append(append([]channel.ID{}, w.ids...), o.ids...)...)
		default:
			j.accuseUnit(unit, evidence, n, r, w.ids...)
		}
	}
}

// A verdict is which witnesses agree.
type verdict struct {
	ref    int // the weightiest of them, -1 without any
	in     []bool
	weight float64
}

// tie tells whether witness i weighs as much as all those that agree.
func (v verdict) tie(ws []witness, i int) bool { return ws[i].weight >= v.weight }

// agree finds the weightiest set of witnesses that agree with one of them.
func (j *judge) agree(ws []witness, same func(x, y witness) bool) verdict {
	best := verdict{ref: -1}
	for a := range ws {
		if ws[a].ids == nil {
			continue // what is never accused gives no measure either
		}
		v := verdict{ref: a, in: make([]bool, len(ws))}
		for b := range ws {
			if v.in[b] = a == b || same(ws[b], ws[a]); v.in[b] {
				v.weight += ws[b].weight
			}
		}
		if v.weight > best.weight || v.weight == best.weight && best.ref >= 0 && ws[a].weight > ws[best.ref].weight {
			best = v
		}
	}
	return best
}

// turns holds yaw rate, heading, lateral acceleration, wheels, steering and the way's curvature against each other.
func (j *judge) turns() {
	if j.speed == nil {
		return
	}
	n := len(j.obs)
	at := func(f func(o *observation, v float64) float64) []float64 {
		c := make([]float64, n)
		for i := range j.obs {
			c[i] = math.NaN()
			if v := j.speed[i]; v > 5 {
				c[i] = f(&j.obs[i], v)
			}
		}
		return c
	}
	course := at(func(o *observation, _ float64) float64 { return o[oCourse] })
	heading := at(func(o *observation, _ float64) float64 { return o[oTurn] })
	yaw := at(func(o *observation, _ float64) float64 { return o[oYaw] })
	lat := at(func(o *observation, v float64) float64 { return o[oLat] / v })
	wheels := at(func(o *observation, _ float64) float64 { return o[oLeftRight] })
	steer := at(func(o *observation, v float64) float64 { return o[oSteer] * v })
	road := at(func(o *observation, v float64) float64 { return o[oRoad] * v })

	heading, headingUnit := j.headingRate(heading, at, course, yaw, lat)
	sure := 2.0
	if j.m.windows.globe {
		sure = 3 // nobody mirrors the globe
	}
	ws := j.witnesses(
		witness{"the way's change of direction", j.positionIDs(), sure, course},
		witness{"the change of heading", []channel.ID{channel.Heading}, 1, heading},
		witness{"yaw_rate", []channel.ID{channel.YawRate}, 1, yaw},
		witness{"lateral acceleration ÷ speed", []channel.ID{channel.AccelerationLat}, 1, lat},
		witness{"right minus left wheels", j.wheelIDs(), 2, wheels},
		witness{"steering_wheel_angle", []channel.ID{channel.SteeringWheelAngle}, 1, steer},
		witness{"road_wheel_angle", []channel.ID{channel.RoadWheelAngle}, 0.5, road},
	)
	j.turnSigns(ws)
	j.turnScales(ws, headingUnit)
}

// headingRate chooses how to unwrap the heading: as it is, or as degrees or radians taken for each other.
func (j *judge) headingRate(plain []float64, at func(func(*observation, float64) float64) []float64, others ...[]float64) (col []float64, unit string) {
	fit := func(c []float64) float64 {
		best := 0.0
		for _, o := range others {
			if rho, n := correlation(c, o); n >= enough {
				best = max(best, math.Abs(rho))
			}
		}
		return best
	}
	col = plain
	if x := j.m.measured(channel.Heading); x == nil {
		return col, ""
	}
	if u := j.current(channel.Heading); u.Scale == 1 {
		deg := at(func(o *observation, _ float64) float64 { return o[oTurnDeg] })
		if fit(deg) > 0.7 && fit(deg) > fit(plain)+0.1 {
			return deg, "deg"
		}
	} else {
		rad := at(func(o *observation, _ float64) float64 { return o[oTurnRad] })
		if fit(rad) > 0.7 && fit(rad) >= fit(plain) {
			return rad, "rad"
		}
	}
	return col, ""
}

// turnSigns looks for those that turn the other way.
func (j *judge) turnSigns(ws []witness) {
	const close = 0.7
	best := verdict{ref: -1}
	var sign []float64
	for a := range ws {
		v, s := verdict{ref: a, in: make([]bool, len(ws))}, make([]float64, len(ws))
		for b := range ws {
			rho, n := correlation(ws[a].col, ws[b].col)
			if n < enough || math.Abs(rho) < close {
				continue
			}
			s[b] = rho
			if v.in[b] = rho > 0; v.in[b] {
				v.weight += ws[b].weight
			}
		}
		if v.weight > best.weight {
			best, sign = v, s
		}
	}
	if best.ref < 0 {
		return
	}
	ref := ws[best.ref]
	j.turn = ref.col
	var against []int
	var weight float64
	for i := range ws {
		if sign[i] < 0 {
			against = append(against, i)
			weight += ws[i].weight
		}
	}
	if len(against) == 0 || best.weight <= ref.weight && len(ws) == 2 && weight < ref.weight && ref.ids[0] != j.positionIDs()[0] {
		return
	}
	for _, i := range against {
		w := ws[i]
		rho, n := correlation(w.col, ref.col)
		f := Finding{Kind: "sign", Samples: n, Rho: rho, Alternate: weight >= best.weight-1e-9,
			Evidence: fmt.Sprintf("the correlation of %s with %s is %.2f (%d observations)", w.name, ref.name, rho, n)}
		if best.weight < weight+1.5 && !f.Alternate {
			f.Evidence += "; close: those that agree with it may all be wrong instead"
		}
		switch w.ids[0] {
		case channel.WheelSpeed:
			f.Kind = "pair"
			f.Hypothesis = "left and right of wheel_speed are exchanged: the wheels on the inside of a bend read faster"
			f.Fix = "exchange left and right in wheels: (or in the four columns), and look at every other field of the wheels"
		case channel.PositionX, channel.Latitude:
			f.Hypothesis = "the plane of the positions is mirrored: x is not east, y is not north, or the two are exchanged"
			f.Fix = "negate: true for one of the two, or exchange them"
		case channel.Heading:
			f.Hypothesis = "heading counts clockwise, as a compass does; inside it counts counter-clockwise from east"
			f.Fix = "negate: true, offset: -90 with unit: deg, if it counts from north"
		default:
			f.Hypothesis = j.m.set.At(w.ids[0]).Name + " counts right as positive; inside left is positive (ISO 8855)"
			f.Fix = "change negate: (add negate: true, or take it out)"
		}
		j.accuse(f, w.ids...)
	}
}

// turnScales looks for degrees and g.
func (j *judge) turnScales(ws []witness, headingUnit string) {
	var scaled []witness
	for _, w := range ws {
		switch w.ids[0] {
		case channel.PositionX, channel.Latitude, channel.Heading, channel.YawRate, channel.AccelerationLat:
			c := make([]float64, len(w.col))
			for i, v := range w.col {
				c[i] = math.Abs(v)
			}
			w.col = c
			if w.ids[0] == channel.PositionX || w.ids[0] == channel.Latitude {
				w.weight = 2.5
			}
			scaled = append(scaled, w)
		}
	}
	best := j.agree(scaled, func(x, y witness) bool {
		r, _, n := ratio(x.col, y.col)
		rho, _ := correlation(x.col, y.col)
		return n >= enough && rho > 0.7 && math.Abs(math.Log(r)) < 0.4
	})
	if best.ref < 0 || len(scaled) < 2 {
		return
	}
	ref := scaled[best.ref]
	for i, w := range scaled {
		if best.in[i] || w.ids[0] == channel.PositionX || w.ids[0] == channel.Latitude {
			continue
		}
		r, _, n := ratio(w.col, ref.col)
		rho, _ := correlation(w.col, ref.col)
		if n < enough || rho < 0.8 {
			continue
		}
		evidence := fmt.Sprintf("%s ÷ %s = %.4g, correlation %.2f (%d observations)", w.name, ref.name, r, rho, n)
		unit := j.unitFor(w.ids[0], r, 0.25)
		if best.tie(scaled, i) { // two that differ: the one whose unit explains it
			other := j.unitFor(ref.ids[0], 1/r, 0.25)
			if unit == "" && other != "" {
				j.accuseUnit(other, evidence, n, 1/r, ref.ids...)
				j.scaleTurn(w.col)
				return
			}
			if unit != "" && other != "" {
				j.accuse(Finding{Kind: "unit", Unit: unit, Alternate: true, Samples: n, Ratio: r, Evidence: evidence,
					Hypothesis: fmt.Sprintf("either %s is in %s, or %s is in %s", w.name, unit, ref.name, other),
					Fix:        fmt.Sprintf("unit: %s for the former, or unit: %s for the latter", unit, other)}, append(append([]channel.ID{}, w.ids...), ref.ids...)...)
				return
			}
		}
		if unit != "" {
			j.accuseUnit(unit, evidence, n, r, w.ids...)
		} else if w.ids[0] == channel.Heading && headingUnit != "" {
			j.accuseUnit(headingUnit, evidence, n, r, w.ids...)
		}
	}
	j.scaleTurn(ref.col)
}

// scaleTurn gives the agreed turn the size of c.
func (j *judge) scaleTurn(c []float64) {
	if r, _, n := ratio(absolutes(j.turn), c); n >= enough {
		t := make([]float64, len(j.turn))
		for i := range t {
			t[i] = j.turn[i] / r
		}
		j.turn = t
	}
}

func absolutes(c []float64) []float64 {
	a := make([]float64, len(c))
	for i := range c {
		a[i] = math.Abs(c[i])
	}
	return a
}

const g0 = 9.80665 // m/s²: standard acceleration of gravity, NIST SP 811 (2008), Appendix B.8

// accelerations holds the accelerometer against what the speed does.
func (j *judge) accelerations() {
	if j.speed == nil {
		return
	}
	long, lat := j.column(oLong), j.column(oLat)
	rate := j.rate()
	if rate == nil {
		return
	}
	side := make([]float64, len(j.obs))
	for i := range side {
		side[i] = math.NaN()
		if j.turn != nil {
			side[i] = j.turn[i] * j.speed[i]
		}
	}
	xx, n := correlation(long, rate)
	if n < enough {
		return
	}
	xy, _ := correlation(long, side)
	yx, _ := correlation(lat, rate)
	yy, _ := correlation(lat, side)
	if math.Abs(xy) > 0.8 && math.Abs(yx) > 0.8 && math.Abs(xx) < 0.5 && math.Abs(yy) < 0.5 {
		fix := "exchange the two fields"
		if xy < 0 {
			fix += ", and negate what becomes acceleration_lateral"
		}
		if yx < 0 {
			fix += ", and negate what becomes acceleration_longitudinal"
		}
		j.accuse(Finding{Kind: "axes", Samples: n, Rho: xy, Fix: fix,
			Hypothesis: "the axes of the accelerometer are exchanged: it is mounted a quarter turn off",
			Evidence:   fmt.Sprintf("acceleration_longitudinal follows speed × turn (%.2f) and not the change of speed (%.2f); acceleration_lateral the reverse (%.2f, %.2f; %d observations)", xy, xx, yx, yy, n),
		}, channel.AccelerationLong, channel.AccelerationLat)
		return
	}
	if xx < -0.8 {
		j.accuse(Finding{Kind: "sign", Samples: n, Rho: xx, Fix: "change negate: (add negate: true, or take it out)",
			Hypothesis: "acceleration_longitudinal is positive when the car brakes: the sensor is mounted the other way",
			Evidence:   fmt.Sprintf("its correlation with the change of speed is %.2f (%d observations)", xx, n),
		}, channel.AccelerationLong)
	}
	if math.Abs(xx) > 0.8 {
		r := deviation(long, rate) / deviation(rate, long)
		if unit := j.unitFor(channel.AccelerationLong, r, 0.25); unit != "" {
			j.accuseUnit(unit, fmt.Sprintf("it varies %.4g times as much as the change of speed, correlation %.2f (%d observations)", r, xx, n), n, r, channel.AccelerationLong)
		} else if math.Abs(r-1) < 0.3 {
			j.gravity(long, rate, channel.AccelerationLong)
		}
	}
	if math.Abs(yy) > 0.8 {
		j.gravity(lat, side, channel.AccelerationLat)
	}
}

// rate is the change of the agreed speed in m/s².
func (j *judge) rate() []float64 {
	for _, c := range []struct{ v, a int }{{oSpeed, oSpeedRate}, {oWheels, oWheelRate}, {oWay, oWayRate}} {
		r, _, n := ratio(j.column(c.v), j.speed)
		if n < enough {
			continue
		}
		a := j.column(c.a)
		for i := range a {
			a[i] /= r
		}
		return a
	}
	return nil
}

// gravity looks for the weight of the car in an axis that lies level.
func (j *judge) gravity(a, want []float64, id channel.ID) {
	var off []float64
	for i := range a {
		if d := a[i] - want[i]; !math.IsNaN(d) {
			off = append(off, d)
		}
	}
	middle := statistics.Quantile(off, 0.5)
	if len(off) < enough || math.Abs(math.Abs(middle)-g0) > 1 {
		return
	}
	j.accuse(Finding{Kind: "axes", Samples: len(off),
		Hypothesis: j.m.set.At(id).Name + " has gravity in it: the sensor stands upright, or its vertical axis is mapped here",
		Fix:        fmt.Sprintf("map another axis, or add offset: %.4g", -math.Copysign(g0, middle)/j.current(id).Scale),
		Evidence:   fmt.Sprintf("it exceeds what the motion gives by %.2f m/s² at the median (%d observations)", middle, len(off)),
	}, id)
}

// vertical looks at the axis that has gravity or none.
func (j *judge) vertical() {
	x := j.m.measured(channel.AccelerationVert)
	if x == nil || x.n < enough {
		return
	}
	middle, n := x.values.quantile(0.5), int(x.n)
	is := func(v float64) bool { return math.Abs(math.Abs(middle)/v-1) < 0.06 }
	cur := j.current(channel.AccelerationVert)
	switch {
	case cur.Scale == 1 && is(1):
		j.accuseUnit("g", fmt.Sprintf("the median is %.3f m/s², and gravity is %.2f (%d readings)", middle, g0, n), n, 0, channel.AccelerationVert)
	case cur.Scale != 1 && is(g0*g0):
		j.accuseUnit("m/s²", fmt.Sprintf("the median is %.1f m/s², and gravity is %.2f (%d readings)", middle, g0, n), n, 0, channel.AccelerationVert)
	}
	if middle < 0 && (is(1) || is(g0) || is(g0*g0)) {
		j.accuse(Finding{Kind: "sign", Samples: n, Hypothesis: "acceleration_vertical counts down as positive; inside up is positive", Fix: "change negate: (add negate: true, or take it out)",
			Evidence: fmt.Sprintf("the median is %.2f m/s² (%d readings)", middle, n)}, channel.AccelerationVert)
	}
}

// steering holds the angles at the wheels against the way's curvature: tan of the road wheels' angle is wheelbase
// times curvature without slip (the bicycle model, Milliken and Milliken, Race Car Vehicle Dynamics, ch. 5, from memory), and a car's
// wheelbase is 1.5 to 4 m and its steering ratio 5 to 30.
func (j *judge) steering() {
	if j.turn == nil || j.speed == nil {
		return
	}
	curve := make([]float64, len(j.obs))
	for i := range curve {
		curve[i] = math.NaN()
		if j.speed[i] > 8 {
			curve[i] = j.turn[i] / j.speed[i]
		}
	}
	for _, s := range []struct {
		id            channel.ID
		col           []float64
		least, most   float64 // m: angle per curvature
		likely, hence float64
	}{
		{channel.SteeringWheelAngle, j.column(oSteer), 4, 300, 8, 130},
		{channel.RoadWheelAngle, j.column(oRoad), 0.4, 30, 1.2, 10},
	} {
		r, _, n := ratio(s.col, curve)
		rho, _ := correlation(s.col, curve)
		r = math.Abs(r)
		if n < enough || math.Abs(rho) < 0.8 || r > s.least && r < s.most {
			continue
		}
		unit := "deg"
		if j.current(s.id).Scale != 1 {
			unit = "rad"
		}
		u, _ := channel.UnitNamed(unit)
		would := r / j.current(s.id).Scale * u.Scale
		if would < s.likely || would > s.hence {
			continue
		}
		j.accuseUnit(unit, fmt.Sprintf("angle per curvature of the way is %.4g m; in %s it would be %.3g m, and wheelbase times steering ratio is of that size (correlation %.2f, %d observations)", r, unit, would, rho, n), n, 0, s.id)
	}
}
