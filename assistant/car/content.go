package car

import (
	"fmt"
	"math"
	"strings"

	"earshot/assistant/channel"
	"earshot/configs/document"
)

// car reads the top mapping. The ranges are there to find wrong units, not unusual cars.
func (r *reader) car(c *Car, n *document.Node) {
	baseline := false
	num := func(key string, to *float64, q channel.Quantity, lo, hi float64) field {
		return field{key, func(n *document.Node) { *to = r.number(n, key, q, lo, hi) }}
	}
	pressure := func(n *document.Node, what string) float64 { return r.number(n, what, channel.Pressure, 10, 1000) }
	length := func(n *document.Node, what string) float64 { return r.number(n, what, channel.Length, 0.3, 3) }

	r.mapping(n, "the car file", []field{
		{"name", func(n *document.Node) { c.Name = r.Word(n, "the name") }},
		{"baseline", func(n *document.Node) { baseline = r.Choice(n, "baseline", "gt") != "" }},
		num("wheelbase", &c.Wheelbase, channel.Length, 0.5, 10),
		num("steering_ratio", &c.SteeringRatio, channel.None, 0.5, 50),
		num("mass", &c.Mass, channel.Mass, 50, 40000),
		{"track_width", func(n *document.Node) { c.TrackWidth = r.axles(n, "track_width", length) }},
		{"driven", func(n *document.Node) { c.Driven = r.Choice(n, "driven", "front", "rear", "all") }},
		{"fuel", func(n *document.Node) {
			r.mapping(n, "fuel", []field{
				num("density", &c.FuelDensity, channel.Density, 0.5, 1.2),
				num("tank", &c.Tank, channel.Volume, 0.5, 1000),
				{"reserve", func(n *document.Node) { r.reserve(c, n) }},
				{"effect", func(n *document.Node) { r.effect(c, n) }},
			}, nil)
		}},
		{"tyres", func(n *document.Node) {
			r.mapping(n, "tyres", []field{
				{"cold_pressure_minimum", func(n *document.Node) {
					c.ColdMinimum = r.wheels(n, "cold_pressure_minimum", pressure)
				}},
				{"hot_pressure", func(n *document.Node) { c.HotPressure = r.wheels(n, "hot_pressure", pressure) }},
				num("ready_hold", &c.ReadyHold, channel.Time, 0, 600),
				num("ready_drift", &c.ReadyDrift, channel.TemperatureDifference, 0.1, 100),
			}, nil)
		}},
		{"compounds", func(n *document.Node) { r.compounds(c, n) }},
		{"limits", func(n *document.Node) { r.limits(c, n) }},
	}, nil)
	if r.Count() > 0 {
		return // what hangs together can be judged only when it is all there
	}
	c.assume(baseline, r.said)
	r.together(c)
}

// axles reads a value per axle.
func (r *reader) axles(n *document.Node, what string, one func(*document.Node, string) float64) [4]float64 {
	v := r.wheels(n, what, one)
	for _, axle := range [2]int{0, 2} {
		if v[axle] != v[axle+1] && !(math.IsNaN(v[axle]) && math.IsNaN(v[axle+1])) {
			r.Bad(n, "write {front: …, rear: …}", "%s belongs to an axle, not to a wheel", what)
			break
		}
	}
	return v
}

// reserve reads laps, litres, or a list of both.
func (r *reader) reserve(c *Car, n *document.Node) {
	var laps, volume bool
	for _, p := range r.OneOrMore(n, "reserve") {
		q := quantity(p.Value)
		twice := false
		switch q {
		case channel.Laps:
			c.ReserveLaps = r.number(p, "the reserve", q, 0, 100)
			twice, laps = laps, true
		case channel.Volume:
			c.ReserveVolume = r.number(p, "the reserve", q, 0, 500)
			twice, volume = volume, true
		default:
			r.Bad(p, "write for example `1 lap`, `2 l` or `[1 lap, 2 l]`",
				"the reserve is %q, which is neither laps nor a volume", p.Value)
		}
		if twice {
			r.Bad(p, "remove one of the two", "the reserve is given twice as %s", q)
		}
	}
}

// effect reads the lap time that mass aboard costs.
func (r *reader) effect(c *Car, n *document.Node) {
	mass, time := math.NaN(), math.NaN()
	before := r.Count()
	r.mapping(n, "effect", []field{
		{"mass", func(n *document.Node) { mass = r.number(n, "mass", channel.Mass, 0.1, 1000) }},
		{"costs", func(n *document.Node) { time = r.number(n, "costs", channel.Time, 0, 100) }},
	}, nil)
	if c.FuelEffect = time / mass; math.IsNaN(c.FuelEffect) && r.Count() == before {
		r.Bad(n, "write for example {mass: 10 kg, costs: 0.3 s}", "effect lacks its mass or what it costs a lap")
	}
}

