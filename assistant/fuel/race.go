package fuel

import (
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
