package can

import (
	enchex "encoding/hex"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"go.einride.tech/can/pkg/descriptor"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

func field(id int) codec.Field {
	return codec.Field{Name: fmt.Sprint("c", id), ID: channel.ID(id), A: 1, Lo: math.NaN(), Hi: math.NaN()}
}

func scaled(id int, a, b float64) codec.Field {
	f := field(id)
	f.A, f.B = a, b
	return f
}

func decode(t testing.TB, l Layout, n int, text string) ([]string, *codec.Counts) {
	d, err := NewDecoder(l, n)
	require.NoError(t, err)
	var got []string
	emit := func(r *codec.Record) { got = append(got, fmt.Sprint([]float64(r.Row), r.Time())) }
	d.Decode([]byte(text), emit)
	d.End(emit)
	c := d.Counts()
	require.Equal(t, c.Records, c.Emitted+c.Ignored+c.Bad+c.Duplicate)
	require.EqualValues(t, len(got), c.Emitted)
	return got, c
}

func bytesOf(t testing.TB, s string) []byte {
	b, err := enchex.DecodeString(strings.ReplaceAll(s, " ", ""))
	require.NoError(t, err)
	return b
}

// The frames and values are those of the tests and the README of cantools.
func TestPublishedSignals(t *testing.T) {
	enable, radius, temperature := Place{Start: 7, Length: 1, Motorola: true}, Place{Start: 6, Length: 6, Motorola: true}, Place{Start: 0, Length: 12, Motorola: true, Signed: true}
	tests := []struct {
		data string
		p    Place
		a, b float64
		want float64
	}{
		{"C006E00000000000", enable, 1, 0, 1}, {"C006E00000000000", radius, 0.1, 0, 3.2}, {"C006E00000000000", temperature, 0.01, 250, 250.55},
		{"0100200000000000", enable, 1, 0, 0}, {"0100200000000000", radius, 0.1, 0, 0}, {"0100200000000000", temperature, 0.01, 250, 229.53},
		{"804A0F0000000000", enable, 1, 0, 1}, {"804A0F0000000000", radius, 0.1, 0, 0}, {"804A0F0000000000", temperature, 0.01, 250, 255.92},
		{"0950000000", Place{Start: 0, Length: 12, Signed: true}, 1, 0, 9}, {"0950000000", Place{Start: 12, Length: 12, Signed: true}, 1, 0, 5},
		{"0000803F", Place{Start: 0, Length: 32, Signed: true, Float: true}, 1, 0, 1},
		{"EFCDAB8967452301", Place{Start: 0, Length: 64}, 1, 0, 0x0123456789ABCDEF},
	}
	for _, tt := range tests {
		l := Layout{Messages: []Message{{ID: 0x1F0, Signals: []Signal{{Field: scaled(0, tt.a, tt.b), Place: tt.p, Mux: -1}}}}}
		d, err := NewDecoder(l, 1)
		require.NoError(t, err)
		n := 0
		d.Decode([]byte("(1.5) can0 1F0#"+tt.data+"\n"), func(r *codec.Record) {
			require.InDelta(t, tt.want, r.Row[0], 1e-9, "%s %+v", tt.data, tt.p)
			require.Equal(t, 1.5, r.Time())
			n++
		})
		require.Equal(t, 1, n)
	}
	require.Equal(t, uint64(0x0123456789ABCDEF), Place{Start: 0, Length: 64}.Raw(bytesOf(t, "EFCDAB8967452301")))
	require.Equal(t, -2047.0, temperature.Value(bytesOf(t, "0100200000000000")))
}

// The bits of a place, one by one, as the text of the DBC format numbers them.
func bitwise(p Place, data []byte) uint64 {
	bit := func(n int) uint64 { return uint64(data[n/8]>>(n%8)) & 1 }
	var v uint64
	if !p.Motorola {
		for i := p.Length - 1; i >= 0; i-- {
			v = v<<1 | bit(p.Start+i)
		}
		return v
	}
	for n, i := p.Start, 0; i < p.Length; i++ {
		v = v<<1 | bit(n)
		if n%8 == 0 {
			n += 15 // bit 7 of the next byte
		} else {
			n--
		}
	}
	return v
}

// Any place in any frame: against the bits one by one, and in the first eight bytes against another's decoder.
func TestAnyPlace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Place{Start: rapid.IntRange(0, 511).Draw(t, "start"), Length: rapid.IntRange(1, 64).Draw(t, "length"), Motorola: rapid.Bool().Draw(t, "motorola"), Signed: rapid.Bool().Draw(t, "signed")}
		data := rapid.SliceOfN(rapid.Byte(), 64, 64).Draw(t, "data")
		if p.Check() != "" {
			return
		}
		want := bitwise(p, data)
		if got := p.Raw(data[:p.End()]); got != want {
			t.Fatalf("%+v: %x, wanted %x", p, got, want)
		}
		if p.End() > 8 || p.Length == 1 {
			return
		}
		s := descriptor.Signal{Start: uint8(p.Start), Length: uint8(p.Length), IsBigEndian: p.Motorola, IsSigned: p.Signed, Scale: 1}
		if got, want := p.Value(data), s.UnmarshalPhysical(einride.Data(data[:8])); got != want {
			t.Fatalf("%+v: %g, wanted %g", p, got, want)
		}
	})
	for _, p := range []Place{{Start: 0, Length: 0}, {Start: 0, Length: 65}, {Start: 505, Length: 8}, {Start: -1, Length: 1}, {Start: 504, Length: 9, Motorola: true}, {Start: 0, Length: 16, Float: true}, {Start: 1 << 62, Length: 1}} {
		require.NotEmpty(t, p.Check(), "%+v", p)
	}
	require.Empty(t, Place{Start: 511, Length: 1}.Check())
	require.Empty(t, Place{Start: 455, Length: 64, Motorola: true}.Check())
}

