package assembly

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/condition"
	"earshot/assistant/debrief"
	"earshot/assistant/journal"
	"earshot/assistant/session/model"
	"earshot/assistant/statistics"
)

// Consumption is burn and lap time by the flying laps of a session; NaN where they do not show it.
type Consumption struct {
	Session string
	PerLap  float64 // L, centre of the flying laps; where the driver saved in some, that at full pace
	Spread  float64 // L, scaled median absolute deviation
	Laps    int     // that tell the burn
	Pace    float64 // s, centre of the valid flying laps
}

// Consumption reads burn and pace from a session's journal, and its car.
func (r Request) Consumption(ref string) (Consumption, *car.Car, error) {
	found, events, err := r.Events(ref)
	if err != nil {
		return Consumption{}, nil, err
	}
	m := model.Of(events)
	var used, times []float64
	for i := range m.Laps {
		l := &m.Laps[i]
		if l.Flying() && !l.FuelUsed.IsZero() {
			used = append(used, float64(l.FuelUsed))
		}
		if l.Counts() && !l.Time.IsZero() {
			times = append(times, float64(l.Time))
		}
	}
	perLap := statistics.HodgesLehmann(used)
	if n := len(m.Fuel); n > 0 && float64(m.Fuel[n-1].PerLapFull) > perLap {
		perLap = float64(m.Fuel[n-1].PerLapFull)
	}
	return Consumption{
		Session: m.ID, PerLap: perLap, Spread: statistics.Normal * statistics.Deviation(used), Laps: len(used),
		Pace: statistics.HodgesLehmann(times),
	}, found.Car, nil
}

// A PressureTask asks for cold pressures. Pressures are kPa gauge by wheel, NaN where not known; temperatures °C.
type PressureTask struct {
	Cold, Hot [4]float64    // of a stint that began cold
	Gas       float64       // instead of them, the temperature of the gas in the hot tyres
	Then      condition.Air // when Cold was set
	Now       condition.Air // when the tyres are to be set; unknown: as then
	Target    [4]float64
	Minimum   [4]float64 // the tyre maker's
}

// A ColdPressure is the answer for one wheel, kPa gauge.
type ColdPressure struct {
	Wheel        string      `json:"wheel"`
	Cold         journal.Num `json:"cold,omitzero"`
	Hot          journal.Num `json:"hot,omitzero"`
	Target       journal.Num `json:"target,omitzero"`
	Wanted       journal.Num `json:"wanted,omitzero"` // cold pressure that gives the target
	Minimum      journal.Num `json:"minimum,omitzero"`
	Set          journal.Num `json:"set,omitzero"` // Wanted, or the minimum where that is higher
	BelowMinimum bool        `json:"below_minimum,omitempty"`
	HotAtMinimum journal.Num `json:"hot_at_minimum,omitzero"` // what the minimum comes to
}

// Work returns the cold pressure of every wheel that has a target and enough to work from. The error joins all
// mistakes.
func (t PressureTask) Work() ([]ColdPressure, error) {
	var list []ColdPressure
	var wrong []error
	for w := range 4 {
		run := condition.Build{Cold: t.Cold[w], Hot: t.Hot[w], Set: t.Then}
		if !math.IsNaN(t.Gas) { // a stint that would have come to that temperature
			run.Cold = t.Target[w]
			run.Hot = condition.GaugeAt(run.Cold, t.Then, condition.Air{Pressure: t.Then.Pressure, Temperature: t.Gas})
		}
		if math.IsNaN(t.Target[w]) || math.IsNaN(run.Cold) || math.IsNaN(run.Hot) {
			continue
		}
		a := ColdPressure{
			Wheel: channel.Wheel(w).Suffix(), Cold: journal.Num(t.Cold[w]), Hot: journal.Num(t.Hot[w]),
			Target:  journal.Num(t.Target[w]),
			Minimum: journal.Num(t.Minimum[w]), HotAtMinimum: journal.Unknown,
		}
		set, err := condition.ColdPressure(t.Target[w], run, t.Now, t.Minimum[w])
		a.Wanted, a.Set = journal.Num(set), journal.Num(set)
		if low, ok := errors.AsType[*condition.MinimumError](err); ok {
			a.Wanted, a.BelowMinimum = journal.Num(low.Wanted), true
			ratio := (t.Target[w] + t.Now.Pressure) / (low.Wanted + t.Now.Pressure)
			a.HotAtMinimum = journal.Num((set+t.Now.Pressure)*ratio - t.Now.Pressure)
		} else if err != nil {
			wrong = append(wrong, fmt.Errorf("%s: %w", a.Wheel, err))
		}
		list = append(list, a)
	}
	if len(list) == 0 && len(wrong) == 0 {
		return nil, badCall("there is no wheel with a target and something to work from: give --target, and --cold " +
			"with --hot, or --gas, or --session")
	}
	return list, errors.Join(wrong...)
}

// MeasuredPressures reads cold and hot pressures, air, target and minimum from a session: from the latest stint that
// began cold and has hot pressures, or from the stint with the number that is not 0. k nil: the session's own car is
// used. It also returns the number of the stint and its hot laps.
func (r Request) MeasuredPressures(ref string, number int, k *car.Car) (t PressureTask, stint int, hot []int,
	err error) {
	found, events, err := r.Events(ref)
	if err != nil {
		return t, 0, nil, err
	}
	if k == nil {
		k = found.Car
	}
	if k == nil {
		if k, err = r.ReadCar(); err != nil {
			return t, 0, nil, err
		}
	}
	report := r.Debrief(events, k)
	var why []error
	for _, p := range slices.Backward(report.Pressures) {
		if number != 0 && p.Stint != number {
			continue
		}
		i := slices.IndexFunc(report.Stints, func(s debrief.Stint) bool { return s.Number == p.Stint })
		if warm := report.Stints[i].WhyNotCold(); warm != "" {
			why = append(why, fmt.Errorf("stint %d: %s", p.Stint, warm))
			continue
		}
		if len(p.HotLaps) == 0 {
			why = append(why, fmt.Errorf("stint %d: no flying lap of it has pressures", p.Stint))
			continue
		}
		t = PressureTask{Gas: math.NaN(), Then: condition.Air{Pressure: float64(p.AirPressure),
			Temperature: float64(p.AirTemperature)}}
		if p.AirAssumed {
			t.Then.Pressure = math.NaN()
		}
		for w, x := range p.Wheels {
			t.Cold[w], t.Hot[w], t.Target[w], t.Minimum[w] = float64(x.Cold), float64(x.Hot), float64(x.Target),
				float64(x.Minimum)
		}
		return t, p.Stint, p.HotLaps, nil
	}
	if number != 0 && why == nil {
		why = append(why, fmt.Errorf("there is no stint %d with pressures", number))
	}
	return t, 0, nil, fmt.Errorf("%s: no stint tells cold and hot pressures: %w", found.Journal,
		errors.Join(append(why, errors.New("start the program before the car leaves the box on cold tyres, and "+
			"drive a few flying laps"))...))
}
