package feed

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/assistant/feed/feedfile"
)

// tornStreams are two pieces of driving in every codec of lines, none of their numbers alike.
var tornStreams = []struct {
	name, file    string
	first, second string
	endTells      bool // a line without its end gives no wrong reading
}{
	{"csv", chunkedCSV, "t,\"v, air\",g\n1010,121,1\n1020,232,2\n1030,343,3\n", "5040,454,4\n5050,565,5\n5060,676,6\n", false}, // RFC 4180 leaves the last line end out
	{"csv without a header", "transport: {kind: stdin}\ncodec: csv\ncsv: {header: false}\nchannels:\n  time: {column: 1, unit: ms}\n  speed: {column: 2, unit: km/h}\n",
		"1010,121\n1020,232\n1030,343\n", "5040,454\n5050,565\n5060,676\n", false},
	{"json", chunkedJSON, `{"t":1010,"car":{"v":121},"g":1}` + "\n" + `{"t":1020,"car":{"v":232},"g":2}` + "\n", `{"t":5040,"car":{"v":454},"g":4}` + "\n" + `{"t":5050,"car":{"v":565},"g":5}` + "\n", true},
	{"json, a name and a value", "transport: {kind: stdin}\ncodec: json\njson: {name_value: {time: t}}\nchannels: {time: {unit: s}, speed: {name: v, unit: m/s}}\n",
		`{"t":11,"name":"v","value":21}` + "\n" + `{"t":12,"name":"v","value":32}` + "\n", `{"t":53,"name":"v","value":43}` + "\n" + `{"t":54,"name":"v","value":54}` + "\n", true},
	{"nmea", "transport: {kind: stdin}\ncodec: nmea\n", nmeaFirst, nmeaSecond, true},
	{"nmea without checksums", "transport: {kind: stdin}\ncodec: nmea\nnmea: {checksum: optional}\n", withoutSums(nmeaFirst), withoutSums(nmeaSecond), true},
	{"can", tornCAN, "(11.25) vcan0 1F0#1122334455667788\n(12.5) vcan0 18FEF100#99AABBCC\n(13.75)  vcan0  1F0   [8]  21 32 43 54 65 76 87 98\n",
		"(54.25) vcan0 1F0#A1A2A3A4A5A6A7A8\n(55.5) vcan0 18FEF100#B9BABBBC\n(56.75)  vcan0  1F0   [8]  C1 C2 C3 C4 C5 C6 C7 C8\n", true},
	{"can without times", strings.Replace(tornCAN, "can:\n", "can:\n  time: arrival\n", 1), " vcan0  1F0   [8]  11 22 33 44 55 66 77 88\nvcan0 18FEF100#99AABBCC\n",
		" vcan0  1F0   [8]  A1 A2 A3 A4 A5 A6 A7 A8\nvcan0 18FEF100#B9BABBBC\n", true},
}

const tornCAN = `transport: {kind: stdin}
codec: can
can:
  messages:
    0x1F0:
      signals:
        a: {start: 7, length: 16, order: motorola, scale: 0.001, unit: m/s, to: speed}
        b: {start: 48, length: 16, order: intel, unit: m, to: lap_distance}
    0x18FEF100:
      signals:
        c: {start: 7, length: 32, order: motorola, scale: 1e-6, unit: m, to: position_x}
`

// Other places, speeds and directions in each; the checksums are those of the standard.
var (
	nmeaFirst = sentences("GPRMC,123519.00,A,4811.111,N,01122.222,E,033.3,044.4,230394,003.1,W", "GPGGA,123519.00,4811.111,N,01122.222,E,1,08,0.9,555.5,M,46.9,M,,", "GPVTG,044.4,T,,M,033.3,N,061.7,K")
	// VTG comes first: its epoch's time has been lost.
	nmeaSecond = sentences("GPVTG,066.6,T,,M,077.7,N,143.9,K", "GPGGA,123641.00,4822.888,N,01199.999,E,1,08,0.9,888.8,M,46.9,M,,",
		"GPRMC,123642.00,A,4844.777,N,01145.678,E,099.9,111.1,230394,003.1,W", "GPVTG,111.1,T,,M,099.9,N,185.0,K")
)

func sentences(bodies ...string) (text string) {
	for _, s := range bodies {
		var x byte
		for i := range len(s) {
			x ^= s[i]
		}
		text += fmt.Sprintf("$%s*%02X\r\n", s, x)
	}
	return text
}

// withoutSums takes the checksums off.
func withoutSums(text string) (bare string) {
	for _, line := range strings.SplitAfter(text, "\n") {
		if body, _, ok := strings.Cut(line, "*"); ok {
			bare += body + "\r\n"
		}
	}
	return bare
}

