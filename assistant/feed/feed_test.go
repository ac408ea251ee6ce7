package feed

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/packet"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/feed/transport"
	"earshot/configs/document"
)

func decoderOf(t testing.TB, f *feedfile.File, set *channel.Set) Decoder {
	t.Helper()
	d, err := NewDecoder(f, set)
	require.NoError(t, err)
	return d
}

// samples are what came out, each as text with every bit of its numbers.
type samples struct {
	set  *channel.Set
	list []string
}

func (s *samples) take(x channel.Sample) {
	var b strings.Builder
	fmt.Fprintf(&b, "%x", math.Float64bits(x.At))
	for i, v := range x.Row {
		if !math.IsNaN(v) {
			fmt.Fprintf(&b, " %s=%x", s.set.At(channel.ID(i)).Name, math.Float64bits(v))
		}
	}
	s.list = append(s.list, b.String())
}

func consistent(t require.TestingT, s Stats, taken int) {
	require.EqualValues(t, taken, s.Samples)
	require.Equal(t, s.Records, s.Samples+s.Ignored+s.Bad+s.Reordered+s.Duplicate)
}

const chunkedCSV = `transport: {kind: stdin}
codec: csv
csv: {comment: "%"}
channels:
  time: {column: t, unit: ms}
  speed: {column: "v, air", unit: km/h}
  gear: {column: g, absent: "-"}
derived:
  lap_distance: speed * 2 s + 1 m
`

const chunkedJSON = `transport: {kind: stdin}
codec: json
channels:
  time: {path: t, unit: ms}
  speed: {path: car.v, unit: km/h}
  gear: {path: g, absent: "-"}
`

// However a stream is cut, the same samples come out and the same is counted.
func TestEveryChunkingGivesTheSameSamples(t *testing.T) {
	for _, src := range []string{chunkedCSV, strings.ReplaceAll(chunkedCSV, "speed * 2 s + 1 m", "gear * 1 m"), chunkedJSON} {
		src := src
		if strings.Contains(src, "speed *") {
			src = strings.Replace(src, "lap_distance: speed * 2 s + 1 m", "heading: speed / 3 m/s * 1 rad", 1)
		}
		f, set := parse(t, src)
		rapid.Check(t, func(t *rapid.T) {
			var b bytes.Buffer
			if f.Codec == "csv" {
				b.WriteString("\ufeff# t,\"v, air\",g\r\n")
			}
			for i := range rapid.IntRange(0, 12).Draw(t, "lines") {
				v, g := rapid.SampledFrom([]string{"180", "1e2", "", "x", "99.5"}).Draw(t, "v"), rapid.SampledFrom([]string{"3", "-", "\"4\"", "ä"}).Draw(t, "g")
				switch {
				case rapid.IntRange(0, 6).Draw(t, "odd") == 0:
					b.WriteString(rapid.SampledFrom([]string{"% comment", "", "1,2", "\"", "{", "{\"t\":1,}"}).Draw(t, "what"))
				case f.Codec == "csv":
					fmt.Fprintf(&b, "%d,%s,%s", i*10, v, g)
				default:
					fmt.Fprintf(&b, `{"t":%d,"car":{"v":%s},"g":%s}`, i*10, map[bool]string{true: v, false: "null"}[v != "" && v != "x"], map[bool]string{true: g, false: `"` + g + `"`}[g[0] == '"' || g == "3"])
				}
				b.WriteString(rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "end"))
			}
			all := b.Bytes()
			if len(all) > 0 && rapid.Bool().Draw(t, "cut") {
				all = all[:len(all)-1]
			}
			run := func(cut func(n int) int) ([]string, Stats) {
				d, err := NewDecoder(f, set)
				if err != nil {
					t.Fatal(err)
				}
				out := &samples{set: set}
				for rest := all; len(rest) > 0; {
					n := cut(len(rest))
					piece := bytes.Clone(rest[:n])
					d.Decode(piece, math.NaN(), out.take)
					for i := range piece {
						piece[i] = '#' // the bytes belong to the caller again
					}
					rest = rest[n:]
				}
				d.End(out.take)
				consistent(t, d.Stats(), len(out.list))
				return out.list, d.Stats()
			}
			whole, ws := run(func(n int) int { return n })
			cut, cs := run(func(n int) int { return rapid.IntRange(1, n).Draw(t, "n") })
			single, ss := run(func(int) int { return 1 })
			require.Equal(t, whole, cut)
			require.Equal(t, whole, single)
			require.Equal(t, ws, cs)
			require.Equal(t, ws, ss)
		})
	}
}

