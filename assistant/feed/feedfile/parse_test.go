package feedfile

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/configs/document"
)

func parse(t testing.TB, text string) (*File, *channel.Set) {
	t.Helper()
	set := channel.NewSet()
	f, err := Parse("test.yaml", []byte(text), set)
	require.NoError(t, err)
	return f, set
}

const head = "transport: {kind: udp, listen: 127.0.0.1:0}\n"

// Every mistake is told, each at its place and with the remedy.
func TestEveryMistakeAtItsPlace(t *testing.T) {
	tests := []struct {
		name, text string
		want       []string // "line:col: message", then a part of the hint after " | "
	}{
		{"empty", "", []string{"the file is empty"}},
		{"not YAML", "a: [1\nb: 2", []string{"this is not YAML"}},
		{"a typing mistake in a key", head + "codec: csv\nchanels: {}\n", []string{`3:1: a feed file has no "chanels" | did you mean channels?`, "1:1: the section channels is missing"}},
		{"keys twice", head + "codec: csv\ncodec: json\nchannels: {gear: {column: g}, gear: {column: h}}", []string{`3:1: "codec" stands in line 2 already`, `4:31: "gear" stands in line 4 already`}},
		{"no unit", head + "codec: csv\nchannels:\n  speed: {column: v}\n", []string{"4:3: the unit of speed is missing | m/s, km/h, mph, kn"}},
		{"unit of another quantity", head + "codec: csv\nchannels:\n  speed: {column: v, unit: psi}\n", []string{"4:28: psi is a unit of pressure, and this is a speed | m/s"}},
		{"misspelt unit", head + "codec: csv\nchannels:\n  speed: {column: v, unit: kmh}\n", []string{`4:28: unknown unit "kmh" | did you mean km/h?`}},
		{"kelvin", head + "codec: csv\nchannels:\n  air_temperature: {column: v, unit: K}\n", []string{"4:38: K is a unit of temperature difference | K_abs"}},
		{"misspelt channel", head + "codec: csv\nchannels:\n  sped: {column: v, unit: km/h}\n", []string{`4:3: there is no channel "sped" | did you mean speed?`}},
		{"computed channel", head + "codec: csv\nchannels:\n  lap_delta: {column: v, unit: s}\n", []string{"4:3: lap_delta is worked out by Earshot | measured"}},
		{"wheels forgotten", head + "codec: csv\nchannels:\n  tyre_pressure: {column: v, unit: psi}\n", []string{"4:3: tyre_pressure is a channel of each wheel | add wheels"}},
		{"wheels wrong", head + "codec: json\nchannels:\n  tyre_pressure: {path: 'a[*]', wheels: [fl, lf, fl], unit: psi}\n", []string{`4:46: a wheel cannot be "lf" | fl, fr`, "4:50: wheel fl stands twice"}},
		{"wheels without a star", head + "codec: json\nchannels:\n  tyre_pressure: {path: a, wheels: [fl, fr], unit: psi}\n", []string{"4:25: the path of four wheels has one [*]"}},
		{"twice the same channel", head + "codec: csv\nchannels:\n  wheel_speed: {column: 'v*', wheels: [fl, fr], unit: km/h}\n  wheel_speed_fl: {column: w, unit: km/h}\n", []string{"5:3: wheel_speed_fl is mapped in line 4 already"}},
		{"labels", head + "codec: csv\nchannels:\n  flag: {column: f, values: {1: rosa, 2: yelow}}\n", []string{`4:33: flag has no label "rosa" | the labels are none, green`, `4:42: flag has no label "yelow" | did you mean yellow?`}},
		{"scale of a choice, and of nothing", head + "codec: csv\nchannels:\n  flag: {column: f, scale: 2}\n  gear: {column: g, scale: 0}\n", []string{"4:9: flag is a choice and has no scale", "5:28: a scale of 0"}},
		{"path", head + "codec: json\nchannels:\n  gear: {path: 'a[x]'}\n", []string{`4:16: path "a[x]", character 3`}},
		{"comma twice", head + "codec: csv\ncsv: {decimal: comma}\nchannels: {gear: {column: g}}\n", []string{"3:16: the comma cannot be both"}},
		{"section of another codec", head + "codec: csv\njson: {}\nchannels: {gear: {column: g}}\n", []string{"3:7: there is a section json, and the codec is csv"}},
		{"own channel", head + "codec: csv\nchannels: {drag: {column: g, unit: m}}\nown_channels:\n  drag: {quantity: lenth}\n  speed: {quantity: speed, range: [3 m/s, 1 m/s]}\n  x: {quantity: time, stale: 5}\n",
			[]string{`5:20: quantity cannot be "lenth" | did you mean length?`, "6:35: range is empty", `6:3: channel "speed" is in the catalogue already`, `7:30: stale is "5": the unit is missing | s, ms`, `3:12: there is no channel "drag"`}},
		{"a file without time", "transport: {kind: file, path: x}\ncodec: csv\nchannels: {gear: {column: g}}\n", []string{"1:12: a file does not tell when its records were made | period"}},
		{"packet over a stream", "transport: {kind: stdin}\ncodec: packet\npacket: {kinds: {a: {length: 3, fields: [{type: u8, to: gear}]}}}\n", []string{"1:12: codec packet needs whole datagrams"}},
		{"transport", "transport: {kind: udp, path: x, listen: 'host.example:1'}\ncodec: csv\nchannels: {gear: {column: g}}\n", []string{`1:41: "host.example" is not an address of this machine`, "1:30: transport udp has no path"}},
		{"no port, no kind of codec", "transport: {kind: udp}\ncodec: xml\n", []string{"1:12: the address to listen on is missing", `2:8: codec cannot be "xml" | packet, json, csv`}},
		{"clock", head + "codec: csv\nchannels: {gear: {column: g}}\nclock: {jump: -1 s, period: 3}\n", []string{`4:29: period is "3": the unit is missing`, "4:15: jump is more than 0 s", "4:29: period is more than 0 s"}},
		{"packet fields", head + `codec: packet
packet:
  kinds:
    a:
      when: [{at: 0, type: u8, is: 300}]
      fields:
        - {type: u7, to: gear}
        - {type: u8, to: flag}
        - {type: u8, bit: 6, width: 4, to: gear}
        - {skip: 2, to: speed}
        - {type: text, to: compound}
        - {type: u16, to: tyre_pressure, wheels: [fl, fr], stride: 1, unit: psi}
        - {type: u8}
    b:
      fields: [{type: f32, to: speed, unit: km/h}, {type: f32, to: speed, unit: km/h}]
`, []string{`8:18: type cannot be "u7" | u8, u16`, "9:26: flag is a choice, and the source sends a number | values: {0: none", "10:11: bits 6 to 9 are not in u8", "11:11: skip stands alone", "12:11: the length of a text is missing",
			"13:68: elements of 2 bytes would overlap at a stride of 1", "14:11: where the field goes is missing", "15:5: nothing tells kind b from other datagrams", "16:68: speed is mapped in line 16 already"}},
		{"packet layout", head + "codec: packet\npacket:\n  kinds:\n    a: {when: [{at: 0, type: u8, is: 300}], fields: [{type: u8, to: gear}]}\n", []string{"4:3: kind a: 300 does not fit in u8"}},
		{"expressions", head + `codec: json
channels:
  yaw_rate: {path: r, unit: rad/s}
  wheel_speed_fl: {path: v, unit: m/s}
  air_temperature: {path: t, unit: °C}
derived:
  speed: wheel_speed_fl + 5
  heading: yaw_rate * wheel_speed_fr
  gear: wheel_speed_fl
  brake: (wheel_speed_fl
  throttle: "hypot(yaw_rate) / 2"
  clutch: "12"
  position_x: sinus(3 m)
  position_y: wheel_speed_fl ++ yaw_rate
  track_temperature: air_temperature + 5 °F
`, []string{"8:25: speed: a bare number cannot be added with wheel_speed_fl (speed): the unit is missing | m/s", "9:23: heading: wheel_speed_fr: the feed does not supply it", "10:9: gear is a number, and the expression gives a speed",
			"11:25: brake: the expression ends where the closing parenthesis should follow", "12:14: throttle: hypot is written hypot(x, y)", "13:11: clutch would be the same for ever", "14:15: position_x: there is no function sinus", "15:31: position_y: \"+\" is not expected here"}},
		{"what never comes together", head + "codec: json\njson: {name_value: {time: ts}}\nchannels:\n  wheel_speed_fl: {name: a, unit: m/s}\n  wheel_speed_fr: {name: b, unit: m/s}\nderived:\n  speed: (wheel_speed_fl + wheel_speed_fr) / 2\n",
			[]string{"8:10: speed names channels that never come together"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Parse("f.yaml", []byte(tt.text), channel.NewSet())
			require.ErrorIs(t, err, document.ErrInvalid)
			list := document.Errors(err)
			var got []string
			for _, e := range list {
				got = append(got, e.Error())
			}
			all := strings.Join(got, "\n")
			for _, want := range tt.want {
				msg, hint, _ := strings.Cut(want, " | ")
				found := false
				for _, e := range list {
					if strings.HasPrefix(strings.TrimPrefix(strings.TrimPrefix(e.Error(), "f.yaml:"), " "), msg) || e.Line <= 2 && strings.Contains(e.Msg, msg) {
						found = found || strings.Contains(e.Hint, hint)
					}
				}
				require.True(t, found, "%s\nis not told; told is\n%s", want, all)
			}
			if tt.name == "a typing mistake in a key" || len(tt.want) == 1 {
				require.Len(t, list, len(tt.want), all)
			}
		})
	}
}

