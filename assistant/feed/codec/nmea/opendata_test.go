package nmea

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"io"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	gonmea "github.com/adrianmo/go-nmea"
	"github.com/stretchr/testify/require"

	"earshot/assistant/feed/codec"
	"earshot/assistant/opendata"
)

// logs are gpsd's test logs (46977fa, BSD-2-Clause): what a receiver sent, and beside it what gpsd made of it.
var logs = []string{"bt451", "haicom-305N", "nmea-rtk", "quectel-eg25-g", "sirfstarv-nmea", "ublox-zed-f9p-nmea"}

// openData reads a file of the open data.
func openData(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(opendata.Path(t, "nmea/"+name))
	require.NoError(t, err)
	return data
}

// A tpv is gpsd's report of a position.
type tpv struct {
	Class string
	Mode  int
	Time  string
	Lat   *float64
	Lon   *float64
	Speed *float64
	Track *float64
	Alt   *float64 `json:"altMSL"`
}

// A score counts what was compared with gpsd's decode.
type score struct{ reports, position, speed, track, altitude, time, noFix int }

// The receiver's sentences decode to what gpsd decodes from them. gpsd echoes the sentences and reports in between,
// in some logs once an epoch only: what the sentences of the same epoch have told so far is compared with the
// report. gpsd prints 1e-9 degree, 1e-3 m/s and 1e-4 degree of track. The
// two never disagree on whether there is a fix. The counts keep the comparison from becoming empty.
func TestAgainstGPSD(t *testing.T) {
	want := map[string]score{
		"bt451": {52, 40, 34, 22, 39, 39, 12}, "haicom-305N": {268, 246, 133, 133, 246, 246, 20}, "nmea-rtk": {123, 123, 122, 122, 123, 122, 0},
		"quectel-eg25-g": {483, 228, 196, 196, 228, 219, 255}, "sirfstarv-nmea": {63, 63, 59, 59, 63, 59, 0}, "ublox-zed-f9p-nmea": {35, 35, 35, 0, 34, 35, 0},
	}
	for _, name := range logs {
		t.Run(name, func(t *testing.T) {
			z, err := gzip.NewReader(bytes.NewReader(openData(t, name+".log.chk.gz")))
			require.NoError(t, err)
			text, err := io.ReadAll(z)
			require.NoError(t, err)
			d := NewDecoder(every(), int(items))
			var now told // of the epoch
			now.time = -1
			var got score
			emit := func(r *codec.Record) {
				if r.Time() != now.time {
					now = told{time: r.Time()}
					for i := range now.v {
						now.v[i] = math.NaN()
					}
				}
				for i, v := range r.Row {
					if !math.IsNaN(v) {
						now.v[i] = v
					}
				}
			}
			kind := ""
			for _, line := range strings.SplitAfter(string(text), "\n") {
				var r tpv
				if strings.HasPrefix(line, "$") {
					kind = strings.TrimSpace(line)
					d.Decode([]byte(line), emit)
				} else if json.Unmarshal([]byte(line), &r) == nil && r.Class == "TPV" {
					got.reports++
					compareTPV(t, d, &now, kind, r, line, &got)
				}
			}
			d.End(emit)
			require.Zero(t, d.Counts().Bad)
			require.Zero(t, d.Counts().BadReadings)
			require.Equal(t, want[name], got)
		})
	}
}

func compareTPV(t *testing.T, d *Decoder, now *told, kind string, r tpv, line string, got *score) {
	deg := math.Pi / 180
	if r.Mode < 2 {
		require.False(t, d.fix && !math.IsNaN(now.v[Latitude]), "gpsd has no fix after %s", kind)
		got.noFix++
		return
	}
	if r.Time != "" && d.dated && !math.IsNaN(now.v[Latitude]) {
		at, err := time.Parse(time.RFC3339Nano, r.Time)
		require.NoError(t, err)
		since := at.Sub(time.Unix(d.firstDay*86400, 0)).Seconds()
		require.InDelta(t, since, now.time, 1e-3, "%s: %s", kind, line)
		got.time++
	}
	if !math.IsNaN(now.v[Latitude]) && r.Lat != nil {
		require.InDelta(t, *r.Lat, now.v[Latitude]/deg, 1e-9, "%s: %s", kind, line)
		require.InDelta(t, *r.Lon, now.v[Longitude]/deg, 1e-9, "%s: %s", kind, line)
		got.position++
	}
	if !math.IsNaN(now.v[Speed]) && r.Speed != nil {
		require.InDelta(t, *r.Speed, now.v[Speed], 0.001, "%s: %s", kind, line)
		got.speed++
	}
	if !math.IsNaN(now.v[Track]) && r.Track != nil {
		require.InDelta(t, 0, math.Remainder(compass(*r.Track)-now.v[Track], 2*math.Pi)/deg, 1e-4, "%s: %s", kind, line)
		got.track++
	}
	if !math.IsNaN(now.v[Altitude]) && r.Alt != nil {
		require.InDelta(t, *r.Alt, now.v[Altitude], 1e-4, "%s: %s", kind, line)
		got.altitude++
	}
}

