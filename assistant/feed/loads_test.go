package feed_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
)

// channels100 are as many channels as a rich source has, each with a unit that must be converted.
const channels100 = 100

// hundredFeed maps a hundred own channels; entry gives the mapping of one, "" where the codec lists its fields elsewhere.
func hundredFeed(t testing.TB, head string, entry func(i int) string, tail string) (*feedfile.File, *channel.Set) {
	t.Helper()
	text := head
	for i := range channels100 {
		text += entry(i)
	}
	text += tail + "\nown_channels:\n"
	for i := range channels100 {
		text += fmt.Sprintf("  c%d: {quantity: speed, range: [-1000 m/s, 1000 m/s], stale: 1 s, about: one of many}\n", i)
	}
	set := channel.NewSet()
	f, err := feedfile.Parse("hundred.yaml", []byte(text), set)
	require.NoError(t, err)
	return f, set
}

// A load is one codec with a hundred channels, and one sample in its bytes.
type load struct {
	name   string
	file   *feedfile.File
	set    *channel.Set
	before []byte // what comes once, such as a header
	sample []byte
	want   map[channel.ID]float64 // what it tells; nil: readings of all hundred
}

func reading(i int) float64 { return float64(i*37%250) + float64(i*16%1000)/1000 }

// loads are all codecs. A codec has its line here.
func loads(t testing.TB) []load {
	t.Helper()
	return []load{packetLoad(t), jsonLoad(t), csvLoad(t), nmeaLoad(t), canLoad(t)}
}

func packetLoad(t testing.TB) load {
	f, set := hundredFeed(t, "transport: {kind: udp, listen: 127.0.0.1:47119}\ncodec: packet\npacket:\n  kinds:\n    k:\n      length: 408\n      fields:\n        - {type: f64, to: time, unit: s}\n",
		func(i int) string { return fmt.Sprintf("        - {type: f32, to: c%d, unit: km/h}\n", i) }, "")
	p := make([]byte, 8)
	for i := range channels100 {
		p = binary.LittleEndian.AppendUint32(p, math.Float32bits(float32(reading(i))))
	}
	return load{"packet", f, set, nil, p, nil}
}

func jsonLoad(t testing.TB) load {
	f, set := hundredFeed(t, "transport: {kind: stdin}\ncodec: json\nchannels:\n  time: {path: t, unit: s}\n",
		func(i int) string { return fmt.Sprintf("  c%d: {path: channel_%d, unit: km/h}\n", i, i) }, "")
	var b strings.Builder
	b.WriteString(`{"t":12.345`)
	for i := range channels100 {
		fmt.Fprintf(&b, `,"channel_%d":%.3f`, i, reading(i))
	}
	b.WriteString("}\n")
	return load{"json", f, set, nil, []byte(b.String()), nil}
}

func csvLoad(t testing.TB) load {
	f, set := hundredFeed(t, "transport: {kind: stdin}\ncodec: csv\nchannels:\n  time: {column: t, unit: s}\n",
		func(i int) string { return fmt.Sprintf("  c%d: {column: channel_%d, unit: km/h}\n", i, i) }, "")
	header, row := "t", "12.345"
	for i := range channels100 {
		header += fmt.Sprintf(",channel_%d", i)
		row += fmt.Sprintf(",%.3f", reading(i))
	}
	return load{"csv", f, set, []byte(header + "\n"), []byte(row + "\n"), nil}
}

func (l *load) decoder(t testing.TB) feed.Decoder {
	t.Helper()
	d, err := feed.NewDecoder(l.file, l.set)
	require.NoError(t, err)
	if l.before != nil {
		d.Decode(l.before, 0, func(channel.Sample) { t.Fatal("a header is no sample") })
	}
	return d
}

