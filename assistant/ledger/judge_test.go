package ledger

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
)

// A judgement is on one call that was said: whether what it says was so, and whether its numbers were right.
type judgement struct {
	known  bool // there is a judge for this rule
	so     bool
	number bool
	why    string
}

var (
	fine = judgement{known: true, so: true, number: true}
	nan  = math.NaN()
)

func wrongNumber(why string) judgement { return judgement{true, true, false, why} }
func notSo(why string) judgement       { return judgement{true, false, true, why} }

// when is the moment that a cue speaks of: when its voice began.
func (c *said) when() float64 {
	if !c.Start.IsZero() {
		return float64(c.Start)
	}
	return c.at
}

const (
	psi      = 6.894757293168361 // kPa
	lapAbout = 100.0             // s, about a lap of the demo's courses
)

// judge holds one said call against what really was.
func (o *outcome) judge(c *said) judgement {
	t := c.when()
	ws := wheelsIn(c.Text)
	now := o.at(t).row
	if clears(c.Text) {
		return o.cleared(c, ws, t)
	}
	switch rule := c.Rule; rule {
	case "tyres-short":
		worst := 0.0
		for _, w := range ws {
			worst = max(worst, o.limit("tyre_low", channel.Wheel(w))-o.core(w, t))
		}
		if worst < 0.3 {
			return notSo("no tyre is short")
		}
		return check(near(c.Text, worst, 2), "short by %.1f", worst)
	case "tyres-ready":
		for w := range 4 {
			if x := o.core(w, t); x < o.limit("tyre_low", channel.Wheel(w))-1 || x > o.limit("tyre_overheat", channel.Wheel(w)) {
				return notSo("a tyre is outside its window")
			}
		}
		if now[channel.Flag] == 7 {
			return notSo("after the flag")
		}
		return fine
	case "tyres-not-coming":
		for w := range 4 {
			if o.mean(channel.TyreCarcass+channel.ID(w), t, t+4*lapAbout) < o.limit("tyre_low", channel.Wheel(w)) {
				return fine
			}
		}
		return notSo("all tyres come into their window")
	case "tyre-hot", "tyre-overheating":
		limit, most := "tyre_high", 0.0
		for _, w := range ws {
			x := max(o.core(w, t), o.mean(channel.TyreCarcass+channel.ID(w), t-lapAbout, t))
			most = max(most, x)
			if x < o.limit(limit, channel.Wheel(w))-1 {
				return notSo("not hot")
			}
		}
		return check(len(numbers(c.Text)) == 0 || near(c.Text, most, 2.5) || anyNear(c.Text, ws, func(w int) float64 { return o.core(w, t) }, 2.5), "%.1f", most)
	case "tyre-pressure-high", "tyre-pressure-low":
		name, sign := "pressure_high", 1.0
		if rule == "tyre-pressure-low" {
			name, sign = "pressure_low", -1
		}
		worst := math.Inf(-1)
		value := nan
		for _, w := range ws {
			id := channel.TyrePressure + channel.ID(w)
			x := max(sign*(o.mean(id, t-3, t)-o.limit(name, channel.Wheel(w))), sign*(o.mean(id, t-lapAbout, t)-o.limit(name, channel.Wheel(w))))
			if x < -0.1*psi {
				return notSo("inside its band")
			}
			if x > worst {
				worst, value = x, o.mean(id, t-3, t)
			}
		}
		return check(near(c.Text, worst/psi, 0.26) || near(c.Text, value/psi, 0.3) || anyNear(c.Text, ws, func(w int) float64 {
			id := channel.TyrePressure + channel.ID(w)
			return sign * (o.mean(id, t-3, t) - o.limit(name, channel.Wheel(w))) / psi
		}, 0.26), "off by %.2f psi", worst/psi)
	case "tyre-losing-air":
		for _, w := range ws {
			if !o.fault(demo.Leak, t, func(f demo.Fault) bool { return int(f.Wheel) == w }) {
				return notSo("no leak")
			}
		}
		return check(anyNear(c.Text, ws, func(w int) float64 { return now[channel.TyrePressure+channel.ID(w)] / psi }, 0.4), "%.1f psi", now[channel.TyrePressure+channel.ID(ws[0])]/psi)
	case "tyre-right-hotter", "tyre-left-hotter":
		return o.spread(c, rule == "tyre-right-hotter", t, "tyre_spread_limit", 1.2, 2, func(w int) float64 { return o.lapMean(channel.TyreCarcass, w, t) })
	case "tyre-front-hotter", "tyre-rear-hotter":
		front := (o.lapMean(channel.TyreCarcass, 0, t) + o.lapMean(channel.TyreCarcass, 1, t)) / 2
		rear := (o.lapMean(channel.TyreCarcass, 2, t) + o.lapMean(channel.TyreCarcass, 3, t)) / 2
		x := front - rear
		if rule == "tyre-rear-hotter" {
			x = -x
		}
		if x < 5 {
			return notSo("no spread between the axles")
		}
		return check(near(c.Text, x, 2.5), "hotter by %.1f", x)
	case "compound-unfit":
		k, _ := o.car.Compound(compoundNames[int(now[channel.Compound])])
		surface := now[channel.TrackTemperature]
		if surface < k.SurfaceLow+0.5 || surface > k.SurfaceHigh-0.5 || k.MaxLaps < float64(o.truth.Stint) || o.truth.Weather.Rain != nil {
			return fine
		}
		return notSo("the compound suits the surface")
	case "brakes-cold":
		for _, a := range axles(ws) {
			if min(o.peak(2*a, t), o.peak(2*a+1, t)) > o.limit("brake_cold", channel.Wheel(2*a))+10 {
				return notSo("the brakes are warm")
			}
		}
		return fine
	case "brakes-hot", "brakes-overheating":
		limit := "brake_hot"
		if rule == "brakes-overheating" {
			limit = "brake_overheat"
		}
		most := 0.0
		for _, w := range ws {
			x := o.hottest(w, t-lapAbout, t)
			most = max(most, x)
			if x < o.limit(limit, channel.Wheel(w))-5 {
				return notSo("not hot")
			}
		}
		return check(len(numbers(c.Text)) == 0 || near(c.Text, most, 60) || anyNear(c.Text, ws, func(w int) float64 { return o.peak(w, t) }, 25) ||
			anyNear(c.Text, ws, func(w int) float64 { return o.hottest(w, t-1, t) }, 25), "%.0f", most)
	case "brake-right-hotter", "brake-left-hotter":
		return o.spread(c, rule == "brake-right-hotter", t, "brake_spread_limit", 6, 12, func(w int) float64 { return o.meanPeak(w, t) })
	case "brakes-fading":
		if x := o.biteLost(t); x < 0.03 {
			return notSo("the brakes bite as before")
		}
		return fine
	case "locking", "wheelspin":
		return o.slipped(c, rule == "locking", ws, t)
	case "understeer", "oversteer":
		kind := demo.Understeer
		if rule == "oversteer" {
			kind = demo.Oversteer
		}
		for lap := o.lapAt(t); lap >= max(0, o.lapAt(t)-5); lap-- {
			for _, f := range o.truth.Faults {
				if f.Kind == kind && f.FromLap <= lap && lap <= max(f.ToLap, f.FromLap) && (f.Corner == 0 || o.names(c.Text, f.Corner)) {
					return fine
				}
			}
		}
		return notSo("the car is balanced there")
	case "abs-changed", "traction-control-changed", "brake-bias-changed", "engine-map-changed":
		id := map[string]channel.ID{"abs-changed": channel.ABSLevel, "traction-control-changed": channel.TractionControl,
			"brake-bias-changed": channel.BrakeBias, "engine-map-changed": channel.EngineMap}[rule]
		before := o.at(t - 100).row[id]
		if before == now[id] {
			return notSo("it is what it was")
		}
		return check(near(c.Text, now[id], 0.05) || near(c.Text, now[id]*100, 0.1) || now[id] == 0 && strings.Contains(c.Text, "off"), "%g", now[id])
	case "on-limiter":
		limit := o.limit("limiter_speed", 0)
		for _, m := range o.between(t-2*lapAbout, t) {
			if m.row[channel.EngineSpeed] > limit*0.99 {
				return fine
			}
		}
		return notSo("never on the limiter")
	case "bottoming":
		if o.fault(demo.Bottoming, t, nil) || o.fault(demo.Bottoming, t-lapAbout, nil) {
			return fine
		}
		return notSo("nothing touches")
	case "gear-low":
		return o.gearLow(t)
	case "oil-hot":
		return o.above(c, channel.OilTemperature, "oil_hot", t, 1.5)
	case "coolant-hot":
		return o.above(c, channel.CoolantTemperature, "coolant_hot", t, 1.5)
	case "oil-pressure-low":
		if o.fault(demo.OilLoss, t, nil) {
			return fine
		}
		return notSo("the pressure is good")
	case "limiter-off-in-lane":
		if now[channel.InPitLane] == 1 && now[channel.PitLimiter] == 0 {
			return fine
		}
		return notSo("the limiter is on, or the car is not in the lane")
	case "limiter-on-course":
		if now[channel.InPitLane] == 0 && now[channel.PitLimiter] == 1 {
			return fine
		}
		return notSo("the limiter is off, or the car is in the lane")
	case "lap-time", "personal-best", "personal-record":
		return o.lapTime(c, t)
	case "lap-void":
		n := o.lapAt(t)
		for _, k := range []int{n - 1, n} {
			if k >= 0 && k < len(o.truth.Done) && !o.truth.Done[k].Valid {
				return fine
			}
		}
		return notSo("the lap counts")
	case "fuel-short", "fuel-still-short", "fuel-stop", "fuel-good", "fuel-good-saving", "fuel-marginal", "fuel-left", "fuel-box", "fuel-saving", "fuel-on-target", "stop-window":
		return o.fuel(c, t)
	case "yellow-flag", "full-course-caution", "red-flag", "blue-flag", "black-flag", "chequered-flag", "white-flag", "green-flag":
		label := strings.ReplaceAll(strings.TrimSuffix(rule, "-flag"), "-", "_")
		for _, m := range o.between(t-8, t) {
			if o.set.At(channel.Flag).Labels[int(m.row[channel.Flag])] == label {
				return fine
			}
		}
		return notSo("that flag is not shown")
	case "flags-clear":
		if f := now[channel.Flag]; f <= 1 || f == 5 {
			return fine
		}
		return notSo("a flag is shown")
	case "gap-behind", "gap-ahead":
		id := channel.GapBehind
		if rule == "gap-ahead" {
			id = channel.GapAhead
		}
		for _, m := range o.between(t-8, t) {
			if near(c.Text, math.Abs(m.row[id]), 0.16) {
				return fine
			}
		}
		return wrongNumber("the gap is another")
	case "position-changed":
		return check(near(c.Text, now[channel.RacePosition], 0.01), "position %g", now[channel.RacePosition])
	case "laps-left":
		left := now[channel.SessionLapsLeft]
		if math.IsNaN(left) {
			left = o.at(t).own[channel.LapsToGo]
		}
		if left <= 1 && strings.Contains(strings.ToLower(c.Text), "last lap") {
			return fine
		}
		return check(near(c.Text, left, 0.01), "%g laps", left)
	case "time-left":
		left := now[channel.SessionTimeLeft]
		low := strings.ToLower(c.Text)
		if strings.Contains(low, "last lap") || strings.Contains(low, "half") {
			return fine
		}
		return check(near(c.Text, left/60, 0.7), "%.1f min", left/60)
	case "feed-silent":
		if o.drive.options.Faults != nil {
			return fine
		}
		return notSo("the feed was never silent")
	case "channel-frozen", "channel-implausible":
		if o.drive.spoil != nil || o.fault(demo.Frozen, t, nil) || o.fault(demo.Frozen, t-200, nil) {
			return fine
		}
		return notSo("the sensors are good")
	case "pace-dropping", "pace-uneven":
		return o.pace(c, t)
	}
	return judgement{}
}

