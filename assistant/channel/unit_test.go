package channel

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Every unit against NIST Special Publication 811 (2008): the factors of Appendix B.8, which has seven digits, and the
// definitions that it cites (international yard and pound, gallon of 231 cubic inches, imperial gallon of 4.54609 L);
// of the units that section 5 takes beside the SI (minute, hour, degree, litre, tonne) the definitions, from memory;
// and the SI prefixes. si is one of the unit in SI units, zero where its scale begins.
func TestEveryUnitAgainstNISTSP811(t *testing.T) {
	const printed, exact = 5e-7, 1e-15                                                                              // seven digits that begin with 1 leave half a millionth
	inside := map[Quantity]float64{Pressure: 1e3, Volume: 1e-3, VolumeFlow: 1e-3, VolumePerLap: 1e-3, Density: 1e3} // one of ours in SI units
	seen := map[string]bool{}
	for _, tt := range []struct {
		units []string
		q     Quantity
		si    float64
		tol   float64
	}{
		{[]string{"s"}, Time, 1, exact}, {[]string{"ms"}, Time, 1e-3, exact}, {[]string{"us", "µs"}, Time, 1e-6, exact}, {[]string{"ns"}, Time, 1e-9, exact},
		{[]string{"min"}, Time, 60, exact}, {[]string{"h"}, Time, 3600, exact},
		{[]string{"m"}, Length, 1, exact}, {[]string{"mm"}, Length, 1e-3, exact}, {[]string{"cm"}, Length, 1e-2, exact}, {[]string{"km"}, Length, 1e3, exact},
		{[]string{"in"}, Length, 2.54e-2, exact}, {[]string{"ft"}, Length, 3.048e-1, exact}, {[]string{"mi"}, Length, 1.609344e3, exact},
		{[]string{"m/s"}, Velocity, 1, exact}, {[]string{"km/h"}, Velocity, 2.777778e-1, printed}, {[]string{"mph"}, Velocity, 4.4704e-1, exact},
		{[]string{"kn"}, Velocity, 5.144444e-1, printed},
		{[]string{"m/s²", "m/s2", "m/s^2"}, Acceleration, 1, exact}, {[]string{"g"}, Acceleration, 9.80665, exact},
		{[]string{"rad"}, Angle, 1, exact}, {[]string{"deg", "°"}, Angle, math.Pi / 180, exact},
		{[]string{"rad/s"}, AngularVelocity, 1, exact}, {[]string{"deg/s", "°/s"}, AngularVelocity, math.Pi / 180, exact},
		{[]string{"rpm"}, AngularVelocity, 1.047198e-1, printed},
		{[]string{"°C", "degC", "K_abs"}, Temperature, 1, exact}, {[]string{"°F", "degF"}, Temperature, 5.0 / 9, exact},
		{[]string{"K", "delta_degC"}, TemperatureDifference, 1, exact}, {[]string{"delta_degF"}, TemperatureDifference, 5.0 / 9, exact},
		{[]string{"kPa"}, Pressure, 1e3, exact}, {[]string{"Pa"}, Pressure, 1, exact}, {[]string{"hPa", "mbar"}, Pressure, 1e2, exact},
		{[]string{"bar"}, Pressure, 1e5, exact}, {[]string{"MPa"}, Pressure, 1e6, exact}, {[]string{"atm"}, Pressure, 1.01325e5, exact},
		{[]string{"psi"}, Pressure, 0.45359237 * 9.80665 / (0.0254 * 0.0254), exact}, {[]string{"psi"}, Pressure, 6.894757e3, printed},
		{[]string{"l", "L"}, Volume, 1e-3, exact}, {[]string{"ml"}, Volume, 1e-6, exact}, {[]string{"m³", "m3"}, Volume, 1, exact},
		{[]string{"gal_us"}, Volume, 3.785412e-3, printed}, {[]string{"gal_imp"}, Volume, 4.54609e-3, exact},
		{[]string{"l/s", "L/s"}, VolumeFlow, 1e-3, exact}, {[]string{"l/h", "L/h"}, VolumeFlow, 1e-3 / 3600, exact},
		{[]string{"gal_us/h"}, VolumeFlow, 3.785412e-3 / 3600, printed},
		{[]string{"kg"}, Mass, 1, exact}, {[]string{"lb"}, Mass, 4.535924e-1, printed}, {[]string{"t"}, Mass, 1e3, exact},
		{[]string{"kg/l", "kg/L"}, Density, 1e3, exact}, {[]string{"kg/m³", "kg/m3"}, Density, 1, exact}, {[]string{"lb/gal_us"}, Density, 1.198264e2, printed},
		{[]string{"1"}, Ratio, 1, exact}, {[]string{"%"}, Ratio, 1e-2, exact},
		{[]string{"laps", "lap"}, Laps, 1, exact}, {[]string{"number"}, None, 1, exact},
		{[]string{"l/lap", "L/lap"}, VolumePerLap, 1e-3, exact}, {[]string{"gal_us/lap"}, VolumePerLap, 3.785412e-3, printed},
	} {
		for _, name := range tt.units {
			seen[name] = true
			u, ok := UnitNamed(name)
			require.True(t, ok, name)
			require.Equal(t, tt.q, u.Quantity, name)
			factor := inside[tt.q]
			if factor == 0 {
				factor = 1
			}
			require.InEpsilon(t, tt.si, (u.In(1)-u.In(0))*factor, max(tt.tol, 1e-12*math.Abs(u.Offset)), name)
			if tt.q != Temperature {
				require.Zero(t, u.In(0), name)
			}
		}
	}
	for _, name := range Units() {
		require.True(t, seen[name], "%s is in no line of this table", name)
	}
	// Appendix B.8: T/K = t/°C + 273.15, t/°C = (t/°F - 32)/1.8.
	for name, freezing := range map[string]float64{"°C": 0, "degC": 0, "°F": 32, "degF": 32, "K_abs": 273.15} {
		u, _ := UnitNamed(name)
		require.InDelta(t, 0, u.In(freezing), 1e-12, name)
	}
}

