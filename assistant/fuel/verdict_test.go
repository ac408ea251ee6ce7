package fuel

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// Four laps flat out, then saving: a mean of both is true of neither.
func TestStylesHaveAccountsApart(t *testing.T) {
	r := newRig(t, "name: x")
	r.row[channel.SessionLapsLeft] = 20
	for range 4 {
		r.lap(Flying, 90, 1.95)
	}
	require.InDelta(t, 1.95, r.get(channel.FuelPerLapFull), 0.01)
	r.lap(Flying, 91, 1.77)
	require.InDelta(t, 1.95, r.get(channel.FuelPerLap), 0.01, "one lap is no style")
	r.lap(Flying, 91, 1.76)
	require.InDelta(t, 1.765, r.get(channel.FuelPerLap), 0.01)
	require.InDelta(t, 1.95, r.get(channel.FuelPerLapFull), 0.01)
	require.Greater(t, r.get(channel.FuelMargin), r.get(channel.FuelMarginFull)+1)
	for range 2 {
		r.lap(Flying, 90, 1.95)
	}
	require.InDelta(t, 1.95, r.get(channel.FuelPerLap), 0.01, "flat out again")
}

func TestThreeEqualLapsAreNoCertainty(t *testing.T) {
	r := newRig(t, "name: x")
	r.row[channel.SessionLapsLeft] = 20
	for range 4 { // the first did not begin at the line
		r.lap(Flying, 90, 2.5)
	}
	require.InDelta(t, 0, r.get(channel.FuelSpread), 0.005)
	require.Greater(t, r.get(channel.FuelDoubt), 0.2)
}

// In the last laps half a lap of reserve is more than saving can bring. The tank reaches the flag all the same, so nobody has to stop.
func TestReserveAloneNeedsNoStop(t *testing.T) {
	r := newRig(t, "fuel: {tank: 100 l, reserve: 0.5 lap}")
	r.tank = 8.05 * 2.5
	for i := range 4 {
		r.row[channel.SessionLapsLeft] = float64(8 - i - 1)
		r.lap(Flying, 90, 2.5)
	}
	require.InDelta(t, -0.45, r.get(channel.FuelMargin), 0.02)
	aimed := 0
	for range 3 {
		require.Equal(t, float64(short), r.get(channel.FuelState))
		if !math.IsNaN(r.get(channel.FuelTarget)) {
			aimed++
		}
		r.row[channel.SessionLapsLeft]--
		r.lap(Flying, 90, 2.5)
	}
	require.Equal(t, 0, aimed, "half a lap in four is more than saving brings")
}

// The verdict for a race by laps, over what is aboard.
func TestVerdict(t *testing.T) {
	for _, tt := range []struct {
		name string
		over float64 // laps aboard beyond what is to go after four laps
		want int
	}{
		{"plenty", 2, good}, {"just enough", 0.1, marginal}, {"just short", -0.1, marginal},
		{"a lap short", -1, short}, {"beyond saving", -4, stop},
	} {
		r := newRig(t, "fuel: {tank: 100 l}")
		r.tank = (24 + tt.over) * 2.5
		for i := range 4 {
			r.row[channel.SessionLapsLeft] = float64(24 - i - 1)
			r.lap(Flying, 90, 2.5)
		}
		require.Equal(t, float64(tt.want), r.get(channel.FuelState), tt.name)
		require.Equal(t, tt.want != short, math.IsNaN(r.get(channel.FuelTarget)), tt.name)
		if tt.want == stop {
			require.Equal(t, 0.0, r.get(channel.StopWindow), "a full tank reaches the flag from here")
			require.InDelta(t, 20+tt.over-2, r.get(channel.FuelBoxLaps), 1)
		}
	}
}

// A driver who is a lap short saves, meets the target, and slackens: he hears of each, and the verdict does not flap.
func TestSavingIsFollowed(t *testing.T) {
	r := newRig(t, "name: x")
	togo := 24.0
	r.tank = 23 * 2.5
	lap := func(litres float64) {
		togo--
		r.row[channel.SessionLapsLeft] = togo
		r.lap(Flying, 90, litres)
	}
	for range 4 {
		lap(2.5)
	}
	require.Equal(t, float64(short), r.get(channel.FuelState))
	require.InDelta(t, 2.375, r.get(channel.FuelTarget), 0.01, "19 laps of fuel for 20 laps")
	lap(2.37)
	lap(2.37)
	require.Equal(t, 0.0, r.get(channel.FuelSaving))
	require.False(t, math.IsNaN(r.get(channel.FuelTarget)), "at full pace it does not reach: the target holds")
	lap(2.47)
	lap(2.47)
	require.Equal(t, 1.0, r.get(channel.FuelSaving))
	require.InDelta(t, 0.1, r.get(channel.FuelOverTarget), 0.02)
}

// In the last lap with enough aboard there is nothing to box for, however little it is.
func TestNoBoxWhereTheTankReaches(t *testing.T) {
	r := newRig(t, "fuel: {reserve: 1 lap}")
	r.tank = 5.3 * 2.5
	for i := range 4 {
		r.row[channel.SessionLapsLeft] = float64(4 - i)
		r.lap(Flying, 90, 2.5)
	}
	require.Equal(t, 1.0, r.get(channel.LapsToGo))
	require.True(t, math.IsNaN(r.get(channel.FuelBoxLaps)))
	r.row[channel.SessionLapsLeft] = math.NaN()
	r.lap(Flying, 90, 2.5)
	require.Equal(t, 0.0, r.get(channel.FuelBoxLaps), "with no end in sight it is the last lap")
}

// The flag falls when the leader crosses the line after the clock has run out: the second car may have one lap more to
// do than by the clock alone, and where the leader is not known it is told that it may.
func TestTheLeaderTakesTheFlag(t *testing.T) {
	tests := []struct {
		position, gap      float64
		low, togo, highest float64
	}{
		{1, math.NaN(), 6, 6, 6}, // own crossing at 580 s, the clock at 550 s, laps of 100 s
		{2, 20, 6, 6, 6},         // the leader crosses at 560, this car at 580 behind him
		{2, 60, 7, 7, 7},         // the leader crosses at 520 and 620, this car at 580 and 680
		{5, 3, 6, 6, 7},          // the leader is not known
		{math.NaN(), 3, 6, 6, 6}, // nobody is known to lead
	}
	for _, tt := range tests {
		r := newRig(t, "name: x")
		r.row[channel.RacePosition], r.row[channel.GapAhead] = tt.position, tt.gap
		r.row[channel.SessionTimeLeft] = 850
		for range 3 {
			r.lap(Flying, 100, 2.5)
		}
		for range 200 { // 20 s into the lap: 530 s left, crossing in 80 s
			r.at += 0.1
			r.row[channel.SessionTimeLeft] -= 0.1
			r.f.Step(r.at, r.row)
		}
		low, high := r.f.ToGo()
		require.Equal(t, []float64{tt.low, tt.togo, tt.highest}, []float64{low, r.get(channel.LapsToGo), high}, "position %g", tt.position)
	}
}
