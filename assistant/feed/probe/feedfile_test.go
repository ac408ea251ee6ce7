package probe

import (
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/configs"
)

// decodeAll reads bytes by a feed file and measures.
func meterFor(t testing.TB, yaml string) (*Meter, feed.Decoder) {
	t.Helper()
	set := channel.NewSet()
	f, err := feedfile.Parse("feed.yaml", []byte(yaml), set)
	require.NoError(t, err)
	d, err := feed.NewDecoder(f, set)
	require.NoError(t, err)
	return NewMeter(set, f.Covers, Mappings([]byte(yaml), set)), d
}

// change replaces text in one line of a feed file and returns the number of that line.
func change(t testing.TB, yaml, line, old, new string) (string, int) {
	t.Helper()
	lines := strings.Split(yaml, "\n")
	for i, l := range lines {
		if strings.Contains(l, line) {
			require.Contains(t, l, old)
			lines[i] = strings.Replace(l, old, new, 1)
			return strings.Join(lines, "\n"), i + 1
		}
	}
	t.Fatalf("no line with %q", line)
	return "", 0
}

// The demo's datagrams are read by its feed file with one mistake in it: the mistake is named at its line, with what
// stood there as the remedy. Without a mistake nothing is said.
func TestMistakesInAFeedFile(t *testing.T) {
	data, err := configs.Files.ReadFile("feeds/demo.yaml")
	require.NoError(t, err)
	right := string(data)
	var sent [][]byte
	demoBytes(t, func(p []byte, at float64) {
		if at < 150 {
			sent = append(sent, p)
		}
	})
	probe := func(t *testing.T, yaml string) Report {
		m, d := meterFor(t, yaml)
		for _, p := range sent {
			d.Decode(p, math.NaN(), m.Add)
		}
		return m.Report()
	}
	r := probe(t, right)
	require.Empty(t, show(r))
	require.InEpsilon(t, 150, r.Seconds, 0.01)

	for _, c := range []struct{ name, line, old, new, kind, fix string }{
		{"speed", "to: speed,", "unit: km/h", "unit: m/s", "unit", "unit: km/h in place of unit: m/s"},
		{"speed mph", "to: speed,", "unit: km/h", "unit: mph", "unit", "unit: km/h in place of unit: mph"},
		{"engine", "to: engine_speed", "unit: rpm", "unit: rad/s", "unit", "unit: rpm"},
		{"throttle", "to: throttle", `unit: "%"`, `unit: "1"`, "unit", `unit: "%"`},
		{"steering sign", "to: steering_wheel_angle", ", negate: true", "", "sign", "add negate: true"},
		{"steering", "to: steering_wheel_angle", "unit: deg", "unit: rad", "unit", "unit: deg"},
		{"yaw sign", "to: yaw_rate", ", negate: true", "", "sign", "negate"},
		{"yaw", "to: yaw_rate", "unit: deg/s", "unit: rad/s", "unit", "unit: deg/s"},
		{"lateral sign", "to: acceleration_lateral", ", negate: true", "", "sign", "negate"},
		{"lateral", "to: acceleration_lateral", "unit: g", "unit: m/s²", "unit", "unit: g"},
		{"longitudinal", "to: acceleration_longitudinal", "unit: g", "unit: m/s²", "unit", "unit: g"},
		{"wheels", "to: wheel_speed", "unit: km/h", "unit: mph", "unit", "unit: km/h"},
		{"left and right wheels", "to: wheel_speed", "[rl, rr, fl, fr]", "[rr, rl, fr, fl]", "pair", "exchange left and right"},
		{"carcass", "to: tyre_carcass_temperature", "unit: °C", "unit: K_abs", "unit", "unit: °C"},
		{"pressure", "to: tyre_pressure", "unit: psi", "unit: kPa", "unit", "unit: psi"},
		{"air", "to: air_temperature", "unit: °F", "unit: °C", "unit", "unit: °F"},
		{"brakes", "to: brake_temperature", "unit: °F", "unit: °C", "unit", "unit: °F"},
		{"air pressure", "to: air_pressure", "unit: hPa", "unit: kPa", "unit", "unit: hPa"},
		{"lap time", "to: lap_time", "unit: ms", "unit: s", "unit", "unit: ms"},
		{"two fields exchanged", "to: position_x", "position_x", "position_z", "", ""}, // what is not there is not accused
	} {
		t.Run(c.name, func(t *testing.T) {
			yaml, line := change(t, right, c.line, c.old, c.new)
			r := probe(t, yaml)
			if c.kind == "" {
				require.Empty(t, show(r))
				return
			}
			require.Len(t, r.Findings, 1, show(r))
			f := r.Findings[0]
			require.Equal(t, c.kind, f.Kind, show(r))
			require.Equal(t, []int{line}, f.Lines)
			require.Contains(t, f.Fix, c.fix)
		})
	}

	// Two mistakes at once: both are found.
	yaml, _ := change(t, right, "to: speed,", "unit: km/h", "unit: m/s")
	yaml, _ = change(t, yaml, "to: yaw_rate", ", negate: true", "")
	require.Len(t, probe(t, yaml).Findings, 2, show(probe(t, yaml)))
}

