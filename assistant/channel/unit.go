package channel

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"earshot/configs/document"
)

// A Quantity is the kind of thing that a number measures. Numbers of two
// different quantities are never compared.
type Quantity string

// The quantities, each with the unit that is used inside the program.
const (
	None                  Quantity = "number"                 // bare
	Time                  Quantity = "time"                   // s
	Length                Quantity = "length"                 // m
	Velocity              Quantity = "speed"                  // m/s
	Acceleration          Quantity = "acceleration"           // m/s²
	Angle                 Quantity = "angle"                  // rad
	AngularVelocity       Quantity = "angular velocity"       // rad/s
	Temperature           Quantity = "temperature"            // °C
	TemperatureDifference Quantity = "temperature difference" // K
	Pressure              Quantity = "pressure"               // kPa
	Volume                Quantity = "volume"                 // L
	VolumeFlow            Quantity = "volume flow"            // L/s
	Mass                  Quantity = "mass"                   // kg
	Density               Quantity = "density"                // kg/L
	Ratio                 Quantity = "ratio"                  // 1
	Laps                  Quantity = "laps"                   // laps
	VolumePerLap          Quantity = "volume per lap"         // L/lap
)

// A Unit converts a number as people write it to the unit used inside:
// inside = written*Scale + Offset.
type Unit struct {
	Spelling string
	Quantity Quantity
	Scale    float64
	Offset   float64
}

// In converts x, written in u, to the unit used inside the program.
func (u Unit) In(x float64) float64 { return x*u.Scale + u.Offset }

// Out converts x, in the unit used inside the program, to u.
func (u Unit) Out(x float64) float64 { return (x - u.Offset) / u.Scale }

// StandardGravity is one g in m/s², Degree one degree in rad.
const (
	StandardGravity = 9.80665
	Degree          = math.Pi / 180
)

// Factors are those of NIST SP 811 (2008), Appendix B.8, exact where the
// definition is exact.
const (
	psiKPa   = 6.894757293168361
	poundKg  = 0.45359237
	galUS    = 3.785411784
	galImp   = 4.54609
	mile     = 1609.344
	foot     = 0.3048
	inch     = 0.0254
	knotMPS  = 1852.0 / 3600
	rpmRad   = 2 * math.Pi / 60
	fScale   = 1 / 1.8
	fOffset  = -32 / 1.8
	kelvinC  = -273.15
	hourSecs = 3600.0
)

// units lists every spelling. The first spelling of a quantity is the one
// used inside the program.
var units = []Unit{
	{"s", Time, 1, 0}, {"ms", Time, 1e-3, 0}, {"us", Time, 1e-6, 0}, {"µs", Time, 1e-6, 0}, {"ns", Time, 1e-9, 0}, {"min", Time, 60, 0}, {"h", Time, hourSecs, 0},
	{"m", Length, 1, 0}, {"mm", Length, 1e-3, 0}, {"cm", Length, 1e-2, 0}, {"km", Length, 1e3, 0}, {"in", Length, inch, 0}, {"ft", Length, foot, 0}, {"mi", Length, mile, 0},
	{"m/s", Velocity, 1, 0}, {"km/h", Velocity, 1 / 3.6, 0}, {"mph", Velocity, mile / hourSecs, 0}, {"kn", Velocity, knotMPS, 0},
	{"m/s²", Acceleration, 1, 0}, {"m/s2", Acceleration, 1, 0}, {"m/s^2", Acceleration, 1, 0}, {"g", Acceleration, StandardGravity, 0},
	{"rad", Angle, 1, 0}, {"deg", Angle, Degree, 0}, {"°", Angle, Degree, 0},
	{"rad/s", AngularVelocity, 1, 0}, {"deg/s", AngularVelocity, Degree, 0}, {"°/s", AngularVelocity, Degree, 0}, {"rpm", AngularVelocity, rpmRad, 0},
	{"°C", Temperature, 1, 0}, {"degC", Temperature, 1, 0}, {"°F", Temperature, fScale, fOffset}, {"degF", Temperature, fScale, fOffset}, {"K_abs", Temperature, 1, kelvinC},
	{"K", TemperatureDifference, 1, 0}, {"delta_degC", TemperatureDifference, 1, 0}, {"delta_degF", TemperatureDifference, fScale, 0},
	{"kPa", Pressure, 1, 0}, {"Pa", Pressure, 1e-3, 0}, {"hPa", Pressure, 0.1, 0}, {"mbar", Pressure, 0.1, 0}, {"bar", Pressure, 100, 0}, {"MPa", Pressure, 1000, 0}, {"psi", Pressure, psiKPa, 0}, {"atm", Pressure, 101.325, 0},
	{"l", Volume, 1, 0}, {"L", Volume, 1, 0}, {"ml", Volume, 1e-3, 0}, {"m³", Volume, 1000, 0}, {"m3", Volume, 1000, 0}, {"gal_us", Volume, galUS, 0}, {"gal_imp", Volume, galImp, 0},
	{"l/s", VolumeFlow, 1, 0}, {"L/s", VolumeFlow, 1, 0}, {"l/h", VolumeFlow, 1 / hourSecs, 0}, {"L/h", VolumeFlow, 1 / hourSecs, 0}, {"gal_us/h", VolumeFlow, galUS / hourSecs, 0},
	{"kg", Mass, 1, 0}, {"lb", Mass, poundKg, 0}, {"t", Mass, 1000, 0},
	{"kg/l", Density, 1, 0}, {"kg/L", Density, 1, 0}, {"kg/m³", Density, 1e-3, 0}, {"kg/m3", Density, 1e-3, 0}, {"lb/gal_us", Density, poundKg / galUS, 0},
	{"1", Ratio, 1, 0}, {"%", Ratio, 0.01, 0},
	{"laps", Laps, 1, 0}, {"lap", Laps, 1, 0},
	{"l/lap", VolumePerLap, 1, 0}, {"L/lap", VolumePerLap, 1, 0}, {"gal_us/lap", VolumePerLap, galUS, 0},
	{"number", None, 1, 0},
}

