package feed

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/transport"
	"earshot/assistant/opendata"
)

const watchedFeed = `transport: {kind: file}
codec: json
channels:
  time: {path: t, unit: s}
  speed: {path: v, unit: m/s}
  position_x: {path: x, unit: m}
  position_y: {path: y, unit: m}
  engine_speed: {path: n, unit: rad/s}
  tyre_pressure_fl: {path: p, unit: kPa}
`

// A moment of a car that drives a sine of speed at 10 Hz; every test changes something.
type drivenCar struct {
	t, v, x, y, n, p float64
}

// health plays five minutes and gives "second part state" of every notice.
func healthOf(t *testing.T, file string, hz int, change func(i int, c *drivenCar) (copies int)) []string {
	t.Helper()
	f, set := parse(t, file)
	var text bytes.Buffer
	x := 0.0
	for i := range 300 * hz {
		at := float64(i) / float64(hz)
		v := 40 + 20*math.Sin(at/7)
		x += v / float64(hz)
		c := drivenCar{at, v, x, 2, 10 * v, 180}
		for range change(i, &c) {
			fmt.Fprintf(&text, `{"t":%.4f,"v":%.3f,"x":%.3f,"y":%.3f,"n":%.3f,"p":%.1f}`+"\n", c.t, c.v, c.x, c.y, c.n, c.p)
		}
	}
	s := streamOf(t, t.Context(), f, set, &script{pieces: [][]byte{text.Bytes()}})
	var told []string
	var at []float64
	for err := error(nil); err == nil; {
		err = s.Read(t.Context(), func(x channel.Sample) { at = append(at, x.At) })
	}
	for _, n := range s.Notices() {
		told = append(told, fmt.Sprintf("%.0f %s %s", at[n.After-1], n.Health.Part, n.Health.State))
		require.NotEmpty(t, n.Health.Text)
	}
	return told
}

// Each trouble is told once with its name when it begins and once when it is over; what only looks like one is not.
func TestTroubleIsToldOnceAndItsEnd(t *testing.T) {
	between := func(at, a, b float64) bool { return at >= a && at < b }
	for _, tt := range []struct {
		name   string
		change func(i int, c *drivenCar) int
		want   []string
	}{
		{"all is well", func(int, *drivenCar) int { return 1 }, nil},
		{"the clock steps back", func(i int, c *drivenCar) int {
			if c.t >= 100 {
				c.t -= 3
			}
			return 1
		}, []string{"100 feed clock degraded", "110 feed clock ok"}}, // on the clock of the samples, which waits for 3 s
		{"clock begins anew", func(i int, c *drivenCar) int {
			if c.t >= 100 {
				c.t -= 95
			}
			return 1
		}, []string{"100 feed clock degraded", "110 feed clock ok"}},
		{"clock jumps", func(i int, c *drivenCar) int {
			if c.t >= 100 {
				c.t += 3600
			}
			return 1
		}, []string{"105 feed clock degraded", "115 feed clock ok"}},
		{"neighbours out of order", func(i int, c *drivenCar) int {
			if i%10 == 3 {
				c.t -= 0.09
			}
			return 1
		}, nil},
		{"half the rate for a minute", func(i int, c *drivenCar) int {
			if between(c.t, 100, 160) && i%2 == 1 {
				return 0
			}
			return 1
		}, []string{"106 feed rate degraded", "166 feed rate ok"}},
		{"half the rate for four seconds", func(i int, c *drivenCar) int {
			if between(c.t, 100, 104) && i%2 == 1 {
				return 0
			}
			return 1
		}, nil},
		{"a third more", func(i int, c *drivenCar) int {
			if c.t > 100 && i%3 == 0 {
				return 2
			}
			return 1
		}, nil},
		{"silence is no other rate", func(i int, c *drivenCar) int {
			if between(c.t, 100, 104) {
				return 0
			}
			return 1
		}, nil},
		{"implausible again and again: the first time is told by who uses it", func(i int, c *drivenCar) int {
			if between(c.t, 100, 110) || between(c.t, 150, 160) {
				c.p = 9000
			}
			return 1
		}, []string{"120 channel tyre_pressure_fl ok", "150 channel tyre_pressure_fl degraded", "170 channel tyre_pressure_fl ok"}},
	} {
		require.Equal(t, tt.want, healthOf(t, watchedFeed, 10, tt.change), tt.name)
	}
	// A part that comes and goes is told five times and no more.
	require.Len(t, healthOf(t, watchedFeed, 10, func(i int, c *drivenCar) int {
		if i%400 < 50 {
			c.p = 9000
		}
		return 1
	}), 2*episodesTold-1, "the first is told by who uses the reading")
}

// The measured logs have nothing that would be told.
func TestMeasuredLogsAreHealthy(t *testing.T) {
	for feed, path := range map[string]string{"racecar-oval": "racecar-oval-25hz/LVMS_23_01_04_B.csv.gz", "road-loop": "road-loop/2014-03-26-000-Data.csv.gz"} {
		f, set := load(t, "../../testdata/feeds/"+feed+".yaml")
		s, err := Open(t.Context(), f, set, Options{Paths: map[string]string{"": opendata.Path(t, path)}})
		require.NoError(t, err)
		for err == nil {
			err = s.Read(t.Context(), func(channel.Sample) {})
			for _, n := range s.Notices() {
				t.Errorf("%s: %+v", feed, n)
			}
		}
		require.NoError(t, s.Close())
	}
}

// What a transport says of itself is told at once, and that it is well again with the first sample.
func TestTheTransportIsHeard(t *testing.T) {
	f, set := parse(t, watchedFeed)
	s := streamOf(t, t.Context(), f, set, &script{pieces: [][]byte{[]byte("{\"t\":1,\"v\":2}\n")}})
	s.told.add(0, transport.State{Text: "the device is gone; waiting for it"})
	require.Equal(t, "[{0 {feed lost the device is gone; waiting for it}}]", fmt.Sprint(s.Notices()))
	s.told.add(0, transport.State{Text: "still"})
	s.told.add(0, transport.State{Up: true, Text: "connected"})
	require.Empty(t, s.Notices())
	require.NoError(t, s.Read(t.Context(), func(channel.Sample) {}))
	require.Equal(t, "[{1 {feed ok it sends now}}]", fmt.Sprint(s.Notices()))
}

func TestJoinAndWatchDoNotAllocate(t *testing.T) {
	f, set := load(t, twoSources)
	s := streamOf(t, t.Context(), f, set, &script{}, &script{})
	defer s.Close()
	w, j := s.watch, s.join
	row, at := set.NewRow(), 0.0
	sources := []int{0, 1}
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		at += 0.01
		row[channel.Speed], row[channel.PositionX], row[channel.EngineSpeed] = 20+math.Sin(at), at, at
		j.yield(1, at, row)
		j.derive(at, row)
		w.sample(sources, channel.Sample{At: at, Row: row})
	}))
	require.Empty(t, w.take())
}

// The window follows a clock that drifts either way, and delays on the way do not move it.
func TestDriftIsFollowed(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, ppm := range []float64{-300, 0, 300} {
		var d drift
		for i := range 20 * 600 {
			at := float64(i) / 20
			own := at * (1 + ppm*1e-6)
			arrived := at + 0.004 + r.ExpFloat64()*0.02
			got := own + d.add(arrived, arrived-own)
			if i > 200 {
				// 300 ppm over the window of 30 s are 9 ms, and the least of so many delays is near 4 ms.
				require.InDelta(t, at+0.004, got, 0.009+0.003, "%v ppm at %v s", ppm, at)
			}
		}
	}
}
