package car

import (
	"fmt"
	"math"
	"slices"

	"earshot/assistant/channel"
	"earshot/configs/document"
)

// A reader reads a car file.
type reader struct {
	document.Reader
	said   map[string]bool           // limits that the file gives
	places map[string]*document.Node // values by their section and key, such as "limits: tyre_low"
}

// Parse reads a car file (YAML). name is how the file is called in errors. All mistakes are reported at once, joined,
// each a *document.Error; then there is no car.
func Parse(name string, data []byte) (*Car, error) {
	doc, top := document.Read(name, data, "a car file begins for example with `wheelbase: 2.65 m`")
	r := &reader{doc, map[string]bool{}, map[string]*document.Node{}}
	c := unknown()
	if top != nil {
		r.car(c, top)
	}
	if err := r.Err(); err != nil {
		return nil, err
	}
	return c, nil
}

// A field reads the value of a key.
type field struct {
	key  string
	read func(n *document.Node)
}

// mapping reads a mapping with the given keys. free, where not nil, takes those that are none of them.
func (r *reader) mapping(n *document.Node, what string, fields []field, free func(p document.Pair)) {
	for _, p := range r.Pairs(n, what) {
		r.places[what+": "+p.Key] = p.V
		at := slices.IndexFunc(fields, func(f field) bool { return f.key == p.Key })
		switch {
		case at >= 0:
			fields[at].read(p.V)
		case free != nil:
			free(p)
		default:
			var keys []string
			for _, f := range fields {
				keys = append(keys, f.key)
			}
			r.Unknown(p, what, keys)
		}
	}
}

// number reads a number with its unit, at least lo and at most hi in the unit used inside.
func (r *reader) number(n *document.Node, what string, q channel.Quantity, lo, hi float64) float64 {
	x := channel.Read(r.Reader, n, what, q)
	if x < lo || x > hi {
		r.Bad(n, fmt.Sprintf("it lies between %g and %g %s", lo, hi, channel.UnitsOf(q)[0]),
			"%s is %q, which no car has", what, n.Value)
		return math.NaN()
	}
	return x
}

// wheels reads one value for all wheels, or one per axle, or one per wheel. Wheels that are not given stay unknown.
func (r *reader) wheels(n *document.Node, what string, one func(n *document.Node, what string) float64) [4]float64 {
	if !document.IsMapping(n) {
		return each(one(n, what))
	}
	value := each(math.NaN())
	given := [4]*document.Node{}
	set := func(name string, ws ...channel.Wheel) field {
		return field{name, func(n *document.Node) {
			x := one(n, what+" "+name)
			for _, w := range ws {
				if given[w] != nil {
					r.Bad(n, "give a wheel by its axle or by its own name", "%s is given twice for %s", what,
						w.Suffix())
				}
				value[w], given[w] = x, n
			}
		}}
	}
	r.mapping(n, what, []field{
		set("front", channel.FL, channel.FR), set("rear", channel.RL, channel.RR),
		set("fl", channel.FL), set("fr", channel.FR), set("rl", channel.RL), set("rr", channel.RR),
	}, nil)
	return value
}