// Worked conversions computed from the same definitions, outside this program.
func TestWorkedConversions(t *testing.T) {
	tests := []struct {
		text string
		q    Quantity
		want float64
	}{
		{"27.5 psi", Pressure, 189.605826},
		{"100 mph", Velocity, 44.704},
		{"180 km/h", Velocity, 50},
		{"194 °F", Temperature, 90},
		{"363.15 K_abs", Temperature, 90},
		{"-40 °F", Temperature, -40},
		{"15.850323 gal_us", Volume, 60},
		{"13.198155 gal_imp", Volume, 60},
		{"10 °F", TemperatureDifference, 5.5555555556}, // a difference takes no offset
		{"10 delta_degF", TemperatureDifference, 5.5555555556},
		{"-3.5deg", Angle, -0.0610865238},
		{"1e3 mm", Length, 1},
	}
	for _, tt := range tests {
		got, err := Parse(tt.text, tt.q)
		require.NoError(t, err, tt.text)
		require.InEpsilon(t, tt.want, got, 1e-7, tt.text)
	}
	u, _ := UnitNamed("psi")
	require.InEpsilon(t, 26.977019, u.Out(186), 1e-7, "1.86 bar in psi")
	u, _ = UnitNamed("mph")
	require.InEpsilon(t, 111.846815, u.Out(50), 1e-7, "180 km/h in mph")
}

func TestEveryUnitGoesThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, ok := UnitNamed(rapid.SampledFrom(Units()).Draw(t, "unit"))
		require.True(t, ok)
		x := rapid.Float64Range(-1e4, 1e4).Draw(t, "x")
		require.InDelta(t, x, u.Out(u.In(x)), 1e-9*math.Max(1, math.Abs(u.Offset/u.Scale)))
	})
}

func TestTheFirstUnitOfAQuantityIsTheInsideOne(t *testing.T) {
	for _, q := range Quantities() {
		u, ok := UnitNamed(UnitsOf(q)[0])
		require.True(t, ok)
		require.Equal(t, 1.0, u.Scale, q)
		require.Zero(t, u.Offset, q)
	}
}

func TestWrittenQuantitiesThatAreRefused(t *testing.T) {
	tests := []struct {
		text string
		q    Quantity
		msg  string
	}{
		{"26", Pressure, "the unit is missing"},
		{"26 psi", Temperature, "psi is a unit of pressure"},
		{"26 Psi", Pressure, `unknown unit "Psi"`}, // spellings are case sensitive: mPa is not MPa
		{"K", Temperature, "not a number"},
		{"12 K", Temperature, "K is a unit of temperature difference"},
		{"NaN s", Time, "not a number"},
		{"1e999 s", Time, "not a number"},
		{"--1 s", Time, "not a number"},
		{"", Time, "not a number"},
		{"0x10 s", Time, "unknown unit"},
		{"12,5 s", Time, "unknown unit"},
		{"5 laps", None, "laps is a unit of laps"},
	}
	for _, tt := range tests {
		x, err := Parse(tt.text, tt.q)
		require.ErrorContains(t, err, tt.msg, tt.text)
		require.True(t, math.IsNaN(x), "a refused text must not give a number")
		var pe *ParseError
		require.ErrorAs(t, err, &pe)
		require.NotEmpty(t, pe.Hint, tt.text)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"26 psi", "-3.5deg", "1e3 mm", "5e", "µs", "1 m/s²", "+-3 s"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, q := range Quantities() {
			x, err := Parse(s, q)
			if (err != nil) != math.IsNaN(x) {
				t.Fatalf("%q as %s: %v with %v", s, q, x, err)
			}
		}
	})
}

// What other programs write means a unit that there is, and is none of its own.
func TestSpellingsOfOtherPrograms(t *testing.T) {
	for spelling, own := range meant {
		u, ok := UnitMeant(spelling)
		require.True(t, ok, spelling)
		require.Equal(t, own, u.Spelling)
		_, ok = UnitNamed(spelling)
		require.False(t, ok, spelling)
	}
}
