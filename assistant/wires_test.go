package assistant_test

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.einride.tech/can"
	"go.einride.tech/can/pkg/dbc"
	"go.einride.tech/can/pkg/descriptor"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/session"
	"earshot/configs"
)

// A wire is one codec on its way: its feed file, and how a drive of the demo car is written for it.
type wire struct {
	name string
	file string
	more []session.File // that the feed file names, and the course
	// write returns the drive as pieces that belong together: datagrams, or the lines of a stream.
	write func(t testing.TB, f *feedfile.File, set *channel.Set, drive []channel.Sample) [][]byte
}

// wires are all codecs. A codec has its line here.
var wires = []wire{
	{"packet", shipped("feeds/demo.yaml"), nil, writePackets},
	{"json", streamFeed("transport: {kind: stdin}\ncodec: json\n", "path", false), nil, writeLines(jsonLine)},
	{"json datagrams", streamFeed("transport: {kind: udp, listen: 127.0.0.1:47119}\ncodec: json\n", "path", false), nil,
		writeLines(jsonLine)},
	{"csv", streamFeed("transport: {kind: stdin}\ncodec: csv\n", "column", false), nil, writeLines(csvLine)},
	{"csv with a row of units", streamFeed("transport: {kind: stdin}\ncodec: csv\ncsv: {units_row: true, delimiter: tab, decimal: comma}\n",
		"column", true), nil, writeLines(tabbedLine)},
	{"nmea", nmeaFeed, []session.File{{Kind: session.CourseFile, Name: "ring.yaml", Data: []byte(nmeaCourse())}}, writeSentences},
	{"can", canFeed, []session.File{{Kind: session.IncludedFile, Name: "bus.dbc", Data: []byte(canBus)}}, writeFrames},
}

func shipped(name string) string {
	data, err := configs.Files.ReadFile(name)
	if err != nil {
		panic(err)
	}
	return string(data)
}

// streamed are the channels that the feeds of text bring, each with the unit in which it is written.
var streamed = []struct {
	channel, unit string
	of            channel.ID
}{
	{"time", "ms", -1}, {"speed", "km/h", channel.Speed}, {"lap_number", "", channel.LapNumber}, {"lap_distance", "m", channel.LapDistance},
	{"lap_time", "ms", channel.LapTime},
	{"throttle", "%", channel.Throttle}, {"brake", "%", channel.Brake}, {"steering_wheel_angle", "deg", channel.SteeringWheelAngle},
	{"yaw_rate", "deg/s", channel.YawRate},
	{"brake_temperature_fl", "°F", channel.BrakeTemperature}, {"brake_temperature_rl", "°F", channel.BrakeTemperature + 2},
	{"tyre_pressure_fl", "psi", channel.TyrePressure}, {"fuel_volume", "ml", channel.FuelVolume}, {"position_x", "m", channel.PositionX},
	{"position_y", "m", channel.PositionY},
}

func streamFeed(head, place string, unitsRow bool) string {
	text := "name: x\n" + head + "channels:\n"
	for _, c := range streamed {
		unit := ""
		if c.unit != "" && !unitsRow {
			unit = fmt.Sprintf(", unit: %q", c.unit)
		}
		text += fmt.Sprintf("  %s: {%s: %s%s}\n", c.channel, place, c.channel, unit)
	}
	return text
}

// raw is what the source writes for a channel: the reading out of the unit used inside, NaN where there is none.
func raw(t testing.TB, i int, s channel.Sample) float64 {
	c := streamed[i]
	x := s.At
	if c.of >= 0 {
		x = s.Row[c.of]
	}
	if c.unit == "" {
		return x
	}
	u, ok := channel.UnitNamed(c.unit)
	require.True(t, ok, c.unit)
	return u.Out(x)
}

func jsonLine(t testing.TB, i int, s channel.Sample) string {
	if i < 0 {
		return "" // JSON needs no header
	}
	parts := []string{}
	for k, c := range streamed {
		if x := raw(t, k, s); !math.IsNaN(x) {
			parts = append(parts, fmt.Sprintf(`"%s":%v`, c.channel, x))
		}
	}
	return "{" + strings.Join(parts, ",") + "}\n"
}

func csvLine(t testing.TB, i int, s channel.Sample) string {
	cells := []string{}
	for k, c := range streamed {
		switch x := raw(t, k, s); {
		case i < 0:
			cells = append(cells, c.channel)
		case math.IsNaN(x):
			cells = append(cells, "")
		default:
			cells = append(cells, fmt.Sprint(x))
		}
	}
	return strings.Join(cells, ",") + "\r\n"
}

