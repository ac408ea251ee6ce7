package fuel

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
)

// toGo works out how many crossings of the line are to come, the lap in progress included.
//
// The feed's own count comes first: session_laps_left, else leader_laps_left. Both are the laps
// that the leader has still to complete, the one in progress included; a source that counts otherwise is put
// right by an offset in its feed file. A car a lap down may do fewer, which is not
// assumed. A clock is the other way: the flag falls at the first crossing after it has reached zero (FIA
// WEC sporting text: to the leader when he crosses the line). Where a session has both, the
// one that ends first counts.
func (f *Fuel) toGo(at float64, row channel.Row) {
	f.low, f.high, f.goal = nan, nan, nan
	left := row[channel.SessionTimeLeft]
	counted := row[channel.SessionLapsLeft]
	if math.IsNaN(counted) {
		counted = row[channel.LeaderLapsLeft]
	}
	if left > 0 || counted > 0 {
		f.after = 0
		f.over = f.over && row[channel.Flag] == finished // else another session has begun
	}
	if f.over {
		f.low, f.high, f.goal = 0, 0, 0
		return
	}
	if !math.IsNaN(counted) {
		f.low, f.high, f.goal = counted, counted, counted
	}
	if math.IsNaN(left) || math.IsNaN(f.line) {
		return // without a line nothing is crossed
	}
	since := 0.0
	if !math.IsNaN(f.line) {
		since = at - f.line
	}
	goal := f.crossings(left, since, f.paceS, row) + f.extra - f.after
	if math.IsNaN(goal) || goal >= counted {
		return
	}
	f.low, f.high, f.goal = goal, goal, goal
	f.behind = row[channel.RacePosition] > 1
	leaderUnseen := 0.0 // laps that the car may do besides, since the leader takes the flag first
	if f.behind && math.IsNaN(gapToLeader(row)) {
		leaderUnseen = math.Max(0, 1-f.after)
	}
	if left >= 0 {
		// The centre of n laps is known to σ/√n, and N laps to come stray by σ·√N of their own.
		many := math.Max(1, left/f.paceS)
		stray := confidence * math.Max(f.paceDev*math.Sqrt(1/many+1/float64(f.pace.n)), leastPace*f.paceS)
		f.low = min(goal, f.crossings(left, since, f.paceS+stray, row)+f.extra)
		f.high = max(goal, f.crossings(left, since, max(f.paceS-stray, f.paceS/2), row)+f.extra)
	}
	f.high += leaderUnseen
	if !math.IsNaN(counted) {
		f.high = min(f.high, counted)
	}
}

// crossings counts the crossings of the line until the flag. Where the leader is known to be the car ahead, the flag falls when he crosses
// the line after the clock has reached zero, and this car ends its race at the next crossing of its own. He is taken to drive
// at this car's pace.
func (f *Fuel) crossings(left, since, pace float64, row channel.Row) float64 {
	gap := gapToLeader(row)
	if math.IsNaN(gap) || !(pace > 0) || left < 0 {
		return crossings(left, since, pace)
	}
	leaderSince := math.Mod(since+gap, pace)
	leaderDone := crossings(left, leaderSince, pace)*pace - leaderSince // s from now
	return math.Max(1, math.Ceil((leaderDone+since)/pace-1e-9))
}

// gapToLeader is the gap to the leader in s, NaN where it is not known or the car leads itself.
func gapToLeader(row channel.Row) float64 {
	if row[channel.RacePosition] != 2 {
		return nan
	}
	return math.Abs(row[channel.GapAhead])
}

// crossings counts the crossings of the line until the first one after the clock has reached zero: left
// seconds are on the clock, since seconds have gone since the last crossing, a lap takes pace seconds. A
// crossing just when the clock reaches zero is not yet the last: of the two readings of a rule the one
// that needs more fuel. NaN where the pace is not known, unless the clock has run out: then it is this lap.
func crossings(left, since, pace float64) float64 {
	if left < 0 {
		return 1
	}
	if !(pace > 0) {
		return nan
	}
	first := max(pace-since, 0) // a slow lap that is overdue ends any moment
	if left < first {
		return 1
	}
	return math.Floor((left-first)/pace) + 2
}

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
	Laps   float64 // crossings of the line
	Volume float64 // L, reserve included
	Stops  float64 // least number of refuels; NaN where the tank is not known
}

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
	if len(wrong) > 0 {
		return Need{nan, nan, nan}, &PlanError{wrong}
	}
	n := Need{Laps: math.Ceil(p.Laps), Stops: nan}
	if p.Time > 0 {
		n.Laps = crossings(p.Time, 0, p.Pace)
	}
	n.Laps += p.ExtraLaps
	n.Volume = (n.Laps+p.ReserveLaps)*p.PerLap + p.ReserveVolume
	if p.Tank > 0 && !math.IsInf(p.Tank, 0) {
		n.Stops = math.Max(0, math.Ceil(n.Volume/p.Tank)-1)
	}
	return n, nil
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