// The measured log of a race car (racecar-oval-25hz, open data: SOURCES.md) is accused of nothing as its feed file
// stands, and of each mistake that is made in it.
func TestMeasuredLog(t *testing.T) {
	data := readAll(t, "racecar-oval-25hz/LVMS_23_01_04_B.csv.gz")
	file, err := os.ReadFile("../../../testdata/feeds/racecar-oval.yaml")
	require.NoError(t, err)
	right := string(file)
	probe := func(t *testing.T, yaml string) Report {
		m, d := meterFor(t, yaml)
		d.Decode([]byte(data), math.NaN(), m.Add)
		d.End(m.Add)
		return m.Report()
	}
	r := probe(t, right)
	require.Empty(t, show(r))
	require.InEpsilon(t, 25, r.Rate, 0.01)
	require.Equal(t, int64(16791), r.Samples)

	for _, c := range []struct{ line, old, new, kind, channel, fix string }{
		{"wheel_speed:", "unit: km/h", "unit: m/s", "unit", "wheel_speed_*", "unit: km/h"},
		{"wheel_speed:", "[fl, fr, rl, rr]", "[fr, fl, rr, rl]", "", "", ""}, // the column names have the wheel in them: no change
		{"yaw_rate:", "unit: rad/s", "unit: deg/s", "unit", "yaw_rate", "unit: rad/s"},
		{"yaw_rate:", "unit: rad/s", "unit: rad/s, negate: true", "sign", "yaw_rate", "negate"},
		{"heading:", "unit: rad", "unit: deg", "unit", "heading", "unit: rad"},
		{"heading:", "unit: rad", "unit: rad, negate: true", "sign", "heading", "negate"},
		{"road_wheel_angle:", "unit: rad", "unit: deg", "unit", "road_wheel_angle", "unit: rad"},
		// The car keeps its speed nearly all the time, so that its acceleration is too small to be held against the change of
		// speed: the evidence is weak and nothing is said, right or wrong.
		{"acceleration_longitudinal:", "unit: m/s^2", "unit: m/s^2, negate: true", "", "", ""},
		{"position_y:", "unit: m", "unit: m, negate: true", "sign", "position_x", "negate"},
		{"throttle:", `"%"`, `"1"`, "range", "throttle", "unit"}, // it never goes to the floor, so that it might as well be 0 to 255
	} {
		t.Run(c.line+c.new, func(t *testing.T) {
			yaml, _ := change(t, right, c.line, c.old, c.new)
			r := probe(t, yaml)
			if c.kind == "" {
				require.Empty(t, show(r))
				return
			}
			require.Len(t, r.Findings, 1, show(r))
			f := r.Findings[0]
			require.Equal(t, []string{c.kind, c.channel}, []string{f.Kind, f.Channels[0]}, show(r))
			require.Contains(t, f.Fix, c.fix)
		})
	}
}

// Ten seconds at a time, with locked and spinning wheels, a stop on the course and a car that goes off it: nothing is
// said of a feed that is right.
func TestShortListeningIsSilent(t *testing.T) {
	data, err := configs.Files.ReadFile("feeds/demo.yaml")
	require.NoError(t, err)
	m, d := meterFor(t, string(data))
	next, reports := 10.0, 0
	demoBytes(t, func(p []byte, at float64) {
		if at >= next {
			require.Empty(t, show(m.Report()), "demo until %g s", next)
			m, d = meterFor(t, string(data))
			next, reports = next+10, reports+1
		}
		d.Decode(p, math.NaN(), m.Add)
	})
	require.Greater(t, reports, 20)

	log := readAll(t, "racecar-oval-25hz/LVMS_23_01_04_B.csv.gz")
	file, err := os.ReadFile("../../../testdata/feeds/racecar-oval.yaml")
	require.NoError(t, err)
	lines := strings.SplitAfter(log, "\n")
	for _, seconds := range []int{10, 40} {
		for from := 1; from < len(lines); from += 25 * seconds {
			m, d := meterFor(t, string(file))
			d.Decode([]byte(lines[0]+strings.Join(lines[from:min(len(lines), from+25*seconds)], "")), math.NaN(), m.Add)
			require.Empty(t, show(m.Report()), "oval, %d s from line %d", seconds, from)
		}
	}
}