// One table of samples, sent as binary datagrams, as JSON and as a table of text, in three different
// sets of units, and read back: bit for bit the same samples.
func TestOneTableInThreeCodecs(t *testing.T) {
	fields := []struct{ name, unit string }{{"time", "ms"}, {"speed", "km/h"}, {"tyre_pressure_fl", "psi"}, {"air_temperature", "°F"}, {"yaw_rate", "deg/s"}, {"gear", ""}}
	var pk, js, cs strings.Builder
	pk.WriteString(head + "codec: packet\npacket:\n  byte_order: big\n  kinds:\n    k:\n      length: 50\n      fields:\n        - {skip: 2}\n")
	js.WriteString(head + "codec: json\nchannels:\n")
	cs.WriteString(head + "codec: csv\ncsv: {delimiter: ';', decimal: comma, header: false}\nchannels:\n")
	for i, f := range fields {
		unit := ""
		if f.unit != "" {
			unit = ", unit: " + f.unit
		}
		fmt.Fprintf(&pk, "        - {type: f64, to: %s%s}\n", f.name, unit)
		fmt.Fprintf(&js, "  %s: {path: 'x.y[%d]'%s}\n", f.name, i, unit)
		fmt.Fprintf(&cs, "  %s: {column: %d%s}\n", f.name, i+1, unit)
	}
	r := rand.New(rand.NewPCG(5, 6))
	var table [][]float64
	for i := range 500 {
		row := []float64{1e6 + float64(i)*2.7}
		for j := 1; j < len(fields); j++ {
			x := r.NormFloat64() * math.Pow10(r.IntN(3))
			if r.IntN(5) == 0 {
				x = math.NaN()
			}
			row = append(row, x)
		}
		table = append(table, row)
	}
	results := map[string][]string{}
	for name, src := range map[string]string{"packet": pk.String(), "json": js.String(), "csv": cs.String()} {
		f, set := parse(t, src)
		d := decoderOf(t, f, set)
		out := &samples{set: set}
		for _, row := range table {
			d.Decode(speak(name, row), 0, out.take)
		}
		d.End(out.take)
		consistent(t, d.Stats(), len(out.list))
		require.Zero(t, d.Stats().Bad)
		require.Zero(t, d.Stats().BadReadings)
		results[name] = out.list
	}
	require.Len(t, results["packet"], 500)
	// A row in which only the time is known is no sample for the text codecs.
	var said []string
	for i, s := range results["packet"] {
		for _, v := range table[i][1:] {
			if !math.IsNaN(v) {
				said = append(said, s)
				break
			}
		}
	}
	require.Equal(t, said, results["json"])
	require.Equal(t, said, results["csv"])
}

// speak writes a row as the three sources of TestOneTableInThreeCodecs would, without this project's encoder.
func speak(codec string, row []float64) []byte {
	if codec == "packet" {
		p := make([]byte, 2, 50)
		for _, v := range row {
			p = binary.BigEndian.AppendUint64(p, math.Float64bits(v))
		}
		return p
	}
	var cells []string
	for _, v := range row {
		s := strconv.FormatFloat(v, 'g', -1, 64)
		if math.IsNaN(v) {
			s = map[string]string{"json": "null", "csv": ""}[codec]
		}
		cells = append(cells, s)
	}
	if codec == "json" {
		return []byte(`{"x":{"y":[` + strings.Join(cells, ",") + `]}}`)
	}
	return []byte(strings.ReplaceAll(strings.Join(cells, ";"), ".", ",") + "\n")
}

const head = "transport: {kind: udp, listen: 127.0.0.1:0}\n"

func parse(t testing.TB, text string) (*feedfile.File, *channel.Set) {
	t.Helper()
	set := channel.NewSet()
	f, err := feedfile.Parse("test.yaml", []byte(text), set)
	require.NoError(t, err)
	return f, set
}

func load(t testing.TB, path string) (*feedfile.File, *channel.Set) {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	set := channel.NewSet()
	f, err := feedfile.ParseWith(path, data, set, func(rel string) ([]byte, error) { return os.ReadFile(filepath.Join(filepath.Dir(path), rel)) })
	require.NoError(t, err)
	return f, set
}

// demoRow is a plausible moment of the demo car with every channel of its feed.
func demoRow(f *feedfile.File, set *channel.Set, r *rand.Rand) channel.Row {
	row := set.NewRow()
	for _, id := range f.Covers {
		c := set.At(id)
		switch {
		case c.Labels != nil:
			row[id] = float64(r.IntN(len(c.Labels)))
		case c.Quantity == channel.None && c.Max == 1:
			row[id] = float64(r.IntN(2))
		case c.Quantity == channel.None || c.Quantity == channel.Laps:
			row[id] = float64(r.IntN(9))
		default:
			lo, hi := max(c.Min, -20), min(c.Max, 90)
			if c.Quantity == channel.Pressure {
				lo = max(lo, 0) // the wire has no negative pressure
			}
			row[id] = lo + (hi-lo)*r.Float64()
		}
	}
	return row
}

