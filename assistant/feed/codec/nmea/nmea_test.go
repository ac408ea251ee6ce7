package nmea

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	gonmea "github.com/adrianmo/go-nmea"
	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

// every maps all items to the channels 0, 1, 2 …
func every() Layout {
	var l Layout
	for i := range items {
		l.Fields = append(l.Fields, Field{channel.ID(i), i})
	}
	return l
}

// A told is a copy of a record.
type told struct {
	v    [items]float64
	time float64
}

func decode(t testing.TB, l Layout, text string) ([]told, *Decoder) {
	d := NewDecoder(l, int(items))
	var got []told
	emit := func(r *codec.Record) { got = append(got, told{[items]float64(r.Row), r.Time()}) }
	d.Decode([]byte(text), emit)
	d.End(emit)
	c := d.Counts()
	require.Equal(t, c.Records, c.Emitted+c.Ignored+c.Bad)
	require.EqualValues(t, len(got), c.Emitted)
	return got, d
}

// sum adds the checksum, so that a test can show what else is wrong.
func sum(s string) string {
	var x byte
	for i := range len(s) {
		x ^= s[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", s, x)
}

func compass(deg float64) float64 { return math.Remainder(math.Pi/2-deg*math.Pi/180, 2*math.Pi) }

// The sentences and their meaning are printed in gpsd's "NMEA Revealed" and in many other texts.
func TestPublishedSentences(t *testing.T) {
	deg := math.Pi / 180
	tests := []struct {
		text string
		want map[Item]float64
		time string // with the day where the sentence has it
	}{
		{"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
			map[Item]float64{Latitude: 48.1173 * deg, Longitude: (11 + 31.0/60) * deg, Quality: 1, Satellites: 8, HDOP: 0.9, Altitude: 545.4}, "12:35:19"},
		{"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
			map[Item]float64{Latitude: 48.1173 * deg, Longitude: (11 + 31.0/60) * deg, Speed: 22.4 * 1852 / 3600, Track: compass(84.4)}, "1994-03-23 12:35:19"},
		{"$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B",
			map[Item]float64{Latitude: (44 + 4.13993/60) * deg, Longitude: -(121 + 18.86023/60) * deg, Speed: 0.146 * 1852 / 3600}, "2017-01-10 00:10:31"},
		{"$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M*47",
			map[Item]float64{Latitude: 44.069006 * deg, Longitude: -121.3143268333 * deg, Quality: 1, Satellites: 12, HDOP: 0.98, Altitude: 1113}, "00:10:43"},
		{"$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34", map[Item]float64{Speed: 2.55 * 1852 / 3600, Track: compass(220.86)}, ""},
	}
	for _, tt := range tests {
		got, d := decode(t, every(), tt.text+"\n")
		require.Len(t, got, 1, tt.text)
		for i := range items {
			want, ok := tt.want[i]
			if !ok {
				require.True(t, math.IsNaN(got[0].v[i]), "%s: %s is %g and was not told", tt.text, itemNames[i], got[0].v[i])
				continue
			}
			tol := 1e-12
			if i == Latitude || i == Longitude {
				tol = 1e-8 * deg // as many digits as are printed
			}
			require.InDelta(t, want, got[0].v[i], tol, "%s: %s", tt.text, itemNames[i])
		}
		switch layout := "2006-01-02 15:04:05"; {
		case tt.time == "":
			require.True(t, math.IsNaN(got[0].time))
		case len(tt.time) > 8:
			at, err := time.Parse(layout, tt.time)
			require.NoError(t, err)
			require.True(t, d.dated)
			require.Equal(t, at.Unix(), d.firstDay*86400+int64(got[0].time))
		default:
			require.False(t, d.dated)
			at, err := time.Parse(layout[11:], tt.time)
			require.NoError(t, err)
			require.InDelta(t, at.Sub(at.Truncate(24*time.Hour)).Seconds(), got[0].time, 1e-9)
		}
	}
}

// gpsd's text prints this one with a checksum that is not that of its characters (0x32), and without the dollar sign.
func TestPrintedWithAWrongChecksum(t *testing.T) {
	for _, text := range []string{"GPAAM,A,A,0.10,N,WPTNME*43", "$GPAAM,A,A,0.10,N,WPTNME*43"} {
		got, d := decode(t, every(), text+"\n")
		require.Empty(t, got)
		require.EqualValues(t, 1, d.Counts().Bad)
	}
	got, d := decode(t, every(), "$GPAAM,A,A,0.10,N,WPTNME*32\n")
	require.Empty(t, got)
	require.EqualValues(t, 1, d.Counts().Ignored)
}

func TestWhatIsNoReading(t *testing.T) {
	const rmc = "GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,,"
	const void = "GPRMC,123519,V,4807.038,N,01131.000,E,022.4,084.4,230394,,"
	tests := []struct {
		name, text                string
		records                   int
		position, speed           bool // of the last record
		ignored, bad, badReadings int64
		optional                  bool
	}{
		{name: "blank, comment, ship, proprietary, unknown", text: "\n# c\n!AIVDM,1,1,,A,x,0*00\n$PUBX,00*ZZ\n" + sum("GPTXT,01,01,02,x"), ignored: 5},
		{name: "status void", text: sum(void), records: 1},
		{name: "status valid and mode none", text: sum(rmc + ",N"), records: 1},
		{name: "typed in", text: sum(rmc + ",M"), records: 1},
		{name: "quality none", text: sum("GPGGA,123519,4807.038,N,01131.000,E,0,00,9.9,545.4,M,,M,,"), records: 1},
		{name: "quality typed in", text: sum("GPGGA,123519,4807.038,N,01131.000,E,7,00,9.9,545.4,M,,M,,"), records: 1},
		{name: "fix of no satellite", text: sum("GPGGA,123519,4807.038,N,01131.000,E,1,00,9.9,545.4,M,,M,,"), records: 1},
		{name: "estimated", text: sum("GPGGA,123519,4807.038,N,01131.000,E,6,00,9.9,545.4,M,,M,,"), records: 1, position: true},
		{name: "empty fields", text: sum("GPRMC,,V,,,,,,,,,,N") + sum("GPGLL,,,,,,V,N") + sum("GPVTG,,,,,,,,,N"), ignored: 3},
		{name: "VTG says zero while there is no fix", text: sum(void) + sum("GPVTG,0.00,T,,,0.00,N,0.00,K,A"), records: 1, ignored: 1},
		{name: "VTG before all others", text: sum("GPVTG,10.0,T,,M,3.00,N,5.556,K,A"), records: 1, speed: true},
		{name: "km/h only", text: sum("GPVTG,,T,,M,,N,5.556,K,A"), records: 1, speed: true},
		{name: "no side", text: sum("GPRMC,123519,A,4807.038,,01131.000,E,022.4,084.4,230394,,"), records: 1, speed: true, badReadings: 1},
		{name: "61 minutes", text: sum("GPRMC,123519,A,4861.038,N,01131.000,E,022.4,084.4,230394,,"), records: 1, speed: true, badReadings: 1},
		{name: "beyond the pole", text: sum("GPRMC,123519,A,9000.001,N,01131.000,E,022.4,084.4,230394,,"), records: 1, speed: true, badReadings: 1},
		{name: "signed", text: sum("GPRMC,123519,A,-807.038,N,01131.000,E,022.4,084.4,230394,,"), records: 1, speed: true, badReadings: 1},
		{name: "speed no number", text: sum("GPRMC,123519,A,4807.038,N,01131.000,E,0x2,084.4,230394,,"), records: 1, position: true, badReadings: 1},
		{name: "hour 24", text: sum("GPRMC,243519,A,4807.038,N,01131.000,E,022.4,084.4,230394,,"), bad: 1},
		{name: "month 13", text: sum("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,231394,,"), bad: 1},
		{name: "checksum missing", text: "$" + rmc + "\n", bad: 1},
		{name: "checksum missing and that is well", text: "$" + rmc + "\n", optional: true, records: 1, position: true, speed: true},
		{name: "checksum wrong, never well", text: strings.Replace(sum(rmc), "022.4", "922.4", 1), optional: true, bad: 1},
		{name: "checksum of one digit", text: "$" + rmc + "*5\n", bad: 1},
		{name: "other bytes before", text: "\xb5\x62\x01\x07" + sum(rmc), records: 1, position: true, speed: true},
		{name: "torn sentence before", text: "$GPRMC,12351" + sum(rmc), records: 1, position: true, speed: true},
		{name: "tag block before", text: `\s:r1,c:1*00\` + sum(rmc), records: 1, position: true, speed: true},
		{name: "too long", text: "$" + strings.Repeat("x", MaxSentence) + "\n", bad: 1},
		{name: "address of another length", text: sum("GPRMCX,1"), bad: 1},
		{name: "GLL", text: sum("GPGLL,4807.038,N,01131.000,E,123519,A,A"), records: 1, position: true},
		{name: "GNS", text: sum("GNGNS,123519,4807.038,N,01131.000,E,AN,08,0.9,545.4,46.9,,"), records: 1, position: true},
		{name: "GNS without fix", text: sum("GNGNS,123519,4807.038,N,01131.000,E,NN,08,0.9,545.4,46.9,,"), records: 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			l := every()
			l.ChecksumOptional = tt.optional
			got, d := decode(t, l, tt.text)
			c := d.Counts()
			require.Len(t, got, tt.records)
			require.Equal(t, []int64{tt.ignored, tt.bad, tt.badReadings}, []int64{c.Ignored, c.Bad, c.BadReadings}, c.Last("line"))
			if tt.records > 0 {
				last := got[len(got)-1]
				require.Equal(t, tt.position, !math.IsNaN(last.v[Latitude]))
				require.Equal(t, tt.position, !math.IsNaN(last.v[Longitude]))
				require.Equal(t, tt.speed, !math.IsNaN(last.v[Speed]))
			}
		})
	}
}

func TestHeadingAndFix(t *testing.T) {
	got, _ := decode(t, every(), sum("HEHDT,90.0,T")+sum("GPGSA,A,3,01,02,03,,,,,,,,,,1.5,0.9,1.2")+sum("GPGSA,A,1,,,,,,,,,,,,,99.99,99.99,99.99"))
	require.Len(t, got, 3)
	require.InDelta(t, 0, got[0].v[TrueHeading], 1e-12) // east
	require.Equal(t, []float64{3, 1.5, 0.9, 1.2}, []float64{got[1].v[Fix], got[1].v[PDOP], got[1].v[HDOP], got[1].v[VDOP]})
	require.Equal(t, 1.0, got[2].v[Fix])
	require.True(t, math.IsNaN(got[2].v[HDOP]))
}

// Time goes on over midnight with and without dates, and a date that comes late moves nothing.
func TestMidnight(t *testing.T) {
	rmc := func(tod, date string) string {
		return sum("GPRMC," + tod + ",A,4807.038,N,01131.000,E,022.4,084.4," + date + ",,")
	}
	gga := func(tod string) string {
		return sum("GPGGA," + tod + ",4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,")
	}
	tests := []struct {
		name, text string
		want       []float64 // s after the first
	}{
		{"dates all along", rmc("235959.90", "311299") + rmc("000000.00", "010100") + rmc("000000.10", "010100"), []float64{0, 0.1, 0.2}},
		{"no date", gga("235959.90") + gga("000000.00") + gga("000000.10"), []float64{0, 0.1, 0.2}},
		{"the date comes after midnight", gga("235959.90") + gga("000000.00") + rmc("000000.00", "010100"), []float64{0, 0.1, 0.1}},
		{"the date is a sentence late", rmc("235959.90", "280224") + gga("000000.00") + rmc("000000.00", "290224"), []float64{0, 0.1, 0.1}},
		{"a sentence of before midnight comes late", rmc("235959.90", "280224") + rmc("000000.00", "290224") + gga("235959.90"), []float64{0, 0.1, 0}},
		{"two days without a signal", rmc("120000", "280224") + rmc("120001", "010324"), []float64{0, 2*86400 + 1}},
		{"VTG has the time before", rmc("120000", "280224") + rmc("120001", "280224") + sum("GPVTG,10.0,T,,M,3.00,N,5.556,K,A"), []float64{0, 1, 1}},
		{"ZDA brings the date", gga("120000") + sum("GPZDA,120000,28,02,2024,00,00") + rmc("120001", "290224"), []float64{0, 86401}},
		{"the date of a receiver without a fix is none", gga("120000") + sum("GPRMC,120000,V,,,,,,,060180,,,N") + rmc("120001", "280224") + rmc("120002", "280224"), []float64{0, 0, 1, 2}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, d := decode(t, every(), tt.text)
			require.Len(t, got, len(tt.want), d.Counts().Last("line"))
			for i, want := range tt.want {
				require.InDelta(t, want, got[i].time-got[0].time, 1e-6, "record %d", i)
			}
		})
	}
}

const mixed = "# c\r\n$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\nnoise$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34\n" +
	"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6B\n$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"

// However a stream is cut, the records are the same.
func TestAnyCut(t *testing.T) {
	want, wd := decode(t, every(), mixed)
	require.Len(t, want, 3)
	for cut := range len(mixed) {
		for _, step := range []int{len(mixed), 1} {
			d := NewDecoder(every(), int(items))
			var got []told
			emit := func(r *codec.Record) { got = append(got, told{[items]float64(r.Row), r.Time()}) }
			d.Decode([]byte(mixed[:cut]), emit)
			for rest := mixed[cut:]; rest != ""; {
				n := min(step, len(rest))
				d.Decode([]byte(rest[:n]), emit)
				rest = rest[n:]
			}
			d.End(emit)
			require.Equal(t, fmt.Sprint(want), fmt.Sprint(got)) // NaN is not equal to itself
			require.Equal(t, wd.Counts().Bad, d.Counts().Bad)
		}
	}
}

func TestDatagramEndsItsLine(t *testing.T) {
	l := every()
	l.Datagrams = true
	d, n := NewDecoder(l, int(items)), 0
	for range 2 {
		d.Decode([]byte("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"), func(*codec.Record) { n++ })
	}
	require.Equal(t, 2, n)
}

func TestDecodeDoesNotAllocate(t *testing.T) {
	d, n := NewDecoder(every(), 120), 0
	text := []byte(mixed + "\n")
	emit := func(*codec.Record) { n++ }
	d.Decode(text, emit)
	require.Zero(t, testing.AllocsPerRun(200, func() { d.Decode(text, emit) }))
	require.Greater(t, n, 600)
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(mixed), false)
	f.Add([]byte("$GPGGA,235959.99,9000.000,S,18000.000,W,1,08,0.9,-545.4,M,46.9,M,,\n$GPZDA,000000,31,12,9999\n"), true)
	f.Fuzz(func(t *testing.T, data []byte, optional bool) {
		l := every()
		l.ChecksumOptional = optional
		got, d := decode(t, l, string(data))
		if c := d.Counts(); c.Bytes != int64(len(data)) {
			t.Fatal(c.Bytes)
		}
		for _, r := range got {
			if math.Abs(r.v[Latitude]) > math.Pi/2 || math.Abs(r.v[Longitude]) > math.Pi || r.v[Speed] < 0 || math.Abs(r.v[Track]) > 3.15 {
				t.Fatal(r)
			}
			for i := range items {
				if math.IsInf(r.v[i], 0) || math.IsInf(r.time, 0) {
					t.Fatal(r)
				}
			}
		}
		// A sentence that go-nmea takes for good and whose checksum is written is one for us, and the other way round.
		for _, line := range bytes.Split(data, []byte{'\n'}) {
			s, err := gonmea.Parse(string(bytes.TrimSpace(line)))
			if rmc, ok := s.(gonmea.RMC); ok && err == nil && rmc.Validity == "A" {
				if _, d := decode(t, l, string(line)+"\n"); d.Counts().By[codec.BadChecksum] > 0 {
					t.Fatalf("%q: the checksum is right", line)
				}
			}
		}
	})
}
