package feed

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/can"
	"earshot/assistant/opendata"
	"earshot/configs/document"
)

// beside reads the files beside the feed files that ship.
func beside(rel string) ([]byte, error) {
	return os.ReadFile(filepath.Join("..", "..", "configs", "feeds", filepath.FromSlash(rel)))
}

func exampleCAN(t testing.TB) (*File, *channel.Set) {
	t.Helper()
	data, err := beside("example-can.yaml")
	require.NoError(t, err)
	set := channel.NewSet()
	f, err := ParseWith("example-can.yaml", data, set, beside)
	require.NoError(t, err)
	return f, set
}

// What the example file says, worked out by hand: 0x1D4C quarters of a turn a minute and so on.
const exampleLog = "(1700000000.00) can0 1A0#1D4C8C3000000035\n" + // half bytes 11 + 61, which is 8 modulo 16
	"(1700000000.01) can0 1B0#E8034C04B004140500\n" + // nine bytes: no frame
	"(1700000000.02) can0 1B0#E8034C04B0041405\n" +
	"(1700000000.03) can0 19000000#007B640000000000\n" +
	"(1700000000.04) can0 19000000#010FA00000000000\n" +
	"(1700000000.05) can0 19000000#0220\n(1700000000.06) can0 19000000#02F0\n" +
	"(1700000000.07) can0 1F0#FF38\n" +
	"(1700000000.08) can0 7E8#03410D2A00000000\n" +
	"(1700000000.09) can0 1A0#1D4C8C3000000036\n"

func TestExampleCAN(t *testing.T) {
	f, set := exampleCAN(t)
	require.True(t, f.OwnClock())
	d := decoderOf(t, f, set)
	got := map[string]float64{}
	n := 0
	emit := func(s channel.Sample) {
		n++
		for id, v := range s.Row {
			if !math.IsNaN(v) {
				got[set.At(channel.ID(id)).Name] = v
			}
		}
		got["at"] = s.At
	}
	d.Decode([]byte(exampleLog), math.NaN(), emit)
	d.End(emit)
	rpm := 2 * math.Pi / 60
	want := map[string]float64{
		"at": 0.08, "engine_speed": 1875 * rpm, "throttle": 0.7, "gear": 3, "pit_limiter": 0,
		"wheel_speed_fl": 10 / 3.6, "wheel_speed_fr": 11 / 3.6, "wheel_speed_rl": 12 / 3.6, "wheel_speed_rr": 13 / 3.6,
		"coolant_temperature": 83, "oil_temperature": 60, "oil_pressure": 400, "flag": 2,
		"steering_wheel_angle": -20 * math.Pi / 180, "road_wheel_angle": -20 * math.Pi / 180 / 14.5, "speed": 42 / 3.6,
	}
	require.Len(t, got, len(want), "%v", got)
	for name, v := range want {
		require.InDelta(t, v, got[name], 1e-6, name)
	}
	s := d.Stats()
	consistent(t, s, n)
	require.EqualValues(t, 2, s.Bad, s.LastBad) // nine bytes, wrong checksum
	require.EqualValues(t, 1, s.Reasons["checksum differs"])
	require.Equal(t, "line", s.Record)
}

func TestIncludes(t *testing.T) {
	f, _ := exampleCAN(t)
	list := f.Includes()
	require.Len(t, list, 1)
	require.Equal(t, "example-can.dbc", list[0].Name)
	// The feed file with what it includes replays alone.
	data, err := beside("example-can.yaml")
	require.NoError(t, err)
	_, err = ParseWith("x.yaml", data, channel.NewSet(), func(name string) ([]byte, error) {
		require.Equal(t, list[0].Base(), name)
		return list[0].Data, nil
	})
	require.NoError(t, err)
	_, err = Parse("x.yaml", data, channel.NewSet())
	require.ErrorContains(t, err, `x.yaml:16:8: the feed file refers to "example-can.dbc", which is not at hand`)
}

const dbcHead = "transport: {kind: stdin}\ncodec: can\ncan:\n  dbc: a.dbc\n  messages:\n    M:\n"

