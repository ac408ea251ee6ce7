package expression_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/rules/expression"
)

// words is the vocabulary of the tests: the channels of the catalogue, of which one has no reading, and a constant.
type words struct{ *channel.Set }

func (w words) Name(name string) (expression.Name, bool) {
	if name == "fuel_every" {
		return expression.Name{Index: -1, Quantity: string(channel.Laps), Const: true, Value: 3, Available: true}, true
	}
	id, ok := w.Lookup(name)
	if !ok {
		return expression.Name{}, false
	}
	c := w.At(id)
	return expression.Name{Index: int(id), Quantity: string(c.Quantity), Labels: c.Labels,
		Available: name != "oil_pressure", Why: "the feed has no such field"}, true
}

func (words) Unit(spelling string) (expression.Unit, bool) {
	u, ok := channel.UnitNamed(spelling)
	return expression.Unit{Quantity: string(u.Quantity), Scale: u.Scale, Offset: u.Offset}, ok
}

func (words) UnitsOf(q string) []string          { return channel.UnitsOf(channel.Quantity(q)) }
func (words) Display(string) (string, int, bool) { return "", 0, false }
func (words) Situations() []string               { return nil }

var voc = words{channel.NewSet()}

// row is a row in which only the named values are known.
func row(t testing.TB, values map[string]float64) channel.Row {
	t.Helper()
	r := voc.NewRow()
	for name, x := range values {
		id, ok := voc.Lookup(name)
		require.True(t, ok, name)
		r[id] = x
	}
	return r
}

func eval(t *testing.T, src string, values map[string]float64) float64 {
	t.Helper()
	e, err := expression.New(src, voc, false)
	require.NoError(t, err, src)
	return e.Value(row(t, values), &expression.Workspace{})
}

// Factors: NIST Special Publication 811 (2008), Appendix B.8, seven digits; exact where the definition is exact.
func TestUnitsAgainstNIST(t *testing.T) {
	tests := []struct {
		src  string
		want float64 // in the unit used inside: kPa, m/s, L, kg, rad/s, °C, K
	}{
		{"1 psi", 6.894757}, {"1 bar", 100}, {"1 atm", 101.325}, {"1mph", 0.44704}, {"1 km/h", 1 / 3.6}, {"1 kn", 0.5144444},
		{"1 gal_us", 3.785412}, {"1 gal_imp", 4.54609}, {"1 lb", 0.4535924}, {"1 rpm", 0.1047198}, {"1 lb/gal_us", 0.1198264},
		{"1 mi", 1609.344}, {"1 ft", 0.3048}, {"1 in", 0.0254}, {"1 g", 9.80665}, {"-40 °F", -40}, {"194 °F", 90}, {"363.15 K_abs", 90},
		// SP 811 section 8.5: an interval takes no offset.
		{"10 delta_degF", 5.555556}, {"60 delta_degF/min", 60 / 1.8 / 60},
		{"27.5 psi", 189.605826}, {"2.5e1 psi / 1 psi", 25}, {"1 l/h", 1 / 3600.0}, {"50 %", 0.5},
	}
	for _, tt := range tests {
		t.Run(tt.src, func(t *testing.T) {
			require.InEpsilon(t, tt.want, eval(t, tt.src, nil), 5e-7) // half a unit of the seventh digit
		})
	}
}

// Kleene's strong logic of three values (S. C. Kleene, Introduction to Metamathematics, 1952, section 64; from
// memory): the tables for and, or and not.
func TestThreeValuedLogic(t *testing.T) {
	values := map[string]float64{"F": 0, "T": 1, "U": math.NaN()}
	and := map[string]string{"FF": "F", "FT": "F", "FU": "F", "TF": "F", "TT": "T", "TU": "U", "UF": "F", "UT": "U", "UU": "U"}
	or := map[string]string{"FF": "F", "FT": "T", "FU": "U", "TF": "T", "TT": "T", "TU": "T", "UF": "U", "UT": "T", "UU": "U"}
	not := map[string]string{"F": "T", "T": "F", "U": "U"}
	check := func(src string, env map[string]float64, want string) {
		got := eval(t, src, env)
		if want == "U" {
			require.True(t, math.IsNaN(got), "%s with %v is %v", src, env, got)
			return
		}
		require.Equal(t, values[want], got, "%s with %v", src, env)
	}
	for a, x := range values {
		check("not gear == 1", map[string]float64{"gear": x}, not[a])
		check("not gear", map[string]float64{"gear": x}, not[a])
		for b, y := range values {
			env := map[string]float64{"gear": x, "sector": y}
			check("gear == 1 and sector == 1", env, and[a+b])
			check("gear == 1 or sector == 1", env, or[a+b])
			// De Morgan holds in this logic.
			check("not (gear == 1 and sector == 1)", env, not[and[a+b]])
			check("not gear == 1 or not sector == 1", env, not[and[a+b]])
		}
	}
}

