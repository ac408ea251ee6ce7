package probe

import (
	"fmt"
	"math"
	"slices"

	"earshot/assistant/channel"
	"earshot/assistant/statistics"
)

// A witness tells of one quantity in its own way.
type witness struct {
	name   string
	ids    []channel.ID // those that a fix would change; nil: never accused
	weight float64
	col    []float64
	loose  bool // what agrees with it need not agree with each other
}

func (j *judge) witnesses(list ...witness) []witness {
	var here []witness
	for _, w := range list {
		if len(statistics.Known(w.col)) >= enough {
			here = append(here, w)
		}
	}
	return here
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
		witness{name: "speed", ids: []channel.ID{channel.Speed}, weight: 2 + likely(speed), col: speed},
		witness{name: "the wheels' speed", ids: channel.Four(channel.WheelSpeed), weight: 2 + likely(wheels), col: wheels},
		witness{name: "the way from position to position", ids: j.positionIDs(), weight: 2.5 + likely(way), col: way},
		witness{name: "the progress of lap_distance", ids: []channel.ID{channel.LapDistance}, weight: 2 + likely(lap), col: lap},
		witness{name: "lateral acceleration ÷ yaw rate", ids: nil, weight: 1, col: fromBend},
	)
	best := j.agree(ws, func(x, y witness) bool {
		r, spread, n := ratio(x.col, y.col)
		return n >= enough && spread < 0.35 && math.Abs(math.Log(r)) < 0.14
	})
	if best.ref < 0 {
		return
	}
	j.speed = ws[best.ref].col
	if j.singleWheels(ws[best.ref].name) {
		return
	}
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
		case unit == "" && (spread > steady || math.Abs(math.Log(r)) < leastFactor):
		case unit == "" && w.ids[0] == channel.WheelSpeed && 1/r > 0.1 && 1/r < 0.6:
			j.accuse(Finding{Kind: "unit", Samples: n, Ratio: r, Evidence: evidence,
				Hypothesis: "wheel_speed fits no unit of speed: perhaps it is an angular speed, and the ratio is that of the rolling radius",
				Fix:        fmt.Sprintf("add scale: %.4g", j.mapping(w.ids[0]).Scale/r)}, w.ids...)
		case unit == "" && best.tie(i):
			j.accuseEither(w, ws[best.ref], evidence, n, r)
		case unit == "":
			j.accuseScale(evidence, n, r, w.ids...)
		case best.tie(i) && ws[best.ref].ids != nil:
			o := ws[best.ref]
			other := j.unitFor(o.ids[0], 1/r, 0.06)
			if other == "" {
				j.accuseUnit(unit, evidence, n, r, w.ids...)
				continue
			}
			j.accuse(Finding{Kind: "unit", Unit: unit, Alternate: true, Samples: n, Ratio: r, Evidence: evidence,
				Hypothesis: fmt.Sprintf("either %s is in %s, or %s is in %s: nothing else in the feed tells which", w.name, unit, o.name, other),
				Fix:        fmt.Sprintf("unit: %s for the former, or unit: %s for the latter", quoted(unit), quoted(other))}, slices.Concat(w.ids, o.ids)...)
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
	own    []float64 // per witness, the weight of those that agree with it
}

// tie tells whether witness i, with those that agree with it, weighs as much as the others.
func (v verdict) tie(i int) bool { return v.own[i] >= v.weight }

// agree finds the weightiest set of witnesses that agree with one of them.
func (j *judge) agree(ws []witness, same func(x, y witness) bool) verdict {
	best := verdict{ref: -1}
	own := make([]float64, len(ws))
	for a := range ws {
		own[a] = ws[a].weight
		if ws[a].ids == nil || ws[a].loose {
			continue // what is never accused gives no measure either
		}
		v := verdict{ref: a, in: make([]bool, len(ws))}
		for b := range ws {
			if v.in[b] = a == b || same(ws[b], ws[a]); v.in[b] {
				v.weight += ws[b].weight
			}
		}
		own[a] = v.weight
		if v.weight > best.weight || v.weight == best.weight && best.ref >= 0 && ws[a].weight > ws[best.ref].weight {
			best = v
		}
	}
	best.own = own
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
		witness{name: "the way's change of direction", ids: j.positionIDs(), weight: sure, col: course},
		witness{name: "the change of heading", ids: []channel.ID{channel.Heading}, weight: 1, col: heading},
		witness{name: "yaw_rate", ids: []channel.ID{channel.YawRate}, weight: 1, col: yaw},
		witness{name: "lateral acceleration ÷ speed", ids: []channel.ID{channel.AccelerationLat}, weight: 1, col: lat},
		witness{name: "right minus left wheels", ids: channel.Four(channel.WheelSpeed), weight: 2, col: wheels},
		witness{name: "steering_wheel_angle", ids: []channel.ID{channel.SteeringWheelAngle}, weight: 1, col: steer},
		witness{name: "road_wheel_angle", ids: []channel.ID{channel.RoadWheelAngle}, weight: 0.5, col: road},
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
			w.col = absolutes(w.col)
			w.loose = w.ids[0] == channel.AccelerationLat
			if w.ids[0] == channel.PositionX || w.ids[0] == channel.Latitude {
				w.weight = 2.5
			}
			scaled = append(scaled, w)
		}
	}
	best := j.agree(scaled, func(x, y witness) bool {
		r, _, n := ratio(x.col, y.col)
		rho, _ := correlation(x.col, y.col)
		return n >= enough && rho > 0.7 && math.Abs(math.Log(r)) < turnTolerance(x, y)
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
		if best.tie(i) { // two that differ: the one whose unit explains it
			other := j.unitFor(ref.ids[0], 1/r, 0.25)
			if unit == "" && other != "" {
				j.accuseUnit(other, evidence, n, 1/r, ref.ids...)
				j.scaleTurn(w.col)
				return
			}
			if unit != "" && other != "" {
				j.accuse(Finding{Kind: "unit", Unit: unit, Alternate: true, Samples: n, Ratio: r, Evidence: evidence,
					Hypothesis: fmt.Sprintf("either %s is in %s, or %s is in %s", w.name, unit, ref.name, other),
					Fix:        fmt.Sprintf("unit: %s for the former, or unit: %s for the latter", unit, other)}, slices.Concat(w.ids, ref.ids)...)
				return
			}
		}
		switch {
		case unit != "":
			j.accuseUnit(unit, evidence, n, r, w.ids...)
		case w.ids[0] == channel.Heading && headingUnit != "":
			j.accuseUnit(headingUnit, evidence, n, r, w.ids...)
		case rho < 0.9 || math.Abs(math.Log(r)) < 1.5*turnTolerance(w, ref):
		case best.tie(i):
			j.accuseEither(w, ref, evidence, n, r)
			return
		default:
			j.accuseScale(evidence, n, r, w.ids...)
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