func (r *reader) compounds(c *Car, n *document.Node) {
	labels := channel.NewSet().At(channel.Compound).Labels[1:]
	var fields []field
	for _, name := range labels {
		fields = append(fields, field{name, func(n *document.Node) {
			k := Compound{name, math.NaN(), math.NaN(), math.NaN()}
			r.mapping(n, name, []field{
				{"surface", func(n *document.Node) {
					pair := r.List(n, "surface", "write for example [10 °C, 35 °C]")
					if len(pair) != 2 {
						r.Bad(n, "write for example [10 °C, 35 °C]",
							"surface is a pair: the coldest and the hottest track")
						return
					}
					k.SurfaceLow = r.number(pair[0], "surface", channel.Temperature, -40, 90)
					k.SurfaceHigh = r.number(pair[1], "surface", channel.Temperature, -40, 90)
					if k.SurfaceLow >= k.SurfaceHigh {
						r.Bad(n, "the colder one comes first", "surface begins hotter than it ends")
					}
				}},
				{"laps", func(n *document.Node) { k.MaxLaps = r.number(n, "laps", channel.Laps, 1, 10000) }},
			}, nil)
			c.Compounds = append(c.Compounds, k)
		}})
	}
	r.mapping(n, "compounds", fields, nil)
}

// quantity returns the quantity of a written number by its unit; None where the unit is not known.
func quantity(text string) channel.Quantity {
	text = strings.TrimSpace(text)
	// The unit is what follows the longest readable number.
	for i := range text {
		if u, ok := channel.UnitNamed(strings.TrimSpace(text[i:])); ok {
			if _, err := channel.Parse(text, u.Quantity); err == nil {
				return u.Quantity
			}
		}
	}
	return channel.None
}

func (r *reader) limits(c *Car, n *document.Node) {
	var fields []field
	for _, k := range kinds {
		fields = append(fields, field{k.Name, func(n *document.Node) { r.limit(c, n, k.Name, k.Quantity, k.Whole) }})
	}
	r.mapping(n, "limits", fields, func(p document.Pair) {
		name, key, value := p.Key, p.K, p.V
		if strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789_") != "" || name == "" || name[0] <= '9' {
			r.Bad(key, "", "limit %q: a name has lower-case letters, digits and underscores and begins with a letter",
				name)
			return
		}
		if name == targetName {
			r.Bad(key, "write tyres: {hot_pressure: …}", "limit %q is the target of the hot pressure", name)
			return
		}
		for _, suffix := range [...]string{"_front", "_rear", "_fl", "_fr", "_rl", "_rr"} {
			if base, ok := strings.CutSuffix(name, suffix); ok {
				r.Bad(key, fmt.Sprintf("write %s: {%s: …}", base, suffix[1:]),
					"limit %q: axles and wheels stand inside the limit", name)
				return
			}
		}
		var known []string
		for _, k := range kinds {
			known = append(known, k.Name)
		}
		if near := document.Meant(name, known, ""); near != "" {
			r.Bad(key, near+" A limit of your own needs a name that differs more", "limit %q is not known", name)
			return
		}
		first := value
		if document.IsMapping(value) && len(value.Content) > 1 {
			first = document.Resolve(value.Content[1])
		}
		q := quantity(first.Value)
		if _, err := channel.Parse(first.Value, channel.None); q == channel.None && err != nil {
			r.Bad(first, "write a number with one of "+strings.Join(channel.Units(), ", "),
				"limit %s is %q, which is no number with a known unit", name, first.Value)
			return
		}
		if q == channel.None && !strings.HasSuffix(strings.TrimSpace(first.Value), "number") {
			r.Bad(first, "write the unit; a bare count is written `3 number`", "limit %s is %q: the unit is missing",
				name, first.Value)
			return
		}
		r.limit(c, value, name, q, false)
	})
}

// limit reads the value of one limit; `none` takes away a value that would be assumed.
func (r *reader) limit(c *Car, n *document.Node, name string, q channel.Quantity, whole bool) {
	r.said[name] = true
	l := limit{quantity: q, whole: whole}
	if document.IsScalar(n) && n.Value == "none" {
		l.value = each(math.NaN())
	} else if document.IsMapping(n) && whole {
		r.Bad(n, "write one number with its unit", "%s is a limit of the whole car", name)
		return
	} else {
		l.value = r.wheels(n, name, func(n *document.Node, what string) float64 {
			return r.number(n, what, q, math.Inf(-1), math.Inf(1))
		})
	}
	c.limits[name] = l
}

// together checks numbers against each other.
func (r *reader) together(c *Car) {
	for _, o := range [...][2]string{
		{"tyre_low", "tyre_high"}, {"tyre_high", "tyre_overheat"}, {"pressure_low", "pressure_high"},
		{"brake_cold", "brake_hot"}, {"brake_hot", "brake_overheat"}, {"slip_lock", "slip_spin"},
	} {
		for w := channel.FL; w <= channel.RR; w++ {
			lo, hi := c.At(o[0], w), c.At(o[1], w)
			if lo >= hi {
				at := o[1]
				if !r.said[at] {
					at = o[0]
				}
				unit := channel.UnitsOf(c.limits[o[0]].quantity)[0]
				r.Bad(r.places["limits: "+at], "set both, the lower one first",
					"%s is %.4g %s and %s is %.4g %s: the first must be less (%s)", o[0], lo, unit, o[1], hi, unit,
					w.Suffix())
				break
			}
		}
	}
	for w := range 4 {
		if c.ColdMinimum[w] >= c.HotPressure[w] {
			r.Bad(r.places["tyres: hot_pressure"],
				"a tyre gains pressure as it warms: the target lies above the minimum",
				"hot_pressure is %.4g kPa and cold_pressure_minimum %.4g kPa (%s)",
				c.HotPressure[w], c.ColdMinimum[w], channel.Wheel(w).Suffix())
			break
		}
	}
	if c.ReserveVolume >= c.Tank {
		r.Bad(r.places["fuel: reserve"], "", "the reserve is as large as the tank")
	}
}
