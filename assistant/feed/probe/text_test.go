package probe

import (
	"compress/gzip"
	"io"
	"os"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/opendata"
)

func describe(text string, cut int) Description {
	var s Sniffer
	for len(text) > 0 {
		n := min(cut, len(text))
		s.Stream([]byte(text[:n]))
		text = text[n:]
	}
	return s.Describe()
}

func readAll(t testing.TB, name string) string {
	t.Helper()
	f, err := os.Open(opendata.Path(t, name))
	require.NoError(t, err)
	defer f.Close()
	var r io.Reader = f
	if strings.HasSuffix(name, ".gz") {
		r, err = gzip.NewReader(f)
		require.NoError(t, err)
	}
	b, err := io.ReadAll(r)
	require.NoError(t, err)
	return string(b)
}

func names(d Description) []string {
	var list []string
	for _, c := range d.Columns {
		list = append(list, c.Name)
	}
	return list
}

// Measured logs, each told by what it holds (open data; SOURCES.md has origin and licence).
func TestKindsOfMeasuredText(t *testing.T) {
	for _, name := range []string{"nmea-rtk", "bt451", "haicom-305N", "quectel-eg25-g", "sirfstarv-nmea", "ublox-zed-f9p-nmea"} {
		d := describe(readAll(t, "nmea/"+name+".log"), 4096)
		require.Equal(t, NMEA, d.Kind, name)
		require.Equal(t, 1.0, d.Fit, "all checksums of %s are valid", name)
		require.Equal(t, "#", d.Comment)
		sentence := false
		for _, n := range names(d) {
			sentence = sentence || strings.HasSuffix(n, "RMC")
		}
		require.True(t, sentence, names(d))
	}

	text := readAll(t, "can-bus/sample-can.log")
	ids := map[string]bool{}
	for _, l := range strings.Split(strings.TrimSpace(text), "\n") {
		id, _, _ := strings.Cut(strings.Fields(l)[2], "#")
		ids[id] = true
	}
	d := describe(text, 1000)
	require.Equal(t, Candump, d.Kind)
	require.Equal(t, int64(6158), d.Lines)
	require.Len(t, d.Columns, len(ids))

	d = describe(readAll(t, "can-bus/openxc-trace-shorter.json"), 777)
	require.Equal(t, NameValue, d.Kind)
	require.Equal(t, []string{"name", "value", "timestamp"}, []string{d.NameKey, d.ValueKey, d.TimeKey})
	require.Contains(t, names(d), "vehicle_speed")

	d = describe(readAll(t, "racecar-oval-25hz/LVMS_23_01_04_B.csv.gz"), 1<<16)
	require.Equal(t, CSV, d.Kind)
	require.Equal(t, int64(16792), d.Lines)
	require.True(t, d.Header)
	require.Equal(t, ",", d.Delimiter)
	require.Len(t, d.Columns, 17)
	require.Equal(t, "wheel_fl(kmph)", d.Columns[10].Name)
	require.Equal(t, "kmph", d.Columns[10].Unit)

	d = describe(readAll(t, "road-loop/2014-03-26-000-Data.csv.gz"), 1<<16)
	require.Equal(t, CSV, d.Kind)
	require.Equal(t, "latitude", d.Columns[14].Name)
	require.InDelta(t, 51.04, d.Columns[14].Max, 0.1)

	d = describe(readAll(t, "timing-gt-sprint/laps.csv.gz"), 1<<16)
	require.Equal(t, CSV, d.Kind)
	require.True(t, d.Header)
}