// clears tells whether a text takes back what was said before.
func clears(text string) bool {
	for _, w := range []string{"ready.", "normal.", "back.", "clear.", "no longer", "again."} {
		if strings.Contains(text, w) && !strings.Contains(text, "Push") {
			return true
		}
	}
	return false
}

func (o *outcome) cleared(c *said, ws []int, t float64) judgement {
	switch c.Rule {
	case "brakes-cold":
		for _, w := range ws {
			if o.hottest(w, t-lapAbout, t) < o.limit("brake_cold", channel.Wheel(w))-10 {
				return notSo("the brakes are cold")
			}
		}
	case "oil-hot", "coolant-hot":
		return o.above(c, map[string]channel.ID{"oil-hot": channel.OilTemperature, "coolant-hot": channel.CoolantTemperature}[c.Rule], strings.ReplaceAll(c.Rule, "-", "_"), t, 2)
	}
	return fine
}

var compoundNames = []string{"unknown", "soft", "medium", "hard", "intermediate", "wet"}

func check(ok bool, format string, x float64) judgement {
	if ok {
		return fine
	}
	return wrongNumber(sprintf(format, x))
}

func anyNear(text string, ws []int, of func(int) float64, tolerance float64) bool {
	return slices.ContainsFunc(ws, func(w int) bool { return near(text, of(w), tolerance) })
}

