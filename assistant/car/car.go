package car

import (
	"math"
	"slices"

	"earshot/assistant/channel"
)

// A Car is the content of a car file. Numbers that it lacks are NaN. Arrays of four are in
// the order of channel.Wheel: front left, front right, rear left, rear right.
type Car struct {
	Name          string
	Wheelbase     float64    // m
	SteeringRatio float64    // hand wheel angle over road wheel angle
	TrackWidth    [4]float64 // m between the two wheels of the axle, at each wheel
	Mass          float64    // kg, driver aboard, without fuel
	Driven        string     // front, rear, all, or "" where not said

	FuelDensity   float64 // kg/L
	Tank          float64 // L usable
	ReserveLaps   float64 // laps of burn to be left over at the flag; 0 where not said
	ReserveVolume float64 // L to be left over at the flag, on top of ReserveLaps; 0 where not said
	FuelEffect    float64 // s of lap time per kg aboard

	ColdMinimum [4]float64 // kPa gauge, the tyre maker's lowest cold pressure
	HotPressure [4]float64 // kPa gauge, the target after laps in the window
	ReadyHold   float64    // s that all tyres must be in their window before they are ready
	ReadyDrift  float64    // K that a tyre may move within ReadyHold and still be ready

	Compounds []Compound // in the order of the file

	limits map[string]limit
}

// A Compound is a tyre compound and what it is for. Unknown numbers are NaN.
type Compound struct {
	Name        string  // one of the labels of channel.Compound
	SurfaceLow  float64 // °C, the coldest track surface it suits
	SurfaceHigh float64 // °C, the hottest track surface it suits
	MaxLaps     float64 // the longest stint it suits
}

// Compound finds a compound by name.
func (c *Car) Compound(name string) (Compound, bool) {
	i := slices.IndexFunc(c.Compounds, func(k Compound) bool { return k.Name == name })
	if i < 0 {
		return Compound{Name: name, SurfaceLow: math.NaN(), SurfaceHigh: math.NaN(), MaxLaps: math.NaN()}, false
	}
	return c.Compounds[i], true
}

// A limit has one value per wheel; a limit of the whole car has the same value four times.
type limit struct {
	quantity channel.Quantity
	value    [4]float64
	whole    bool
	assumed  bool
}

// A Limit is a named number that rules may use. A limit of the wheels has every name that stands for one value:
// tyre_low, tyre_low_front, tyre_low_fl and so on. Where front and rear differ there is no tyre_low.
type Limit struct {
	Name     string
	Key      string  // of the car file: tyre_low for tyre_low_fl, "tyres: hot_pressure" for the target
	Value    float64 // in the unit used inside; NaN where the car file gives none
	Quantity channel.Quantity
	Assumed  bool // common practice, not said by the car file itself
}

// A LimitKind describes a limit that Earshot knows by name.
type LimitKind struct {
	Name     string
	Quantity channel.Quantity
	Whole    bool // of the whole car: it cannot be given by axle or wheel
	About    string
	neutral  string // default for any car, as written in a car file
	gt       string // default under `baseline: gt`
}