func tabbedLine(t testing.TB, i int, s channel.Sample) string {
	text := strings.NewReplacer(",", "\t", ".", ",").Replace(csvLine(t, i, s))
	if i < 0 {
		units := []string{}
		for _, c := range streamed {
			units = append(units, c.unit)
		}
		text += strings.Join(units, "\t") + "\r\n"
	}
	return text
}

func writeLines(line func(t testing.TB, i int, s channel.Sample) string) func(testing.TB, *feedfile.File, *channel.Set,
	[]channel.Sample) [][]byte {
	return func(t testing.TB, f *feedfile.File, set *channel.Set, drive []channel.Sample) (pieces [][]byte) {
		if head := line(t, -1, channel.Sample{Row: set.NewRow()}); head != "" {
			pieces = append(pieces, []byte(head))
		}
		for i, s := range drive {
			pieces = append(pieces, []byte(line(t, i, s)))
		}
		return pieces
	}
}

func writePackets(t testing.TB, f *feedfile.File, set *channel.Set, drive []channel.Sample) (pieces [][]byte) {
	e, err := feed.NewEncoder(f, set)
	require.NoError(t, err)
	for _, s := range drive {
		require.NoError(t, e.Encode(s, func(p []byte) { pieces = append(pieces, bytes.Clone(p)) }))
	}
	return pieces
}

// nmeaFeed brings what NMEA 0183 can carry of the drive.
const nmeaFeed = "name: x\ntransport: {kind: stdin}\ncodec: nmea\n"

// The course of the demo car lies around this point in the open sea: south and west, so that both signs are there.
const nmeaLatitude, nmeaLongitude = -10.0, -20.0 // deg

// place puts a point of the demo's plane on the earth, taken for a sphere: what is written is what is read, wherever it
// is.
func place(x, y float64) (lat, lon float64) {
	const metre = 180 / math.Pi / 6371000 // deg
	return nmeaLatitude + y*metre, nmeaLongitude + x*metre/math.Cos(nmeaLatitude*math.Pi/180)
}

// nmeaCourse has the line of the demo's course as a gate: the receiver knows of no laps.
func nmeaCourse() string {
	c, err := demo.LoadCourse(demo.Courses()[0])
	if err != nil {
		panic(err)
	}
	x, y := c.Position(0)
	sin, cos := math.Sincos(c.Heading(0))
	half := c.Width/2 + 3
	lat1, lon1 := place(x-half*sin, y+half*cos)
	lat2, lon2 := place(x+half*sin, y-half*cos)
	return fmt.Sprintf("name: Ring\nline: {gate: [[%.8f deg, %.8f deg], [%.8f deg, %.8f deg]]}\n", lat1, lon1, lat2, lon2)
}

// nmeaBegin lets the drive pass midnight and the end of a year.
var nmeaBegin = time.Date(2024, 12, 31, 23, 59, 30, 0, time.UTC)

