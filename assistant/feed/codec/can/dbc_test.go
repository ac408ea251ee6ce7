package can

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	oracle "go.einride.tech/can/pkg/dbc"

	"earshot/assistant/feed/codec"
	"earshot/assistant/opendata"
)

const small = "VERSION \"\"\r\n\nBO_ 500 Drive: 8 ECU\n SG_ Page M : 0|8@1+ (1,0) [0|3] \"\" X\n SG_ Temp m0 : 15|12@0- (0.1,-40) [0|0] \"\xb0C\" X,Y\n" +
	" SG_ Torque m1 : 8|32@1- (1,0) [0|0] \"Nm\" X\n SG_ Deep m1M : 40|4@1+ (1,0) [0|0] \"\" X\n SG_ Text : 0|320@1+ (0,0) [0|0] \"\" X\n" +
	"BO_ 3221225472 VECTOR__INDEPENDENT_SIG_MSG: 0 Vector__XXX\n SG_ Lost : 0|8@1+ (1,0) [0|0] \"\" X\nBO_ 2566914048 Far: 8 ECU\n SG_ A : 0|16@1+ (1,0) [0|0] \"a \\\"b\\\"\" X\n" +
	"CM_ SG_ 500 Temp \"first; line\nBO_ 7 NotOne: 8 X\nlast\";\nVAL_ 500 Page 0 \"Cold\" 1 \"Very hot\"\n -1 \"None\" ;\nVAL_ Env 0 \"x\" ;\nSIG_VALTYPE_ 500 Torque : 1;\nSG_MUL_VAL_ 500 Temp Page 0-0;\n"

func TestParseDBC(t *testing.T) {
	db, err := ParseDBC([]byte(small))
	require.NoError(t, err)
	require.Len(t, db.Messages, 2)
	m := db.Messages[0]
	require.Equal(t, []any{"Drive", uint32(500), false, 8, 3}, []any{m.Name, m.ID, m.Extended, m.Size, m.Line})
	require.Len(t, m.Signals, 5)
	// Nested, since extended multiplexing speaks of it where there are two multiplexers.
	require.Equal(t, SignalDefinition{Place: Place{Start: 15, Length: 12, Motorola: true, Signed: true}, Name: "Temp", Scale: 0.1, Offset: -40, Unit: "°C", Mux: 0, Nested: true, Line: 5}, *m.Signal("Temp"))
	require.True(t, m.Signal("Torque").Float)
	require.Equal(t, []Label{{0, "Cold"}, {1, "Very hot"}, {-1, "None"}}, m.Signal("Page").Labels)
	sw, nested := m.Multiplexer()
	require.Equal(t, "Page", sw.Name)
	require.True(t, nested)
	require.True(t, m.Signal("Deep").Nested)
	require.NotEmpty(t, m.Signal("Text").Check())
	require.Equal(t, 1.0, m.Signal("Text").Scale)
	far := db.Messages[1]
	require.Equal(t, []any{"Far", uint32(0x19000000), true}, []any{far.Name, far.ID, far.Extended})
	require.Equal(t, `a "b"`, far.Signals[0].Unit)
	require.Nil(t, far.Signal("Lost"))
}

// A file without an end, of one message without an end, or of a text without an end is refused, not read for minutes.
func TestBoundsOfDBC(t *testing.T) {
	for what, text := range map[string]string{
		"more than 16 MiB":          strings.Repeat("\x00", 17<<20),
		"no message (BO_)":          strings.Repeat("\x00", 1<<20),
		"more than 4096 signals":    "BO_ 1 One: 8 E\n" + signals(300_000),
		"line 3: the quotation mar": "BO_ 1 One: 8 E\n" + signals(1) + "CM_ \"never closed;\n" + signals(1000),
	} {
		_, err := ParseDBC([]byte(text))
		require.ErrorContains(t, err, what)
		require.Less(t, len(err.Error()), 500)
	}
}

func signals(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, " SG_ S%d : 0|8@1+ (1,0) [0|0] \"\" X\n", i)
	}
	return b.String()
}

// All mistakes are told, each at its line.
func TestMistakesOfDBC(t *testing.T) {
	_, err := ParseDBC([]byte("BO_ x Broken: 8 E\n SG_ A : 0|8@1+ (1,0) [0|0] \"\" X\n\nBO_ 4096 Large: 8 E\nBO_ 1 One: 9000 E\nBO_ 2 Two: 8 E\n SG_ A : 0|8@1+ (1,x) [0|0] \"\" X\n SG_ A 0|8\n SG_ B : 0|16@1+ (1,0) [0|0] \"\" X\n SG_ B : 0|16@1+ (1,0) [0|0] \"\" X\nBO_ 2 Again: 8 E\nVAL_ 2 B 0 cold;\nSIG_VALTYPE_ 2 B : 1;\n"))
	var lines []int
	for _, e := range err.(interface{ Unwrap() []error }).Unwrap() {
		var d *DBCError
		require.ErrorAs(t, e, &d)
		lines = append(lines, d.Line)
	}
	require.Equal(t, []int{1, 4, 5, 7, 8, 10, 11, 12, 13}, lines)
	for _, text := range []string{"", "name: no DBC\n", " SG_ A : 0|8@1+ (1,0) [0|0] \"\" X\n"} {
		_, err := ParseDBC([]byte(text))
		require.Error(t, err, text)
	}
}