func axles(ws []int) (list []int) {
	for _, w := range ws {
		if !slices.Contains(list, w/2) {
			list = append(list, w/2)
		}
	}
	return list
}

func (o *outcome) core(w int, t float64) float64 {
	return o.mean(channel.TyreCarcass+channel.ID(w), t-3, t)
}

// lapMean is over the lap completed last, without the time standing.
func (o *outcome) lapMean(first channel.ID, w int, t float64) float64 {
	n := o.lapAt(t) - 1
	if n < 0 || n >= len(o.truth.Done) {
		return nan
	}
	l := o.truth.Done[n]
	return o.mean(first+channel.ID(w), l.Start, l.End)
}

// events are the braking events of a span: the highest disc temperature of each.
func (o *outcome) peaks(w int, a, b float64) (list []float64) {
	high, off := nan, 0.0
	for _, m := range o.between(a, b) {
		if m.row[channel.Brake] > 0.05 {
			high, off = max(zero(high), m.row[channel.BrakeTemperature+channel.ID(w)]), m.at
			continue
		}
		if !math.IsNaN(high) {
			high = max(high, m.row[channel.BrakeTemperature+channel.ID(w)])
			if m.at-off > 0.7 {
				list = append(list, high)
				high = nan
			}
		}
	}
	return list
}

