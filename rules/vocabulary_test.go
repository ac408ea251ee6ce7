package rules_test

import (
	"math"
	"slices"
	"testing"

	"earshot/assistant/channel"
	"earshot/rules"
)

// words is the vocabulary of the tests: the channels of the catalogue and the limits of an invented car.
type words struct {
	set    *channel.Set
	limits map[string]limit
	absent map[string]string // name → why it is not available
	extra  []string
}

type limit struct {
	q channel.Quantity
	x float64
}

func car() *words {
	return &words{set: channel.NewSet(), absent: map[string]string{}, limits: map[string]limit{
		"tyre_low": {channel.Temperature, 80}, "tyre_high": {channel.Temperature, 100}, "tyre_high_rear": {channel.Temperature, 105},
		"tyre_overheat": {channel.Temperature, 115}, "pressure_low": {channel.Pressure, 170}, "pressure_high": {channel.Pressure, 186},
		"tyre_spread_limit": {channel.TemperatureDifference, 8}, "tyre_edge_limit": {channel.TemperatureDifference, 20},
		"brake_spread_limit": {channel.TemperatureDifference, 60},
		"brake_cold":         {channel.Temperature, 250}, "brake_hot": {channel.Temperature, 700}, "oil_hot": {channel.Temperature, 130},
		"coolant_hot": {channel.Temperature, 105}, "fuel_every": {channel.Laps, 3}, "damage_limit": {channel.Ratio, 0.05},
		"brake_overheat": {channel.Temperature, 800}, "brake_fade_limit": {channel.Ratio, 0.05},
		"oil_pressure_low": {channel.Pressure, 200}, "unset": {channel.Pressure, math.NaN()},
	}}
}

func (w *words) Name(name string) (rules.Name, bool) {
	why, gone := w.absent[name]
	if l, ok := w.limits[name]; ok {
		return rules.Name{Index: -1, Quantity: string(l.q), Const: true, Value: l.x, Available: !gone, Why: why}, true
	}
	if i := slices.Index(w.extra, name); i >= 0 {
		return rules.Name{Index: w.set.Len() + i, Quantity: "number", Available: !gone, Why: why}, true
	}
	id, ok := w.set.Lookup(name)
	if !ok {
		return rules.Name{}, false
	}
	c := w.set.At(id)
	return rules.Name{Index: int(id), Quantity: string(c.Quantity), Labels: c.Labels, Available: !gone, Why: why,
		Momentary: id == channel.LapCompleted || id == channel.PersonalBest || id == channel.StintStarted ||
			id == channel.PersonalRecord || id == channel.SectorCompleted || id == channel.GapAheadDue || id == channel.GapBehindDue}, true
}

func (w *words) Names() []string {
	names := append(w.set.Names(), w.extra...)
	for n := range w.limits {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

func (w *words) Unit(spelling string) (rules.Unit, bool) {
	u, ok := channel.UnitNamed(spelling)
	return rules.Unit{Quantity: string(u.Quantity), Scale: u.Scale, Offset: u.Offset}, ok
}

func (w *words) UnitsOf(q string) []string { return channel.UnitsOf(channel.Quantity(q)) }

func (w *words) Display(q string) (string, int, bool) {
	switch channel.Quantity(q) {
	case channel.Pressure:
		return "psi", 1, true
	case channel.Temperature:
		return "°C", 0, true
	case channel.TemperatureDifference:
		return "K", 0, true
	case channel.Velocity:
		return "km/h", 0, true
	case channel.Volume:
		return "l", 0, true
	case channel.VolumePerLap:
		return "l/lap", 2, true
	case channel.Laps:
		return "laps", 1, true
	case channel.Time:
		return "s", 1, true
	case channel.Ratio:
		return "%", 0, true
	}
	return "", 0, false
}

func (w *words) Situations() []string {
	return []string{"pits", "out_lap", "in_lap", "formation", "full_course_caution"}
}

// row is an env in which only the named values are known.
func (w *words) row(t testing.TB, values map[string]float64) []float64 {
	t.Helper()
	env := make([]float64, w.set.Len()+len(w.extra))
	for i := range env {
		env[i] = math.NaN()
	}
	for name, x := range values {
		n, ok := w.Name(name)
		if !ok || n.Const {
			t.Fatalf("there is no channel %s", name)
		}
		env[n.Index] = x
	}
	return env
}