func TestLines(t *testing.T) {
	tests := []struct {
		line string
		ok   bool
		want Frame // without Data
		data string
	}{
		{"(1436509052.249713) vcan0 1F0#0011", true, Frame{Time: 1436509052.249713, ID: 0x1F0, Len: 2}, "0011"},
		{" (1436509052.249713)  can1  1F0   [2]  00 11", true, Frame{Time: 1436509052.249713, ID: 0x1F0, Len: 2}, "0011"},
		{"  can0  18FEF100   [8]  00 11 22 33 44 55 66 77", true, Frame{Time: math.NaN(), ID: 0x18FEF100, Extended: true, Len: 8}, "0011223344556677"},
		{"can0  1F0   [2]  41 42   'AB'", true, Frame{Time: math.NaN(), ID: 0x1F0, Len: 2}, "4142"},
		{"(1.0) can0 18FEF100#00.11.22 R", true, Frame{Time: 1, ID: 0x18FEF100, Extended: true, Len: 3}, "001122"},
		{"(1.0) can0 1F0#", true, Frame{Time: 1, ID: 0x1F0}, ""},
		{"(1.0) can0 1F0#R", true, Frame{Time: 1, ID: 0x1F0, Remote: true}, ""},
		{"(1.0) can0 1F0#R8", true, Frame{Time: 1, ID: 0x1F0, Remote: true}, ""},
		{"(1.0) can0 1F0   [4]  remote request", true, Frame{Time: 1, ID: 0x1F0, Remote: true}, ""},
		{"(1.0) can0 20000004#0004000000000000", true, Frame{Time: 1, ID: 4, Extended: true, Error: true, Len: 8}, "0004000000000000"},
		{"(1.0) can0 20000004   [8]  00 04 00 00 00 00 00 00   ERRORFRAME", true, Frame{Time: 1, ID: 4, Extended: true, Error: true, Len: 8}, "0004000000000000"},
		{"(1.0) can0 1F0##1000102030405060708090A0B", true, Frame{Time: 1, ID: 0x1F0, Flexible: true, Len: 12}, "000102030405060708090A0B"},
		{"can0  1F0  [12]  00 01 02 03 04 05 06 07 08 09 0A 0B", true, Frame{Time: math.NaN(), ID: 0x1F0, Flexible: true, Len: 12}, "000102030405060708090A0B"},
		{"(1.0) can0 1F0#1122334455667788_F", true, Frame{Time: 1, ID: 0x1F0, Len: 8}, "1122334455667788"},
		{line: "NO DATA"}, {line: "SEARCHING..."}, {line: "(1.0) can0 1F0#001"}, {line: "(1.0) can0 1F0#00112233445566778"}, {line: "(1.0) can0 1F0#001122334455667788"},
		{line: "(1.0) can0 1F0##1000102030405060708"}, {line: "(1.0) can0 1F0##"}, {line: "(1.0) can0 8F0#00"}, {line: "(1.0) can0 1F0F#00"}, {line: "(1.0) can0 80000000#00"},
		{line: "(2015-07-10 06:17:32.249713) can0 1F0#00"}, {line: "(1.0 can0 1F0#00"}, {line: "(1.0) can0"}, {line: "(1.0) can0 1F0 [3] 00 11"}, {line: "(1.0) can0 1F0 [9] 00"}, {line: "can0 1F0 [1] 00 11"}, {line: "(1.0) can0 1F0#00 x"},
		{line: "41 0C 1A F8"}, {line: "(x) can0 1F0#00"}, {line: "(1) can0 1F0 [1.5] 00"}, {line: "(1) can0 1F0#_"},
	}
	for _, tt := range tests {
		var f Frame
		at, ok := f.Parse([]byte(tt.line))
		require.Equal(t, tt.ok, ok, tt.line)
		require.LessOrEqual(t, at, len(tt.line))
		if !ok {
			continue
		}
		require.Equal(t, bytesOf(t, tt.data), f.Data[:f.Len], tt.line)
		require.Equal(t, fmt.Sprint(tt.want.Time), fmt.Sprint(f.Time))
		f.Time, f.Bus, f.Data = 0, nil, [64]byte{}
		tt.want.Time = 0
		require.Equal(t, tt.want, f, tt.line)
	}
}