func zero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

func (o *outcome) peak(w int, t float64) float64 {
	p := o.peaks(w, t-60, t)
	if len(p) == 0 {
		return o.at(t).row[channel.BrakeTemperature+channel.ID(w)]
	}
	return p[len(p)-1]
}

func (o *outcome) hottest(w int, a, b float64) (most float64) {
	for _, m := range o.between(a, b) {
		most = max(most, m.row[channel.BrakeTemperature+channel.ID(w)])
	}
	return most
}

func (o *outcome) meanPeak(w int, t float64) float64 {
	n := o.lapAt(t) - 1
	if n < 0 || n >= len(o.truth.Done) {
		return nan
	}
	p := o.peaks(w, o.truth.Done[n].Start, o.truth.Done[n].End)
	return sum(p) / float64(len(p))
}

// spread judges a call on two sides of an axle.
func (o *outcome) spread(c *said, right bool, t float64, limit string, slack, tolerance float64, of func(int) float64) judgement {
	parts := axles(wheelsIn(strings.NewReplacer("right", "", "left", "", "Right", "", "Left", "").Replace(c.Text)))
	most := math.Inf(-1)
	var list []float64
	for _, a := range parts {
		x := of(2*a+1) - of(2*a)
		if !right {
			x = -x
		}
		list = append(list, x)
		most = max(most, x)
		if x < o.limit(limit, channel.Wheel(2*a))-slack {
			return notSo(sprintf("the axle differs by %.1f", x))
		}
	}
	return check(slices.ContainsFunc(list, func(x float64) bool { return near(c.Text, x, tolerance) }), "hotter by %.1f", most)
}

