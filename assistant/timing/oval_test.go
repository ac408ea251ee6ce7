package timing

import (
	"compress/gzip"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/opendata"
)

// TestOvalLog drives a measured log of a race car through timing and course. Data and truth: racecar-oval-25hz of the
// open data (deep-dynamics, GPL-3.0), whose description gives two full laps of 133.634 s and 137.420 s, 2442.9 m and
// 2443.3 m, and a stop on the course inside the lap that follows.
func TestOvalLog(t *testing.T) {
	file, err := os.ReadFile(filepath.Join("..", "..", "testdata", "courses", "racecar-oval.yaml"))
	require.NoError(t, err)
	oval, err := course.ParseFile("racecar-oval.yaml", file)
	require.NoError(t, err)

	log, err := os.Open(opendata.Path(t, filepath.Join("racecar-oval-25hz", "LVMS_23_01_04_B.csv.gz")))
	require.NoError(t, err)
	defer log.Close()
	unzipped, err := gzip.NewReader(log)
	require.NoError(t, err)
	rows, err := csv.NewReader(unzipped).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 16000)

	f := newFeed(t, Config{Course: oval})
	learner, passes := course.NewLearner(oval), course.NewPasses()
	var seen []course.Pass
	t0 := math.NaN()
	var last float64
	stopped := 0.0
	for _, r := range rows[1:] {
		v := make([]float64, len(r))
		for i, s := range r {
			v[i], err = strconv.ParseFloat(s, 64)
			require.NoError(t, err)
		}
		if math.IsNaN(t0) {
			t0 = v[0]
		}
		at := v[0] - t0
		f.give(at, channel.PositionX, v[1], channel.PositionY, v[2], channel.Speed, math.Hypot(v[3], v[4]), channel.YawRate, v[7],
			channel.AccelerationLong, v[8], channel.Throttle, v[15]/100)
		if at > 430 && at < 560 && f.get(channel.Speed) < 0.5 {
			stopped += at - last
		}
		last = at
		if m := learner.Step(at, f.hold.Row); m != nil {
			f.timing.UseMap(m)
			passes.UseMap(m)
		}
		seen = passes.Step(at, f.hold.Row, seen)
	}
	require.Greater(t, stopped, 60.0, "the log holds the stop")

	laps := f.of(LapDone)
	require.Len(t, laps, 2)
	for i, want := range []struct{ end, time, length float64 }{{271.49, 133.634, 2442.9}, {408.92, 137.420, 2443.3}} {
		require.InDelta(t, want.end, laps[i].At, 0.02)
		require.InDelta(t, want.time, laps[i].Lap.Time, 0.02)
		require.InDelta(t, want.length, laps[i].Lap.Length, 0.003*want.length)
		require.True(t, laps[i].Lap.Valid, laps[i].Lap.Void.Code)
		require.Equal(t, Flying, laps[i].Lap.Class)
		t.Logf("lap %d: %.3f s, %.1f m", i+1, laps[i].Lap.Time, laps[i].Lap.Length)
	}
	require.InDelta(t, 137.86, laps[0].Lap.Begun, 0.02)
	require.Len(t, f.of(LapBegun), 3)
	require.Len(t, f.of(StintStart), 1)
	require.Empty(t, f.of(StintEnd), "the stop on the course ends no stint")

	m := learner.Map()
	require.NotNil(t, m)
	require.InDelta(t, 2443, m.Length, 0.003*2443)
	require.InDelta(t, 2*math.Pi, m.Turning, 0.01, "once around, anticlockwise")
	for _, c := range m.Corners {
		t.Logf("corner %d %v: %.0f %.0f %.0f m, radius %.0f m, %.0f°", c.Number, c.Hand, c.Entry, c.Apex, c.Exit, c.Radius,
			c.Angle*180/math.Pi)
		require.Equal(t, course.Left, c.Hand)
	}
	require.Len(t, m.Corners, 4)
	for _, p := range seen {
		t.Logf("lap %d corner %d: %.1f s, %.1f %.1f %.1f m/s", p.Lap, p.Corner.Number, float64(p.Corner.Time), float64(p.Corner.EntrySpeed),
			float64(p.Corner.MinSpeed), float64(p.Corner.ExitSpeed))
	}
	require.GreaterOrEqual(t, len(seen), 4)
	require.LessOrEqual(t, len(seen), 9)
}
