package main

import (
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
	"earshot/assistant/channel"
	"earshot/assistant/condition"
)

// An airFlags is the state of the air at one time, as flags.
type airFlags struct{ temperature, pressure, altitude *quantity }

func addAirFlags(c *cobra.Command, prefix, when string) airFlags {
	return airFlags{
		quantityFlag(c, prefix+"air", channel.Temperature, "air temperature "+when),
		quantityFlag(c, prefix+"ambient", channel.Pressure, "air pressure "+when+", absolute"),
		quantityFlag(c, prefix+"altitude", channel.Length,
			"or the height above the sea "+when+", for the air pressure of the standard atmosphere"),
	}
}

// over replaces in a what the flags give.
func (f airFlags) over(a *condition.Air) error {
	if h := f.altitude.x; h < -1000 || h > 11000 {
		return fmt.Errorf("%s is no height of a course: the standard atmosphere is known up to 11000 m",
			f.altitude.text)
	}
	if f.temperature.text != "" {
		a.Temperature = f.temperature.x
	}
	if f.altitude.text != "" {
		a.Pressure = condition.StandardPressure(f.altitude.x)
	}
	if f.pressure.text != "" {
		a.Pressure = f.pressure.x
	}
	return nil
}

func newPressures() *cobra.Command {
	var ref string
	var stint int
	var asJSON bool
	c := &cobra.Command{
		Use:   "pressures",
		Short: "work out the cold tyre pressures for a hot target",
		Long: `Pressures works out what to set cold, so that the tyres come to the hot target. It uses a stint that
began on cold tyres, or the temperature of the gas in the hot tyre. Pressures are gauge pressures. The air may have
changed since. Target and minimum come from the car file where you do not give them. It never suggests less than the
minimum. A pressure is for all wheels, or by wheel, axle or side: "19.5 psi", "front=19.5 psi,rear=19 psi".

` + cautions,
		Example: `  earshot pressures --cold "1.35 bar" --hot "1.86 bar" --target "1.75 bar" --air "18 °C"
  earshot pressures --session last --now-air "31 °C"
  earshot pressures --gas "85 °C" --target "1.8 bar" --air "20 °C" --altitude "980 m"`,
	}
	cold := wheelsFlag(c, "cold", "what the gauge showed cold (default: of the session)")
	hot := wheelsFlag(c, "hot", "what it showed hot (default: of the session)")
	target := wheelsFlag(c, "target", "what it is to show hot (default: of the car file)")
	minimum := wheelsFlag(c, "minimum", "the tyre maker's least cold pressure (default: of the car file)")
	gas := quantityFlag(c, "gas", channel.Temperature,
		"in place of cold and hot: temperature of the gas in the hot tyre")
	then := addAirFlags(c, "", "when the tyres were set")
	now := addAirFlags(c, "now-", "when they are to be set")
	f := c.Flags()
	f.StringVar(&ref, "session", "", `session with a stint that began cold: an id, "last", a folder or a journal`)
	f.IntVar(&stint, "stint", 0, "number of its stint (default: the latest that began cold)")
	f.String("car", "", "car file for target and minimum (default: that of the session)")
	f.BoolVar(&asJSON, "json", false, "for programs")
	addSessionsFlag(c, "folder of the sessions")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, _ []string) error {
		if ref != "" && (cold.given() || hot.given() || gas.text != "") {
			return usage(c, "--session tells cold and hot: leave out --cold, --hot and --gas")
		}
		k, err := r.ReadCar()
		if err != nil {
			return err
		}
		task := assembly.PressureTask{Cold: cold.by, Hot: hot.by, Target: k.HotPressure, Minimum: k.ColdMinimum}
		task.Then = condition.Air{Pressure: math.NaN(), Temperature: math.NaN()}
		if ref != "" {
			if !f.Changed("car") {
				k = nil
			}
			number, laps := 0, []int(nil)
			if task, number, laps, err = r.MeasuredPressures(ref, stint, k); err != nil {
				return err
			}
			r.Tell(fmt.Sprintf("stint %d, hot: mean of laps %v", number, laps))
		}
		task.Gas = gas.x
		if err := then.over(&task.Then); err != nil {
			return usage(c, "--altitude: %w", err)
		}
		if math.IsNaN(task.Then.Pressure) {
			task.Then.Pressure = condition.StandardPressure(0)
			r.Tell("no air pressure is known: that at sea level is taken")
		}
		if gas.text != "" && math.IsNaN(task.Then.Temperature) {
			return usage(c, "--gas needs --air, the temperature of the tyres when they are set")
		}
		task.Now = task.Then
		if err := now.over(&task.Now); err != nil {
			return usage(c, "--now-altitude: %w", err)
		}
		if math.IsNaN(task.Then.Temperature) && now.temperature.text != "" {
			return usage(c, "--now-air needs --air, the air temperature when the tyres were set")
		}
		target.over(&task.Target)
		minimum.over(&task.Minimum)
		answers, err := task.Work()
		if err != nil {
			return err
		}
		for _, a := range answers {
			if a.Hot <= a.Cold {
				r.Tell(a.Wheel + ": no higher hot than cold: check the sensor, or whether the tyre warmed at all")
			}
		}
		if asJSON {
			return writeJSON(c.OutOrStdout(), answers)
		}
		unit, _ := channel.UnitNamed(r.Units["pressure"])
		for _, q := range []*wheelsQuantity{target, cold} {
			if q.given() {
				unit = q.unit
				break
			}
		}
		printPressures(c.OutOrStdout(), task, answers, unit)
		return nil
	})
	return c
}

