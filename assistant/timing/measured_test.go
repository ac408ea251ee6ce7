package timing

import (
	"compress/gzip"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/opendata"
)

// table reads a zipped CSV file of the open data, cells trimmed.
func table(t *testing.T, name string) (rows [][]string, column func(string) int) {
	t.Helper()
	f, err := os.Open(opendata.Path(t, name))
	require.NoError(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	r := csv.NewReader(z)
	r.FieldsPerRecord = -1
	rows, err = r.ReadAll()
	require.NoError(t, err)
	for _, row := range rows {
		for i := range row {
			row[i] = strings.TrimSpace(strings.TrimPrefix(row[i], "\ufeff"))
		}
	}
	header := rows[0]
	return rows[1:], func(name string) int {
		i := slices.Index(header, name)
		require.NotEqual(t, -1, i, name)
		return i
	}
}

// seconds reads S or M:SS.mmm or H:MM:SS.mmm.
func seconds(t *testing.T, s string) float64 {
	t.Helper()
	sum := 0.0
	for part := range strings.SplitSeq(s, ":") {
		v, err := strconv.ParseFloat(part, 64)
		require.NoError(t, err)
		sum = 60*sum + v
	}
	return sum
}

// Every lap of the cars of a sports-car race, as a feed that counts laps and tells their times 0.3 s late. Data and
// truth: timing-gt-sprint of the open data (imsa_data, MIT by its data card): car 23 wins with 168 laps in 2:40:25.371,
// its best is 51.725 on lap 98; laps that end in the pit lane are marked B. The race's first lap begins on the grid, so
// it is lap 0 here and race lap n is lap n-1.
func TestRaceLapsOfOthers(t *testing.T) {
	rows, column := table(t, filepath.Join("timing-gt-sprint", "laps.csv.gz"))
	car, number, lapTime, elapsed, pit := column("NUMBER"), column("LAP_NUMBER"), column("LAP_TIME"), column("ELAPSED"),
		column("CROSSING_FINISH_LINE_IN_PIT")
	cars := map[string][][]string{}
	for _, r := range rows {
		cars[r[car]] = append(cars[r[car]], r)
	}
	require.Len(t, cars, 20)
	for name, laps := range cars {
		f := newFeed(t, Config{})
		f.give(0, channel.LapNumber, 0, channel.LastLapTime, 0.0, channel.Speed, 0, channel.InPitLane, 0)
		last, inPit, pitted, told := 0.0, 0, 0, 0.0
		best, bestLap := math.Inf(1), 0
		for i, r := range laps {
			n, err := strconv.Atoi(r[number])
			require.NoError(t, err)
			require.Equal(t, i+1, n)
			end, time := seconds(t, r[elapsed]), seconds(t, r[lapTime])
			base := func(at float64) {
				for ; at-told > 1.9; told += 1.8 { // a feed does not fall silent
					f.give(told+1.8, channel.Speed, 50)
				}
				told = at
				f.give(at, channel.LapNumber, i, channel.LastLapTime, last, channel.Speed, 50, channel.InPitLane, inPit)
			}
			base(end - time + 10)
			inPit = 0
			base(end - time + 20)
			if r[pit] == "B" {
				inPit = 1
				if i > 0 {
					pitted++
				}
			}
			base(end - 0.5)
			base(end - 0.01)
			f.give(end+0.01, channel.LapNumber, n, channel.LastLapTime, last, channel.Speed, 50, channel.InPitLane, inPit)
			last, told = time, end+0.31
			f.give(told, channel.LapNumber, n, channel.LastLapTime, last, channel.Speed, 50, channel.InPitLane, inPit)
			if i > 0 && time < best {
				best, bestLap = time, n
			}
		}
		done := f.of(LapDone)
		require.Len(t, done, len(laps)-1, name)
		in, sum := 0, 0.0
		for i, e := range done {
			require.Equal(t, seconds(t, laps[i+1][lapTime]), e.Lap.Time)
			require.InDelta(t, e.Lap.Time, e.Lap.Computed, 0.0021, "the counter steps in the middle of two samples; the data has "+
				"milliseconds")
			sum += e.Lap.Time
			if e.Lap.Class == In || e.Lap.Class == Out && laps[i+1][pit] == "B" {
				in++
			}
		}
		require.Equal(t, pitted, in, name)
		require.InDelta(t, best, f.get(channel.BestLap), 1e-9, name)
		if name == "23" {
			require.Len(t, done, 167)
			require.Equal(t, 98, bestLap)
			require.Equal(t, 51.725, f.get(channel.BestLap))
			require.InDelta(t, 2*3600+40*60+25.371, sum+seconds(t, laps[0][lapTime]), 1e-6)
		}
	}
}

// A road car drives one loop, with a leg driven both ways: wherever the line is put, there is at most one lap. Data:
// road-loop of the open data (balzer82/Kalman, CC BY-SA 2.0), position held at about 10 Hz among samples at 50 Hz.
func TestRoadLoopIsAtMostOneLap(t *testing.T) {
	rows, column := table(t, filepath.Join("road-loop", "2014-03-26-000-Data.csv.gz"))
	ms, lat, lon, speed := column("millis"), column("latitude"), column("longitude"), column("speed")
	const deg = math.Pi / 180
	var log [][4]float64
	for _, r := range rows {
		var v [4]float64
		for i, c := range []int{ms, lat, lon, speed} {
			var err error
			v[i], err = strconv.ParseFloat(r[c], 64)
			require.NoError(t, err)
		}
		log = append(log, [4]float64{v[0] / 1000, v[1] * deg, v[2] * deg, v[3] / 3.6})
	}
	laps, both := 0, 0
	for i := 500; i+200 < len(log); i += 800 {
		a, b := log[i], log[i+100]
		plane := course.NewPlane(course.Point{X: a[1], Y: a[2]})
		p := plane.Local(course.Point{X: b[1], Y: b[2]})
		l := math.Hypot(p.X, p.Y)
		if l < 10 {
			continue // it stood here
		}
		// 16 m across the way that the car took.
		const r = 6.378e6
		dy, dx := 8*p.X/l/r, -8*p.Y/l/r/math.Cos(a[1])
		gate := course.Gate{Geo: true, A: course.Point{X: a[1] + dy, Y: a[2] + dx}, B: course.Point{X: a[1] - dy, Y: a[2] - dx},
			Toward: course.Point{X: b[1], Y: b[2]}, Directed: true}
		f := newFeed(t, Config{Course: &course.File{Line: course.Line{Source: course.ByGate, Gate: gate}}})
		w, loc := gateWatch{gate: gate}, course.NewLocator(&course.File{Line: course.Line{Source: course.ByGate, Gate: gate}})
		var last course.Point
		seen := map[int]bool{}
		at := log[0][0]
		for n, s := range log {
			if s[0] <= at && n > 0 {
				continue // the log repeats a few stamps
			}
			at = s[0]
			f.give(at, channel.Latitude, s[1], channel.Longitude, s[2], channel.Speed, s[3])
			here, ok := loc.Find(f.hold.Row)
			if require.True(t, ok); n > 0 && w.ready(&loc) {
				dir, _ := w.pass(last, here, at-0.1, at)
				seen[dir] = true
			}
			last = here
		}
		done := len(f.of(LapDone))
		require.LessOrEqual(t, done, 1, "gate at %v", a)
		laps += done
		if seen[1] && seen[-1] {
			both++
		}
	}
	t.Logf("gates passed both ways: %d; gates with a lap: %d", both, laps)
	require.Positive(t, both, "the log holds a leg that is driven both ways")
}
