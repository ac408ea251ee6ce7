package channel

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The factors are those printed in NIST Special Publication 811 (2008), Appendix B.8, which has
// seven digits; the exact ones are the definitions it cites (international yard and pound,
// gallon of 231 cubic inches, imperial gallon of 4.54609 L).
func TestUnitsAgainstNISTSP811(t *testing.T) {
	tests := []struct {
		unit   string
		factor float64 // to the SI unit in the next column
		inside float64 // what one of our inside units is in that SI unit
		tol    float64 // relative
	}{
		{"psi", 6.894757e3, 1e3, 1e-7}, // Pa
		{"psi", 0.45359237 * 9.80665 / (0.0254 * 0.0254), 1e3, 1e-15},
		{"bar", 1e5, 1e3, 0},
		{"atm", 1.01325e5, 1e3, 0},
		{"lb", 4.535924e-1, 1, 1e-7},
		{"g", 9.80665, 1, 0},
		{"mph", 4.4704e-1, 1, 1e-15},
		{"km/h", 2.777778e-1, 1, 1e-7},
		{"kn", 5.144444e-1, 1, 1e-7},
		{"mi", 1609.344, 1, 0},
		{"ft", 0.3048, 1, 0},
		{"in", 0.0254, 1, 0},
		{"gal_us", 3.785412e-3, 1e-3, 1e-7}, // m³
		{"gal_imp", 4.54609e-3, 1e-3, 1e-15},
		{"lb/gal_us", 1.198264e2, 1e3, 5e-7}, // kg/m³; seven digits that begin with 1 leave half a millionth
		{"rpm", 1.047198e-1, 1, 5e-7},
	}
	for _, tt := range tests {
		t.Run(tt.unit, func(t *testing.T) {
			u, ok := UnitNamed(tt.unit)
			require.True(t, ok)
			require.InEpsilon(t, tt.factor, u.In(1)*tt.inside, math.Max(tt.tol, 1e-15))
		})
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