func place(start, length int) *Place { return &Place{Start: start, Length: length} }

func TestWhatIsDecoded(t *testing.T) {
	one := []Signal{{Field: field(0), Place: Place{Start: 0, Length: 8}, Mux: -1}}
	tests := []struct {
		name   string
		layout Layout
		text   string
		want   []string
		count  codec.Counts // Ignored, Bad, BadReadings, Lost, Duplicate
	}{
		{"other identifiers, remote, errors, comments", Layout{Messages: []Message{{ID: 1, Signals: one}}},
			"(1) c 001#05\n(2) c 002#05\n(3) c 00000001#05\n(4) c 001#R\n(5) c 20000001#05\n# x\n\nrubbish\n", []string{"[5] 1"}, codec.Counts{Ignored: 6, Bad: 1}},
		{"29 bits", Layout{Messages: []Message{{ID: 9, Extended: true, Signals: one}, {ID: 7, Extended: true, Signals: one}}},
			"(1) c 00000007#05\n(2) c 00000009#06\n(3) c 00000008#06\n(4) c 007#06\n(5) c 20000007#06\n", []string{"[5] 1", "[6] 2"}, codec.Counts{Ignored: 3}},
		{"one bus", Layout{Bus: "can1", Messages: []Message{{ID: 1, Signals: one}}}, "(1) can0 001#05\n(1) can1 001#06\n(1) can10 001#07\n", []string{"[6] 1"}, codec.Counts{Ignored: 2}},
		{"no time", Layout{Messages: []Message{{ID: 1, Signals: one}}}, "can0 001 [1] 05\n", nil, codec.Counts{Bad: 1}},
		{"no time wanted", Layout{Untimed: true, Messages: []Message{{ID: 1, Signals: one}}}, "can0 001 [1] 05\n(4) can0 001#06\n", []string{"[5] NaN", "[6] NaN"}, codec.Counts{}},
		{"short frame", Layout{Messages: []Message{{ID: 1, Signals: []Signal{one[0], {Field: field(1), Place: Place{Start: 8, Length: 8}, Mux: -1}}}}}, "(1) c 001#05\n(2) c 001#\n(3) c 001#0506\n", []string{"[5 NaN] 1", "[5 6] 3"}, codec.Counts{Ignored: 1, BadReadings: 3}},
		{"multiplexed", Layout{Messages: []Message{{ID: 1, Switch: place(0, 8), Signals: []Signal{{Field: field(0), Place: Place{Start: 8, Length: 8}, Mux: 0}, {Field: field(1), Place: Place{Start: 8, Length: 8}, Mux: 1}, {Field: field(2), Place: Place{Start: 16, Length: 8}, Mux: -1}}}}},
			"(1) c 001#000102\n(2) c 001#010304\n(3) c 001#020506\n", []string{"[1 NaN 2] 1", "[NaN 3 4] 2", "[NaN NaN 6] 3"}, codec.Counts{}},
		{"counter", Layout{Messages: []Message{{ID: 1, Counter: place(8, 2), Signals: one}}},
			"(1) c 001#0002\n(2) c 001#0003\n(3) c 001#0000\n(4) c 001#0000\n(5) c 001#0003\n(6) c 001#0503\n(7) c 001#05\n",
			[]string{"[0] 1", "[0] 2", "[0] 3", "[0] 5", "[5] 6"}, codec.Counts{Bad: 1, Lost: 2 + 3, Duplicate: 1}},
		{"check", Layout{Messages: []Message{{ID: 0x123, Check: &Check{Total: 8}, Signals: one}}}, "(1) c 123#02\n(2) c 123#03\n(3) c 123#11\n(4) c 123#0A\n", []string{"[2] 1", "[17] 3"}, codec.Counts{Bad: 2}},
		{"a number that is none", Layout{Messages: []Message{{ID: 1, Signals: []Signal{{Field: field(0), Place: Place{Start: 0, Length: 32, Float: true}, Mux: -1}}}}}, "(1) c 001#0000C07F\n(2) c 001#0000803F\n", []string{"[1] 2"}, codec.Counts{Ignored: 1}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			n := 0
			for _, m := range tt.layout.Messages {
				for _, s := range m.Signals {
					n = max(n, int(s.ID)+1)
				}
			}
			got, c := decode(t, tt.layout, n, tt.text)
			require.Equal(t, tt.want, got)
			require.Equal(t, []int64{tt.count.Ignored, tt.count.Bad, tt.count.BadReadings, tt.count.Lost, tt.count.Duplicate}, []int64{c.Ignored, c.Bad, c.BadReadings, c.Lost, c.Duplicate}, c.Last("line"))
		})
	}
}

