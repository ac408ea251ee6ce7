package probe

import (
	"fmt"
	"math"
	"slices"

	"earshot/assistant/channel"
	"earshot/assistant/statistics"
)

// What a reading amounts to when the car is driven. Racing practice, no source: the bounds are wide, so that only
// another unit falls outside them.
const (
	idleLeast   = 40.0  // rad/s: no engine runs below while the car drives (380 rpm)
	crankMost   = 2600  // rad/s
	tyreHottest = 150.0 // °C: median of a tread or carcass over a drive
	ratedLeast  = 60.0  // kPa: tyre gauge pressure of a car that drives
	ratedMost   = 420.0 // kPa
)

// pedals looks for a full stroke that is not 1.
func (j *judge) pedals() {
	for _, id := range []channel.ID{channel.Throttle, channel.Brake, channel.Clutch} {
		x := j.m.measured(id)
		if x == nil || x.n < enough {
			continue
		}
		m, cur := j.mapping(id), j.current(id)
		top := x.values.quantile(0.995)
		if top <= 1.2 && (top > 0.02 || top <= 0 || !j.worked(id)) {
			continue
		}
		raw := top / (cur.Scale * m.Scale) // as the source sends it
		n := int(x.n)
		evidence := fmt.Sprintf("the full stroke reads %.4g, and 1 is full; the source sends %.4g there (%d readings)", top, raw, n)
		switch {
		case math.Abs(100*top-1) < 0.02 && cur.Spelling == "%":
			j.accuseUnit("1", evidence, n, top, id)
		case math.Abs(top/100-1) < 0.02 && cur.Spelling != "%":
			j.accuseUnit("%", evidence, n, top, id)
		case top > 1.2 || top < 0.02:
			for _, full := range []float64{100, 255, 1000, 1023, 4095, 10000, 32767, 65535} {
				if math.Abs(raw/full-1) < 0.02 {
					j.accuse(Finding{Kind: "unit", Unit: "1", Samples: n, Ratio: top, Evidence: evidence,
						Hypothesis: fmt.Sprintf("%s counts 0 to %.0f", j.m.set.At(id).Name, full),
						Fix:        fmt.Sprintf(`unit: "1", scale: %.6g`, 1/full)}, id)
					break
				}
			}
		}
	}
}

// worked tells whether a pedal must have been pressed: the car sped up or slowed down well.
func (j *judge) worked(id channel.ID) bool {
	return j.often(func(a float64) bool {
		return id == channel.Throttle && a > 2 || id == channel.Brake && a < -4
	}, oSpeedRate, oWheelRate, oWayRate) > enough/2
}

// engine looks at the crankshaft while the car drives.
func (j *judge) engine() {
	x := j.m.measured(channel.EngineSpeed)
	if x == nil {
		return
	}
	median, top, n := x.values.quantile(0.5), x.values.quantile(0.99), int(x.n)
	cur := j.current(channel.EngineSpeed)
	rpm, _ := channel.UnitNamed("rpm")
	switch {
	case top > crankMost && cur.Spelling != "rpm" && rpm.Scale/cur.Scale*top < crankMost && rpm.Scale/cur.Scale*median > idleLeast:
		j.accuseUnit("rpm", fmt.Sprintf("up to %.0f rad/s, median %.0f: as rpm it would be up to %.0f rpm (%d readings)", top, median, rpm.Scale/cur.Scale*top/rpm.Scale, n), n, 0, channel.EngineSpeed)
	case top < 2.5*idleLeast+10 && cur.Spelling == "rpm" && j.driven() && median/rpm.Scale > 100:
		j.accuseUnit("rad/s", fmt.Sprintf("never above %.0f rpm while driving, below what an engine idles at; as rad/s up to %.0f rpm (%d readings)", top/rpm.Scale, top/rpm.Scale/rpm.Scale, n), n, 0, channel.EngineSpeed)
	}
}

// driven tells whether the car moved at speed for a while, by whatever speed there is. The bound holds for any unit of
// speed.
func (j *judge) driven() bool {
	return j.often(func(v float64) bool { return v > 15 }, oSpeed, oWheels, oWay, oLap) > 2*enough
}

// often counts the observations in which one of these values is so.
func (j *judge) often(so func(float64) bool, values ...int) (n int) {
	for _, o := range j.obs {
		if slices.ContainsFunc(values, func(i int) bool { return so(o[i]) }) {
			n++
		}
	}
	return n
}

