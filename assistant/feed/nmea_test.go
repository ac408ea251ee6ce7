package feed

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/opendata"
)

// sentence adds the checksum of NMEA 0183.
func sentence(s string) string {
	var x byte
	for i := range len(s) {
		x ^= s[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", s, x)
}

// Nothing needs to be mapped.
func TestNMEAWithoutMapping(t *testing.T) {
	f, set := parse(t, "transport: {kind: file}\ncodec: nmea\n")
	require.True(t, f.Clock.Own)
	var names []string
	for _, id := range f.Covers {
		names = append(names, set.At(id).Name)
	}
	require.Equal(t, []string{"speed", "position_z", "latitude", "longitude", "heading"}, names)
	// 10 Hz, read off the log: 13:28:19.60 to 13:28:29.90 and, after a gap of ten minutes, 13:38:59.80 to 13:39:01.50. A gap beyond
	// the limit counts 5 s where arrivals are unknown.
	f.Transport.Path = opendata.Path(t, "nmea/nmea-rtk.log")
	list, s := play(t, f, set)
	require.EqualValues(t, 244, s.Samples)
	require.Zero(t, s.Bad+s.ClockBack+s.Untimed+s.Implausible)
	require.EqualValues(t, 1, s.ClockJumps)
	require.Zero(t, list[0].At)
	require.InDelta(t, 10.3+5+1.7, list[len(list)-1].At, 1e-6)
	north := (list[243].Row[channel.Latitude] - list[0].Row[channel.Latitude]) * 6371000
	require.Less(t, math.Abs(north), 30.0)
}

// While there is no fix At goes on with the receiver's clock, however long that lasts, so that what was read before grows stale.
func TestNMEAWithoutAFix(t *testing.T) {
	f, set := parse(t, "transport: {kind: stdin}\ncodec: nmea\n")
	d := decoderOf(t, f, set)
	var at, speed []float64
	emit := func(s channel.Sample) { at, speed = append(at, s.At), append(speed, s.Row[channel.Speed]) }
	for i := range 90 {
		status := "V"
		if i < 2 || i > 87 {
			status = "A"
		}
		d.Decode([]byte(sentence(fmt.Sprintf("GPRMC,2359%02d,%s,4807.038,N,01131.000,E,022.4,084.4,230394,,", i%60, status))), math.NaN(), emit)
		if i == 59 {
			break
		}
	}
	require.Len(t, at, 60)
	require.InDelta(t, 59, at[59], 1e-9)
	require.False(t, math.IsNaN(speed[1]))
	for _, v := range speed[2:] {
		require.True(t, math.IsNaN(v))
	}
	s := d.Stats()
	require.Zero(t, s.ClockJumps)
	consistent(t, s, 60)
}

func TestNMEAMapping(t *testing.T) {
	f, set := load(t, "../../configs/feeds/example-gps.yaml")
	d := decoderOf(t, f, set)
	sats, ok := set.Lookup("satellites")
	require.True(t, ok)
	d.Decode([]byte("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\n"), 0, func(s channel.Sample) {
		require.Equal(t, 8.0, s.Row[sats])
		require.Equal(t, 545.4, s.Row[channel.PositionZ])
		require.True(t, math.IsNaN(s.Row[channel.Speed]))
	})
	require.EqualValues(t, 1, d.Stats().Samples)
	// What comes in one sentence can be reckoned with.
	f, set = parse(t, "transport: {kind: stdin}\ncodec: nmea\nderived: {on_course: speed / 1 km/h}\n")
	d = decoderOf(t, f, set)
	d.Decode([]byte("$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34\n"), 0, func(s channel.Sample) { require.InDelta(t, 4.7226, s.Row[channel.OnCourse], 1e-4) })
	require.EqualValues(t, 1, d.Stats().Untimed)
}

// Every log of the open data goes through, and nothing in it is refused.
func TestNMEALogs(t *testing.T) {
	logs, _ := filepath.Glob(filepath.Join(filepath.Dir(opendata.Path(t, "nmea/bt451.log")), "*.log"))
	require.Len(t, logs, 6)
	for _, log := range logs {
		f, set := parse(t, "transport: {kind: file}\ncodec: nmea\n")
		f.Transport.Path = log
		list, s := play(t, f, set)
		require.NotEmpty(t, list, log)
		require.Zero(t, s.Bad+s.BadReadings+s.Implausible, "%s: %+v", log, s)
		t.Logf("%s: %+v", filepath.Base(log), s)
	}
}

func TestNMEADoesNotAllocate(t *testing.T) {
	f, set := parse(t, "transport: {kind: stdin}\ncodec: nmea\n")
	d := decoderOf(t, f, set)
	n := 0
	emit := func(channel.Sample) { n++ }
	text := []byte(sentence("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,,") + sentence("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,") + sentence("GPVTG,220.86,T,,M,2.550,N,4.724,K,A"))
	d.Decode(text, 1, emit)
	require.Zero(t, testing.AllocsPerRun(100, func() { d.Decode(text, 1, emit) }))
	require.Equal(t, 3*102, n)
}
