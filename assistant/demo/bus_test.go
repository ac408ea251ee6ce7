package demo_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/configs"
)

// busFeed is the feed file that ships for the two sources.
func busFeed(t *testing.T, set *channel.Set) *feedfile.File {
	t.Helper()
	data, err := configs.Files.ReadFile("feeds/demo-bus.yaml")
	require.NoError(t, err)
	f, err := feedfile.ParseWith("demo-bus.yaml", data, set, func(rel string) ([]byte, error) { return configs.Files.ReadFile("feeds/" + rel) })
	require.NoError(t, err)
	return f
}

// oneSource is the feed of that source alone, as a feed file of its own.
func oneSource(t *testing.T, set *channel.Set, name string) feed.Decoder {
	t.Helper()
	data, err := configs.Files.ReadFile("feeds/demo-bus.yaml")
	require.NoError(t, err)
	text := string(data)
	_, text, ok := strings.Cut(text, "  - name: "+name+"\n")
	require.True(t, ok)
	for _, end := range []string{"\n  - name:", "\nprefer:"} {
		text, _, _ = strings.Cut(text, end)
	}
	text = "name: one\n" + strings.ReplaceAll("\n"+text, "\n    ", "\n")
	f, err := feedfile.ParseWith("one.yaml", []byte(text), set, func(rel string) ([]byte, error) { return configs.Files.ReadFile("feeds/" + rel) })
	require.NoError(t, err)
	d, err := feed.NewDecoder(f, set)
	require.NoError(t, err)
	return d
}

// Sentences by hand, of a moment that does not come from the simulation: 38.5 degrees south are 38 degrees 30 minutes; a nautical mile is
// 1852 m; a track of 90 degrees is east. The checksums were added up by a shell.
func TestReceiverOnTheWire(t *testing.T) {
	r := demo.NewReceiver()
	row := channel.NewSet().NewRow()
	row[channel.PositionX], row[channel.PositionY], row[channel.Speed] = -1, 0, 0
	got := string(r.Append(nil, channel.Sample{At: 0, Row: row}))
	require.Contains(t, got, "$GPRMC,120000.000,A,3830.0000000,S,11200.", got)
	require.Contains(t, got, ",W,0.000,,010626,,,A*", "who stands knows no track")
	row[channel.PositionX], row[channel.Speed] = 0, 18.52
	require.Empty(t, r.Append(nil, channel.Sample{At: 0.05, Row: row}), "ten times a second")
	got = string(r.Append(nil, channel.Sample{At: 43261.1, Row: row})) // 12 h 1 min 1.1 s later it is the next day
	require.Equal(t, "$GPRMC,000101.100,A,3830.0000000,S,11200.0000000,W,36.000,90.00,020626,,,A*56\r\n"+
		"$GPGGA,000101.100,3830.0000000,S,11200.0000000,W,1,11,0.8,4.0,M,0.0,M,,*64\r\n", got)
}

// A frame by hand: 3000 rpm in steps of a quarter are 2EE0, half of the pedal is 64, all half bytes with the identifier's are 0 modulo 16.
func TestBusOnTheWire(t *testing.T) {
	row := channel.NewSet().NewRow()
	row[channel.EngineSpeed], row[channel.Throttle], row[channel.Brake], row[channel.Gear], row[channel.PitLimiter] = 3000*math.Pi/30, 0.5, 0, -1, 1
	row[channel.YawRate] = -math.Pi / 180
	b := demo.NewBus()
	lines := strings.Split(string(b.Append(nil, channel.Sample{At: 2.5, Row: row})), "\n")
	require.Equal(t, "(1780315202.500000) can0 100#2EE06400FF010008", lines[0], "72 without the last")
	require.Equal(t, "(1780315202.500000) can0 120#FF7F9CFFFF7FFF7F", lines[2], "-1 degree a second is FF9C, the low byte first; what is not known is 7FFF")
	require.Contains(t, strings.Join(lines, "\n"), " 18A10300#00")
	lines = strings.Split(string(b.Append(nil, channel.Sample{At: 2.51, Row: row})), "\n")
	require.Len(t, lines, 5, "the slow frames are not due")
	require.Contains(t, lines[0], "#2EE06400FF0101", "the counter runs")
}