func TestKindsOfWrittenText(t *testing.T) {
	tests := []struct {
		name, text string
		check      func(t *testing.T, d Description)
	}{
		{"semicolons and decimal commas", "Time;Speed;Steer\ns;km/h;deg\n" + strings.Repeat("0,5;187,2;-12,5\n0,6;188;3\n", 20), func(t *testing.T, d Description) {
			require.Equal(t, CSV, d.Kind)
			require.Equal(t, ";", d.Delimiter)
			require.True(t, d.DecimalComma && d.Header && d.UnitsRow)
			require.Equal(t, []string{"s", "km/h", "deg"}, []string{d.Columns[0].Unit, d.Columns[1].Unit, d.Columns[2].Unit})
			require.Equal(t, 188.0, d.Columns[1].Max)
		}},
		{"tabs without a header", strings.Repeat("1\t2.5\t3\n", 30), func(t *testing.T, d Description) {
			require.Equal(t, "tab", d.Delimiter)
			require.False(t, d.Header || d.DecimalComma || d.UnitsRow)
		}},
		{"objects in objects", strings.Repeat(`{"car":{"v":51.5,"g":[0.1,-0.2]},"flag":"GREEN","abs":null}`+"\n", 30), func(t *testing.T, d Description) {
			require.Equal(t, JSON, d.Kind)
			require.Equal(t, []string{"abs", "car.g[0]", "car.g[1]", "car.v", "flag"}, names(d))
			require.Equal(t, 51.5, d.Columns[3].Min)
			require.Zero(t, d.Columns[4].Numbers)
		}},
		{"frames on a screen", strings.Repeat("  can0  1F4   [8]  00 11 22 33 44 55 66 77\n  can0  0A0   [2]  01 02\n", 20), func(t *testing.T, d Description) {
			require.Equal(t, Candump, d.Kind)
			require.Equal(t, []string{"0x0A0", "0x1F4"}, names(d))
		}},
		{"prose", strings.Repeat("The tyres are cold, and the brakes, too.\nThey warm up.\n", 20), func(t *testing.T, d Description) {
			require.Equal(t, Prose, d.Kind)
		}},
		{"a wrong checksum", strings.Repeat("$GPRMC,1,A*00\n", 20), func(t *testing.T, d Description) {
			require.NotEqual(t, NMEA, d.Kind)
		}},
		{"nothing", "", func(t *testing.T, d Description) { require.Equal(t, Prose, d.Kind) }},
	}
	for _, c := range tests {
		t.Run(c.name, func(t *testing.T) {
			c.check(t, describe(c.text, 100))
			c.check(t, describe(c.text, 1))
		})
	}
}

// However long it listens, memory stays within the bounds: five times as much input takes no more.
func TestMemoryIsBounded(t *testing.T) {
	heap := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	set := channel.NewSet()
	ids := everything()
	m := NewMeter(set, ids, nil)
	var binary, text Sniffer
	p := make([]byte, 400)
	at, seed := 0.0, uint32(1)
	feedAll := func(n int) {
		row := append(channel.Row(nil), drive()[500].Row...)
		for i := range n {
			at += 0.25
			seed = seed*1664525 + 1013904223
			row[channel.Speed] = float64(seed >> 28)
			m.Add(channel.Sample{At: at, Row: row})
			p[i%400] = byte(seed >> 24)
			binary.Datagram(p[:100+int(seed>>20)%300], at)
			text.Stream([]byte("speed,1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17,18,19,20\n"))
		}
	}
	feedAll(10000)
	before := heap()
	feedAll(50000)
	after := heap()
	require.Less(t, float64(after), float64(before)+8e6)
	require.LessOrEqual(t, len(binary.groups), mostSizes)
	require.Positive(t, binary.Layout().Other)
	runtime.KeepAlive(m)
	runtime.KeepAlive(&text)
}

// A Meter takes a sample without allocation once it is warm.
func TestMeterDoesNotAllocate(t *testing.T) {
	m := NewMeter(channel.NewSet(), everything(), nil)
	list := drive()
	for _, s := range list[:3000] {
		m.Add(s)
	}
	i := 3000
	require.Less(t, testing.AllocsPerRun(1000, func() { m.Add(list[i%len(list)]); i++ }), 0.1)
}

func BenchmarkMeter(b *testing.B) {
	m := NewMeter(channel.NewSet(), everything(), nil)
	list := drive()
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		m.Add(list[i%len(list)])
		i++
	}
}

// Whatever comes, nothing breaks.
func FuzzSniffer(f *testing.F) {
	f.Add([]byte("{\"a\":1}\n"), uint8(9))
	f.Add([]byte("a;b\n1,5;2\n"), uint8(5))
	f.Add([]byte{0, 1, 2, 3, 250, 9, 9, 9, 9}, uint8(3))
	f.Fuzz(func(t *testing.T, b []byte, cut uint8) {
		var s, u Sniffer
		for range 30 { // enough to be looked at
			for i := 0; i < len(b); i += int(cut) + 1 {
				s.Stream(b[i:min(len(b), i+int(cut)+1)])
				u.Datagram(b[i:min(len(b), i+int(cut)+1)], float64(i))
			}
		}
		s.Describe()
		u.Describe()
		for _, k := range u.Layout().Kinds {
			at := 0
			for _, f := range k.Fields {
				require.Equal(t, at, f.At)
				at += f.Size
			}
			require.True(t, k.Fields == nil || at == k.Size)
		}
	})
}
