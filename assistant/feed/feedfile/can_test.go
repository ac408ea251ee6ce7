package feedfile

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/can"
	"earshot/configs/document"
)

// beside reads the files beside the feed files that ship.
func beside(rel string) ([]byte, error) {
	return os.ReadFile(filepath.Join("..", "..", "..", "configs", "feeds", filepath.FromSlash(rel)))
}

func TestIncludes(t *testing.T) {
	data, err := beside("example-can.yaml")
	require.NoError(t, err)
	f, err := ParseWith("example-can.yaml", data, channel.NewSet(), beside)
	require.NoError(t, err)
	list := f.Includes()
	require.Len(t, list, 1)
	require.Equal(t, "example-can.dbc", list[0].Name)
	// The feed file with what it includes replays alone.
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