// fault tells whether one of that kind is under way.
func (o *outcome) fault(kind demo.Kind, t float64, also func(demo.Fault) bool) bool {
	lap := o.lapAt(t)
	return slices.ContainsFunc(o.truth.Faults, func(f demo.Fault) bool {
		last := max(f.ToLap, f.FromLap)
		if kind == demo.Leak { // what has leaked is gone
			last = len(o.truth.Done)
		}
		return f.Kind == kind && lap >= f.FromLap && lap <= last+1 && (also == nil || also(f))
	})
}

// names tells whether a text names the corner, by the number that the core gives it where it lies. Without a number in the text any will do.
func (o *outcome) names(text string, corner int) bool {
	if !strings.Contains(text, "urn ") && !strings.Contains(text, "off ") {
		return true
	}
	n := o.numberOf(corner)
	return n == 0 || near(text, n, 0.01)
}

// numberOf is the number that the core has given to a corner of the course: what it says where the car is at its middle.
func (o *outcome) numberOf(corner int) float64 {
	k := o.truth.Course.Corners[corner-1]
	middle := k.Apex
	for i := len(o.trace) - 1; i >= 0; i-- {
		m := o.trace[i]
		if math.Abs(m.row[channel.LapDistance]-middle) < 6 && m.own[channel.CornerHere] > 0 {
			return m.own[channel.CornerHere]
		}
	}
	return 0
}

// slipped judges locking and spinning by the slip that really was, in the last laps.
func (o *outcome) slipped(c *said, locking bool, ws []int, t float64) judgement {
	held := 0.0
	laps := map[int]bool{}
	last := 0.0
	for _, m := range o.between(t-5.5*lapAbout, t) {
		dt := m.at - last
		last = m.at
		v := m.row[channel.Speed]
		over := false
		if v > 5 {
			for _, w := range ws {
				s := m.row[channel.WheelSpeed+channel.ID(w)]/v - 1
				if locking && s < o.limit("slip_lock", channel.Wheel(w))+0.02 || !locking && s > o.limit("slip_spin", channel.Wheel(w))-0.02 {
					over = true
				}
			}
		}
		if !over || dt > 1 {
			continue
		}
		held += dt
		laps[o.lapAt(m.at)] = true
	}
	if held < 0.1 || len(laps) < 2 {
		return notSo("no wheel of those slips")
	}
	return fine
}

func (o *outcome) above(c *said, id channel.ID, limit string, t, tolerance float64) judgement {
	x := o.mean(id, t-3, t)
	if strings.Contains(c.Text, "normal") || c.Priority == "advisory" {
		if x < o.limit(limit, 0)+1 {
			return fine
		}
		return notSo("still above")
	}
	if max(x, o.at(t).row[id]) < o.limit(limit, 0)-1.5 { // a state holds within its deadband of 1 K, and is repeated
		return notSo("below its limit")
	}
	for _, m := range o.between(t-1, t+0.1) {
		if near(c.Text, m.row[id], tolerance) {
			return fine
		}
	}
	return check(len(numbers(c.Text)) == 0, "%.1f", x)
}

// gearLow looks for a corner that was driven in a lower gear than in most laps before, twice running.
func (o *outcome) gearLow(t float64) judgement {
	n := o.lapAt(t)
	for _, k := range o.truth.Course.Corners {
		var gears []float64
		for lap := 1; lap <= n && lap < len(o.truth.Done); lap++ {
			low := math.Inf(1)
			for _, m := range o.between(o.truth.Done[lap].Start, min(t, o.truth.Done[lap].End)) {
				if d := m.row[channel.LapDistance]; d > k.Entry && d < k.Exit && m.row[channel.Gear] >= 1 {
					low = min(low, m.row[channel.Gear])
				}
			}
			if !math.IsInf(low, 1) {
				gears = append(gears, low)
			}
		}
		if len(gears) > 4 && gears[len(gears)-2] < slices.Max(gears[:len(gears)-2]) {
			return fine
		}
	}
	return notSo("no corner was driven in a lower gear")
}

