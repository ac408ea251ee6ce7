package car

import (
	"fmt"
	"math"
	"strings"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
)

// car reads the mapping at the top. The ranges keep out slips of the unit, not unusual cars.
func (r *reader) car(c *Car, n *yaml.Node) {
	baseline := false
	num := func(key string, to *float64, q channel.Quantity, lo, hi float64) field {
		return field{key, func(n *yaml.Node) { *to = r.number(n, key, q, lo, hi) }}
	}
	pressure := func(n *yaml.Node, what string) float64 { return r.number(n, what, channel.Pressure, 10, 1000) }
	length := func(n *yaml.Node, what string) float64 { return r.number(n, what, channel.Length, 0.3, 3) }

	r.mapping(n, "the car file", []field{
		{"name", func(n *yaml.Node) { c.Name, _ = r.text(n, "the name") }},
		{"baseline", func(n *yaml.Node) { _, baseline = r.choice(n, "the baseline", []string{"gt"}) }},
		num("wheelbase", &c.Wheelbase, channel.Length, 0.5, 10),
		num("steering_ratio", &c.SteeringRatio, channel.None, 0.5, 50),
		num("mass", &c.Mass, channel.Mass, 50, 40000),
		{"track_width", func(n *yaml.Node) { c.TrackWidth = r.axles(n, "track_width", length) }},
		{"driven", func(n *yaml.Node) { c.Driven, _ = r.choice(n, "driven", []string{"front", "rear", "all"}) }},
		{"fuel", func(n *yaml.Node) {
			r.mapping(n, "fuel", []field{
				num("density", &c.FuelDensity, channel.Density, 0.5, 1.2),
				num("tank", &c.Tank, channel.Volume, 0.5, 1000),
				{"reserve", func(n *yaml.Node) { r.reserve(c, n) }},
				{"effect", func(n *yaml.Node) { r.effect(c, n) }},
			}, nil)
		}},
		{"tyres", func(n *yaml.Node) {
			r.mapping(n, "tyres", []field{
				{"cold_pressure_minimum", func(n *yaml.Node) { c.ColdMinimum = r.wheels(n, "cold_pressure_minimum", pressure) }},
				{"hot_pressure", func(n *yaml.Node) { c.HotPressure = r.wheels(n, "hot_pressure", pressure) }},
				num("ready_hold", &c.ReadyHold, channel.Time, 0, 600),
				num("ready_drift", &c.ReadyDrift, channel.TemperatureDifference, 0.1, 100),
			}, nil)
		}},
		{"compounds", func(n *yaml.Node) { r.compounds(c, n) }},
		{"limits", func(n *yaml.Node) { r.limits(c, n) }},
	}, nil)
	if len(r.errs) > 0 {
		return // what hangs together can be judged only when it is all there
	}
	c.assume(baseline, r.said)
	r.together(c, n)
}

// axles reads a value per axle.
func (r *reader) axles(n *yaml.Node, what string, one func(*yaml.Node, string) float64) [4]float64 {
	v := r.wheels(n, what, one)
	for _, axle := range [2]int{0, 2} {
		if v[axle] != v[axle+1] && !(math.IsNaN(v[axle]) && math.IsNaN(v[axle+1])) {
			r.wrong(n, "write {front: …, rear: …}", "%s belongs to an axle, not to a wheel", what)
			break
		}
	}
	return v
}

// reserve reads laps, litres, or a list of both.
func (r *reader) reserve(c *Car, n *yaml.Node) {
	parts := []*yaml.Node{n}
	if n.Kind == yaml.SequenceNode {
		parts = n.Content
	}
	var laps, volume bool
	for _, p := range parts {
		p = follow(p)
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
			r.wrong(p, "write for example `1 lap`, `2 l` or `[1 lap, 2 l]`", "the reserve is %q, which is neither laps nor a volume", p.Value)
		}
		if twice {
			r.wrong(p, "remove one of the two", "the reserve is given twice as %s", q)
		}
	}
}

// effect reads what mass aboard costs.
func (r *reader) effect(c *Car, n *yaml.Node) {
	mass, time := math.NaN(), math.NaN()
	before := len(r.errs)
	r.mapping(n, "effect", []field{
		{"mass", func(n *yaml.Node) { mass = r.number(n, "mass", channel.Mass, 0.1, 1000) }},
		{"costs", func(n *yaml.Node) { time = r.number(n, "costs", channel.Time, 0, 100) }},
	}, nil)
	if c.FuelEffect = time / mass; math.IsNaN(c.FuelEffect) && len(r.errs) == before {
		r.wrong(n, "write for example {mass: 10 kg, costs: 0.3 s}", "effect lacks its mass or what it costs a lap")
	}
}