// go-nmea is another's parser: every sentence that both read has the same meaning.
func TestAgainstGoNMEA(t *testing.T) {
	n := 0
	for _, name := range logs {
		d := NewDecoder(every(), int(items))
		s := bufio.NewScanner(bytes.NewReader(openData(t, name+".log")))
		for s.Scan() {
			line := strings.TrimSpace(s.Text())
			var now *told
			d.Decode([]byte(line+"\n"), func(r *codec.Record) { now = &told{[items]float64(r.Row), r.Time()} })
			if !strings.HasPrefix(line, "$") {
				continue
			}
			o, err := gonmea.Parse(line)
			if err != nil {
				continue // it knows fewer of the receivers' own
			}
			switch o := o.(type) {
			case gonmea.RMC:
				if o.Validity == "A" {
					require.NotNil(t, now, line)
					same(t, line, now, Latitude, o.Latitude*math.Pi/180, Longitude, o.Longitude*math.Pi/180, Speed, o.Speed*1852/3600)
					n++
				}
			case gonmea.GGA:
				if o.FixQuality != gonmea.Invalid && o.NumSatellites > 0 { // gpsd does not take a fix of no satellite either
					require.NotNil(t, now, line)
					same(t, line, now, Latitude, o.Latitude*math.Pi/180, Longitude, o.Longitude*math.Pi/180, Altitude, o.Altitude, Satellites, float64(o.NumSatellites), HDOP, o.HDOP)
					n++
				}
			case gonmea.GLL:
				if o.Validity == "A" {
					require.NotNil(t, now, line)
					same(t, line, now, Latitude, o.Latitude*math.Pi/180, Longitude, o.Longitude*math.Pi/180)
					n++
				}
			case gonmea.GSA:
				require.NotNil(t, now, line)
				n++
			}
		}
	}
	t.Logf("%d sentences agree", n)
	require.Greater(t, n, 600)
}

// same compares pairs of an Item and what it is to be; what go-nmea makes 0 of an empty field is absent here.
func same(t *testing.T, line string, now *told, pairs ...any) {
	t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		item, want := pairs[i].(Item), pairs[i+1].(float64)
		if want == 0 && math.IsNaN(now.v[item]) {
			continue
		}
		require.InDelta(t, want, now.v[item], 1e-9, "%s: %s", line, itemNames[item])
	}
}

// all is every log behind the other, comments taken out.
func all(b *testing.B) []byte {
	var buf bytes.Buffer
	for _, name := range logs {
		for _, line := range bytes.SplitAfter(openData(b, name+".log"), []byte{'\n'}) {
			if bytes.HasPrefix(line, []byte("$")) {
				buf.Write(line)
			}
		}
	}
	return buf.Bytes()
}

func BenchmarkLogs(b *testing.B) {
	text := all(b)
	b.Run("codec=own", func(b *testing.B) {
		d := NewDecoder(every(), 120)
		b.SetBytes(int64(len(text)))
		b.ReportAllocs()
		for b.Loop() {
			d.Decode(text, func(*codec.Record) {})
		}
	})
	b.Run("codec=go-nmea", func(b *testing.B) {
		b.SetBytes(int64(len(text)))
		b.ReportAllocs()
		for b.Loop() {
			for s := bufio.NewScanner(bytes.NewReader(text)); s.Scan(); {
				_, _ = gonmea.Parse(s.Text())
			}
		}
	})
}
