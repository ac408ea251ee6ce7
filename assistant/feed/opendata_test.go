package feed

import (
	"bufio"
	"bytes"
	"compress/gzip"
	stdcsv "encoding/csv"
	stdjson "encoding/json"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/packet"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/feed/transport"
	"earshot/assistant/opendata"
)

// play reads a whole source through its transport and keeps every sample.
func play(t testing.TB, f *feedfile.File, set *channel.Set) ([]channel.Sample, Stats) {
	t.Helper()
	src, err := transport.Open(t.Context(), f.Transport)
	require.NoError(t, err)
	defer src.Close()
	d := decoderOf(t, f, set)
	var list []channel.Sample
	emit := func(s channel.Sample) {
		list = append(list, channel.Sample{At: s.At, Row: append(channel.Row(nil), s.Row...)})
	}
	for {
		p, arrived, err := src.Next(t.Context())
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		d.Decode(p, arrived, emit)
	}
	d.End(emit)
	consistent(t, d.Stats(), len(list))
	return list, d.Stats()
}

func gunzip(t testing.TB, path string) []byte {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	b, err := io.ReadAll(z)
	require.NoError(t, err)
	return b
}

// A measured log (racecar-oval-25hz: github.com/linklab-uva/deep-dynamics at 88c8565, GPL-3.0): every row comes out, each value is the
// one that encoding/csv and strconv read, and the signs are those of ISO 8855 by the car's own motion.
func TestMeasuredLogOfARaceCar(t *testing.T) {
	path := opendata.Path(t, "racecar-oval-25hz/LVMS_23_01_04_B.csv.gz")
	f, set := load(t, "../../testdata/feeds/racecar-oval.yaml")
	f.Transport.Path = path
	got, stats := play(t, f, set)
	require.Len(t, got, 16791)
	require.Zero(t, stats.Bad+stats.BadReadings+stats.Implausible+stats.ClockBack+stats.ClockJumps)
	require.EqualValues(t, 1, stats.Ignored, "the header")
	require.Empty(t, stats.Missing)

	own := func(name string) channel.ID {
		id, ok := set.Lookup(name)
		require.True(t, ok)
		return id
	}
	vx, vy, cmd := own("velocity_forward"), own("velocity_left"), own("brake_pressure_command")
	// The first and the last row as published.
	require.Zero(t, got[0].At)
	first, last := got[0].Row, got[16790].Row
	require.Equal(t, []float64{-82.32597083, 234.23123954, 0.00023739, 3.12610473, 0.00063362, 0.00018118, 1378.94995117},
		[]float64{first[channel.PositionX], first[channel.PositionY], first[vx], first[channel.Heading], first[channel.RoadWheelAngle], first[channel.YawRate], first[cmd]})
	require.InDelta(t, 1672875787.01135993-1672875115.41200042, got[16790].At, 1e-6)
	require.Equal(t, []float64{-139.77754507, 286.99052842, -2.62462324, -0.00000925, 1200.00073242},
		[]float64{last[channel.PositionX], last[channel.PositionY], last[channel.Heading], last[channel.AccelerationLong], last[cmd]})

	r := stdcsv.NewReader(bytes.NewReader(gunzip(t, path)))
	_, err := r.Read()
	require.NoError(t, err)
	columns := []channel.ID{-1, channel.PositionX, channel.PositionY, vx, vy, channel.Heading, channel.RoadWheelAngle, channel.YawRate, channel.AccelerationLong, -1,
		channel.WheelSpeed, channel.WheelSpeed + 1, channel.WheelSpeed + 2, channel.WheelSpeed + 3, -1, channel.Throttle, cmd}
	for i := range got {
		rec, err := r.Read()
		require.NoError(t, err)
		for c, id := range columns {
			if id < 0 {
				continue
			}
			x, err := strconv.ParseFloat(rec[c], 64)
			require.NoError(t, err)
			switch {
			case id == channel.Throttle:
				x /= 100
			case id >= channel.WheelSpeed && id < channel.WheelSpeed+4:
				x /= 3.6
			}
			if d := math.Abs(x - got[i].Row[id]); d > 1e-15*math.Max(1, math.Abs(x)) {
				t.Fatalf("row %d, column %d: %v, want %v", i+1, c, got[i].Row[id], x)
			}
		}
		if want := math.Hypot(got[i].Row[vx], got[i].Row[vy]); want != got[i].Row[channel.Speed] {
			t.Fatalf("row %d: speed %v, want %v", i+1, got[i].Row[channel.Speed], want)
		}
	}

	// The yaw rate is the growth of the heading, and the position moves where heading and sideslip point.
	var rates, turned, course []float64
	for i := 25; i < len(got)-25; i++ {
		a, b := got[i-1], got[i+1]
		if got[i].Row[channel.Speed] < 10 || b.At-a.At > 0.1 {
			continue
		}
		turn := math.Remainder(b.Row[channel.Heading]-a.Row[channel.Heading], 2*math.Pi) / (b.At - a.At)
		rates = append(rates, got[i].Row[channel.YawRate])
		turned = append(turned, turn-got[i].Row[channel.YawRate])
		way := math.Atan2(b.Row[channel.PositionY]-a.Row[channel.PositionY], b.Row[channel.PositionX]-a.Row[channel.PositionX])
		points := got[i].Row[channel.Heading] + math.Atan2(got[i].Row[vy], got[i].Row[vx])
		course = append(course, math.Remainder(way-points, 2*math.Pi))
	}
	require.Greater(t, len(turned), 5000)
	require.Greater(t, math.Abs(mean(rates)), 0.03, "an oval turns one way, once a lap of about 135 s, so a wrong sign would show")
	require.InDelta(t, 0, mean(turned), 0.01, "rad/s")
	require.InDelta(t, 0, mean(course), 0.02, "rad")
}