// Another's parser reads the same of the open data and of the file that ships.
func TestDBCAgainstAnother(t *testing.T) {
	for _, name := range []string{"example-can.dbc", "_honda_common.dbc", "_nidec_common.dbc"} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join("..", "..", "..", "..", "configs", "feeds", name)
			if name[0] == '_' {
				path = opendata.Path(t, "can-bus/"+name)
			}
			data, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Greater(t, agree(t, name, data), 10)
		})
	}
}

// agree counts the signals that both parsers read alike.
func agree(t *testing.T, name string, data []byte) (total int) {
	p := oracle.NewParser(name, data)
	// The other parser gives up at a comment on a signal that it does not name; what it read before counts.
	if err := p.Parse(); name != "_honda_common.dbc" {
		require.NoError(t, err, name)
	}
	db, err := ParseDBC(data)
	require.NoError(t, err, name)
	byID := map[uint32]*Definition{}
	for i := range db.Messages {
		byID[db.Messages[i].ID] = &db.Messages[i]
	}
	messages := 0
	for _, d := range p.Defs() {
		switch d := d.(type) {
		case *oracle.MessageDef:
			messages++
			m := byID[d.MessageID.ToCAN()]
			require.NotNil(t, m, "%s: %s", name, d.Name)
			require.Equal(t, []any{string(d.Name), d.MessageID.IsExtended(), int(d.Size), d.Pos.Line}, []any{m.Name, m.Extended, m.Size, m.Line})
			require.Len(t, m.Signals, len(d.Signals))
			for i, o := range d.Signals {
				s := m.Signals[i]
				require.Equal(t, []any{string(o.Name), int(o.StartBit), int(o.Size), o.IsBigEndian, o.IsSigned, o.Factor, o.Offset, o.Unit, o.IsMultiplexerSwitch}, []any{s.Name, s.Start, s.Length, s.Motorola, s.Signed, s.Scale, s.Offset, s.Unit, s.Switch})
				require.Equal(t, o.IsMultiplexed, s.Mux >= 0)
				require.True(t, !o.IsMultiplexed || o.MultiplexerSwitch == uint64(s.Mux))
				total++
			}
		case *oracle.ValueDescriptionsDef:
			m := byID[d.MessageID.ToCAN()]
			if m == nil || m.Signal(string(d.SignalName)) == nil {
				continue
			}
			s := m.Signal(string(d.SignalName))
			require.Len(t, s.Labels, len(d.ValueDescriptions), "%s %s", m.Name, s.Name)
			for i, v := range d.ValueDescriptions {
				require.Equal(t, Label{int64(v.Value), v.Description}, s.Labels[i])
			}
		}
	}
	require.Len(t, db.Messages, messages, name)
	return total
}

func FuzzParseDBC(f *testing.F) {
	f.Add([]byte(small))
	f.Add([]byte("BO_ 1 A: 8 E\nSG_ S : 7|64@0- (1e-3,-4.5) [0|1] \"\\\\\" X\nVAL_ 1 S 9223372036854775808 \"x\";"))
	f.Fuzz(func(t *testing.T, data []byte) {
		db, err := ParseDBC(data)
		if err != nil {
			many, ok := err.(interface{ Unwrap() []error })
			if !ok || len(many.Unwrap()) > maxMistakes {
				t.Fatal(err)
			}
			for _, e := range many.Unwrap() {
				var d *DBCError
				if !errors.As(e, &d) || d.Line < 1 || d.Line > strings.Count(string(data), "\n")+1 || d.Msg == "" {
					t.Fatal(e)
				}
			}
			return
		}
		for _, m := range db.Messages {
			l := Layout{Messages: []Message{{Name: m.Name, ID: m.ID, Extended: m.Extended}}}
			if s, _ := m.Multiplexer(); s != nil && s.Check() == "" {
				l.Messages[0].Switch = &s.Place
			}
			for _, s := range m.Signals {
				if s.Check() == "" {
					l.Messages[0].Signals = append(l.Messages[0].Signals, Signal{Field: scaled(0, s.Scale, s.Offset), Place: s.Place, Mux: s.Mux})
				}
			}
			d, err := NewDecoder(l, 1)
			if err != nil {
				t.Fatal(err)
			}
			d.Decode([]byte("(1) c 001##0"+strings.Repeat("A5", 64)+"\n"), func(*codec.Record) {})
		}
	})
}
