package demo

import "math"

// A body stores heat evenly: T changes by power over capacity.
type body struct {
	T        float64 // °C
	capacity float64 // J/K
}

func (b *body) heat(watts, dt float64) { b.T += watts * dt / b.capacity }

// loses is the power in W that a body gives to surroundings at that temperature through a conductance in W/K.
func (b *body) loses(conductance, around float64) float64 { return conductance * (b.T - around) }

// discStep heats a brake disc by the power of the brake and cools it by the air of its duct.
func discStep(d *body, watts, conductance, air, dt float64) {
	d.heat(watts-d.loses(conductance, air), dt)
}

// A tyre is two bodies and the gas inside: the tread, which the road rubs and the
// air cools, and the carcass, which flexes, is warmed by the tread and the disc, and whose
// temperature the gas has.
type tyre struct {
	tread, carcass body
	gas            float64 // kPa/K: absolute pressure over absolute temperature, constant while nothing leaks
	wear           float64 // worn share of the tread
	size           float64 // scales what it stores and gives away
}

// What a compound is made of. No source: chosen so that hard tyres come into their window in about three laps (common
// practice, no source).
type compound struct {
	grip  float64 // relative to Car.Grip
	best  float64 // °C of the carcass: centre of the window
	rub   float64 // share of the friction heat that stays in the tread
	life  float64 // J of friction until the tread is gone
	flexy float64 // share of load times speed that becomes heat in the carcass
}

// The compounds by their number in the channel of that name.
const (
	hard         = 3
	intermediate = 4
	wetTyre      = 5
)

var compounds = [6]compound{
	1: {grip: 1.015, best: 80, rub: 0.72, life: 26e6, flexy: 0.0100},
	2: {grip: 1.007, best: 84, rub: 0.64, life: 44e6, flexy: 0.0085},
	3: {grip: 1.000, best: 88, rub: 0.565, life: 70e6, flexy: 0.0075},
	// what their tread costs on a dry road is in sky.grip
	4: {grip: 1.000, best: 70, rub: 0.74, life: 18e6, flexy: 0.0100},
	5: {grip: 1.000, best: 60, rub: 0.80, life: 12e6, flexy: 0.0110},
}

// Heat paths of a tyre; chosen, no source. Time constants of minutes for the carcass and seconds for the tread follow.
const (
	treadHeat   = 5.0e3 // J/K
	carcassHeat = 7.0e3 // J/K
	treadBody   = 105.0 // W/K between tread and carcass
	treadStill  = 10.0  // W/K tread to air at rest
	treadAir    = 0.75  // W/K per m/s
	treadRoad   = 26.0  // W/K tread to road when rolling
	bodyStill   = 4.0   // W/K carcass to air at rest
	bodyAir     = 0.55  // W/K per m/s
	discBody    = 1.0   // W/K disc to carcass through the rim
)

// newTyre returns a tyre of that size with that gauge pressure in kPa at the temperature of the air.
func newTyre(size, cold, air, ambient float64) tyre {
	return tyre{tread: body{air, treadHeat * size}, carcass: body{air, carcassHeat * size},
		gas: (cold + ambient) / (air + kelvin), size: size}
}

// pressure returns the gauge pressure in kPa: constant volume, absolute pressure and temperature
// (OpenStax, College Physics, "The Ideal Gas Law").
func (t *tyre) pressure(ambient float64) float64 { return t.gas*(t.carcass.T+kelvin) - ambient }

// rollStep moves heat for dt seconds: rub is the friction power in W, flex load times speed in W, water the factor by
// which the road cools more than a dry one.
func (t *tyre) rollStep(m *compound, rub, flex, v, air, road, disc, water, dt float64) {
	across := t.size * treadBody * (t.tread.T - t.carcass.T)
	contact := water * t.size * treadRoad * min(1, v/10)
	t.tread.heat(m.rub*rub-across-t.tread.loses(t.size*(treadStill+treadAir*v), air)-t.tread.loses(contact, road), dt)
	t.carcass.heat(m.flexy*flex+across+discBody*(disc-t.carcass.T)-t.carcass.loses(t.size*(bodyStill+bodyAir*v), air), dt)
	t.wear = min(1, t.wear+rub*dt/m.life/t.size)
}

const bestPressure = 179.0 // kPa: 26 psi hot (common practice, no source)

// grip returns the friction of the tyre relative to one in its window: it falls off on both sides of
// the best temperature and pressure, and with wear.
func (t *tyre) grip(m *compound, ambient float64) float64 {
	x := (t.carcass.T - m.best) / 12.5
	warm := 1 - 0.012*x*x/(1+0.05*x*x)
	y := (t.pressure(ambient) - bestPressure) / 14
	full := 1 - 0.006*y*y/(1+0.1*y*y)
	return m.grip * warm * full * (1 - 0.06*t.wear)
}

// bite is the friction of a brake's pads by the temperature of the disc, relative to the best: weak when cold, fading
// when overheated; window 250 to 650 °C (common practice, no source).
func bite(disc float64) float64 {
	switch {
	case disc < 250:
		return 1 - 0.20*min(1, (250-disc)/200)
	case disc > 650:
		return max(0.6, 1-0.35*math.Min(1, (disc-650)/200))
	}
	return 1
}