var unitByName = func() map[string]Unit {
	m := make(map[string]Unit, len(units))
	for _, u := range units {
		m[u.Spelling] = u
	}
	return m
}()

// UnitNamed returns the unit of that spelling. Spellings are case sensitive.
func UnitNamed(spelling string) (Unit, bool) {
	u, ok := unitByName[spelling]
	return u, ok
}

// meant are spellings of other programs, none of which can be meant otherwise.
var meant = map[string]string{
	"kph": "km/h", "KPH": "km/h", "kmh": "km/h", "kmph": "km/h", "Km/h": "km/h", "KM/H": "km/h", "km/hr": "km/h", "MPH": "mph",
	"mps": "m/s", "m/sec": "m/s", "knots": "kn",
	"RPM": "rpm", "Rpm": "rpm", "1/min": "rpm", "U/min": "rpm", "min-1": "rpm", "r/min": "rpm",
	"C": "°C", "deg C": "°C", "Deg C": "°C", "degrees C": "°C", "Celsius": "°C", "celsius": "°C", "F": "°F", "deg F": "°F",
	"degrees": "deg", "degree": "deg", "Deg": "deg", "DEG": "deg", "Degree": "deg", "degree/s": "deg/s", "degrees/s": "deg/s",
	"deg/sec": "deg/s", "G": "g", "m/sec2": "m/s2", "m/ss": "m/s2", "kpa": "kPa", "KPA": "kPa", "Bar": "bar", "PSI": "psi", "mBar": "mbar",
	"percent": "%", "Percent": "%", "pct": "%", "sec": "s", "meters": "m", "meter": "m",
	"litre": "l", "liters": "l", "litres": "l", "Liters": "l",
}

// UnitMeant is UnitNamed for the spellings of other programs too.
func UnitMeant(spelling string) (Unit, bool) {
	if own, ok := meant[spelling]; ok {
		spelling = own
	}
	return UnitNamed(spelling)
}

// UnitsOf lists the spellings for q, the one used inside the program first.
func UnitsOf(q Quantity) []string {
	var s []string
	for _, u := range units {
		if u.Quantity == q {
			s = append(s, u.Spelling)
		}
	}
	return s
}

// InsideUnit is the unit of a quantity inside the program.
func InsideUnit(q Quantity) string { return UnitsOf(q)[0] }

// Units lists every spelling.
func Units() []string {
	s := make([]string, len(units))
	for i, u := range units {
		s[i] = u.Spelling
	}
	return s
}

// A ParseError says what is wrong with a written quantity and what to write instead.
type ParseError struct {
	Text string // what was written
	Msg  string
	Hint string
}