func TestMistakesOfCAN(t *testing.T) {
	const dbc = "BO_ 1 M: 8 E\n SG_ Speed : 0|16@1+ (0.01,0) [0|0] \"furlong\" X\n SG_ Flag : 16|4@1+ (1,0) [0|0] \"\" X\n SG_ Temp : 24|8@1+ (1,-40) [0|0] \"degC\" X\nBO_ 2 N: 8 E\n SG_ A M : 0|8@1+ (1,0) [0|0] \"\" X\n SG_ B m1M : 8|8@1+ (1,0) [0|0] \"\" X\n SG_ C m1 : 16|8@1+ (1,0) [0|0] \"\" X\nVAL_ 1 Flag 0 \"Rosa\" 1 \"Mauve\" ;\n"
	open := func(name string) ([]byte, error) {
		switch name {
		case "a.dbc", "b/a.dbc":
			return []byte(dbc + map[bool]string{true: "\nBU_: X\n"}[name != "a.dbc"]), nil
		case "bad.dbc":
			return []byte("BO_ 1 M: 8 E\n SG_ Speed\n\nBO_ x\n"), nil
		}
		return nil, errors.New("no such file")
	}
	const plain = "transport: {kind: stdin}\ncodec: can\n"
	tests := []struct {
		name, text string
		want       []string
	}{
		{"nothing", plain, []string{"f.yaml:1:1: the section can is missing"}},
		{"nothing mapped", plain + "can: {bus: can0}\n", []string{"f.yaml:3:6: no message is mapped"}},
		{"channels", plain + "can: {obd: {0x0D: {to: speed}}}\nchannels: {}\n", []string{"f.yaml:4:11: a can file has no section channels"}},
		{"unit that is none", dbcHead + "      signals: {Speed: {to: speed}}\n", []string{`f.yaml:7:29: the unit of Speed is "furlong" in the DBC file`, "write unit: and one of m/s"}},
		{"no unit", dbcHead + "      signals: {Flag: {to: speed}}\n", []string{"f.yaml:7:28: the unit of speed is missing"}},
		{"unit of another quantity", dbcHead + "      signals: {Temp: {to: speed}}\n", []string{`the unit of Temp is "degC" in the DBC file, which is no unit of speed`}},
		{"misspelt signal", dbcHead + "      signals: {Sped: {to: speed}}\n", []string{`message M has no signal "Sped"`, "did you mean Speed?"}},
		{"misspelt message", plain + "can: {dbc: a.dbc, messages: {Mm: {signals: {Speed: {to: speed}}}}}\n", []string{`there is no message "Mm"`}},
		{"labels", dbcHead + "      signals: {Flag: {to: flag}}\n", []string{"none of the names in the DBC file is a label of flag: Rosa, Mauve", "the labels are none, green"}},
		{"nested multiplexer", plain + "can: {dbc: a.dbc, messages: {N: {signals: {C: {to: gear}, B: {to: engine_map}}}}}\n", []string{"signal C depends on more than one", "signal B depends on more than one"}},
		{"same message twice", plain + "can: {dbc: a.dbc, messages: {M: {signals: {Flag: {to: gear}}}, 0x1: {signals: {Temp: {to: oil_temperature}}}}}\n", []string{"M and 0x1 are the same message"}},
		{"mistakes of the DBC file", plain + "can: {dbc: bad.dbc, messages: {0x1: {signals: {A: {start: 0, length: 8, order: intel, to: gear}}}}}\n", []string{"bad.dbc:2:1: a signal is written", "bad.dbc:4:1: a message is written"}},
		{"no such file", plain + "can: {dbc: c.dbc, messages: {}}\n", []string{"f.yaml:3:12: reading c.dbc: no such file"}},
		{"two of one name", plain + "can: {dbc: [a.dbc, b/a.dbc], messages: {M: {signals: {Flag: {to: gear}}}}}\n", []string{"two files are called a.dbc"}},
		{"absolute", plain + "can: {dbc: /a.dbc, messages: {}}\n", []string{`"/a.dbc" is no relative path`}},
		{"place", plain + "can:\n  messages:\n    0x20000000: {}\n    0x10:\n      signals: {A: {start: 0, length: 8, to: gear}, B: {start: 505, length: 16, order: intel, to: engine_map}, C: {start: 0, length: 16, order: intel, float: true, to: sector}, D: {start: 0, length: 8, order: intel, mux: 1, to: lap_number}}\n",
			[]string{"0x20000000 is no identifier", "order is missing", "16 bits from bit 505 end behind", "32 or 64 bits, not 16", "the message has no multiplexer"}},
		{"obd", plain + "can: {obd: {0x0D: {to: engine_speed}, 0x99: {to: speed}, 0x05: {}, 0x0C: {to: engine_speed}}}\n", []string{"vehicle speed is a speed, and engine_speed is a angular velocity", "0x99 is no parameter that is known", "where coolant temperature goes is missing"}},
		{"counter and check", dbcHead + "      counter: Cunter\n      check: {total: 3}\n      signals: {Flag: {to: gear}}\n", []string{`message M has no signal "Cunter"`, "the kind of checksum is missing"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := ParseWith("f.yaml", []byte(tt.text), channel.NewSet(), open)
			require.ErrorIs(t, err, document.ErrInvalid)
			for _, w := range tt.want {
				require.ErrorContains(t, err, w)
			}
		})
	}
}

