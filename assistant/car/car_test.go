package car

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/configs/document"
)

const psi = 6.894757293168361 // kPa, NIST SP 811 (2008) B.8 by definition of pound, inch and gravity

func parse(t *testing.T, text string) *Car {
	t.Helper()
	c, err := Parse("my.yaml", []byte(text))
	require.NoError(t, err)
	return c
}

func limits(c *Car) map[string]Limit {
	m := map[string]Limit{}
	for _, l := range c.Limits() {
		m[l.Name] = l
	}
	return m
}

func TestShippedCarsAreRead(t *testing.T) {
	for _, folder := range []string{"../../configs/cars", "../../testdata/cars"} {
		files, err := filepath.Glob(filepath.Join(folder, "*.yaml"))
		require.NoError(t, err)
		require.NotEmpty(t, files, folder)
		for _, file := range files {
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			_, err = Parse(file, data)
			require.NoError(t, err)
		}
	}
}

func TestDemoCar(t *testing.T) {
	data, err := os.ReadFile("../../configs/cars/demo.yaml")
	require.NoError(t, err)
	c := parse(t, string(data))
	require.Equal(t, 2.65, c.Wheelbase)
	require.Equal(t, 13.5, c.SteeringRatio)
	require.InDelta(t, 26*psi, c.HotPressure[channel.RR], 1e-9)
	require.Equal(t, 1.0, c.ReserveLaps)
	require.Zero(t, c.ReserveVolume)
	require.InDelta(t, 0.02, c.FuelEffect, 1e-12)
	soft, ok := c.Compound("soft")
	require.True(t, ok)
	require.Equal(t, Compound{"soft", 10, 35, 6}, soft)
	for _, l := range c.Limits() {
		base, _, _ := strings.Cut(l.Name, "_f")
		if base == "ride_height_low" || base == "travel_stop" || l.Quantity == channel.Length || strings.HasPrefix(l.Name, "damage") {
			continue
		}
		require.False(t, math.IsNaN(l.Value), l.Name)
	}
}

// The publisher of the open log states 2.981 m and 790 kg (open-data/SOURCES.md) and no temperatures.
func TestOvalCarSaysOnlyWhatIsKnown(t *testing.T) {
	data, err := os.ReadFile("../../testdata/cars/racecar-oval.yaml")
	require.NoError(t, err)
	c := parse(t, string(data))
	require.Equal(t, 2.981, c.Wheelbase)
	require.Equal(t, 790.0, c.Mass)
	require.True(t, math.IsNaN(c.SteeringRatio))
	require.True(t, math.IsNaN(c.HotPressure[0]))
	for name, l := range limits(c) {
		if l.Quantity == channel.Temperature || l.Quantity == channel.Pressure {
			require.True(t, math.IsNaN(l.Value), name)
		}
	}
}

func TestValuesByWheelAndAxle(t *testing.T) {
	c := parse(t, `
tyres: {hot_pressure: {front: 1.8 bar, rl: 26 psi, rr: 25 psi}}
limits:
  tyre_low: 167 °F
  tyre_high: {front: 100 °C, rear: 98 °C}
  gearbox_hot: {front: 130 °C, rear: 130 °C}
  tokens: 3 number
  pressure_high: none
  fuel_every: 3 laps
`)
	require.InDelta(t, 180, c.HotPressure[channel.FL], 1e-9)
	require.InDelta(t, 25*psi, c.HotPressure[channel.RR], 1e-9)
	l := limits(c)
	require.InDelta(t, 75, l["tyre_low"].Value, 1e-9) // 167 °F = 75 °C
	require.InDelta(t, 75, l["tyre_low_front"].Value, 1e-9)
	require.InDelta(t, 75, l["tyre_low_rr"].Value, 1e-9)
	require.NotContains(t, l, "tyre_high", "front and rear differ")
	require.Equal(t, 98.0, l["tyre_high_rear"].Value)
	require.Equal(t, 98.0, l["tyre_high_rl"].Value)
	require.Equal(t, channel.Temperature, l["gearbox_hot"].Quantity)
	require.Equal(t, 130.0, l["gearbox_hot"].Value)
	require.Equal(t, channel.None, l["tokens"].Quantity)
	require.True(t, math.IsNaN(l["pressure_high"].Value))
	require.NotContains(t, l, "fuel_every_front", "of the whole car")
	require.Equal(t, 3.0, l["fuel_every"].Value)
	require.False(t, l["fuel_every"].Assumed)
	require.True(t, l["slip_lock"].Assumed)
	require.InDelta(t, -0.2, l["slip_lock_rl"].Value, 1e-12)
	require.NotContains(t, l, "pressure_low_rear")
	require.InDelta(t, 24*psi, l["pressure_low_rr"].Value, 1e-9)
	require.True(t, l["pressure_low_rr"].Assumed)
	require.NotContains(t, l, "pressure_target_rear")
	require.InDelta(t, 180, l["pressure_target_front"].Value, 1e-9)
	require.Equal(t, 98.0, c.At("tyre_high", channel.RR))
	require.True(t, math.IsNaN(c.Whole("tyre_high")))
	require.True(t, math.IsNaN(c.At("nothing", channel.RR)))
}

