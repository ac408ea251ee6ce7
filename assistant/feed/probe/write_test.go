package probe

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
)

func written(t testing.TB, s *Sniffer, o Origin) (string, *feedfile.File, *channel.Set) {
	t.Helper()
	text, err := s.FeedFile(o)
	require.NoError(t, err)
	set := channel.NewSet()
	f, err := feedfile.Parse("written.yaml", text, set)
	require.NoError(t, err, string(text))
	return string(text), f, set
}

// A feed file that is written is one: Parse accepts it, and it decodes the very bytes it was written from.
func TestWrittenFeedFilesAreWhole(t *testing.T) {
	var binary Sniffer
	var sent [][]byte
	demoBytes(t, func(p []byte, at float64) {
		if at > 10 && at < 30 {
			binary.Datagram(p, at)
			sent = append(sent, p)
		}
	})
	text, f, set := written(t, &binary, Origin{Name: "mine", UDP: "127.0.0.1:40000"})
	require.Contains(t, text, "# - {at: 12, type: f32, to: CHANNEL, unit: UNIT}")
	require.Contains(t, text, "0xd6")
	d, err := feed.NewDecoder(f, set)
	require.NoError(t, err)
	n := 0
	for _, p := range sent {
		d.Decode(p, float64(n)/100, func(channel.Sample) { n++ })
	}
	require.Zero(t, d.Stats().Bad)
	require.Greater(t, n, len(sent)*9/10)

	for _, name := range []string{"nmea/nmea-rtk.log", "can-bus/sample-can.log", "can-bus/openxc-trace-shorter.json", "racecar-oval-25hz/LVMS_23_01_04_B.csv.gz", "road-loop/2014-03-26-000-Data.csv.gz"} {
		data := readAll(t, name)
		var s Sniffer
		s.Stream([]byte(data))
		text, f, set := written(t, &s, Origin{Name: "log", Path: "log"})
		d, err := feed.NewDecoder(f, set)
		require.NoError(t, err, name)
		n := 0
		d.Decode([]byte(data), math.NaN(), func(channel.Sample) { n++ })
		require.Greater(t, n, 20, "%s\n%s", name, text)
		if strings.HasPrefix(name, "racecar") {
			require.Contains(t, text, `  time: {column: "time(s)", unit: "s"}`)
		}
	}
}

// Only what is certain is mapped.
func TestOnlyTheCertainIsMapped(t *testing.T) {
	var s Sniffer
	s.Stream([]byte("time [s],Speed [km/h],gear,yaw_rate,steering_wheel_angle [deg],flag,foo [psi],speed [m/s],heading [bar]\n" + strings.Repeat("1.5,180,4,0.2,12,GREEN,26,50,1\n2,181,4,0.2,12,GREEN,26,50,1\n", 20)))
	text, f, set := written(t, &s, Origin{Name: "log", Path: "log.csv"})
	var covers []string
	for _, id := range f.Covers {
		covers = append(covers, set.At(id).Name)
	}
	require.Equal(t, []string{"speed", "gear", "steering_wheel_angle"}, covers, text)
	require.Contains(t, text, `# yaw_rate: {column: "yaw_rate", unit: UNIT} # 0.2 to 0.2 in 40 records; unit: one of rad/s, deg/s, °/s, rpm`)

	var pits Sniffer
	pits.Stream([]byte("time [s],Speed [km/h],pit\n" + strings.Repeat("1.5,180,\n", 20) + "2,40,IN\n"))
	text, _, _ = written(t, &pits, Origin{Name: "log", Path: "log.csv"})
	require.Contains(t, text, `# text in 1 records, last "IN", 20 empty: no reading, unless values: has ""`)

	_, err := (&Sniffer{}).FeedFile(Origin{Name: "x", UDP: "127.0.0.1:1"})
	require.ErrorIs(t, err, ErrNothing)
}

// A kind in which nothing moves, such as one that comes once a lap, does not spoil the file.
func TestAKindWithoutAFieldIsWritten(t *testing.T) {
	var s Sniffer
	for i := range 400 {
		p := binary.LittleEndian.AppendUint32([]byte{0xd6, 0xc1, 1}, math.Float32bits(float32(40+10*math.Sin(float64(i)/30))))
		s.Datagram(p, float64(i)/60)
		if i%100 == 0 {
			s.Datagram([]byte{0xd6, 0xc1, 2, 7, 7, 7, 7, 7, 7, 7}, float64(i)/60)
		}
	}
	text, f, _ := written(t, &s, Origin{Name: "mine", UDP: "127.0.0.1:40000"})
	require.Contains(t, text, "fields: [] #")
	require.Contains(t, text, "type: f32")
	require.NotNil(t, f)
}

// Whatever names and texts a source has, the file stays one.
func TestWrittenFeedFilesSurviveAnyName(t *testing.T) {
	rapid.Check(t, func(tt *rapid.T) {
		var b strings.Builder
		names := rapid.SliceOfN(rapid.StringMatching(`[^\x00-\x1f,;|"\x7f]{1,12}`), 2, 6).Draw(tt, "names")
		b.WriteString(strings.Join(names, ";") + "\n")
		for range 10 {
			b.WriteString(strings.Repeat("1.5;", len(names)-1) + "2\n")
		}
		var s Sniffer
		s.Stream([]byte(b.String()))
		text, err := s.FeedFile(Origin{Name: names[0], Path: names[1]})
		if err != nil {
			require.ErrorIs(tt, err, ErrNothing)
			return
		}
		_, err = feedfile.Parse("written.yaml", text, channel.NewSet())
		require.NoError(tt, err, string(text))
	})
}
