package condition

import (
	"compress/gzip"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/opendata"
)

// oval reads the open log of a race car on a banked oval (github.com/linklab-uva/deep-dynamics at 88c8565), 25 Hz, in the
// units of channels.
func oval(t *testing.T) []channel.Sample {
	t.Helper()
	f, err := os.Open(opendata.Path(t, "racecar-oval-25hz/LVMS_23_01_04_B.csv.gz"))
	require.NoError(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	lines, err := csv.NewReader(z).ReadAll()
	require.NoError(t, err)
	set := channel.NewSet()
	var samples []channel.Sample
	for _, line := range lines[1:] {
		x := make([]float64, len(line))
		for i, cell := range line {
			x[i], err = strconv.ParseFloat(cell, 64)
			require.NoError(t, err)
		}
		row := set.NewRow()
		row[channel.PositionX], row[channel.PositionY] = x[1], x[2]
		row[channel.Speed] = math.Hypot(x[3], x[4])
		row[channel.RoadWheelAngle], row[channel.YawRate] = x[6], x[7]
		row[channel.AccelerationLong] = x[8]
		for w := range 4 {
			row[channel.WheelSpeed+channel.ID(w)] = x[10+w] / 3.6
		}
		row[channel.Throttle], row[channel.BrakeLineFront] = x[15]/100, x[16]
		samples = append(samples, channel.Sample{At: x[0], Row: row})
	}
	return samples
}

func ovalCar(t *testing.T) *car.Car {
	data, err := os.ReadFile("../../testdata/cars/racecar-oval.yaml")
	require.NoError(t, err)
	data = append(data, "\nlimits: {balance_limit: 0.3 deg}\n"...) // far stricter than the one degree that ships
	c, err := car.Parse("racecar-oval.yaml", data)
	require.NoError(t, err)
	return c
}

// The steering of the log carries an offset of −0.2° (open-data/SOURCES.md) that is no understeer. The car is made to drive four
// corners a lap, one for each quarter of the compass, so that every part of the oval is in one.
func TestOvalHasNoUndersteer(t *testing.T) {
	k := New(ovalCar(t))
	begin := 0.0
	var passes, judged int
	var sum, most float64
	for _, s := range oval(t) {
		if begin == 0 {
			begin = s.At
		}
		x, y := s.Row[channel.PositionX], s.Row[channel.PositionY]
		corner := 1
		if y > x {
			corner = 2
		}
		if y < -x {
			corner = 5 - corner
		}
		s.Row[channel.CornerHere] = float64(corner)
		k.Step(s.At, s.Row)
		if k.corners.fresh {
			passes++
			require.Empty(t, k.corners.done.found.list(), "at %.1f s", k.corners.done.end-begin)
		}
		if b := s.Row[channel.Balance]; !math.IsNaN(b) {
			judged++
			sum += b
			most = math.Max(most, math.Abs(b))
		}
	}
	got := k.Steering()
	t.Logf("offset %.3f°, gradient %.4f °/(m/s²) = %.3f °/g from %.0f s; index mean %.3f°, most %.3f° of %d, %d passes",
		got.Offset/deg, got.Gradient/deg, got.Gradient/deg*g, got.Seconds, sum/float64(judged)/deg, most/deg, judged, passes)
	require.InDelta(t, -0.2, got.Offset/deg, 0.1)
	require.InDelta(t, 0, got.Gradient/deg*g, 1, "a race car is near neutral; the loads of this log, 2 m/s² in one hand, tell no more")
	require.GreaterOrEqual(t, passes, 8)
	require.Greater(t, judged, 8000)
	require.InDelta(t, 0, sum/float64(judged)/deg, 0.05, "an offset not taken out would show here")
	for corner := 1; corner <= 4; corner++ {
		require.Empty(t, k.Repeated(corner))
	}

	front, rear := k.RollingRadius()
	t.Logf("wheel speed to ground speed: front %.4f, rear %.4f", front, rear)
	require.InDelta(t, 1, front, 0.03)
	require.InDelta(t, 1, rear, 0.03)
}

// The offset matters: a car whose offset is forced to zero is found out on the same log.
func TestOvalOffsetWouldBeFound(t *testing.T) {
	k, blind := New(ovalCar(t)), New(ovalCar(t))
	var with, without mean
	for _, s := range oval(t) {
		k.Step(s.At, s.Row)
		b := s.Row[channel.Balance]
		blind.balance.offset, blind.balance.gradient, blind.balance.reach = 0, k.balance.gradient, k.balance.reach
		blind.balance.taught = 0
		blind.Step(s.At, s.Row)
		with.add(1, b)
		without.add(1, s.Row[channel.Balance])
	}
	require.InDelta(t, 0, with.value()/deg, 0.05)
	require.Greater(t, math.Abs(without.value()/deg), 0.1)
}