func TestReserve(t *testing.T) {
	for text, want := range map[string][2]float64{
		"1 lap": {1, 0}, "2 l": {0, 2}, "[1.5 laps, 2 l]": {1.5, 2}, "1 gal_us": {0, 3.785411784},
	} {
		c := parse(t, "fuel: {reserve: "+text+"}")
		require.InDeltaSlice(t, want[:], []float64{c.ReserveLaps, c.ReserveVolume}, 1e-12, text)
	}
}

func TestDefaults(t *testing.T) {
	for _, k := range KnownLimits() {
		for _, text := range []string{k.gt, k.neutral} {
			if text != "" {
				_, err := channel.Parse(text, k.Quantity)
				require.NoError(t, err, k.Name)
			}
		}
	}
	c := Baseline()
	require.InDelta(t, 26*psi, c.HotPressure[0], 1e-9)
	require.InDelta(t, 27*psi, c.Whole("pressure_high"), 1e-9)
	require.Equal(t, 75.0, c.Whole("tyre_low"))
	require.Equal(t, 250.0, c.Whole("brake_cold"))
	require.True(t, math.IsNaN(c.Wheelbase))
	require.True(t, math.IsNaN(c.Tank))

	b := parse(t, "baseline: gt\nlimits: {tyre_low: 80 °C}")
	require.Equal(t, 80.0, b.Whole("tyre_low"))
	require.Equal(t, 100.0, b.Whole("tyre_high"))
	require.False(t, limits(b)["tyre_low"].Assumed)
	require.True(t, limits(b)["tyre_high"].Assumed)
}