func sentence(format string, args ...any) string {
	body, sum := fmt.Sprintf(format, args...), byte(0)
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

// degrees writes a coordinate as degrees and minutes, to about 0.2 mm.
func degrees(x float64, width int, positive, negative string) string {
	side := positive
	if x < 0 {
		x, side = -x, negative
	}
	// In units of the last digit, since rounding may carry into the degrees.
	n := int64(math.Round(x * 60e7))
	return fmt.Sprintf("%0*d%010.7f,%s", width, n/60e7, float64(n%60e7)/1e7, side)
}

// writeSentences writes RMC, GGA and VTG for each moment, as a receiver at 10 Hz does.
func writeSentences(_ testing.TB, _ *feedfile.File, _ *channel.Set, drive []channel.Sample) (pieces [][]byte) {
	for _, s := range drive {
		r := s.Row
		lat, lon := place(r[channel.PositionX], r[channel.PositionY])
		at := nmeaBegin.Add(time.Duration(math.Round(s.At*100)) * 10 * time.Millisecond)
		clock, where := at.Format("150405.00"), degrees(lat, 2, "N", "S")+","+degrees(lon, 3, "E", "W")
		knots := r[channel.Speed] * 3600 / 1852
		track := math.Mod(math.Mod(90-r[channel.Heading]*180/math.Pi, 360)+360, 360) // clockwise from north
		pieces = append(pieces, []byte(sentence("GNRMC,%s,A,%s,%.5f,%.5f,%s,,,A", clock, where, knots, track, at.Format("020106"))+
			sentence("GNGGA,%s,%s,4,17,0.6,12.500,M,0.0,M,,", clock, where)+
			sentence("GNVTG,%.5f,T,,M,%.5f,N,%.5f,K,A", track, knots, knots*1.852)))
	}
	return pieces
}

// canBus is the bus of the demo car, invented: both orders of bytes, signed and unsigned, 11 and 29 bits, a
// multiplexer, a counter and a checksum.
const canBus = `VERSION ""

BU_: CAR LOGGER

BO_ 288 Motion: 8 CAR
 SG_ Speed : 7|16@0+ (0.01,0) [0|600] "km/h" LOGGER
 SG_ Steering : 23|16@0- (0.1,0) [-1000|1000] "deg" LOGGER
 SG_ YawRate : 32|16@1- (0.01,0) [-300|300] "deg/s" LOGGER
 SG_ Throttle : 48|8@1+ (0.5,0) [0|100] "%" LOGGER
 SG_ Brake : 63|8@0+ (0.5,0) [0|100] "%" LOGGER

BO_ 289 Lap: 8 CAR
 SG_ Distance : 0|24@1+ (0.01,0) [0|100000] "m" LOGGER
 SG_ Time : 31|24@0+ (1,0) [0|16000000] "ms" LOGGER
 SG_ Number : 48|8@1- (1,10) [-100|100] "" LOGGER
 SG_ Counter : 60|4@1+ (1,0) [0|15] "" LOGGER
 SG_ Sum : 56|4@1+ (1,0) [0|15] "" LOGGER

BO_ 2550137104 Place: 8 CAR
 SG_ East : 7|32@0- (0.001,0) [-10000|10000] "m" LOGGER
 SG_ North : 32|32@1- (0.001,250) [-10000|10000] "m" LOGGER

BO_ 304 Slow: 5 CAR
 SG_ Page M : 3|4@0+ (1,0) [0|2] "" LOGGER
 SG_ DiscFront m0 : 15|16@0+ (0.1,-40) [-40|1500] "degC" LOGGER
 SG_ DiscRear m0 : 24|16@1+ (0.1,-40) [-40|1500] "degC" LOGGER
 SG_ TyreFront m1 : 8|12@1+ (0.01,0) [0|40] "psi" LOGGER
 SG_ Fuel m2 : 12|20@1+ (1,0) [0|1000000] "ml" LOGGER
`

const canFeed = `name: x
transport: {kind: stdin}
codec: can
can:
  dbc: bus.dbc
  bus: can0
  messages:
    Motion:
      signals:
        Speed: {to: speed}
        Steering: {to: steering_wheel_angle}
        YawRate: {to: yaw_rate}
        Throttle: {to: throttle}
        Brake: {to: brake}
    Lap:
      check: {sum: nibbles, total: 8}
      counter: Counter
      signals:
        Distance: {to: lap_distance}
        Time: {to: lap_time}
        Number: {to: lap_number}
    Place: {signals: {East: {to: position_x}, North: {to: position_y}}}
    Slow:
      signals:
        DiscFront: {to: brake_temperature_fl}
        DiscRear: {to: brake_temperature_rl}
        TyreFront: {to: tyre_pressure_fl}
        Fuel: {to: fuel_volume}
`

// canSignals are the channels of the signals that are no part of the frame itself.
var canSignals = map[string]channel.ID{
	"Speed": channel.Speed, "Steering": channel.SteeringWheelAngle, "YawRate": channel.YawRate, "Throttle": channel.Throttle,
	"Brake":    channel.Brake,
	"Distance": channel.LapDistance, "Time": channel.LapTime, "Number": channel.LapNumber, "East": channel.PositionX,
	"North":     channel.PositionY,
	"DiscFront": channel.BrakeTemperature, "DiscRear": channel.BrakeTemperature + 2, "TyreFront": channel.TyrePressure,
	"Fuel": channel.FuelVolume,
}

// writeFrames writes the drive as candump does, in its log form and every third moment in columns. What the DBC file
// means and where bits go is the work of another program (go.einride.tech/can), so that a mistake of ours does not
// cancel out.
func writeFrames(t testing.TB, _ *feedfile.File, _ *channel.Set, drive []channel.Sample) (pieces [][]byte) {
	p := dbc.NewParser("bus.dbc", []byte(canBus))
	require.NoError(t, p.Parse())
	for i, s := range drive {
		var text bytes.Buffer
		at := 1700000000 + s.At
		for _, def := range p.Defs() {
			m, ok := def.(*dbc.MessageDef)
			if !ok {
				continue
			}
			page := uint64(i % 3)
			var data can.Data
			id := fmt.Sprintf("%03X", m.MessageID.ToCAN())
			if m.MessageID.IsExtended() {
				id = fmt.Sprintf("%08X", m.MessageID.ToCAN())
			}
			for _, o := range m.Signals {
				if o.IsMultiplexed && o.MultiplexerSwitch != page {
					continue
				}
				d := descriptor.Signal{Name: string(o.Name), Start: uint8(o.StartBit), Length: uint8(o.Size), IsBigEndian: o.IsBigEndian,
					IsSigned: o.IsSigned}
				switch of, ok := canSignals[d.Name]; {
				case d.Name == "Page":
					d.MarshalUnsigned(&data, page)
				case d.Name == "Counter":
					d.MarshalUnsigned(&data, uint64(i%16))
				case d.Name == "Sum": // after all others: half bytes of identifier and data add up to 8 modulo 16
					sum := 0
					for _, h := range fmt.Sprintf("%s%x", strings.ToLower(id), data[:]) {
						sum += strings.IndexRune("0123456789abcdef", h)
					}
					d.MarshalUnsigned(&data, uint64(8-sum)&15)
				default:
					require.True(t, ok, d.Name)
					x := s.Row[of]
					require.False(t, math.IsNaN(x), d.Name)
					if o.Unit != "" {
						u, ok := channel.UnitNamed(o.Unit)
						require.True(t, ok, o.Unit)
						x = u.Out(x)
					}
					raw := math.Round((x - o.Offset) / o.Factor)
					if o.IsSigned {
						d.MarshalSigned(&data, int64(raw))
					} else {
						d.MarshalUnsigned(&data, uint64(max(0, raw)))
					}
				}
			}
			if i%3 == 0 {
				fmt.Fprintf(&text, " (%.6f)  can0  %s   [%d]  % X\n", at, id, m.Size, data[:m.Size])
			} else {
				fmt.Fprintf(&text, "(%.6f) can0 %s#%X\n", at, id, data[:m.Size])
			}
			at += 200e-6 // a frame of eight bytes takes about that at 500 kbit/s
		}
		// What is none of ours: another bus, another identifier, a remote frame.
		fmt.Fprintf(&text, "(%.6f) can1 120#FFFFFFFFFFFFFFFF\n(%.6f) can0 7A0#0102\n(%.6f) can0 120#R\n", at, at, at)
		pieces = append(pieces, text.Bytes())
	}
	return pieces
}

// What a wire carries arrives as it was written, as exactly as its digits and bits allow; else the stories below would
// be of another car. The truth is the drive.
func TestWiresCarryTheDrive(t *testing.T) {
	const deg = math.Pi / 180
	tests := map[string]map[channel.ID]float64{ // how far off a reading may be: half of its last digit or bit, and a little
		"nmea": {channel.Speed: 1e-5, channel.Latitude: 1e-9 * deg, channel.Longitude: 1e-9 * deg, channel.Heading: 1e-5 * deg},
		"can": {
			channel.Speed: 0.0051 / 3.6, channel.SteeringWheelAngle: 0.051 * deg, channel.YawRate: 0.0051 * deg, channel.Throttle: 0.0026,
			channel.Brake:       0.0026,
			channel.LapDistance: 0.0051, channel.LapTime: 0.00051, channel.LapNumber: 1e-9, channel.PositionX: 0.00051,
			channel.PositionY:        0.00051,
			channel.BrakeTemperature: 0.051, channel.BrakeTemperature + 2: 0.051, channel.TyrePressure: 0.0051 * 6.895,
			channel.FuelVolume: 0.00051,
		},
	}
	for _, w := range wires {
		tolerances, ok := tests[w.name]
		if !ok {
			continue // their own tests, and the measured log in every codec, tell
		}
		t.Run(w.name, func(t *testing.T) {
			b := newBench(t, w.file, w.more...)
			drive := aDrive(t, b.set, 3, 90)
			d, err := feed.NewDecoder(b.file, b.set)
			require.NoError(t, err)
			seen := map[channel.ID]int{}
			pieces := w.write(t, b.file, b.set, drive)
			require.Len(t, pieces, len(drive))
			for i, p := range pieces {
				want := drive[i].Row
				lat, lon := place(want[channel.PositionX], want[channel.PositionY])
				d.Decode(p, math.NaN(), func(s channel.Sample) {
					require.InDelta(t, drive[i].At-drive[0].At, s.At, 0.0011, "frames follow each other")
					for id, off := range tolerances {
						got, is := s.Row[id], want[id]
						switch id {
						case channel.Latitude:
							is = lat * deg
						case channel.Longitude:
							is = lon * deg
						case channel.Heading:
							got = is + math.Remainder(got-is, 2*math.Pi)
						}
						if !math.IsNaN(got) {
							require.InDelta(t, is, got, off, "%s at %g s", b.set.At(id).Name, s.At)
							seen[id]++
						}
					}
				})
			}
			for id := range tolerances {
				require.GreaterOrEqual(t, seen[id], len(drive)/3, b.set.At(id).Name)
			}
			st := d.Stats()
			require.Zero(t, st.Bad+st.BadReadings+st.Lost+st.Duplicate+st.Implausible+st.ClockBack+st.ClockJumps, "%+v", st)
		})
	}
}