// The project's own feed files are right, and say what they cover.
func TestOwnFeedFiles(t *testing.T) {
	covers := map[string]int{"demo": 59, "example-json": 21, "example-csv": 9, "racecar-oval": 15}
	for _, dir := range []string{"../../../configs/feeds", "../../../testdata/feeds"} {
		names, err := filepath.Glob(filepath.Join(dir, "*.yaml"))
		require.NoError(t, err)
		for _, name := range names {
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			set := channel.NewSet()
			f, err := ParseWith(filepath.Base(name), data, set, func(rel string) ([]byte, error) { return os.ReadFile(filepath.Join(dir, rel)) })
			require.NoError(t, err)
			if n, ok := covers[f.Name]; ok {
				require.Len(t, f.Covers, n, f.Name)
				delete(covers, f.Name)
			}
		}
	}
	require.Empty(t, covers)
}

// A feed file asks for no more than a sample can carry.
func TestTooManyOwnChannels(t *testing.T) {
	var b strings.Builder
	b.WriteString("transport: {kind: stdin}\ncodec: csv\nchannels: {speed: {column: v, unit: m/s}}\nown_channels:\n")
	for i := range maxOwn + 1 {
		fmt.Fprintf(&b, "  n%d: {quantity: number}\n", i)
	}
	_, err := Parse("wide.yaml", []byte(b.String()), channel.NewSet())
	require.ErrorContains(t, err, "there are 2001 own channels, and 2000 are the most")
}
