package course_test

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
	"earshot/assistant/demo"
)

// A reading is what the three ways to find a course need of a sample.
type reading struct{ at, x, y, v, yaw float64 }

// On the ellipsoid at 36° north a radian of latitude and of longitude are so many metres (WGS 84: a = 6378137 m, e² =
// 0.00669438).
var (
	northing = 6378137 * (1 - 0.00669438) / math.Pow(1-0.00669438*math.Pow(math.Sin(36*math.Pi/180), 2), 1.5)
	easting  = 6378137 * math.Cos(36*math.Pi/180) / math.Sqrt(1-0.00669438*math.Pow(math.Sin(36*math.Pi/180), 2))
)

// threeWays learns the laps from x and y, from latitude and longitude, and from speed, yaw rate and a lap number that
// steps with the sample behind the line.
func threeWays(all []reading, gate course.Gate) (flat, geo, reckoned *car) {
	toGeo := func(p course.Point) course.Point {
		return course.Point{X: 36*math.Pi/180 + p.Y/northing, Y: -2 + p.X/easting}
	}
	world := gate
	world.A, world.B, world.Toward, world.Geo = toGeo(gate.A), toGeo(gate.B), toGeo(gate.Toward), true
	flat = newCar(&course.File{Line: course.Line{Source: course.ByGate, Gate: gate}})
	geo = newCar(&course.File{Line: course.Line{Source: course.ByGate, Gate: world}})
	reckoned = newCar(nil)
	for _, r := range all {
		for _, c := range []*car{flat, geo, reckoned} {
			c.row[channel.Speed], c.row[channel.YawRate] = r.v, r.yaw
		}
		flat.row[channel.PositionX], flat.row[channel.PositionY] = r.x, r.y
		p := toGeo(course.Point{X: r.x, Y: r.y})
		geo.row[channel.Latitude], geo.row[channel.Longitude] = p.X, p.Y
		flat.step(r.at - flat.at)
		geo.step(r.at - geo.at)
		reckoned.row[channel.LapNumber] = max(flat.row[channel.Lap], 0)
		reckoned.step(r.at - reckoned.at)
	}
	return flat, geo, reckoned
}

const long = 120.0 // m

// agree holds the bounds within which the ways agree; part is of the length, away in metres between the apexes of
// corners of less than 120 m (that of a longer one lies in the same corner), early in seconds a lap.
func agree(t *testing.T, a, b *car, part, away, early float64) {
	t.Helper()
	m, n := a.learner.Map(), b.learner.Map()
	require.NotNil(t, m)
	require.NotNil(t, n)
	length := n.Length/m.Length - 1
	require.InDelta(t, 0, length, part)
	require.InDelta(t, m.Turning, n.Turning, 0.02)
	require.Len(t, n.Corners, len(m.Corners))
	most := 0.0
	for i, c := range m.Corners {
		require.Equal(t, c.Hand, n.Corners[i].Hand)
		place := n.Corners[i].Apex * m.Length / n.Length
		require.LessOrEqual(t, m.Wrap(place-c.Entry+10), m.Wrap(c.Exit-c.Entry)+20, "the apex lies in the corner")
		if m.Wrap(c.Exit-c.Entry) < long { // in a longer one several places are almost as tight
			most = max(most, math.Abs(math.Remainder(place-c.Apex, m.Length)))
		}
	}
	require.NotEmpty(t, a.laps)
	require.Len(t, b.laps, len(a.laps))
	worst := 0.0
	for i := range a.laps {
		worst = max(worst, math.Abs(a.laps[i].Time-b.laps[i].Time))
	}
	t.Logf("%d corners; length %+.3f %%, apexes %.1f m, laps %.4f s", len(n.Corners), 100*length, most, worst)
	require.Less(t, most, away)
	require.Less(t, worst, early)
}

// A measured log (racecar-oval-25hz of the open data: deep-dynamics, GPL-3.0), found in three ways.
func TestThreeWaysOnTheOval(t *testing.T) {
	_, root := readTracks(t)
	log, err := os.Open(filepath.Join(root, "..", "racecar-oval-25hz", "LVMS_23_01_04_B.csv.gz"))
	require.NoError(t, err)
	defer log.Close()
	unzipped, err := gzip.NewReader(log)
	require.NoError(t, err)
	rows, err := csv.NewReader(unzipped).ReadAll()
	require.NoError(t, err)
	var all []reading
	for _, r := range rows[1:] {
		v := make([]float64, 8)
		for i := range v {
			v[i], err = strconv.ParseFloat(r[i], 64)
			require.NoError(t, err)
		}
		all = append(all, reading{v[0], v[1], v[2], math.Hypot(v[3], v[4]), v[7]})
	}
	begin := all[0].at
	for i := range all {
		all[i].at -= begin
	}
	gate := course.Gate{A: course.Point{X: 365, Y: 14.7}, B: course.Point{X: 384.4, Y: 2.2}, Toward: course.Point{X: 380, Y: 17},
		Directed: true}
	flat, geo, reckoned := threeWays(all, gate)
	require.Greater(t, flat.laps[0].Time, 130.0)
	agree(t, flat, geo, 1e-5, 0.5, 1e-4)
	agree(t, flat, reckoned, 0.01, 10, 0.08)
}

// Drives of the demonstration, found in three ways, on every course that it has.
func TestThreeWaysOnDemoDrives(t *testing.T) {
	for _, name := range demo.Courses() {
		sim, err := demo.New(set, demo.Options{Course: name, Laps: 2, Rate: 20, Seed: 3})
		require.NoError(t, err)
		c := sim.Truth().Course
		var all []reading
		for {
			s, ok := sim.Next()
			if !ok {
				break
			}
			all = append(all, reading{s.At, s.Row[channel.PositionX], s.Row[channel.PositionY], s.Row[channel.Speed],
				s.Row[channel.YawRate]})
		}
		x, y := c.Position(0)
		sin, cos := math.Sincos(c.Heading(0))
		gate := course.Gate{A: course.Point{X: x - 12*sin, Y: y + 12*cos}, B: course.Point{X: x + 12*sin, Y: y - 12*cos},
			Toward: course.Point{X: x + cos, Y: y + sin}, Directed: true}
		flat, geo, reckoned := threeWays(all, gate)
		t.Log(name, len(c.Corners), c.Length)
		agree(t, flat, geo, 1e-5, 0.5, 1e-4)
		agree(t, flat, reckoned, 0.001, 25, 0.1)
	}
}