// What the demo car says is heard within half a step of each field, with ISO 8855 signs, nothing else and nothing less.
func TestDemoFeedRoundTrip(t *testing.T) {
	f, set := load(t, "../../configs/feeds/demo.yaml")
	e, err := NewEncoder(f, set)
	require.NoError(t, err)
	d := decoderOf(t, f, set)
	degree := math.Pi / 180
	steps := map[channel.ID]float64{ // half a step of the wire, in the unit used inside
		channel.Speed: 1e-5, channel.EngineSpeed: math.Pi / 60, channel.Throttle: 0.00005, channel.Brake: 0.00005, channel.SteeringWheelAngle: 0.05 * degree, channel.YawRate: 0.01 * degree,
		channel.AccelerationLong: 0.0005 * 9.80665, channel.AccelerationLat: 0.0005 * 9.80665, channel.PositionX: 1e-5, channel.PositionY: 1e-5, channel.LapDistance: 1e-5, channel.LapTime: 0.0005,
		channel.LastLapTime: 0.0005, channel.SessionTimeLeft: 0.0005, channel.SessionLapsLeft: 0.5, channel.BrakeBias: 0.00005, channel.AirTemperature: 0.05 / 1.8, channel.TrackTemperature: 0.05 / 1.8,
		channel.AirPressure: 0.005, channel.FuelVolume: 0.0005, channel.CoolantTemperature: 0.05, channel.OilTemperature: 0.05, channel.OilPressure: 0.05,
		channel.GapAhead: 0.0005, channel.GapBehind: 0.0005,
	}
	for w := channel.ID(0); w < 4; w++ {
		steps[channel.WheelSpeed+w], steps[channel.TyreTemperature+w], steps[channel.TyreCarcass+w] = 0.01/3.6, 0.05, 0.05
		steps[channel.TyrePressure+w], steps[channel.BrakeTemperature+w] = 0.005*6.894757293168361, 0.05/1.8
	}
	r := rand.New(rand.NewPCG(7, 8))
	hold, want := channel.NewHold(set), channel.Row(nil)
	kinds, heard := 0, map[channel.ID]int{}
	for i := range 400 {
		at := float64(i) / 360
		want = demoRow(f, set, r)
		sent := 0
		require.NoError(t, e.Encode(channel.Sample{At: at, Row: want}, func(p []byte) {
			sent++
			n := 0
			d.Decode(p, math.NaN(), func(s channel.Sample) {
				n++
				require.InDelta(t, at, s.At, 0.00005+1e-9)
				hold.Update(s)
				for id, v := range s.Row {
					if math.IsNaN(v) {
						continue
					}
					heard[channel.ID(id)]++
					require.InDelta(t, want[id], v, steps[channel.ID(id)]*1.0001+1e-12, set.At(channel.ID(id)).Name)
				}
			})
			require.Equal(t, 1, n)
		}))
		kinds += sent
	}
	require.Equal(t, 400+12+3, kinds, "motion each time, condition every 100 ms and session every 500 ms of 1.11 s")
	for _, id := range f.Covers {
		require.True(t, hold.Seen(id), set.At(id).Name)
		require.Contains(t, []int{3, 12, 400}, heard[id], "%s: in every datagram of its kind", set.At(id).Name)
	}
	s := d.Stats()
	consistent(t, s, kinds)
	require.Zero(t, s.Bad+s.BadReadings+s.Lost+s.Reordered+s.Duplicate+s.Implausible+s.ClockBack+s.ClockJumps)
}