func TestMistakes(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"empty", "", "my.yaml:1:1: the file is empty"},
		{"comment only", "# nothing\n", "my.yaml:1:1: the file is empty"},
		{"a list", "- a\n", "my.yaml:1:1: the car file is not a list of keys with values"},
		{"no YAML", "a: [1\nb: 2", "my.yaml:"},
		{"two documents", "name: a\n---\nname: b\n", "my.yaml:2:1: the file has a second document"},
		{"bare number", "wheelbase: 2.65", `my.yaml:1:12: wheelbase is "2.65": the unit is missing`},
		{"wrong quantity", "mass: 3 m", `my.yaml:1:7: mass is "3 m": m is a unit of length, and this is a mass`},
		{"out of range", "wheelbase: 2650 m", `my.yaml:1:12: wheelbase is "2650 m", which no car has`},
		{"unknown key", "wheelbsae: 2.65 m", `my.yaml:1:1: the car file has no "wheelbsae"` + "\n\thint: did you mean wheelbase?"},
		{"unknown key inside", "fuel:\n  tnak: 3 l", `my.yaml:2:3: fuel has no "tnak"` + "\n\thint: did you mean tank?"},
		{"nothing alike", "fuel: {colour: 3 l}", "its keys are density, tank, reserve, effect"},
		{"twice", "mass: 900 kg\nmass: 901 kg", `my.yaml:2:1: "mass" stands in line 1 already`},
		{"a limit nearly known", "limits: {tyre_hgih: 100 °C}", "did you mean tyre_high?"},
		{"a limit by suffix", "limits: {tyre_high_front: 100 °C}", "write tyre_high: {front: …}"},
		{"target as limit", "limits: {pressure_target: 26 psi}", "hot_pressure"},
		{"own limit without unit", "limits: {my_own: 3}", `my.yaml:1:18: limit my_own is "3": the unit is missing`},
		{"own limit that is a word", "limits: {my_own: three}", "no number with a known unit"},
		{"whole limit by axle", "limits: {fuel_every: {front: 3 laps}}", "fuel_every is a limit of the whole car"},
		{"wheel twice", "limits: {tyre_low: {front: 70 °C, fl: 71 °C}}", "tyre_low is given twice for fl"},
		{"unknown wheel", "limits: {tyre_low: {left: 70 °C}}", `tyre_low has no "left"`},
		{"window upside down", "limits: {tyre_low: 100 °C, tyre_high: 75 °C}", "my.yaml:1:39: tyre_low is 100 °C and tyre_high is 75 °C"},
		{"track width by wheel", "track_width: {fl: 1.6 m}", "belongs to an axle"},
		{"target below minimum", "tyres: {hot_pressure: 18 psi, cold_pressure_minimum: 19 psi}", "a tyre gains pressure"},
		{"reserve twice", "fuel: {reserve: [1 lap, 2 laps]}", "twice as laps"},
		{"reserve of another kind", "fuel: {reserve: 3 kg}", "neither laps nor a volume"},
		{"reserve as large as the tank", "fuel: {tank: 10 l, reserve: 10 l}", "as large as the tank"},
		{"unknown compound", "compounds: {sotf: {laps: 3 laps}}", "did you mean soft?"},
		{"surface upside down", "compounds: {soft: {surface: [30 °C, 10 °C]}}", "begins hotter"},
		{"half an effect", "fuel: {effect: {mass: 10 kg}}", "effect lacks"},
		{"other baseline", "baseline: rally", `baseline cannot be "rally"`},
		{"name is missing", "name:", "my.yaml:1:6: the name is empty"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c, err := Parse("my.yaml", []byte(tt.text))
			require.Nil(t, c)
			require.ErrorIs(t, err, document.ErrInvalid)
			require.ErrorContains(t, err, tt.want)
		})
	}
}

func TestAllMistakesAtOnceInOrder(t *testing.T) {
	_, err := Parse("my.yaml", []byte("mass: 3 m\nwheelbase: 2\nfuel: {tank: much}\nlimits: {tyre_low: 75}\nnmae: x\n"))
	joined, ok := err.(interface{ Unwrap() []error })
	require.True(t, ok)
	var lines []int
	for _, e := range joined.Unwrap() {
		one, ok := errors.AsType[*document.Error](e)
		require.True(t, ok)
		require.NotEmpty(t, one.Hint)
		lines = append(lines, one.Line)
	}
	require.Equal(t, []int{1, 2, 3, 4, 5}, lines)
}

func TestAnchorsAreFollowed(t *testing.T) {
	c := parse(t, "limits:\n  tyre_low: &low {front: 70 °C, rear: 75 °C}\n  my_low: *low\n")
	require.Equal(t, 75.0, c.At("my_low", channel.RL))
}

func FuzzParse(f *testing.F) {
	for _, file := range []string{"../../configs/cars/demo.yaml", "../../testdata/cars/racecar-oval.yaml"} {
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Add([]byte("a: &x [*x]"))
	f.Add([]byte("limits: &x {a: *x}"))
	f.Add([]byte("? {a: b}\n: c"))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Parse("f.yaml", data)
		if (c == nil) == (err == nil) {
			t.Fatalf("car %v with error %v", c, err)
		}
		if err == nil {
			c.Limits()
			return
		}
		lines := strings.Count(string(data), "\n") + strings.Count(string(data), "\r") + strings.Count(string(data), "\u0085") +
			strings.Count(string(data), "\u2028") + strings.Count(string(data), "\u2029") + 1
		joined, ok := err.(interface{ Unwrap() []error })
		if !ok {
			t.Fatalf("refused with %#v", err)
		}
		for _, e := range joined.Unwrap() {
			if one, ok := errors.AsType[*document.Error](e); !ok || one.Line > lines+1 {
				t.Fatalf("refused with %#v of %d lines", e, lines)
			}
		}
	})
}
