package fuel

import (
	"fmt"
	"math"
)

const mostLaps = 10000 // of a race

// A Plan is a distance to be fuelled for before it is driven. Unknown numbers are NaN, or 0 for those that may be left out.
type Plan struct {
	Laps          float64 // laps to drive; 0 for a race by time
	Time          float64 // s on the clock at the start; 0 for a race by laps
	Pace          float64 // s a lap, for a race by time
	ExtraLaps     float64 // that the rules add after the clock, or a formation lap
	PerLap        float64 // L
	ReserveLaps   float64 // laps to be left over
	ReserveVolume float64 // L to be left over
	Tank          float64 // L that the tank takes; 0 or NaN where not known
}

// A Need is what a Plan takes.
type Need struct {
	Laps   float64  // crossings of the line
	Volume float64  // L, reserve included
	Stops  float64  // least number of refuels; NaN where the tank is not known
	Box    []Window // of each stop
}

// A Window is at the end of which laps a stop may come, counted from the first lap driven: earlier, a full tank does not reach the
// next stop or the flag with the reserve; later, the tank before is empty.
type Window struct{ Earliest, Latest float64 }

// Load works out the fuel for a plan. Every mistake in the plan is told in the error.
func Load(p Plan) (Need, error) {
	var wrong []string
	bad := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	finite := func(what string, x float64) bool {
		if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
			bad("%s is %g: give a number that is not negative", what, x)
			return false
		}
		return true
	}
	finite("the number of laps", p.Laps)
	finite("the time", p.Time)
	finite("the number of extra laps", p.ExtraLaps)
	finite("the reserve in laps", p.ReserveLaps)
	finite("the reserve in litres", p.ReserveVolume)
	if !(p.PerLap > 0) || math.IsInf(p.PerLap, 0) {
		bad("the burn per lap is %g L: drive a few flying laps or give a number above 0", p.PerLap)
	}
	switch {
	case p.Laps > 0 && p.Time > 0:
		bad("both laps and a time are given: give the one that ends the race")
	case p.Laps == 0 && p.Time == 0:
		bad("neither laps nor a time is given: give one")
	case p.Time > 0 && !(p.Pace > 0 && !math.IsInf(p.Pace, 0)):
		bad("the lap time is %g s: a race by time needs one above 0", p.Pace)
	}
	if reserve := p.ReserveLaps*p.PerLap + p.ReserveVolume; p.Tank > 0 && p.Tank < p.PerLap+reserve {
		bad("the tank of %.4g L does not hold one lap and the reserve, %.4g L", p.Tank, p.PerLap+reserve)
	}
	if len(wrong) > 0 {
		return Need{Laps: nan, Volume: nan, Stops: nan}, &PlanError{wrong}
	}
	n := Need{Laps: math.Ceil(p.Laps), Stops: nan}
	if p.Time > 0 {
		n.Laps = crossings(p.Time, 0, p.Pace)
	}
	n.Laps += p.ExtraLaps
	if n.Laps > mostLaps {
		return Need{Laps: nan, Volume: nan, Stops: nan}, &PlanError{[]string{fmt.Sprintf("%.0f laps are no race: check the laps, the time and the lap time", n.Laps)}}
	}
	n.Volume = (n.Laps+p.ReserveLaps)*p.PerLap + p.ReserveVolume
	if p.Tank > 0 && !math.IsInf(p.Tank, 0) {
		n.Box = windows(n, p)
		n.Stops = float64(len(n.Box))
	}
	return n, nil
}

// windows are those of the least number of stops. A stop comes at the end of a lap and fills the tank.
func windows(n Need, p Plan) []Window {
	const hair = 1e-9 // laps, of rounding
	full := math.Floor(p.Tank/p.PerLap + hair)
	last := math.Floor((p.Tank-(n.Volume-n.Laps*p.PerLap))/p.PerLap + hair) // laps of the last tank, which keeps the reserve
	stops := int(math.Max(0, math.Ceil((n.Laps-last)/full)))
	box := make([]Window, stops)
	for i := range box {
		done, left := float64(i+1), float64(stops-i)
		box[i] = Window{math.Max(done, n.Laps-(left-1)*full-last), math.Min(n.Laps-left, done*full)}
	}
	return box
}

// A PlanError lists every mistake in a Plan.
type PlanError struct{ Mistakes []string }

func (e *PlanError) Error() string {
	text := "fuel load"
	for i, m := range e.Mistakes {
		sep := "; "
		if i == 0 {
			sep = ": "
		}
		text += sep + m
	}
	return text
}