// fits finds the first of these units in which a reading that stands at x now would lie within lo to hi, and in how
// many of them it would.
func (j *judge) fits(id channel.ID, x, lo, hi float64, units ...string) (unit string, would float64, n int) {
	cur := j.current(id)
	for _, s := range units {
		u, _ := channel.UnitNamed(s)
		if v := u.In(cur.Out(x)); (u.Scale != cur.Scale || u.Offset != cur.Offset) && v >= lo && v <= hi {
			if n++; n == 1 {
				unit, would = s, v
			}
		}
	}
	return unit, would, n
}

// middles are the medians of channels, with the number of their readings; nil unless each has some.
func (j *judge) middles(ids []channel.ID) (list []float64, n int) {
	for _, id := range ids {
		x := j.m.measured(id)
		if x == nil {
			return nil, 0
		}
		list = append(list, x.values.quantile(0.5))
		n += int(x.n)
	}
	return list, n
}

// temperatures looks for degrees of another scale.
func (j *judge) temperatures() {
	driven := j.driven()
	cold := j.airTemperature()
	type group struct {
		first       channel.ID
		most, least float64 // °C: the median while driving is not above, not below
		lo, hi      float64 // where the right unit puts it
		wheels      bool    // they stand in the air before the drive
	}
	for _, g := range []group{
		{channel.TyreTemperature, tyreHottest, -40, 30, 130, true},
		{channel.TyreTempInner, tyreHottest, -40, 30, 130, true},
		{channel.TyreTempMiddle, tyreHottest, -40, 30, 130, true},
		{channel.TyreTempOuter, tyreHottest, -40, 30, 130, true},
		{channel.TyreCarcass, tyreHottest, -40, 30, 130, true},
		{channel.BrakeTemperature, math.Inf(1), math.Inf(-1), 0, 0, true},
		{channel.CoolantTemperature, 140, -45, 55, 130, false},
		{channel.OilTemperature, 165, -45, 55, 150, false},
		{channel.TrackTemperature, 68, -25, -5, 65, false},
		{channel.AirTemperature, 52, -35, -10, 48, false},
	} {
		ids, name := []channel.ID{g.first}, j.m.set.At(g.first).Name
		if g.wheels {
			ids = channel.Four(g.first)
			name, _ = cutWheel(name)
		}
		medians, n := j.middles(ids)
		if medians == nil {
			continue
		}
		middle := statistics.Median(medians)
		if (driven || !g.wheels) && (middle > g.most || middle < g.least) {
			if unit, would, _ := j.fits(g.first, middle, g.lo, g.hi, temperatureUnits...); unit != "" {
				j.accuseUnit(unit, fmt.Sprintf("the median of %s is %.0f °C; in %s it would be %.0f °C (%d readings)", name, middle, unit, would, n), n, 0, ids...)
				continue
			}
		}
		var begins []float64
		for _, id := range ids {
			begins = append(begins, j.m.measured(id).values.list[0])
		}
		// Four wheels that begin alike have stood in the air: in the right unit they begin at its temperature.
		begin, wide := statistics.Median(begins), slices.Max(begins)-slices.Min(begins)
		if !g.wheels || math.IsNaN(cold) || wide > 1 || math.Abs(begin-cold) < 12 {
			continue
		}
		if unit, would, _ := j.fits(g.first, begin, cold-2, cold+2, temperatureUnits...); unit != "" {
			j.accuseUnit(unit, fmt.Sprintf("all four begin at %.1f °C in air of %.1f °C; in %s they begin at %.1f °C", begin, cold, unit, would), n, 0, ids...)
		}
	}
}

// airTemperature is that of the air where it is believable, else NaN.
func (j *judge) airTemperature() float64 {
	x := j.m.measured(channel.AirTemperature)
	if x == nil {
		return math.NaN()
	}
	if t := x.values.quantile(0.5); t > -20 && t < 50 {
		return t
	}
	return math.NaN()
}

var (
	temperatureUnits = []string{"°C", "°F", "K_abs"}
	pressureUnits    = []string{"kPa", "psi", "bar", "hPa", "Pa"}
)