func (r *reader) compounds(c *Car, n *yaml.Node) {
	labels := channel.NewSet().At(channel.Compound).Labels[1:]
	var fields []field
	for _, name := range labels {
		fields = append(fields, field{name, func(n *yaml.Node) {
			k := Compound{name, math.NaN(), math.NaN(), math.NaN()}
			r.mapping(n, name, []field{
				{"surface", func(n *yaml.Node) {
					if n.Kind != yaml.SequenceNode || len(n.Content) != 2 {
						r.wrong(n, "write for example [10 °C, 35 °C]", "surface is a pair: the coldest and the hottest track")
						return
					}
					k.SurfaceLow = r.number(n.Content[0], "surface", channel.Temperature, -40, 90)
					k.SurfaceHigh = r.number(n.Content[1], "surface", channel.Temperature, -40, 90)
					if k.SurfaceLow >= k.SurfaceHigh {
						r.wrong(n, "the colder one comes first", "surface begins hotter than it ends")
					}
				}},
				{"laps", func(n *yaml.Node) { k.MaxLaps = r.number(n, "laps", channel.Laps, 1, 10000) }},
			}, nil)
			c.Compounds = append(c.Compounds, k)
		}})
	}
	r.mapping(n, "compounds", fields, nil)
}

// quantity returns what a written number measures, by its unit; None where it has no known unit.
func quantity(text string) channel.Quantity {
	text = strings.TrimSpace(text)
	// The unit is what is left when the longest readable number has been cut off.
	for i := range text {
		if u, ok := channel.UnitNamed(strings.TrimSpace(text[i:])); ok {
			if _, err := channel.Parse(text, u.Quantity); err == nil {
				return u.Quantity
			}
		}
	}
	return channel.None
}

func (r *reader) limits(c *Car, n *yaml.Node) {
	var fields []field
	for _, k := range kinds {
		fields = append(fields, field{k.Name, func(n *yaml.Node) { r.limit(c, n, k.Name, k.Quantity, k.Whole) }})
	}
	r.mapping(n, "limits", fields, func(key, value *yaml.Node) {
		name := key.Value
		if strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789_") != "" || name == "" || name[0] <= '9' {
			r.wrong(key, "", "limit %q: a name has lower-case letters, digits and underscores and begins with a letter", name)
			return
		}
		if name == targetName {
			r.wrong(key, "write tyres: {hot_pressure: …}", "limit %q is the target of the hot pressure", name)
			return
		}
		for _, suffix := range [...]string{"_front", "_rear", "_fl", "_fr", "_rl", "_rr"} {
			if base, ok := strings.CutSuffix(name, suffix); ok {
				r.wrong(key, fmt.Sprintf("write %s: {%s: …}", base, suffix[1:]), "limit %q: axles and wheels stand inside the limit", name)
				return
			}
		}
		for _, k := range kinds {
			if d := edits(name, k.Name); d == 1 || d == 2 && len(name) > 8 {
				r.wrong(key, fmt.Sprintf("did you mean %q? A limit of your own needs a name that differs more", k.Name), "limit %q is not known", name)
				return
			}
		}
		first := value
		if value.Kind == yaml.MappingNode && len(value.Content) > 1 {
			first = follow(value.Content[1])
		}
		q := quantity(first.Value)
		if _, err := channel.Parse(first.Value, channel.None); q == channel.None && err != nil {
			r.wrong(first, "write a number with one of "+strings.Join(channel.Units(), ", "), "limit %s is %q, which is no number with a known unit", name, first.Value)
			return
		}
		if q == channel.None && !strings.HasSuffix(strings.TrimSpace(first.Value), "number") {
			r.wrong(first, "write the unit; a bare count is written `3 number`", "limit %s is %q: the unit is missing", name, first.Value)
			return
		}
		r.limit(c, value, name, q, false)
	})
}

// limit reads the value of one limit; `none` takes away a value that would be assumed.
func (r *reader) limit(c *Car, n *yaml.Node, name string, q channel.Quantity, whole bool) {
	r.said[name] = true
	l := limit{quantity: q, whole: whole}
	if n.Kind == yaml.ScalarNode && n.Value == "none" {
		l.value = each(math.NaN())
	} else if n.Kind == yaml.MappingNode && whole {
		r.wrong(n, "write one number with its unit", "%s is a limit of the whole car", name)
		return
	} else {
		l.value = r.wheels(n, name, func(n *yaml.Node, what string) float64 {
			return r.number(n, what, q, math.Inf(-1), math.Inf(1))
		})
	}
	c.limits[name] = l
}

// together checks what one number says about another.
func (r *reader) together(c *Car, top *yaml.Node) {
	place := func(path ...string) *yaml.Node {
		n := top
		for _, key := range path {
			for i := 0; n != nil && n.Kind == yaml.MappingNode && i+1 < len(n.Content); i += 2 {
				if n.Content[i].Value == key {
					n = follow(n.Content[i+1])
					break
				}
			}
		}
		return n
	}
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
				r.wrong(place("limits", at), "set both, the lower one first", "%s is %.4g %s and %s is %.4g %s: the first must be less (%s)", o[0], lo, unit, o[1], hi, unit, w.Suffix())
				break
			}
		}
	}
	for w := range 4 {
		if c.ColdMinimum[w] >= c.HotPressure[w] {
			r.wrong(place("tyres", "hot_pressure"), "a tyre gains pressure as it warms: the target lies above the minimum", "hot_pressure is %.4g kPa and cold_pressure_minimum %.4g kPa (%s)", c.HotPressure[w], c.ColdMinimum[w], channel.Wheel(w).Suffix())
			break
		}
	}
	if c.ReserveVolume >= c.Tank {
		r.wrong(place("fuel", "reserve"), "", "the reserve is as large as the tank")
	}
}
