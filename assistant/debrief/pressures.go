package debrief

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"earshot/assistant/channel"
	"earshot/assistant/condition"
	"earshot/assistant/journal"
	"earshot/assistant/statistics"
)

const (
	hotLaps     = 3       // the last flying laps of a stint whose means count as hot
	standardAir = 101.325 // kPa, ISO 2533 at sea level, where the feed has no air pressure
	warmStart   = 10.0    // K above the air from which a tyre was not cold; common practice, no source
	telling     = 0.35    // kPa (0.05 psi), the smallest difference worth a word
)

// pressure works out the cold pressures for the hot target from a stint. It is not ok where the stint
// knows neither cold nor hot pressures.
func (b *builder) pressure(index int, s Stint) (Pressure, bool) {
	p := Pressure{Stint: s.Number, AirPressure: s.AirPressure, AirTemperature: s.AirTemperature}
	var hot [4][]float64
	flying := 0
	for i := len(b.laps) - 1; i >= 0 && flying < hotLaps; i-- {
		l := b.laps[i]
		if l.InStint != index || !l.Flying() || l.TyrePressure.IsZero() {
			continue
		}
		flying++
		p.HotLaps = append([]int{l.Number}, p.HotLaps...)
		for w := range 4 {
			hot[w] = append(hot[w], float64(l.TyrePressure[w]))
		}
	}
	if s.ColdPressure.IsZero() && flying == 0 {
		return p, false
	}
	if p.AirPressure.IsZero() {
		p.AirPressure, p.AirAssumed = standardAir, true
		p.Notes = append(p.Notes, fmt.Sprintf("The feed gives no air pressure: %s, sea level, is assumed. At altitude the "+
			"figures differ a little.", quantity(b.ctx.Pressure, standardAir)))
	}
	for w := range 4 {
		p.Wheels[w] = b.wheelPressure(s, w, mean(hot[w]), &p)
	}
	p.Notes = append(p.Notes, b.pressureNotes(s, p, flying)...)
	return p, true
}

func (b *builder) wheelPressure(s Stint, w int, hot float64, p *Pressure) WheelPressure {
	u := journal.Unknown
	x := WheelPressure{
		Cold: s.ColdPressure[w], Hot: Num(hot), Target: Num(b.ctx.HotTarget[w]), Minimum: Num(b.ctx.ColdMinimum[w]),
		Wanted: u, Set: u,
	}
	if x.Cold.IsZero() || x.Hot.IsZero() || x.Target.IsZero() {
		return x
	}
	air := condition.Air{Pressure: float64(p.AirPressure), Temperature: float64(s.AirTemperature)}
	set, err := condition.ColdPressure(float64(x.Target), condition.Build{Cold: float64(x.Cold), Hot: hot, Set: air},
		condition.Air{Pressure: math.NaN(), Temperature: math.NaN()}, float64(x.Minimum))
	var low *condition.MinimumError
	switch {
	case errors.As(err, &low):
		x.Wanted, x.Set, x.BelowMinimum = Num(low.Wanted), Num(low.Minimum), true
	case err != nil:
		p.Notes = append(p.Notes, fmt.Sprintf("%s: %v.", wheelNames[w], err))
	default:
		x.Wanted, x.Set = Num(set), Num(set)
	}
	return x
}

// WhyNotCold says why the pressures before the stint are none of cold tyres, or nothing. Where the temperatures are not
// known, only the tyres of the first stint are taken as cold.
func (s *Stint) WhyNotCold() string {
	if s.ColdPressure.IsZero() {
		return "the pressures before rolling are not in the journal"
	}
	known := false
	for w := range 4 {
		warmer := s.ColdTemperature[w] - s.AirTemperature
		if warmer > warmStart {
			return fmt.Sprintf("the %s tyre was %.0f K warmer than the air when it began", wheelNames[w], warmer)
		}
		known = known || !warmer.IsZero()
	}
	if !known && s.Number > 1 {
		return "whether the tyres were cold when it began is not known"
	}
	return ""
}

func (b *builder) pressureNotes(s Stint, p Pressure, flying int) []string {
	unit := b.ctx.Pressure
	var notes []string
	say := func(format string, args ...any) { notes = append(notes, fmt.Sprintf(format, args...)) }
	switch {
	case flying == 0:
		say("No flying lap of this stint has pressures: there is no hot pressure to work from.")
	case flying < hotLaps:
		say("Only %s: the tyres may not have been through their warm-up.",
			plural(flying, "flying lap has pressures", "flying laps have pressures"))
	}
	switch {
	case s.ColdPressure.IsZero():
		say("The pressures before rolling are not in the journal, so no cold pressure can be worked out. Start the " +
			"program before the car leaves the box.")
	case !s.AirTemperature.IsZero():
		for w := range 4 {
			if s.ColdTemperature[w]-s.AirTemperature > warmStart {
				say("The %s tyre was not cold when the stint began (%s, air %s): the figures hold for tyres set at that "+
					"temperature.",
					wheelNames[w], quantity(b.ctx.Temperature, s.ColdTemperature[w]), quantity(b.ctx.Temperature, s.AirTemperature))
				break
			}
		}
	}
	known, noMinimum := false, false
	for w, x := range p.Wheels {
		known = known || !x.Set.IsZero()
		noMinimum = noMinimum || !x.Set.IsZero() && x.Minimum.IsZero()
		if x.BelowMinimum {
			say("The target for the %s tyre would need %s cold, and the maker's minimum is %s: set the minimum, and bring "+
				"the hot pressure down by other means or accept it.",
				wheelNames[w], quantity(unit, x.Wanted), quantity(unit, x.Minimum))
		}
		if !x.Hot.IsZero() && !x.Cold.IsZero() && x.Hot <= x.Cold {
			say("The %s tyre was no higher hot than cold: check the sensor, or whether it warmed at all.", wheelNames[w])
		}
	}
	if math.IsNaN(b.ctx.HotTarget[0]) && math.IsNaN(b.ctx.HotTarget[1]) && math.IsNaN(b.ctx.HotTarget[2]) &&
		math.IsNaN(b.ctx.HotTarget[3]) {
		say("There is no hot target in the car file, so there is nothing to aim at.")
	}
	if noMinimum {
		say("The car file has no minimum cold pressure: look up the tyre maker's before you set these.")
	}
	for _, axle := range [2]struct {
		name        string
		left, right channel.Wheel
	}{{"Front", channel.FL, channel.FR}, {"Rear", channel.RL, channel.RR}} {
		if line := axleNote(unit, axle.name, p.Wheels[axle.left], p.Wheels[axle.right]); line != "" {
			notes = append(notes, line)
		}
	}
	if known {
		say("Worked out for the same air as in this stint. Set them when the tyres have the temperature of the air.")
	}
	return notes
}

// axleNote says how left and right differ and from what the difference comes.
func axleNote(unit channel.Unit, axle string, left, right WheelPressure) string {
	difference := float64(right.Set - left.Set)
	switch {
	case math.IsNaN(difference):
		return ""
	case math.Abs(difference) < telling:
		return fmt.Sprintf("%s: left and right alike.", axle)
	}
	side, rise := "right", right.Hot-right.Cold
	other := left.Hot - left.Cold
	if difference > 0 {
		side, rise, other = "left", other, rise
	}
	return fmt.Sprintf("%s: the %s one %s lower. It gained %s, the other %s.", axle, side,
		quantity(unit, Num(math.Abs(difference))),
		quantity(unit, rise), quantity(unit, other))
}

// mean is over the known numbers, NaN for none.
func mean(x []float64) float64 {
	return stat.Mean(statistics.Known(x), nil)
}