func TestSpellingsOfDBCUnits(t *testing.T) {
	for _, tt := range []struct {
		unit string
		q    channel.Quantity
		want string
	}{{"kph", channel.Velocity, "km/h"}, {"C", channel.Temperature, "°C"}, {"K", channel.Temperature, "K_abs"}, {"K", channel.TemperatureDifference, "K"}, {"degC", channel.TemperatureDifference, "degC"}, {"Nm", channel.Pressure, ""}, {"", channel.Velocity, ""}, {"rpm", channel.Velocity, ""}} {
		require.Equal(t, tt.want, dbcUnit(tt.unit, tt.q), tt.unit)
	}
	for _, p := range can.PIDs {
		require.Equal(t, p.Unit, dbcUnit(p.Unit, p.Quantity), p.Name)
	}
}

// The log of a road car that stands, with the DBC file of its family: engine at idle, wheels at rest, as read off the log with
// candump's bytes by hand: 17C begins 00 00 and has the engine speed in bytes 2 and 3.
func TestOpenCANLog(t *testing.T) {
	dir := filepath.Dir(opendata.Path(t, "can-bus/sample-can.log"))
	set := channel.NewSet()
	f, err := ParseWith("car.yaml", []byte(`
transport: {kind: file}
codec: can
can:
  dbc: _honda_common.dbc
  messages:
    POWERTRAIN_DATA:
      check: {sum: nibbles, total: 8}
      counter: COUNTER
      signals: {ENGINE_RPM: {to: engine_speed}, PEDAL_GAS: {to: throttle, unit: "%"}}
    WHEEL_SPEEDS:
      check: {sum: nibbles, total: 8}
      signals: {WHEEL_SPEED_*: {to: wheel_speed, wheels: [fl, fr, rl, rr]}}
`), set, func(name string) ([]byte, error) { return os.ReadFile(filepath.Join(dir, name)) })
	require.NoError(t, err)
	f.Transport.Path = filepath.Join(dir, "sample-can.log")
	list, stats := play(t, f, set)
	require.EqualValues(t, 6158, stats.Records)
	require.EqualValues(t, 326+162, stats.Samples)
	require.Zero(t, stats.Bad+stats.Lost+stats.Duplicate)
	require.InDelta(t, 3.26, list[len(list)-1].At, 0.02)
	for _, s := range list {
		for w := range channel.Wheel(4) {
			if v := s.Row[channel.WheelSpeed+channel.ID(w)]; !math.IsNaN(v) {
				require.Zero(t, v)
			}
		}
	}
}

func TestCANDoesNotAllocate(t *testing.T) {
	f, set := exampleCAN(t)
	d := decoderOf(t, f, set)
	n := 0
	emit := func(channel.Sample) { n++ }
	text := []byte(strings.ReplaceAll(exampleLog, "1A0#1D4C8C3000000035", "1A1#00"))
	d.Decode(text, 1, emit)
	require.Zero(t, testing.AllocsPerRun(100, func() { d.Decode(text, 1, emit) }))
	require.Greater(t, n, 500)
}
