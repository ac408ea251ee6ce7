package fuel

import (
	"compress/gzip"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/opendata"
)

func TestMarginKeepsTheReserve(t *testing.T) {
	r := newRig(t, "fuel: {reserve: [1 lap, 2 l]}")
	r.row[channel.SessionLapsLeft] = 10
	for range 3 {
		r.lap(Flying, 90, 2.5)
	}
	left := 60 - 7.5
	require.InDelta(t, (left-2)/2.5-10-1, r.get(channel.FuelMargin), 0.02)
	require.Equal(t, 0.0, r.get(channel.FuelToAdd))
	require.Equal(t, 0.0, r.get(channel.FuelSave))
	before := r.get(channel.FuelMargin)
	for range 400 {
		r.at += 0.1
		r.tank -= 2.5 / 900
		r.set()
		r.f.Step(r.at, r.row)
		require.InDelta(t, before, r.get(channel.FuelMargin), 1e-9, "it does not drift within a lap")
	}
}

func TestFeedsCountComesFirst(t *testing.T) {
	r := newRig(t, "name: x")
	for range 3 {
		r.lap(Flying, 100, 2.5)
	}
	require.True(t, math.IsNaN(r.get(channel.LapsToGo)))
	r.row[channel.LeaderLapsLeft] = 9
	r.lap(Flying, 100, 2.5)
	require.Equal(t, 9.0, r.get(channel.LapsToGo))
	r.row[channel.SessionLapsLeft] = 8
	r.lap(Flying, 100, 2.5)
	require.Equal(t, 8.0, r.get(channel.LapsToGo))
	r.row[channel.SessionTimeLeft] = 5000
	r.lap(Flying, 100, 2.5)
	require.Equal(t, 8.0, r.get(channel.LapsToGo), "the laps end first")
	r.row[channel.SessionTimeLeft] = 250
	r.lap(Flying, 100, 2.5)
	require.Equal(t, 2.0, r.get(channel.LapsToGo), "the clock ends first: 150 s are left")
}

func TestTheEndOfATimedRace(t *testing.T) {
	r := newRig(t, "name: x")
	r.f.Extra(1)
	r.row[channel.SessionTimeLeft] = 550
	var got []float64
	for range 8 {
		r.lap(Flying, 100, 2.5)
		got = append(got, r.get(channel.LapsToGo))
	}
	// The clock runs out in the sixth lap; the seventh is the extra one.
	require.Equal(t, []float64{6, 5, 4, 3, 2, 1, 0, 0}, got)
	r.row[channel.SessionTimeLeft] = 1050
	r.lap(Flying, 100, 2.5)
	require.Equal(t, 11.0, r.get(channel.LapsToGo), "another session")

	r = newRig(t, "name: x")
	r.row[channel.SessionLapsLeft], r.row[channel.Flag] = 3, finished
	r.lap(Flying, 100, 2.5)
	require.Equal(t, 0.0, r.get(channel.LapsToGo), "the chequered flag outranks the count")
}

func TestDoubtGrowsWithSpread(t *testing.T) {
	doubt := func(burn ...float64) float64 {
		r := newRig(t, "name: x")
		r.row[channel.SessionLapsLeft] = 10
		for _, b := range burn {
			r.lap(Flying, 90, b)
		}
		return r.get(channel.FuelDoubt)
	}
	calm, wild := doubt(2.5, 2.51, 2.49, 2.5, 2.52), doubt(2.5, 2.7, 2.3, 2.5, 2.8)
	require.Less(t, calm, 0.3)
	require.Greater(t, wild, 1.0)
}

// The margin of simulated races whose laps stray as the laps before did lies within the doubt in at least nine of ten.
func TestDoubtCoversWhatHappens(t *testing.T) {
	random := uint64(1)
	normal := func() float64 { // sum of twelve evenly distributed numbers
		s := -6.0
		for range 12 {
			random = random*6364136223846793005 + 1442695040888963407
			s += float64(random>>11) / (1 << 53)
		}
		return s
	}
	covered, races := 0, 300
	for range races {
		r := newRig(t, "name: x")
		r.hz, r.tank = 0.5, 100
		r.row[channel.SessionLapsLeft] = 12
		for range 10 {
			r.lap(Flying, 90, 2.5+0.1*normal())
		}
		left, per := r.get(channel.FuelLeft), r.get(channel.FuelPerLap)
		for range 12 {
			left -= 2.5 + 0.1*normal()
		}
		if math.Abs(left/per-r.get(channel.FuelMargin)) <= r.get(channel.FuelDoubt) {
			covered++
		}
	}
	require.Greater(t, covered, races*9/10)
	require.Less(t, covered, races, "a doubt that covers everything says nothing")
}

// A sports-car race over 2 h 40 (github.com/tobi/imsa_data at 9081b0a): car 23 wins with 168 laps at 2:40:25.371. From its own lap times alone
// the laps to go, told at the line, have to add up to 168 through the whole last green stretch.
func TestLapsToGoOfARealRace(t *testing.T) {
	file, err := os.Open(opendata.Path(t, "timing-gt-sprint/laps.csv.gz"))
	require.NoError(t, err)
	defer file.Close()
	z, err := gzip.NewReader(file)
	require.NoError(t, err)
	lines, err := csv.NewReader(z).ReadAll()
	require.NoError(t, err)
	f := New(newCar(t, "name: x"))
	row := channel.NewSet().NewRow()
	elapsed, lap := 0.0, 0
	var inside, exact, told int
	for _, line := range lines[1:] {
		if line[0] != "23" {
			continue
		}
		minutes, seconds, ok := strings.Cut(line[2], ":")
		if !ok {
			minutes, seconds = "0", line[2]
		}
		m, err := strconv.ParseFloat(minutes, 64)
		require.NoError(t, err)
		s, err := strconv.ParseFloat(seconds, 64)
		require.NoError(t, err)
		time := 60*m + s
		elapsed += time
		lap++
		row[channel.SessionTimeLeft] = 9600 - elapsed
		class := Flying
		switch {
		case line[4] == "B":
			class = In
		case line[18] != "":
			class = Out
		}
		row[channel.Flag] = 1
		if line[20] == "FCY" {
			row[channel.Flag] = caution
		}
		f.Step(elapsed, row)
		f.LapDone(class, time, row)
		if left := 9600 - elapsed; left < 2400 && left > 0 {
			low, high := f.ToGo()
			told++
			if float64(168-lap) >= low && float64(168-lap) <= high {
				inside++
			}
			if float64(168-lap) == row[channel.LapsToGo] {
				exact++
			}
		}
	}
	require.Equal(t, 168, lap)
	require.InDelta(t, 2*3600+40*60+25.371, elapsed, 0.01)
	require.Equal(t, 0.0, row[channel.LapsToGo])
	t.Logf("of %d laps: %d exact, %d inside both ends", told, exact, inside)
	require.Greater(t, told, 40)
	require.GreaterOrEqual(t, float64(inside), 0.9*float64(told))
	require.GreaterOrEqual(t, float64(exact), 0.8*float64(told))
}