// The signs of ISO 8855 inside, the source's own on the wire: byte for byte.
func TestDemoFeedOnTheWire(t *testing.T) {
	f, set := load(t, "../../configs/feeds/demo.yaml")
	e, err := NewEncoder(f, set)
	require.NoError(t, err)
	row := demoRow(f, set, rand.New(rand.NewPCG(1, 1)))
	row[channel.Speed] = 50                              // 180 km/h
	row[channel.SteeringWheelAngle] = 90 * math.Pi / 180 // to the left
	row[channel.OnCourse], row[channel.InPitLane] = 1, 0
	row[channel.LapValid], row[channel.Gear] = 1, -1
	row[channel.WheelSpeed+channel.ID(channel.RL)] = 36 / 3.6
	var motion []byte
	require.NoError(t, e.Encode(channel.Sample{At: 2, Row: row}, func(p []byte) {
		if p[4] == 1 {
			motion = bytes.Clone(p)
		}
	}))
	le := binary.LittleEndian
	require.EqualValues(t, 0x7B4EC1D6, le.Uint32(motion))
	require.EqualValues(t, 20000, le.Uint32(motion[8:]))
	require.Equal(t, float32(180), math.Float32frombits(le.Uint32(motion[12:])))
	require.EqualValues(t, 0xff, motion[18])
	require.EqualValues(t, 0b101, motion[19])
	require.EqualValues(t, -900, int16(le.Uint16(motion[24:])))
	require.EqualValues(t, 1800, int16(le.Uint16(motion[32:])), "the rear left wheel comes first")
	row[channel.InPitLane] = math.NaN()
	err = e.Encode(channel.Sample{At: 2.001, Row: row}, func(p []byte) { require.NotEqual(t, byte(1), p[4]) })
	require.ErrorIs(t, err, packet.ErrUnsayable)
	require.ErrorContains(t, err, "kind motion: in_pit_lane is absent")
	_, err = NewEncoder(mustParse(t, chunkedCSV), set)
	require.ErrorContains(t, err, "only a packet feed")
}

func mustParse(t testing.TB, text string) *feedfile.File {
	f, _ := parse(t, strings.Replace(text, "lap_distance: speed * 2 s + 1 m", "heading: speed / 3 m/s * 1 rad", 1))
	return f
}

// The whole path of the demo feed, noise on the line included: no sample without a right checksum, no panic.
func TestNoiseNeverBecomesASample(t *testing.T) {
	f, set := load(t, "../../configs/feeds/demo.yaml")
	e, err := NewEncoder(f, set)
	require.NoError(t, err)
	d := decoderOf(t, f, set)
	r := rand.New(rand.NewPCG(9, 9))
	row, n := demoRow(f, set, r), 0
	emit := func(channel.Sample) { n++ }
	for i := range 5_000 {
		_ = e.Encode(channel.Sample{At: float64(i) / 100, Row: row}, func(p []byte) {
			q := bytes.Clone(p)
			for range 1 + r.IntN(2) { // a CRC of 16 bits sees every error of up to two bits in so short a datagram
				bit := r.IntN(8 * len(q))
				q[bit/8] ^= 1 << (bit % 8)
			}
			if bytes.Equal(p, q) {
				return
			}
			d.Decode(q, math.NaN(), emit)
			d.Decode(q[:r.IntN(len(q))], math.NaN(), emit)
		})
	}
	s := d.Stats()
	require.Zero(t, n)
	require.Equal(t, s.Records, s.Bad)
	require.NotEmpty(t, s.LastBad)
	require.Greater(t, s.Short, int64(0))
}

func TestDecodeDoesNotAllocate(t *testing.T) {
	f, set := load(t, "../../configs/feeds/demo.yaml")
	e, err := NewEncoder(f, set)
	require.NoError(t, err)
	row := demoRow(f, set, rand.New(rand.NewPCG(1, 2)))
	d := decoderOf(t, f, set)
	n := 0
	emit := func(channel.Sample) { n++ }
	send := func(p []byte) { d.Decode(p, 1, emit) }
	at := 0.0
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		at += 0.01
		if e.Encode(channel.Sample{At: at, Row: row}, send) != nil {
			t.Fatal()
		}
	}))
	require.Greater(t, n, 1000)
}

func TestTheSetMayHaveGrown(t *testing.T) {
	f, set := parse(t, head+"codec: csv\ncsv: {header: false}\nchannels: {drag: {column: 1}}\nown_channels: {drag: {quantity: number}}\n")
	_, err := set.Add(channel.Channel{Name: "lift", Quantity: channel.None})
	require.NoError(t, err)
	d := decoderOf(t, f, set)
	d.Decode([]byte("5\n"), 0, func(s channel.Sample) { require.Len(t, s.Row, set.Len()) })
	require.EqualValues(t, 1, d.Stats().Samples)
	_, err = NewDecoder(f, channel.NewSet())
	require.ErrorContains(t, err, "another")
	var e *document.Error
	require.True(t, errors.As(err, &e))
}

func TestATransportOfTheReplay(t *testing.T) {
	f, set := load(t, "../../configs/feeds/demo.yaml")
	f.Transport = transport.Spec{Kind: transport.File, Path: "x"}
	_, err := NewDecoder(f, set)
	require.ErrorContains(t, err, "whole datagrams")
	f, set = load(t, "../../configs/feeds/example-json.yaml")
	f.Transport = transport.Spec{Kind: transport.File, Path: "x"}
	d := decoderOf(t, f, set)
	require.Equal(t, "line", d.Stats().Record)
	f, set = load(t, twoSources)
	_, err = NewDecoder(f, set)
	require.ErrorContains(t, err, "several sources")
}
