package condition

import (
	"fmt"
	"math"
)

// zeroCelsius is 0 °C in K.
const zeroCelsius = 273.15

// Air is the state of the air around and in a tyre: Pressure absolute in kPa, Temperature in °C.
type Air struct {
	Pressure    float64
	Temperature float64
}

// GaugeAt carries the gauge pressure p (kPa) of a tyre from one state of the air to another: an ideal
// gas at constant volume, P2/P1 = T2/T1 with absolute pressures and temperatures (OpenStax, College Physics,
// The Ideal Gas Law). Temperature is that of the gas in the tyre. Air is taken as dry and the
// volume as constant; water in the filling makes the real rise larger.
func GaugeAt(p float64, from, to Air) float64 {
	return (p+from.Pressure)*(to.Temperature+zeroCelsius)/(from.Temperature+zeroCelsius) - to.Pressure
}

// A Build is what a run has shown of a tyre: gauge pressures in kPa, set cold and measured hot, and the
// air when it was set.
type Build struct {
	Cold float64
	Hot  float64
	Set  Air
}

// HotTemperature returns the temperature of the gas in the tyre when Hot was measured, in °C.
func (b Build) HotTemperature() float64 {
	return (b.Set.Temperature+zeroCelsius)*(b.Hot+b.Set.Pressure)/(b.Cold+b.Set.Pressure) - zeroCelsius
}

// A MinimumError says that the cold pressure wanted is below what the tyre's maker allows.
type MinimumError struct{ Wanted, Minimum float64 } // kPa gauge

func (e *MinimumError) Error() string {
	return fmt.Sprintf("the target needs %.1f kPa cold, and the tyre maker's minimum is %.1f kPa: set the minimum and lower the hot pressure by other means (less toe, camber or load, a wider rim), or accept a higher hot pressure", e.Wanted, e.Minimum)
}

// ColdPressure returns the gauge pressure in kPa to set now, in air as it is now, so that a tyre that behaves
// as in run comes to target hot, by
//
//	p = (target + p_atm) · (cold + p_atm)/(hot + p_atm) · T_now/T_then − p_atm
//
// where both atmospheres are those of their time. An unknown temperature of now is taken as that of the run,
// an unknown pressure likewise. Where p is below minimum (kPa; NaN where there is none) the minimum is
// returned with a *MinimumError. Input that no tyre can have is an error with NaN.
func ColdPressure(target float64, run Build, now Air, minimum float64) (float64, error) {
	if math.IsNaN(now.Pressure) {
		now.Pressure = run.Set.Pressure
	}
	scale := 1.0
	if !math.IsNaN(now.Temperature) {
		scale = (now.Temperature + zeroCelsius) / (run.Set.Temperature + zeroCelsius)
	}
	for _, x := range [...]struct {
		what  string
		value float64
		low   float64
	}{
		{"the hot target", target, 0}, {"the cold pressure of the run", run.Cold, 0}, {"the hot pressure of the run", run.Hot, 0},
		{"the air pressure of the run", run.Set.Pressure, 0}, {"the air pressure of now", now.Pressure, 0},
		{"the ratio of the absolute temperatures", scale, 0},
	} {
		if !(x.value > x.low) || math.IsInf(x.value, 0) {
			return nan, fmt.Errorf("cold pressure: %s is %g: it must be known and more than 0", x.what, x.value)
		}
	}
	p := (target+now.Pressure)*(run.Cold+run.Set.Pressure)/(run.Hot+run.Set.Pressure)*scale - now.Pressure
	if p < minimum {
		return minimum, &MinimumError{p, minimum}
	}
	return p, nil
}

// StandardPressure returns the air pressure in kPa at a height in metres above sea level, for where no sensor tells
// it (ICAO/US Standard Atmosphere 1976, troposphere).
func StandardPressure(height float64) float64 {
	return 101.325 * math.Pow(1-2.25577e-5*height, 5.25588)
}