func (e *ParseError) Error() string {
	if e.Hint == "" {
		return fmt.Sprintf("%q: %s", e.Text, e.Msg)
	}
	return fmt.Sprintf("%q: %s (%s)", e.Text, e.Msg, e.Hint)
}

// Parse reads a number with its unit, such as "26 psi" or "-3.5deg", as a value of
// quantity q in the unit used inside the program. A bare number is accepted
// only where q is None. A temperature difference may be written in °C or °F as well: no
// offset applies to it. The error is a *ParseError.
func Parse(text string, q Quantity) (float64, error) {
	x, _, err := ParseUnit(text, q)
	return x, err
}

// ParseUnit is Parse that also returns the unit in which the number is written.
func ParseUnit(text string, q Quantity) (float64, Unit, error) {
	none := Unit{InsideUnit(q), q, 1, 0}
	number, spelling := split(strings.TrimSpace(text))
	x, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
		return math.NaN(), none, &ParseError{text, "this is not a number with a unit", "write for example " + example(q)}
	}
	if spelling == "" {
		if q == None {
			return x, none, nil
		}
		return math.NaN(), none, &ParseError{text, "the unit is missing", Choices(q)}
	}
	u, ok := UnitNamed(spelling)
	if !ok {
		return math.NaN(), none, &ParseError{text, fmt.Sprintf("unknown unit %q", spelling), unitHint(spelling, q)}
	}
	if q == TemperatureDifference && u.Quantity == Temperature {
		return x * u.Scale, u, nil
	}
	if u.Quantity != q {
		return math.NaN(), none, &ParseError{text, fmt.Sprintf("%s is a unit of %s, and this is a %s", spelling, u.Quantity, q), "use one of " + strings.Join(UnitsOf(q), ", ")}
	}
	return u.In(x), u, nil
}

// Choices tells in which units q is written.
func Choices(q Quantity) string {
	return "a " + string(q) + " is written in one of " + strings.Join(UnitsOf(q), ", ")
}

// unitHint is the way out for a spelling that is no unit, where one of q should stand.
func unitHint(spelling string, q Quantity) string {
	return strings.TrimSpace(document.Meant(spelling, UnitsOf(q), "") + " " + Choices(q))
}

// Read reads a value of quantity q from a file: see Parse. It is NaN after a mistake, which r is told.
func Read(r document.Reader, n *document.Node, what string, q Quantity) float64 {
	if !document.IsScalar(n) {
		r.Bad(n, Choices(q), "%s is not a number with a unit", what)
		return math.NaN()
	}
	x, err := Parse(n.Value, q)
	if pe, ok := errors.AsType[*ParseError](err); ok {
		r.Bad(n, pe.Hint, "%s is %q: %s", what, n.Value, pe.Msg)
	}
	return x
}

// ReadUnit reads a unit in which values of q may come. A temperature difference may be written in a unit of
// temperature; no offset applies to it.
func ReadUnit(r document.Reader, n *document.Node, q Quantity) (Unit, bool) {
	spelling := r.Text(n, "unit")
	u, ok := UnitNamed(spelling)
	switch {
	case spelling == "":
		return u, false
	case !ok:
		r.Bad(n, unitHint(spelling, q), "unknown unit %q", spelling)
		return u, false
	case q == TemperatureDifference && u.Quantity == Temperature:
		u.Offset = 0
	case u.Quantity != q:
		hint := Choices(q)
		if q == Temperature && spelling == "K" {
			hint = "K_abs is the absolute temperature; " + hint
		}
		r.Bad(n, hint, "%s is a unit of %s, and this is a %s", spelling, u.Quantity, q)
		return u, false
	}
	return u, true
}

func example(q Quantity) string {
	if q == None {
		return "1.5"
	}
	return "1.5 " + UnitsOf(q)[0]
}

// numberPart is a number at the beginning of a text. An exponent belongs to it.
var numberPart = regexp.MustCompile(`^[+-]?[0-9.]*([eE][+-]?[0-9]+)?`)

// split cuts "26 psi" into "26" and "psi".
func split(s string) (number, unit string) {
	number = numberPart.FindString(s)
	return number, strings.TrimSpace(s[len(number):])
}

// Quantities lists every quantity, sorted.
func Quantities() []Quantity {
	var qs []Quantity
	for _, u := range units {
		if !slices.Contains(qs, u.Quantity) {
			qs = append(qs, u.Quantity)
		}
	}
	slices.Sort(qs)
	return qs
}