// readings decodes pieces of a stream with gaps between and gives each reading with the time of its record.
func readings(t testing.TB, f *feedfile.File, set *channel.Set, gaps, end bool, pieces ...string) map[string]bool {
	t.Helper()
	d := decoderOf(t, f, set).(*decoder)
	told := map[string]bool{}
	n := 0
	d.onRecord = func(r *codec.Record) {
		n++
		for id, v := range r.Row {
			if !math.IsNaN(v) {
				told[fmt.Sprintf("%s=%v at %v", set.At(channel.ID(id)).Name, v, r.Time())] = true
			}
		}
		told[fmt.Sprintf("at %v", r.Time())] = true
	}
	for i, p := range pieces {
		if i > 0 && gaps {
			d.Gap()
		}
		d.Decode([]byte(p), math.NaN(), func(channel.Sample) {})
	}
	if end {
		d.End(func(channel.Sample) {})
	}
	consistent(t, d.Stats(), n)
	return told
}

// Where a stream was torn, at whichever byte it stopped and at whichever it went on, no reading comes that no whole line
// has told, with a time of its own record: also where no checksum protects it.
func TestTornLinesGiveNoReading(t *testing.T) {
	for _, tt := range tornStreams {
		t.Run(tt.name, func(t *testing.T) {
			f, set := parse(t, tt.file)
			whole := readings(t, f, set, false, true, tt.first, tt.second)
			if f.Codec == "nmea" {
				whole = readings(t, f, set, false, true, tt.first)
				add := func(pieces ...string) {
					for x := range readings(t, f, set, true, true, pieces...) {
						whole[x] = true
					}
				}
				add(tt.second)
				for _, line := range strings.SplitAfter(tt.first+tt.second, "\n") {
					add(line) // VTG has no time as long as none has been told
				}
			}
			require.Greater(t, len(whole), 4)
			wrong := func(told map[string]bool) (list []string) {
				for x := range told {
					if !whole[x] {
						list = append(list, x)
					}
				}
				return list
			}
			glued := 0 // cuts that would give a wrong reading without the gap
			for i := range len(tt.first) + 1 {
				for j := range len(tt.second) + 1 {
					if told := readings(t, f, set, true, true, tt.first[:i], tt.second[j:]); len(wrong(told)) > 0 {
						require.Empty(t, wrong(told), "%q, then %q", tt.first[:i], tt.second[j:])
					}
					if glued == 0 && len(wrong(readings(t, f, set, false, false, tt.first[:i], tt.second[j:]))) > 0 {
						glued++
					}
				}
				if told := readings(t, f, set, false, true, tt.first[:i]); tt.endTells && len(wrong(told)) > 0 {
					require.Empty(t, wrong(told), "%q, and nothing more", tt.first[:i])
				}
			}
			require.Positive(t, glued, "the two pieces cannot be glued to a wrong reading: the test proves nothing")
		})
	}
}

// After a gap a table may be another's, with other columns; a rolling counter too.
func TestAfterAGapTheSourceMayBeAnother(t *testing.T) {
	f, set := parse(t, chunkedCSV)
	told := readings(t, f, set, true, true, "t,\"v, air\",g\n1000,36,1\n", "\ufeffg,t,note,\"v, air\"\n2,2000,x,72\n3,3000,y,108\n")
	want := map[string]bool{"at 1": true, "at 2": true, "at 3": true}
	for i := range 3 {
		want[fmt.Sprintf("speed=%d at %d", 10*(i+1), i+1)] = true
		want[fmt.Sprintf("gear=%d at %d", i+1, i+1)] = true
	}
	for x := range told {
		if !strings.HasPrefix(x, "lap_distance") {
			require.True(t, want[x], x)
			delete(want, x)
		}
	}
	require.Empty(t, want)

	f, set = parse(t, strings.Replace(tornCAN, "      signals:\n        a", "      counter: {start: 0, length: 2, order: intel}\n      signals:\n        a", 1))
	d := decoderOf(t, f, set).(*decoder)
	n := 0
	one := func(line string) { d.Decode([]byte(line), math.NaN(), func(channel.Sample) { n++ }) }
	one("(1) c 1F0#0100000000000000\n(2) c 1F0#0200000000000000\n")
	d.Gap()
	one("(9) c 1F0#0200000000000000\n") // the same bytes by chance: no frame that comes twice
	d.Gap()
	one("(10) c 1F0#0100000000000000\n")
	require.Equal(t, 4, n)
	require.Zero(t, d.Stats().Duplicate+d.Stats().Lost)
}

func TestGarbageBetweenPacketsIsCounted(t *testing.T) {
	f, set := parse(t, `transport: {kind: stdin}
codec: packet
packet:
  frame: {start: B562, length: {at: 2, type: u16, counts: all}}
  kinds: {a: {when: [{at: 4, type: u8, is: 7}], fields: [{at: 5, type: u8, to: gear}]}}
`)
	d := decoderOf(t, f, set)
	p := []byte{0xb5, 0x62, 0, 0, 7, 3}
	binary.LittleEndian.PutUint16(p[2:], uint16(len(p)))
	n := 0
	emit := func(channel.Sample) { n++ }
	d.Decode(bytes.Join([][]byte{[]byte("noise"), p, p[:4]}, nil), 1, emit)
	d.(interface{ Gap() }).Gap()
	d.Decode(p, 2, emit)
	require.Equal(t, 2, n)
	s := d.Stats()
	require.EqualValues(t, 9, s.Skipped)
	require.Equal(t, map[string]int64{"ended in the middle": 1}, s.Reasons)
}