// What receiver and bus tell reads back as what was driven, within half a step of each place in the frames, and nothing is refused.
func TestReceiverAndBusReadBack(t *testing.T) {
	set := channel.NewSet()
	sim, err := demo.New(set, demo.Options{Seed: 3, Course: "saucer", Laps: 1, Rate: 60, Rivals: 4, Story: true})
	require.NoError(t, err)
	gps, bus := oneSource(t, set, "gps"), oneSource(t, set, "bus")
	receiver, frames := demo.NewReceiver(), demo.NewBus()
	const degree, kmh = math.Pi / 180, 1 / 3.6
	half := map[string]float64{
		"engine_speed": 0.125 * math.Pi / 30, "throttle": 0.0025, "brake": 0.0025, "steering_wheel_angle": 0.05 * degree, "yaw_rate": 0.005 * degree,
		"acceleration_longitudinal": 0.0005 * 9.80665, "acceleration_lateral": 0.0005 * 9.80665, "speed": 0.005 * kmh, "wheel_speed": 0.005 * kmh,
		"tyre_temperature": 0.05, "tyre_carcass_temperature": 0.05, "tyre_pressure": 0.005, "brake_temperature": 0.05, "tyre_wear": 0.00005,
		"coolant_temperature": 0.5, "oil_temperature": 0.5, "oil_pressure": 0.05, "fuel_volume": 0.005, "air_pressure": 0.005, "air_temperature": 0.05,
		"track_temperature": 0.05, "gap_ahead": 0.005, "gap_behind": 0.005, "brake_bias": 0.00005,
	}
	heard := map[channel.ID]int{}
	var row channel.Row
	var at float64
	check := func(got channel.Sample) {
		require.InDelta(t, at, got.At, 6e-4)
		for i, v := range got.Row {
			id := channel.ID(i)
			if math.IsNaN(v) || id == channel.Latitude || id == channel.Longitude {
				continue
			}
			heard[id]++
			name := set.At(id).Name
			if n := len(name) - 3; name[n] == '_' && strings.Contains("_fl_fr_rl_rr", name[n:]) {
				name = name[:n]
			}
			require.InDelta(t, row[id], v, half[name]*1.001+1e-12, set.At(id).Name)
		}
	}
	plane, fixes := course.NewPlane(course.Point{X: -38.5 * degree, Y: -112 * degree}), 0
	var text []byte
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		row, at = s.Row, s.At
		if text = frames.Append(text[:0], s); len(text) > 0 {
			bus.Decode(text, math.NaN(), check)
		}
		if text = receiver.Append(text[:0], s); len(text) == 0 {
			continue
		}
		gps.Decode(text, math.NaN(), func(got channel.Sample) {
			require.InDelta(t, at, got.At, 6e-4)
			if got.Row.Has(channel.Speed) {
				require.InDelta(t, row[channel.Speed], got.Row[channel.Speed], 0.0005*1852/3600+1e-12)
			}
			p := plane.Local(course.Point{X: got.Row[channel.Latitude], Y: got.Row[channel.Longitude]})
			require.InDelta(t, row[channel.PositionX], p.X, 1e-3)
			require.InDelta(t, row[channel.PositionY], p.Y, 1e-3)
			fixes++
		})
	}
	require.Greater(t, fixes, 1000)
	for _, d := range []feed.Decoder{gps, bus} {
		st := d.Stats()
		require.Zero(t, st.Bad+st.BadReadings+st.Lost+st.Duplicate+st.Implausible+st.ClockBack+st.ClockJumps, "%+v", st)
	}
	for _, id := range busFeed(t, set).Covers {
		if id != channel.Latitude && id != channel.Longitude && id != channel.SessionTimeLeft { // no race by time
			require.Positive(t, heard[id], "%s is mapped, and never came", set.At(id).Name)
		}
	}
	require.Greater(t, heard[channel.WheelSpeed], 10*heard[channel.FuelVolume])
}

func TestReceiverAndBusDoNotAllocate(t *testing.T) {
	set := channel.NewSet()
	sim, err := demo.New(set, everything())
	require.NoError(t, err)
	receiver, bus, text := demo.NewReceiver(), demo.NewBus(), make([]byte, 0, 1<<12)
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		s, _ := sim.Next()
		text = receiver.Append(bus.Append(text[:0], s), s)
	}))
}

// The gates of the course file lie where the course has the line and the lane, on the map that the receiver uses.
func TestBusCourseLiesOnTheCourse(t *testing.T) {
	data, err := configs.Files.ReadFile("courses/demo-bus.yaml")
	require.NoError(t, err)
	f, err := course.ParseFile("demo-bus.yaml", data)
	require.NoError(t, err)
	c, err := demo.LoadCourse("thimble")
	require.NoError(t, err)
	const degree = math.Pi / 180
	at := func(s, left float64) course.Point {
		x, y := c.Position(s)
		sin, cos := math.Sincos(c.Heading(s))
		latitude, longitude := demo.Geographic(x-left*sin, y+left*cos)
		return course.Point{X: latitude * degree, Y: longitude * degree}
	}
	near := func(what string, want, got course.Point) {
		plane := course.NewPlane(want)
		p := plane.Local(got)
		require.Less(t, math.Hypot(p.X, p.Y), 0.01, what)
	}
	near("line", at(0, -7), f.Line.Gate.A)
	near("line", at(0, 7), f.Line.Gate.B)
	near("line", at(10, 0), f.Line.Gate.Toward)
	near("the line in the lane", at(0, 17), middle(f.Pit.Line))
	// The lane is 17 m left of the course, reached 80 m behind its entry, 270 m before the line, and left 80 m before its exit.
	near("entry", at(c.Length-270+85, 17), middle(f.Pit.Entry))
	near("exit", at(300-85, 17), middle(f.Pit.Exit))
	for _, corner := range c.Corners {
		require.Equal(t, corner.Name, f.Names[corner.Number])
	}
}

func middle(g *course.Gate) course.Point {
	return course.Point{X: (g.A.X + g.B.X) / 2, Y: (g.A.Y + g.B.Y) / 2}
}