func TestLayoutsThatAreRefused(t *testing.T) {
	for want, l := range map[string]Layout{
		"same identifier": {Messages: []Message{{ID: 1}, {ID: 1}}},
		"0x00000001":      {Messages: []Message{{ID: 1, Extended: true}, {ID: 1, Extended: true}}},
		"no identifier":   {Messages: []Message{{ID: 0x800}}},
		"16 bits":         {Messages: []Message{{ID: 1, Counter: place(0, 17)}}},
		"64 bytes":        {Messages: []Message{{ID: 1, Switch: place(511, 2)}}},
	} {
		_, err := NewDecoder(l, 1)
		require.ErrorContains(t, err, want)
	}
}

// The scalings are those of SAE J1979 as the tests of several public decoders print them.
func TestAnswers(t *testing.T) {
	var l Layout
	at := map[byte]int{}
	for i, p := range PIDs {
		l.Answers = append(l.Answers, Answer{Field: scaled(i, p.Scale, p.Offset), PID: p.ID})
		at[p.ID] = i
	}
	good := []struct {
		frame string
		pid   byte
		want  float64
	}{
		{"7E8#04410C1AF8000000", 0x0C, 1726}, {"7E8#04410CFFFF", 0x0C, 16383.75}, {"7E8#03410D2A55555555", 0x0D, 42}, {"7EF#03410D3C", 0x0D, 60},
		{"7E8#0341057B", 0x05, 83}, {"7E8#03410500", 0x05, -40}, {"7E8#03410FFF", 0x0F, 215}, {"7E8#03410400", 0x04, 0}, {"7E8#034111FF", 0x11, 100}, {"7E8#03412F80", 0x2F, 50.196078431372548},
		{"7E8#03410A80", 0x0A, 384}, {"7E8#03410AFF", 0x0A, 765}, {"7E8#03410E00", 0x0E, -64}, {"7E8#03410EFF", 0x0E, 63.5}, {"7E8#04415EFFFF", 0x5E, 3276.75}, {"18DAF110#04410C1AF8", 0x0C, 1726},
	}
	for _, tt := range good {
		d, err := NewDecoder(l, len(PIDs))
		require.NoError(t, err)
		n := 0
		d.Decode([]byte("(1) c "+tt.frame+"\n"), func(r *codec.Record) {
			for i, v := range r.Row {
				if i == at[tt.pid] {
					require.InDelta(t, tt.want, v, 1e-9, tt.frame)
				} else {
					require.True(t, math.IsNaN(v), tt.frame)
				}
			}
			n++
		})
		require.Equal(t, 1, n, "%s: %s", tt.frame, d.Counts().Last("line"))
	}
	got, _ := decode(t, Layout{Answers: []Answer{{scaled(0, 1, 0), 0x0D}, {scaled(1, .25, 0), 0x0C}}}, 2, "(1) c 7E8#06410D2A0C1AF8\n(2) c 7E8#05410D2AA600\n")
	require.Equal(t, []string{"[42 1726] 1", "[42 NaN] 2"}, got)
	for frame, bad := range map[string]int64{
		"7E8#0443010133": 1, "7E8#037F0112": 1, "7E8#03410C1A": 1, "7E8#08410C1AF8000000": 1, "7E8#07410C1AF8": 1, "7E8#00": 1, "7E8#": 1, "7E8#C0": 1, // another service, negative, torn
		"7E8#1014490201314434": 0, "7E8#2147503030523535": 0, "7E8#300000": 0, "7DF#02010C": 0, "7E0#02010C": 0, "7E8#064100BE3EB813": 0, // parts of a longer answer, requests, unknown
	} {
		got, c := decode(t, l, len(PIDs), "(1) c "+frame+"\n")
		require.Empty(t, got, frame)
		require.Equal(t, bad, c.Bad, frame)
	}
	got, c := decode(t, l, len(PIDs), "NO DATA\n")
	require.Empty(t, got)
	require.EqualValues(t, 1, c.Bad)
}