// biteLost is the share of the brakes' bite that the heat of the discs has taken, in the last lap against the best before: by the demo
// car's own pads, which fade from 650 °C on and are weak below 250.
func (o *outcome) biteLost(t float64) float64 {
	bite := func(x float64) float64 {
		switch {
		case x < 250:
			return 1 - 0.20*min(1, (250-x)/200)
		case x > 650:
			return max(0.6, 1-0.35*min(1, (x-650)/200))
		}
		return 1
	}
	of := func(a, b float64) float64 {
		s, n := 0.0, 0.0
		for _, m := range o.between(a, b) {
			if m.row[channel.Brake] > 0.3 {
				front := bite(m.row[channel.BrakeTemperature]) + bite(m.row[channel.BrakeTemperature+1])
				rear := bite(m.row[channel.BrakeTemperature+2]) + bite(m.row[channel.BrakeTemperature+3])
				s += 0.3*front + 0.2*rear
				n++
			}
		}
		return s / n
	}
	best := 0.0
	n := o.lapAt(t)
	for k := 1; k < n && k < len(o.truth.Done); k++ {
		best = max(best, zero(of(o.truth.Done[k].Start, o.truth.Done[k].End)))
	}
	return 1 - of(t-2*lapAbout, t)/best
}

// lapTime judges the call at the line.
func (o *outcome) lapTime(c *said, t float64) judgement {
	n := o.lapAt(t) - 1
	if n < 1 || n >= len(o.truth.Done) {
		return notSo("no lap was completed")
	}
	l := o.truth.Done[n]
	if t-l.End > 12.5 {
		return notSo("later than 12 s after the line")
	}
	best := math.Inf(1)
	for _, k := range o.truth.Done[1:n] {
		if k.Valid && k.Class == "flying" {
			best = min(best, k.Time)
		}
	}
	if !l.Valid || l.Class != "flying" {
		return notSo("not a lap that counts")
	}
	if c.Rule != "lap-time" && !(l.Time < best+0.02) {
		return notSo("no best lap")
	}
	if !near(c.Text, l.Time, 0.06) && !near(c.Text, math.Mod(l.Time, 60), 0.06) {
		return wrongNumber(sprintf("lap of %.2f s", l.Time))
	}
	delta := math.Abs(l.Time - best)
	if n := numbers(c.Text); len(n) > 1 && !math.IsInf(best, 0) && delta >= 0.1 && !near(c.Text, delta, 0.06) && !near(c.Text, delta*10, 0.6) {
		return wrongNumber(sprintf("%.2f s from the best", delta))
	}
	return fine
}

// pace judges a call about the laps of the stint: by least squares through their true times from the third on, when the tyres are
// warm, what the fuel aboard cost taken out.
func (o *outcome) pace(c *said, t float64) judgement {
	var age, time []float64
	for i, l := range o.truth.Done {
		if l.End > t {
			break
		}
		if l.Class == "in" { // another stint begins
			age, time = nil, nil
		}
		if i > 2 && l.Valid && l.Class == "flying" {
			age, time = append(age, float64(i)), append(time, l.Time-o.car.FuelEffect*o.car.FuelDensity*l.FuelLeft)
		}
	}
	if len(age) < 5 {
		return notSo("fewer than six flying laps")
	}
	first := max(0, len(age)-12)
	start, slope := stat.LinearRegression(age[first:], time[first:], nil, false)
	if c.Rule == "pace-dropping" {
		if slope < 0.7*o.limit("drop_off_limit", 0) {
			return notSo(sprintf("the laps fall off by %.3f s", slope))
		}
		return check(near(c.Text, slope, 0.3*slope+0.03), "%.3f s a lap", slope)
	}
	sum := 0.0
	for i := first; i < len(age); i++ {
		off := time[i] - start - slope*age[i]
		sum += off * off
	}
	scatter := math.Sqrt(sum / float64(len(age)-first-2))
	if scatter < 0.6*o.limit("pace_scatter_limit", 0)*time[0] {
		return notSo(sprintf("the laps lie within %.2f s", scatter))
	}
	return check(near(c.Text, scatter, 0.6*scatter) || !strings.Contains(c.Text, ","), "scatter %.2f s", scatter)
}
