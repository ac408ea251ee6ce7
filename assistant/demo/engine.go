package demo

// An engine is what the heat of the fuel does to water and oil. Both are lumped bodies, as are tyres and discs.
type engine struct {
	coolant, oil body
}

// Shares of the fuel's heat and heat paths; chosen so that a healthy engine runs at about 90 °C of water and 105 to 110
// °C of oil on a racing lap (common practice, no source).
const (
	toCoolant   = 0.28
	toOil       = 0.05
	radiator    = 300.0 // W/K at rest, thermostat open
	radiatorAir = 95.0  // W/K per m/s
	oilCooler   = 60.0  // W/K
	oilAir      = 11.0  // W/K per m/s
	exchange    = 250.0 // W/K between oil and water
	relief      = 560.0 // kPa: the relief valve of the oil pump
)

// begin starts with a warmed-up engine, as one leaves the pits.
func (e *engine) begin() {
	e.coolant = body{78, 80e3}
	e.oil = body{72, 90e3}
}

// step moves heat for dt seconds: fuel is the heat of the fuel burnt in W, blocked the share of the radiator that lets
// no air through.
func (e *engine) step(fuel, v, air, blocked, dt float64) {
	open := max(0.02, min(1, (e.coolant.T-80)/8)) // the thermostat
	across := exchange * (e.oil.T - e.coolant.T)
	e.coolant.heat(toCoolant*fuel+across-e.coolant.loses((1-blocked)*open*(radiator+radiatorAir*v), air), dt)
	e.oil.heat(toOil*fuel-across-e.oil.loses(oilCooler+oilAir*v, air), dt)
}

// pressure of the oil in kPa at that engine speed in rad/s, where the share lost does not reach the gauge: the pump
// delivers with its speed, thin hot oil builds up less.
func (e *engine) pressure(revs, lost float64) float64 {
	thin := max(0.5, min(1.3, 1-0.004*(e.oil.T-100)))
	return min(relief, (60+0.85*revs)*thin) * (1 - lost)
}