const mixed = "(1436509052.249713) vcan0 1F0#C006E00000000000\r\n (1436509052.26)  can0  1F0   [8]  01 00 20 00 00 00 00 00\nNO DATA\n(1436509053) vcan0 7E8#04410C1AF8\n(1436509054) vcan0 18FEF100##0804A0F00000000001122334400000000\n(1436509055) c 1F0#80"

func mixedLayout() Layout {
	temperature := Signal{Field: scaled(0, 0.01, 250), Place: Place{Start: 0, Length: 12, Motorola: true, Signed: true}, Mux: -1}
	far := Signal{Field: scaled(0, 1, 0), Place: Place{Start: 64, Length: 32}, Mux: -1}
	return Layout{Messages: []Message{{ID: 0x1F0, Signals: []Signal{temperature}}, {ID: 0x18FEF100, Extended: true, Signals: []Signal{far}}}, Answers: []Answer{{scaled(1, .25, 0), 0x0C}}}
}

// However a stream is cut, the records are the same.
func TestAnyCut(t *testing.T) {
	want, wc := decode(t, mixedLayout(), 2, mixed)
	require.Len(t, want, 4, wc.Last("line"))
	require.EqualValues(t, 1, wc.Bad)
	for cut := range len(mixed) {
		for _, step := range []int{len(mixed), 1} {
			d, err := NewDecoder(mixedLayout(), 2)
			require.NoError(t, err)
			var got []string
			emit := func(r *codec.Record) { got = append(got, fmt.Sprint([]float64(r.Row), r.Time())) }
			d.Decode([]byte(mixed[:cut]), emit)
			for rest := mixed[cut:]; rest != ""; {
				n := min(step, len(rest))
				d.Decode([]byte(rest[:n]), emit)
				rest = rest[n:]
			}
			d.End(emit)
			require.Equal(t, want, got)
		}
	}
}

func TestDatagramEndsItsLine(t *testing.T) {
	l := mixedLayout()
	l.Datagrams = true
	d, err := NewDecoder(l, 2)
	require.NoError(t, err)
	n := 0
	for range 2 {
		d.Decode([]byte("(1) c 1F0#C006E00000000000"), func(*codec.Record) { n++ })
	}
	require.Equal(t, 2, n)
}

func TestDecodeDoesNotAllocate(t *testing.T) {
	d, err := NewDecoder(mixedLayout(), 120)
	require.NoError(t, err)
	n := 0
	emit := func(*codec.Record) { n++ }
	text := []byte(mixed + "\n")
	d.Decode(text, emit)
	require.Zero(t, testing.AllocsPerRun(200, func() { d.Decode(text, emit) }))
	require.Greater(t, n, 600)
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(mixed))
	f.Add([]byte("(1) c 1F0#R8\n(1) c 20000001#00\nc 7E8 [8] 06 41 0D 2A 0C 1A F8 00\n(1) c 001#0002_9\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		l := mixedLayout()
		l.Messages = append(l.Messages, Message{ID: 1, Switch: place(0, 8), Counter: place(8, 4), Check: &Check{}, Signals: []Signal{{Field: field(0), Place: Place{Start: 16, Length: 16}, Mux: 1}}})
		_, c := decode(t, l, 2, string(data))
		if c.Bytes != int64(len(data)) {
			t.Fatal(c.Bytes)
		}
	})
}