// kinds lists the limits that Earshot knows. All default values are common practice, no source, except
// where a comment names one; a car file overrides each of them.
var kinds = []LimitKind{
	{"tyre_low", channel.Temperature, false, "lower end of the tyre's window", "", "75 °C"},
	{"tyre_high", channel.Temperature, false, "upper end of the tyre's window", "", "100 °C"},
	{"tyre_overheat", channel.Temperature, false, "tyre damage begins", "", "115 °C"},
	{"tyre_spread_limit", channel.TemperatureDifference, false, "left to right on an axle, lap means", "10 K", "10 K"},
	{"tyre_edge_limit", channel.TemperatureDifference, false, "inner to outer band of the tread, lap means", "20 K",
		"20 K"},
	{"pressure_low", channel.Pressure, false, "hot pressure too low", "", ""},
	{"pressure_high", channel.Pressure, false, "hot pressure too high", "", ""},
	{"brake_cold", channel.Temperature, false, "braking-event peaks below this do not bite", "", "250 °C"},
	{"brake_hot", channel.Temperature, false, "braking-event peaks above this wear and fade", "", "650 °C"},
	{"brake_overheat", channel.Temperature, false, "braking-event peaks above this fail", "", "800 °C"},
	{"brake_spread_limit", channel.TemperatureDifference, false, "left to right on an axle, lap means of the peaks",
		"80 K", "80 K"},
	{"brake_fade_limit", channel.Ratio, true, "loss of deceleration for the same effort", "5 %", "5 %"},
	{"slip_lock", channel.Ratio, false, "a wheel below this locks", "-20 %", "-20 %"},
	{"slip_spin", channel.Ratio, false, "a wheel above this spins", "15 %", "15 %"},
	{"balance_limit", channel.Angle, true, "steering at the road wheels beyond what the bend needs", "1 deg", "1 deg"},
	{"oil_hot", channel.Temperature, true, "engine oil too hot", "", "130 °C"},
	{"oil_pressure_low", channel.Pressure, true, "engine oil pressure too low under load", "", "200 kPa"},
	{"coolant_hot", channel.Temperature, true, "coolant too hot", "", "105 °C"},
	{"limiter_speed", channel.AngularVelocity, true, "engine speed of the limiter", "", ""},
	{"ride_height_low", channel.Length, false, "the floor touches below this", "", ""},
	{"travel_stop", channel.Length, false, "the suspension is at its stop beyond this", "", ""},
	{"damage_limit", channel.Ratio, true, "damage worth telling", "5 %", "5 %"},
	{"drop_off_limit", channel.Time, true, "lap time lost per lap", "0.15 s", "0.15 s"},
	{"pace_scatter_limit", channel.Ratio, true, "scatter of the lap times about their trend, share of the lap", "0.8 %",
		"0.8 %"},
	{"fuel_every", channel.Laps, true, "laps between two fuel calls", "5 laps", "5 laps"},
	{"fuel_save_most", channel.Ratio, true, "share of the burn at full pace that saving can bring", "8 %", "8 %"},
}

// KnownLimits lists the limits that Earshot knows by name. A car file may add its own.
func KnownLimits() []LimitKind { return slices.Clone(kinds) }

func kindNamed(name string) (LimitKind, bool) {
	i := slices.IndexFunc(kinds, func(k LimitKind) bool { return k.Name == name })
	if i < 0 {
		return LimitKind{}, false
	}
	return kinds[i], true
}

// At returns the value of a limit at a wheel in the unit used inside, or NaN where the car has none.
func (c *Car) At(name string, w channel.Wheel) float64 {
	l, ok := c.limits[name]
	if !ok || w < channel.FL || w > channel.RR {
		return math.NaN()
	}
	return l.value[w]
}

// Whole returns the value of a limit where it is the same at every wheel, else NaN.
func (c *Car) Whole(name string) float64 {
	if l, ok := c.limits[name]; ok && same(l.value[:]) {
		return l.value[0]
	}
	return math.NaN()
}

// targetName is the limit under which rules find HotPressure.
const (
	targetName     = "pressure_target"
	hotPressureKey = "tyres: hot_pressure"
)

// Keys lists the keys of the car file that have a value; those outside limits as "fuel: density". A limit is listed
// where every wheel has one.
func (c *Car) Keys() []string {
	var keys []string
	add := func(key string, values ...float64) {
		if !slices.ContainsFunc(values, math.IsNaN) {
			keys = append(keys, key)
		}
	}
	add("wheelbase", c.Wheelbase)
	add("steering_ratio", c.SteeringRatio)
	add("mass", c.Mass)
	add("fuel: density", c.FuelDensity)
	add("fuel: tank", c.Tank)
	add("fuel: effect", c.FuelEffect)
	add(hotPressureKey, c.HotPressure[:]...)
	if len(c.Compounds) > 0 {
		add("compounds")
	}
	for name, l := range c.limits {
		add(name, l.value[:]...)
	}
	slices.Sort(keys)
	return keys
}