// NMEA 0183 has no hundred channels: this is one epoch of the sentences that receivers send most, with all that they tell.
func nmeaLoad(t testing.TB) load {
	set := channel.NewSet()
	text := "transport: {kind: serial, device: x, baud: 115200}\ncodec: nmea\nchannels:\n  latitude: {item: latitude}\n  longitude: {item: longitude}\n  speed: {item: speed}\n" +
		"  heading: {item: track}\n  position_z: {item: altitude}\n  sats: {item: satellites}\n  fix: {item: fix}\n  hdop: {item: hdop}\n  pdop: {item: pdop}\n" +
		"own_channels:\n  sats: {quantity: number}\n  fix: {quantity: number}\n  hdop: {quantity: number}\n  pdop: {quantity: number}\n"
	f, err := feedfile.Parse("nmea.yaml", []byte(text), set)
	require.NoError(t, err)
	var b strings.Builder
	for _, s := range []string{
		"GNRMC,123519.10,A,4807.0380,S,01131.0000,W,022.4,084.4,230394,,,A", "GNGGA,123519.10,4807.0380,S,01131.0000,W,4,17,0.6,545.4,M,46.9,M,,",
		"GNVTG,084.4,T,,M,022.4,N,041.4848,K,A", "GNGSA,A,3,01,02,03,04,05,06,07,08,09,10,11,12,1.5,0.6,1.3",
	} {
		sum := byte(0)
		for i := range len(s) {
			sum ^= s[i]
		}
		fmt.Fprintf(&b, "$%s*%02X\r\n", s, sum)
	}
	const deg = math.Pi / 180
	want := map[channel.ID]float64{
		channel.Latitude: -(48 + 7.038/60) * deg, channel.Longitude: -(11 + 31.0/60) * deg, channel.Speed: 22.4 * 1852 / 3600, channel.Heading: (90 - 84.4) * deg, channel.PositionZ: 545.4,
	}
	for name, v := range map[string]float64{"sats": 17, "fix": 3, "hdop": 0.6, "pdop": 1.5} {
		id, ok := set.Lookup(name)
		require.True(t, ok)
		want[id] = v
	}
	return load{"nmea", f, set, nil, []byte(b.String()), want}
}

// Sixteen channels in single precision fill a frame of CAN FD; its bytes stand in either order in turns.
func canLoad(t testing.TB) load {
	const perFrame = 16
	var b strings.Builder
	body := ""
	for i := 0; i < channels100; i += perFrame {
		body += fmt.Sprintf("    0x%X:\n      signals:\n", 0x300+i)
		p := make([]byte, 4*perFrame)
		for k := range min(perFrame, channels100-i) {
			bits := math.Float32bits(float32(reading(i + k)))
			if k%2 == 0 {
				binary.LittleEndian.PutUint32(p[4*k:], bits)
				body += fmt.Sprintf("        s%d: {start: %d, length: 32, order: intel, float: true, unit: km/h, to: c%d}\n", k, 32*k, i+k)
			} else {
				binary.BigEndian.PutUint32(p[4*k:], bits)
				body += fmt.Sprintf("        s%d: {start: %d, length: 32, order: motorola, float: true, unit: km/h, to: c%d}\n", k, 32*k+7, i+k)
			}
		}
		fmt.Fprintf(&b, "(12.345) can0 %03X##0%X\n", 0x300+i, p)
	}
	f, set := hundredFeed(t, "transport: {kind: can, interface: can0}\ncodec: can\ncan:\n  messages:\n"+body, func(int) string { return "" }, "")
	return load{"can", f, set, nil, []byte(b.String()), nil}
}

// No codec allocates for a sample, whole or cut, and each gives the readings that were written.
func TestNoCodecAllocatesForASample(t *testing.T) {
	for _, l := range loads(t) {
		t.Run(l.name, func(t *testing.T) {
			d := l.decoder(t)
			want := l.set.NewRow()
			if l.want == nil {
				first, ok := l.set.Lookup("c0")
				require.True(t, ok)
				for i := range channels100 {
					want[int(first)+i] = reading(i) / 3.6
				}
			}
			for id, v := range l.want {
				want[id] = v
			}
			told := make([]int, l.set.Len())
			emit := func(s channel.Sample) {
				for id, got := range s.Row {
					if math.IsNaN(got) {
						continue
					}
					told[id]++
					// Single precision on the wire of one of them: 24 bits, so within 6e-8 of the reading.
					if w := want[id]; !(math.Abs(got-w) <= 1e-7*math.Abs(w)+1e-12) {
						t.Fatalf("%s is %g, want %g", l.set.At(channel.ID(id)).Name, got, w)
					}
				}
			}
			n := 1
			d.Decode(l.sample, 0, emit) // the first one makes room
			require.Zero(t, testing.AllocsPerRun(500, func() { n++; d.Decode(l.sample, 0, emit) }))
			if !l.file.Transport.Datagrams() {
				half := len(l.sample) / 2
				cut := func() { n++; d.Decode(l.sample[:half], 0, emit); d.Decode(l.sample[half:], 0, emit) }
				cut()
				require.Zero(t, testing.AllocsPerRun(500, cut))
			}
			require.Greater(t, n, 500)
			for id, w := range want {
				if !math.IsNaN(w) {
					require.GreaterOrEqual(t, told[id], n, l.set.At(channel.ID(id)).Name)
				}
			}
			require.GreaterOrEqual(t, int(d.Stats().Samples), n)
			require.Zero(t, d.Stats().Bad+d.Stats().BadReadings)
		})
	}
}
