package timing

import (
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// Every lap of every car of a sports-car race, the first from the grid included, as a feed that counts laps and sectors
// and tells flag and pit lane. Data and truth: timing-gt-sprint of the open data (imsa_data, MIT by its data card):
// laps sum to ELAPSED; PIT_TIME marks the laps out of the pits, CROSSING_FINISH_LINE_IN_PIT those into them; FLAG_AT_FL
// is the flag at the end of the lap, so a lap was driven under full-course caution if it ended or began under one. That
// the latter were no flying laps shows in their times too: none is under 65 s, where flying laps take 52 to 56 s.
func TestRaceLapsAreClassedRight(t *testing.T) {
	rows, column := table(t, filepath.Join("timing-gt-sprint", "laps.csv.gz"))
	car, lapTime, elapsed, inLane := column("NUMBER"), column("LAP_TIME"), column("ELAPSED"), column("CROSSING_FINISH_LINE_IN_PIT")
	pitTime, flagAt := column("PIT_TIME"), column("FLAG_AT_FL")
	sectors := []int{column("S1"), column("S2"), column("S3")}
	flags := map[string]int{"GF": 1, "FCY": flagCaution, "FF": 7}
	cars := map[string][][]string{}
	for _, r := range rows {
		cars[r[car]] = append(cars[r[car]], r)
	}
	seen := map[Class]int{}
	total, split := 0, 0
	for name, laps := range cars {
		f := newFeed(t, Config{})
		const early = 0.01 // s before and after a moment that is known: the middle is the moment itself
		start, lane, sector, number, shown := 100.0, 0, 1, 0, 1
		last := 0.0
		give := func(at float64) {
			for ; at-last > 1.9; last += 1.8 { // a feed does not fall silent
				f.give(start+last+1.8, channel.Speed, 50)
			}
			last = at
			f.give(start+at, channel.LapNumber, number, channel.Speed, 50-35*lane, channel.InPitLane, lane, channel.Sector, sector,
				channel.Flag, shown)
		}
		give(-early)
		number = 1
		give(early)
		best, want := math.Inf(1), []Class{}
		before, flagBefore := 0.0, "GF"
		sum := 0.0
		for _, r := range laps {
			end, time := seconds(t, r[elapsed]), seconds(t, r[lapTime])
			sum += time
			require.InDelta(t, end, sum, 0.0011, "%s", name)
			if r[pitTime] != "" {
				give(before + 1)
				lane = 0
				give(before + 2)
			}
			now := before
			shown = flags[r[flagAt]]
			for i, s := range sectors[:2] {
				if r[s] == "" {
					break
				}
				now += seconds(t, r[s])
				give(now - early)
				sector = i + 2
				give(now + early)
			}
			if r[inLane] == "B" {
				lane = 1
			}
			give(end - early)
			number, sector = number+1, 1
			give(end + early)
			switch {
			case r[pitTime] != "":
				want = append(want, Out)
			case r[inLane] == "B":
				want = append(want, In)
			case r[flagAt] == "FCY" || flagBefore == "FCY":
				want = append(want, Caution)
				if r[flagAt] != "FCY" {
					require.Greater(t, time, 65.0)
				}
			case time > slowFactor*best:
				want = append(want, Slow)
			default:
				want = append(want, Flying)
				best = min(best, time)
			}
			before, flagBefore = end, r[flagAt]
		}
		give(last + 1)
		done := f.of(LapDone)
		require.Len(t, done, len(laps), name)
		all := 0.0
		for i, e := range done {
			require.Equal(t, want[i], e.Lap.Class, "car %s lap %d", name, i+1)
			require.InDelta(t, seconds(t, laps[i][lapTime]), e.Lap.Time, 0.0011, "the data has milliseconds")
			all += e.Lap.Time
			require.InDelta(t, seconds(t, laps[i][elapsed]), all, 1e-6, "laps sum to ELAPSED")
			seen[e.Lap.Class]++
			total++
			if r := laps[i]; r[sectors[1]] != "" {
				require.Len(t, e.Lap.Sectors, 3)
				for k, s := range sectors {
					require.InDelta(t, seconds(t, r[s]), e.Lap.Sectors[k], 0.0021, "car %s lap %d sector %d", name, i+1, k+1)
				}
				split++
			}
		}
		require.InDelta(t, best, f.get(channel.BestLap), 0.0011, name)
	}
	require.Equal(t, 3042, total)
	require.Equal(t, 3041, split, "one lap of the table lacks its sectors")
	t.Logf("classes: %v", seen)
	require.Equal(t, 309, seen[Caution], "274 under the flag at the line, 35 at the start")
}