// Limits lists every limit under every name that stands for one value. First the known ones in a fixed order, with the
// target of the hot pressure as pressure_target; those without a value are NaN, so that a rule with them stays unknown
// and still compiles. Then the file's own, sorted.
func (c *Car) Limits() []Limit {
	var list []Limit
	for _, k := range kinds {
		l, ok := c.limits[k.Name]
		if !ok {
			nan := math.NaN()
			l = limit{quantity: k.Quantity, value: [4]float64{nan, nan, nan, nan}, whole: k.Whole, assumed: true}
		}
		list = l.expand(list, k.Name, k.Name)
	}
	target := limit{quantity: channel.Pressure, value: c.HotPressure}
	list = target.expand(list, targetName, hotPressureKey)
	var own []string
	for name := range c.limits {
		if _, ok := kindNamed(name); !ok {
			own = append(own, name)
		}
	}
	slices.Sort(own)
	for _, name := range own {
		list = c.limits[name].expand(list, name, name)
	}
	return list
}

func (l limit) expand(list []Limit, name, key string) []Limit {
	add := func(suffix string, v float64) {
		list = append(list, Limit{name + suffix, key, v, l.quantity, l.assumed})
	}
	if same(l.value[:]) {
		add("", l.value[0])
	}
	if l.whole {
		return list
	}
	if same(l.value[:2]) {
		add("_front", l.value[0])
	}
	if same(l.value[2:]) {
		add("_rear", l.value[2])
	}
	for w := channel.FL; w <= channel.RR; w++ {
		add("_"+w.Suffix(), l.value[w])
	}
	return list
}

// same is true where all values are equal; unknown equals unknown.
func same(v []float64) bool {
	for _, x := range v[1:] {
		if x != v[0] && !(math.IsNaN(x) && math.IsNaN(v[0])) {
			return false
		}
	}
	return true
}

// unknown returns a car with only the limits that suit any car.
func unknown() *Car {
	nan := math.NaN()
	four := [4]float64{nan, nan, nan, nan}
	return &Car{
		Wheelbase: nan, SteeringRatio: nan, TrackWidth: four, Mass: nan,
		FuelDensity: nan, Tank: nan, FuelEffect: nan,
		ColdMinimum: four, HotPressure: four,
		ReadyHold: 10, ReadyDrift: 5, // common practice, no source
		limits: map[string]limit{},
	}
}

// assume fills in what the file left out: the limits that suit any car, those of the baseline where the file asks for
// it, and a pressure band around the target.
func (c *Car) assume(baseline bool, said map[string]bool) {
	if baseline {
		if same(c.HotPressure[:]) && math.IsNaN(c.HotPressure[0]) {
			c.HotPressure = each(must("26 psi", channel.Pressure)) // common practice, no source
		}
		if math.IsNaN(c.FuelDensity) {
			c.FuelDensity = 0.745 // within the 0.743 to 0.756 kg/L at 15 °C of the EU's E5 reference petrol
		}
	}
	for _, k := range kinds {
		text := k.neutral
		if baseline {
			text = k.gt
		}
		if said[k.Name] || text == "" {
			continue
		}
		c.limits[k.Name] = limit{k.Quantity, each(must(text, k.Quantity)), k.Whole, true}
	}
	// A driver feels one psi; common practice, no source.
	band := must("1 psi", channel.Pressure)
	for name, by := range map[string]float64{"pressure_low": -band, "pressure_high": band} {
		if said[name] || same(c.HotPressure[:]) && math.IsNaN(c.HotPressure[0]) {
			continue
		}
		l := limit{quantity: channel.Pressure, assumed: true}
		for w, p := range c.HotPressure {
			l.value[w] = p + by
		}
		c.limits[name] = l
	}
}

// Baseline is the car of a file that says only `baseline: gt`: the common practice for a GT car on slicks. What only
// the maker can know stays unknown.
func Baseline() *Car {
	c := unknown()
	c.assume(true, nil)
	return c
}

func each(x float64) [4]float64 { return [4]float64{x, x, x, x} }

// must reads a value written in this package; TestDefaults reads them all.
func must(text string, q channel.Quantity) float64 {
	x, err := channel.Parse(text, q)
	if err != nil {
		return math.NaN()
	}
	return x
}