// pressures looks for another unit, and for absolute pressures in tyres.
func (j *judge) pressures() {
	driven := j.driven()
	// usual tells whether the median of these is as when a car drives. Where it is not, the one unit that would put it
	// within lo to hi is told.
	usual := func(least, most, lo, hi float64, ids ...channel.ID) bool {
		medians, n := j.middles(ids)
		middle := statistics.Median(medians)
		if !(middle > 0 && (middle < least || middle > most)) {
			return true
		}
		if unit, would, fit := j.fits(ids[0], middle, lo, hi, pressureUnits...); fit == 1 {
			j.accuseUnit(unit, fmt.Sprintf("the median is %.4g kPa; in %s it would be %.0f kPa (%d readings)", middle, unit, would, n), n, 0, ids...)
		}
		return false
	}
	tyres := channel.Four(channel.TyrePressure)
	if medians, _ := j.middles(tyres); medians != nil && (!driven || usual(ratedLeast, ratedMost, 100, 350, tyres...)) {
		j.absolute(tyres)
	}
	usual(50, 112, 60, 108, channel.AirPressure)
	if driven {
		usual(80, 1500, 150, 900, channel.OilPressure)
	}
}

// absolute holds pressure against temperature: at constant volume the absolute pressure is proportional to the absolute
// temperature (Gay-Lussac's law), so a line through gauge pressures misses absolute zero by the ambient pressure and
// one through absolute pressures does not.
func (j *judge) absolute(ids []channel.ID) {
	ambient := 101.325 // kPa, where the feed has none
	if x := j.m.measured(channel.AirPressure); x != nil && !j.accused[channel.AirPressure] {
		if p := x.values.quantile(0.5); p > 60 && p < 110 {
			ambient = p
		}
	}
	var misses []float64
	n := 0
	for _, id := range ids {
		p, t := j.m.measured(id), j.m.measured(channel.TyreCarcass+id-channel.TyrePressure)
		if t == nil || j.accused[channel.TyreCarcass] || p.n != t.n || p.values.stride != t.values.stride || t.max-t.min < 15 {
			return
		}
		a, b := p.values.list, t.values.list
		rho, _ := correlation(a, b)
		if rho < 0.98 {
			return
		}
		k := deviation(a, b) / deviation(b, a)
		misses = append(misses, k*(statistics.Quantile(b, 0.5)+273.15)-statistics.Quantile(a, 0.5))
		n += len(a)
	}
	for _, miss := range misses {
		if math.Abs(miss) > 0.35*ambient {
			return
		}
	}
	was := j.mapping(ids[0]).Unit
	cur := j.current(ids[0])
	j.accuse(Finding{Kind: "unit", Samples: n, Ratio: 0,
		Hypothesis: "tyre_pressure of the four wheels is absolute, and gauge pressure is wanted",
		Fix:        fmt.Sprintf("keep unit: %s and add offset: %.4g", was, -ambient/cur.Scale),
		Evidence:   fmt.Sprintf("pressure is proportional to the absolute carcass temperature within %.0f kPa in all four; gauge pressure would miss by %.0f kPa (%d readings)", math.Abs(misses[0]), ambient, n),
	}, ids...)
}

// places looks at latitude and longitude, and at a heading in degrees.
func (j *judge) places() {
	lat, lon := j.m.measured(channel.Latitude), j.m.measured(channel.Longitude)
	if lat == nil || lon == nil {
		return
	}
	for _, g := range []struct {
		id   channel.ID
		x    *measure
		most float64
	}{{channel.Latitude, lat, math.Pi / 2}, {channel.Longitude, lon, math.Pi}} {
		middle := g.x.values.quantile(0.5)
		if a := math.Abs(middle); a > g.most && a <= 1.001*g.most*180/math.Pi && j.current(g.id).Scale == 1 {
			j.accuseUnit("deg", fmt.Sprintf("the median is %.4g rad, beyond the globe (%d readings)", middle, g.x.n), int(g.x.n), 0, g.id)
		}
	}
}

// lapClock holds lap_time against the feed's own time.
func (j *judge) lapClock() {
	list := slices.DeleteFunc(j.column(oLapTime), func(v float64) bool { return !(v > 0) })
	r, spread := statistics.Quantile(list, 0.5), statistics.Quantile(list, 0.75)/statistics.Quantile(list, 0.25)
	if len(list) < enough || spread > 1.2 || math.Abs(r-1) < 0.2 {
		return
	}
	if unit := j.unitFor(channel.LapTime, r, 0.05); unit != "" {
		j.accuseUnit(unit, fmt.Sprintf("in one second of the feed's clock it goes on by %.4g s (%d observations)", r, len(list)), len(list), r, channel.LapTime)
	}
}