func TestComparisonsWithUnknown(t *testing.T) {
	for _, op := range []string{"<", "<=", ">", ">=", "==", "!="} {
		for _, form := range []string{"fuel_left %s 5 l", "5 l %s fuel_left", "fuel_left %s fuel_volume", "fuel_volume %s fuel_left",
			"fuel_left + 1 l %s fuel_volume"} {
			src := fmt.Sprintf(form, op)
			require.True(t, math.IsNaN(eval(t, src, map[string]float64{"fuel_volume": 3})), src)
		}
	}
}

// Every form of comparison is compiled by a closure of its own: all must agree with Go's operators.
func TestComparisonForms(t *testing.T) {
	ops := map[string]func(a, b float64) bool{
		"<": func(a, b float64) bool { return a < b }, "<=": func(a, b float64) bool { return a <= b },
		">":  func(a, b float64) bool { return a > b },
		">=": func(a, b float64) bool { return a >= b }, "==": func(a, b float64) bool { return a == b },
		"!=": func(a, b float64) bool { return a != b },
	}
	for op, f := range ops {
		for _, x := range []float64{4, 5, 6} {
			want := 0.0
			if f(x, 5) {
				want = 1
			}
			env := map[string]float64{"fuel_left": x, "fuel_volume": 5}
			require.Equal(t, want, eval(t, "fuel_left "+op+" 5 l", env), op)
			require.Equal(t, want, eval(t, "fuel_left "+op+" fuel_volume", env), op)
			require.Equal(t, want, eval(t, "fuel_left * 1 "+op+" fuel_volume * 1", env), op)
			want = 0
			if f(5, x) {
				want = 1
			}
			require.Equal(t, want, eval(t, "5 l "+op+" fuel_left", env), op)
		}
	}
}

func TestExpressions(t *testing.T) {
	env := map[string]float64{
		"fuel_left": 8, "fuel_per_lap": 2, "laps_to_go": 5, "gear": 3, "brake": 0.5, "flag": 2, "lap": 6, "speed": 50,
		"tyre_core_fl": 80, "tyre_core_fr": 90, "tyre_core_rl": 100, "tyre_core_rr": 110,
	}
	tests := []struct {
		src  string
		q    string
		want float64
	}{
		{"1 + 2 * 3", "number", 7},
		{"(1 + 2) * 3", "number", 9},
		{"10 - 4 - 3", "number", 3},
		{"12 / 2 / 3", "number", 2},
		{"-2 * -3", "number", 6},
		{"7 % 4", "number", 3},
		{"lap % 3 == 0", "condition", 1},
		{"laps_to_go % fuel_every", "laps", 2},
		{"not gear == 2 and brake > 20 %", "condition", 1},
		{"gear == 1 or gear == 3 and brake > 0.9", "condition", 0}, // and binds more strongly
		{"(gear == 3 or gear == 1) and brake > 0.4", "condition", 1},
		{"flag == \"yellow\"", "condition", 1},
		{"\"yellow\" != flag", "condition", 0},
		{"fuel_left / fuel_per_lap", "laps", 4},
		{"fuel_per_lap * laps_to_go", "volume", 10},
		{"fuel_left - laps_to_go * fuel_per_lap", "volume", -2},
		{"fuel_left / 2 laps", "volume per lap", 4},
		{"fuel_left / 4 l", "number", 2},
		{"fuel_left / 4 l > 50 %", "condition", 1}, // a quotient of like quantities may stand for a ratio
		{"fuel_left > 0", "condition", 1},
		{"brake + 10 %", "ratio", 0.6},
		{"tyre_core_fr - tyre_core_fl", "temperature difference", 10},
		{"tyre_core_fr + 5 K", "temperature", 95},
		{"5 K + tyre_core_fr", "temperature", 95},
		{"tyre_core_fr - 9 delta_degF", "temperature", 85},
		{"tyre_core_fl < 194 °F", "condition", 1},
		{"tyre_core_fl > -3 °C", "condition", 1},
		{"max(tyre_core_*)", "temperature", 110},
		{"min(tyre_core_*, 70 °C)", "temperature", 70},
		{"mean(tyre_core_*)", "temperature", 95},
		{"mean(tyre_core_fl, tyre_core_fr)", "temperature", 85},
		{"abs(-3 l)", "volume", 3},
		{"between(gear, 2, 3)", "condition", 1},
		{"between(gear, 4, 5)", "condition", 0},
		{"known(gear)", "condition", 1},
		{"known(sector)", "condition", 0},
		{"known(sector + 1)", "condition", 0},
		{"speed / 10 s", "speed per second", 5},
		{"fuel_left / 0 l", "number", math.NaN()},
		{"max(tyre_core_*) > 100 °C and sector > 1", "condition", math.NaN()},
		{"max(sector, gear)", "number", math.NaN()},
		{"min(gear, sector)", "number", math.NaN()},
	}
	for _, tt := range tests {
		t.Run(tt.src, func(t *testing.T) {
			e, err := expression.New(tt.src, voc, false)
			require.NoError(t, err)
			require.Equal(t, tt.q, e.Quantity)
			got := eval(t, tt.src, env)
			if math.IsNaN(tt.want) {
				require.True(t, math.IsNaN(got), "got %v", got)
				return
			}
			require.InDelta(t, tt.want, got, 1e-12)
		})
	}
}