// printPressures shows the working of each wheel, then what to set.
func printPressures(w io.Writer, t assembly.PressureTask, answers []assembly.ColdPressure, u channel.Unit) {
	fine := map[string]int{"bar": 3, "psi": 2, "atm": 3, "MPa": 4}[u.Spelling]
	n := func(x float64) string { return fmt.Sprintf("%.*f", fine, u.Out(x)) }
	kelvin := func(now, then float64) string { return fmt.Sprintf(" × %.2f K/%.2f K", now+273.15, then+273.15) }
	byGas, otherAir := !math.IsNaN(t.Gas), t.Now.Temperature != t.Then.Temperature && !math.IsNaN(t.Now.Temperature)
	formula := "(target + ambient) × (cold + ambient)/(hot + ambient)"
	switch {
	case byGas:
		formula = "(target + ambient) × air/gas"
	case otherAir:
		formula += " × air now/air then"
	}
	then, now := n(t.Then.Pressure), n(t.Now.Pressure)
	var working, setting [][]string
	noMinimum := false
	for _, a := range answers {
		line := fmt.Sprintf("(%s + %s)", n(float64(a.Target)), now)
		if byGas {
			line += kelvin(t.Now.Temperature, t.Gas)
		} else {
			line += fmt.Sprintf(" × (%s + %s)/(%s + %s)", n(float64(a.Cold)), then, n(float64(a.Hot)), then)
			if otherAir {
				line += kelvin(t.Now.Temperature, t.Then.Temperature)
			}
		}
		working = byWheel(working, a.Wheel, fmt.Sprintf("%s − %s = %s %s", line, now, n(float64(a.Wanted)), u.Spelling))
		set := fmt.Sprintf("set %s %s", n(float64(a.Set)), u.Spelling)
		if a.BelowMinimum {
			set += fmt.Sprintf(", the maker's minimum, for the target would need less; it comes to %s hot: bring "+
				"that down by less toe, camber or load, or accept it", n(float64(a.HotAtMinimum)))
		}
		setting = byWheel(setting, a.Wheel, set)
		noMinimum = noMinimum || a.Minimum.IsZero()
	}
	fmt.Fprintln(w, formula+" − ambient")
	table(w, append(working, setting...))
	if noMinimum {
		fmt.Fprintln(w, "No minimum is known: look up the tyre maker's before you set these.")
	}
	fmt.Fprintln(w, "Set tyres that have the temperature of the air. Makers' limits and licensed technicians "+
		"outrank these figures.")
}

// byWheel adds a line for a wheel. Wheels with the same text share one.
func byWheel(rows [][]string, wheel, text string) [][]string {
	if last := len(rows) - 1; last >= 0 && rows[last][1] == text {
		rows[last][0] += " " + wheel
		return rows
	}
	return append(rows, []string{wheel, text})
}
