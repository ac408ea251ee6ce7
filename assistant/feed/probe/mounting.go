package probe

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/statistics"
)

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
		evidence := fmt.Sprintf("it varies %.4g times as much as the change of speed, correlation %.2f (%d observations)", r, xx, n)
		if unit := j.unitFor(channel.AccelerationLong, r, 0.25); unit != "" {
			j.accuseUnit(unit, evidence, n, r, channel.AccelerationLong)
		} else if least, most := math.Abs(xx)*r, r/math.Abs(xx); n >= 3*enough && (least > 1.3 || most < 1/1.3) {
			// Noise in either widens what it may be, and one shift of gear or one bad reading weighs much in a few
			// seconds.
			j.accuseScale(evidence, n, r, channel.AccelerationLong)
		} else {
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
	off, expected := pairs(a, want)
	for i := range off {
		off[i] -= expected[i]
	}
	middle := statistics.Median(off)
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

// steering holds the angles at the wheels against the way's curvature: tan of the road wheels' angle is wheelbase times
// curvature without slip (the bicycle model, Milliken and Milliken, Race Car Vehicle Dynamics, ch. 5, from memory), and
// a car's wheelbase is 1.5 to 4 m and its steering ratio 5 to 30.
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
	base, hand := j.m.Wheelbase, j.m.Wheelbase*j.m.SteeringRatio
	for _, s := range []struct {
		id            channel.ID
		col           []float64
		known         float64 // m: angle per curvature without slip, of this car
		least, most   float64 // m: of any car
		likely, hence float64
	}{
		{channel.SteeringWheelAngle, j.column(oSteer), hand, 4, 300, 8, 130},
		{channel.RoadWheelAngle, j.column(oRoad), base, 0.4, 30, 1.2, 10},
	} {
		if s.known > 0 { // a car that slides needs more, one that is balanced by its driver less
			s.least, s.most, s.likely, s.hence = s.known/2, s.known*2.2, s.known/1.6, s.known*1.8
		}
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
			if s.known > 0 {
				j.accuseScale(fmt.Sprintf("angle per curvature of the way is %.4g m, and %.3g m without slip by wheelbase and steering_ratio of the car file (correlation %.2f, %d observations)",
					r, s.known, rho, n), n, r/s.known, s.id)
				continue
			}
			middle := math.Sqrt(s.likely * s.hence)
			j.accuse(Finding{Kind: "scale", Samples: n, Ratio: r / middle,
				Hypothesis: fmt.Sprintf("%s reads about %s, give or take a factor of %.0f, and no unit explains it", j.m.set.At(s.id).Name, times(r/middle), math.Sqrt(s.hence/s.likely)),
				Fix:        "look at scale and type of this field, or map the field that is meant",
				Evidence: fmt.Sprintf("angle per curvature of the way is %.4g m, and wheelbase times steering ratio lies between %.3g and %.3g m (correlation %.2f, %d observations)",
					r, s.likely, s.hence, rho, n)}, s.id)
			continue
		}
		j.accuseUnit(unit, fmt.Sprintf("angle per curvature of the way is %.4g m; in %s it would be %.3g m, and wheelbase times steering ratio is of that size (correlation %.2f, %d observations)", r, unit, would, rho, n), n, 0, s.id)
	}
}