func TestExpressionErrorsHaveAPlace(t *testing.T) {
	_, err := expression.New("fuel_left <\n  5 °C", voc, false)
	require.Equal(t, &expression.Mistake{Pos: 10, Msg: "fuel_left (volume) and a temperature cannot be compared",
		Hint: "write it with one of l, L, ml, m³, m3, gal_us, gal_imp"}, err)
	_, err = expression.New("oil_pressure < 5 kPa", voc, false)
	require.EqualError(t, err, "oil_pressure: the feed has no such field")
	for _, src := range []string{"", `"text"`, "changed(gear)"} {
		_, err = expression.New(src, voc, false)
		require.Error(t, err, src)
	}
}

// A row shorter than the names need is a row of which the rest is unknown.
func TestShortRow(t *testing.T) {
	e, err := expression.New("damage_engine > 1 %", voc, false)
	require.NoError(t, err)
	require.True(t, math.IsNaN(e.Value(nil, &expression.Workspace{})))
}

// The truth is Go's own arithmetic, written out.
func TestExpressionsAgainstGo(t *testing.T) {
	a, b, c := 3.5, -2.0, 7.25
	readings := row(t, map[string]float64{"gear": a, "sector": b, "lap": c})
	for text, want := range map[string]float64{
		"gear - sector - lap":                     a - b - c,
		"gear - (sector - lap)":                   a - (b - c),
		"gear / sector / lap":                     a / b / c,
		"gear + sector * lap":                     a + b*c,
		"-gear * -sector":                         a * b,
		"--gear":                                  a,
		"min(gear, sector, lap) + max(lap, gear)": b + c,
		"2.5e-1 * gear + .5":                      0.25*a + 0.5,
		"abs( sector )/hypot(3,4)":                2.0 / 5,
	} {
		x, err := expression.New(text, voc, true)
		require.NoError(t, err, text)
		require.NotEmpty(t, x.Reads)
		require.Equal(t, want, x.Value(readings, &expression.Workspace{}), text)
	}
	for text, at := range map[string]int{"": 0, "gear +": 6, "gear gear": 5, "(gear": 5, "3 nonsense": 2, "1e999": 0,
		"gear, 2": 4, "sqrt": 0, "min(gear": 8, "1..2": 2, strings.Repeat("(", 500): 100} {
		_, err := expression.New(text, voc, true)
		var m *expression.Mistake
		require.ErrorAs(t, err, &m, text)
		require.Equal(t, at, m.Pos, fmt.Sprint(text, ": ", err))
	}
}

func FuzzExpression(f *testing.F) {
	for _, s := range []string{
		"fuel_left < 5 l", "between(gear, 1, 3) and not flag == \"yellow\"", "max(tyre_core_*) - 3 K > 85 °C or rate(gear) > 1",
		"-(-3.5e2)%4", "((((gear))))", "5 %", "50 % 3",
		"tyre_core_fl > 26 psi", "a b", "\"", "1e999 l", "gear * 60 l/h / (2 s)", "known(x) and changed(gear, 2)", "5 µs", "€",
	} {
		f.Add(s)
	}
	readings := row(f, map[string]float64{"gear": 2, "fuel_left": 3, "tyre_core_fl": 90})
	f.Fuzz(func(t *testing.T, src string) {
		e, err := expression.New(src, voc, false)
		if err != nil {
			if m, ok := errors.AsType[*expression.Mistake](err); !ok || m.Pos < 0 || m.Pos > len(src) || m.Msg == "" {
				t.Fatalf("refused with %#v", err)
			}
			return
		}
		if x := e.Value(readings, &expression.Workspace{}); e.Quantity == "condition" && x != 0 && x != 1 && x == x {
			t.Fatalf("a condition is %v", x)
		}
		e.Value(nil, &expression.Workspace{})
	})
}
