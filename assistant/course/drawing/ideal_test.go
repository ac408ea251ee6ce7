package drawing

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/opendata"
)

// centreLine reads a surveyed line of the open data, or skips.
func centreLine(t testing.TB, name string) (x, y []float64) {
	t.Helper()
	f, err := os.Open(opendata.Path(t, "tracks/"+name+".csv"))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, r := range rows[1:] {
		a, err := strconv.ParseFloat(r[0], 64)
		require.NoError(t, err)
		b, err := strconv.ParseFloat(r[1], 64)
		require.NoError(t, err)
		x, y = append(x, a), append(y, b)
	}
	return x, y
}

// ideal drives a car that brakes and turns at 1.4 g and has 70 m/s at most twice around a closed line, and returns what
// was learned.
func ideal(t testing.TB, name string, x, y []float64, geo bool) *course.Map {
	t.Helper()
	n := len(x)
	d := make([]float64, n+1)
	for i := range n {
		j := (i + 1) % n
		d[i+1] = d[i] + math.Hypot(x[j]-x[i], y[j]-y[i])
	}
	length := d[n]
	k, v := make([]float64, n), make([]float64, n)
	for i := range n {
		a, c := (i+n-1)%n, (i+1)%n
		k[i] = course.Menger(course.Point{X: x[a], Y: y[a]}, course.Point{X: x[i], Y: y[i]}, course.Point{X: x[c], Y: y[c]})
		v[i] = min(70, math.Sqrt(14/math.Max(math.Abs(k[i]), 1e-4)))
	}
	for range 2 {
		for i := 2*n - 1; i >= 0; i-- {
			a, b := i%n, (i+1)%n
			v[a] = min(v[a], math.Sqrt(v[b]*v[b]+2*14*(d[a+1]-d[a])))
		}
		for i := range 2 * n {
			a, b := i%n, (i+1)%n
			v[b] = min(v[b], math.Sqrt(v[a]*v[a]+2*6*(d[a+1]-d[a])))
		}
	}
	row := channel.NewSet().NewRow()
	l := course.NewLearner(&course.File{Name: name})
	origin := course.NewPlane(course.Point{X: 0.8, Y: 0.2})
	var m *course.Map
	at := 0.0
	for lap := 1; lap <= 3; lap++ {
		for i := range n {
			j := (i + 1) % n
			row[channel.Lap], row[channel.CoursePlace], row[channel.Speed] = float64(lap), d[i], v[i]
			row[channel.YawRate] = k[i] * v[i]
			row[channel.Brake] = 0
			if v[j] < v[i]-0.3 {
				row[channel.Brake] = 0.8
			}
			if geo {
				east := origin.Local(course.Point{X: 0.8, Y: 0.2 + 1e-6}).X / 1e-6
				north := origin.Local(course.Point{X: 0.8 + 1e-6, Y: 0.2}).Y / 1e-6
				row[channel.Latitude], row[channel.Longitude] = 0.8+y[i]/north, 0.2+x[i]/east
			} else {
				row[channel.PositionX], row[channel.PositionY] = x[i], y[i]
			}
			if fresh := l.Step(at, row); fresh != nil {
				m = fresh
			}
			at += (d[i+1] - d[i]) / v[i]
		}
	}
	require.NotNil(t, m, "%s (%.0f m) was not learned", name, length)
	return m
}