func mean(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// A timing sheet of twenty cars with a mark at its beginning, spaced names and clock times (timing-gt-sprint:
// github.com/tobi/imsa_data at 9081b0a, MIT): car 23 drove 168 laps in 2:40:25.371, the best in 51.725 s on lap 98.
func TestTimingSheet(t *testing.T) {
	path := opendata.Path(t, "timing-gt-sprint/laps.csv.gz")
	f, set := parse(t, `transport: {kind: file}
codec: csv
csv: {only: {NUMBER: "23"}}
clock: {jump: 1000 s}
channels:
  time: {column: ELAPSED, format: clock}
  lap_number: {column: LAP_NUMBER}
  last_lap_time: {column: LAP_TIME, format: clock}
  in_pit_lane: {column: CROSSING_FINISH_LINE_IN_PIT, values: {B: 1}}
  flag: {column: FLAG_AT_FL, values: {GF: green, FCY: full_course_caution, FF: chequered}}
`)
	f.Transport.Path = path
	got, stats := play(t, f, set)
	require.Len(t, got, 168)
	require.EqualValues(t, 3043, stats.Records)
	require.Zero(t, stats.Bad+stats.BadReadings)
	sum, best, lap := 0.0, math.Inf(1), 0.0
	for _, s := range got {
		sum += s.Row[channel.LastLapTime]
		if s.Row[channel.LastLapTime] < best {
			best, lap = s.Row[channel.LastLapTime], s.Row[channel.LapNumber]
		}
	}
	require.InDelta(t, 2*3600+40*60+25.371, sum, 1e-6)
	require.InDelta(t, sum-got[0].Row[channel.LastLapTime], got[167].At, 1e-6, "the clock begins with the first line")
	require.InDelta(t, 51.725, best, 1e-9)
	require.Equal(t, 98.0, lap)
	require.Equal(t, 7.0, got[167].Row[channel.Flag], "chequered")
}

// A stream of named values that is slightly out of order (can-bus/openxc-trace-shorter.json:
// github.com/openxc/openxc-python at 5341180, BSD-3-Clause). The truth is encoding/json.
func TestNamedValues(t *testing.T) {
	path := opendata.Path(t, "can-bus/openxc-trace-shorter.json")
	f, set := parse(t, `transport: {kind: file}
codec: json
json: {name_value: {time: timestamp}}
channels:
  time: {unit: s}
  engine_speed: {name: engine_speed, unit: rpm}
  speed: {name: vehicle_speed, unit: km/h}
  throttle: {name: accelerator_pedal_position, unit: "%"}
  steering_wheel_angle: {name: steering_wheel_angle, unit: deg, negate: true}
  latitude: {name: latitude, unit: deg}
  longitude: {name: longitude, unit: deg}
`)
	f.Transport.Path = path
	got, stats := play(t, f, set)
	units := map[string]struct {
		id    channel.ID
		scale float64
	}{"engine_speed": {channel.EngineSpeed, math.Pi / 30}, "vehicle_speed": {channel.Speed, 1 / 3.6}, "accelerator_pedal_position": {channel.Throttle, 0.01},
		"steering_wheel_angle": {channel.SteeringWheelAngle, -math.Pi / 180}, "latitude": {channel.Latitude, math.Pi / 180}, "longitude": {channel.Longitude, math.Pi / 180}}
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	n, lines, back, before, began := 0, int64(0), int64(0), math.Inf(-1), math.NaN()
	for s := bufio.NewScanner(file); s.Scan(); {
		lines++
		var rec struct {
			Name             string
			Value, Timestamp float64
		}
		require.NoError(t, stdjson.Unmarshal(s.Bytes(), &rec))
		u, ok := units[rec.Name]
		if !ok {
			continue
		}
		if math.IsNaN(began) {
			began = rec.Timestamp
		}
		if rec.Timestamp < before {
			back++
		}
		before = rec.Timestamp
		require.InDelta(t, rec.Value*u.scale, got[n].Row[u.id], 1e-12)
		require.GreaterOrEqual(t, got[n].At, rec.Timestamp-began-1e-6)
		if n > 0 {
			require.GreaterOrEqual(t, got[n].At, got[n-1].At)
		}
		n++
	}
	require.Len(t, got, n)
	require.Equal(t, lines, stats.Records)
	require.Positive(t, back, "the trace is out of order")
	require.Equal(t, back, stats.ClockBack)
	require.Zero(t, stats.Bad)
}

// The records printed in the example files decode to what they say.
func TestExampleFiles(t *testing.T) {
	f, set := load(t, "../../configs/feeds/example-json.yaml")
	d := decoderOf(t, f, set)
	n := 0
	d.Decode([]byte(`{"t": 12.5, "car": {"v": 187.2, "rpm": 7310, "gear": 4, "g": [0.3, -0.4], "lap": {"no": 3, "s": 812.4}}, "pedals": [0.95, 0],
		"wheels": [{"tyre": {"temp": 84.2, "p": 1.79}}, {"tyre": {"p": -1}}], "flag": "GREEN", "pits": false, "abs": null}`), 3, func(s channel.Sample) {
		n++
		require.InDelta(t, 52, s.Row[channel.Speed], 1e-9)
		require.InDelta(t, 0.4*9.80665, s.Row[channel.AccelerationLat], 1e-9)
		g, _ := set.Lookup("g_sum")
		require.InDelta(t, 0.5*9.80665, s.Row[g], 1e-9)
		require.InDelta(t, 179, s.Row[channel.TyrePressure], 1e-9)
		require.True(t, math.IsNaN(s.Row[channel.TyrePressure+1]) && math.IsNaN(s.Row[channel.TyreTemperature+1]) && math.IsNaN(s.Row[channel.ABSLevel]))
		require.Equal(t, []float64{1, 0, 4}, []float64{s.Row[channel.Flag], s.Row[channel.InPitLane], s.Row[channel.Gear]})
	})
	require.Equal(t, 1, n)

	f, set = load(t, "../../configs/feeds/example-csv.yaml")
	d = decoderOf(t, f, set)
	text := "Time;Speed [km/h];RPM;Steer;Tyre FL;Tyre FR;Tyre RL;Tyre RR;Lap\n0:12,50;187,2;7310;-14,5;84,2;86,0;81,7;83,3;3\n0:13,75;;;;;;;;n/a\n0:14,00;1\n0:14,50;180;;;;;;;\n"
	var at []float64
	d.Decode([]byte(text), math.NaN(), func(s channel.Sample) {
		if at = append(at, s.At); len(at) == 1 {
			require.InDelta(t, 52, s.Row[channel.Speed], 1e-9)
			require.InDelta(t, math.Pi/180, s.Row[channel.RoadWheelAngle], 1e-12)
			require.InDelta(t, 83.3, s.Row[channel.TyreTemperature+3], 1e-9)
		}
	})
	require.InDeltaSlice(t, []float64{0, 2}, at, 1e-9)
	require.Equal(t, int64(1), d.Stats().Bad)
	require.True(t, strings.HasPrefix(d.Stats().LastBad, "line 4: "), d.Stats().LastBad)
}

func BenchmarkDecode(b *testing.B) {
	b.Run("racecar-csv", func(b *testing.B) {
		path := opendata.Path(b, "racecar-oval-25hz/LVMS_23_01_04_B.csv.gz")
		f, set := load(b, "../../testdata/feeds/racecar-oval.yaml")
		all := gunzip(b, path)
		n := 0
		b.SetBytes(int64(len(all)))
		for b.Loop() {
			d := decoderOf(b, f, set)
			d.Decode(all, math.NaN(), func(channel.Sample) { n++ })
		}
		b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "rows/s")
	})
	b.Run("demo-motion", func(b *testing.B) {
		f, set := load(b, "../../configs/feeds/demo.yaml")
		e, err := NewEncoder(f, set)
		require.NoError(b, err)
		row := set.NewRow()
		for _, id := range f.Covers {
			row[id] = 0.5
		}
		row[channel.Compound], row[channel.OnCourse], row[channel.InPitLane], row[channel.LapValid] = 1, 1, 0, 1
		var motion []byte
		require.NoError(b, e.Encode(channel.Sample{Row: row}, func(p []byte) {
			if p[4] == 1 {
				motion = bytes.Clone(p)
			}
		}))
		f.Layout.(*packet.Layout).Sequence = nil // the same datagram again and again
		d := decoderOf(b, f, set)
		n := 0
		emit := func(channel.Sample) { n++ }
		b.ReportAllocs()
		for b.Loop() {
			d.Decode(motion, 0, emit)
		}
		require.Positive(b, n)
	})
}
