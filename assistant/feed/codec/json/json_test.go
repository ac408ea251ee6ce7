package json

import (
	"bytes"
	stdjson "encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

func field(id channel.ID, path string) Field {
	return Field{codec.Field{Name: path, ID: id, A: 1, Lo: math.NaN(), Hi: math.NaN()}, path}
}

// decode gives each record as its Row and time, printed.
func decode(t testing.TB, l Layout, n int, text string) ([]string, *codec.Counts) {
	d, err := NewDecoder(l, n)
	require.NoError(t, err)
	var got []string
	emit := func(r *codec.Record) { got = append(got, fmt.Sprint([]float64(r.Row), r.Time())) }
	d.Decode([]byte(text), emit)
	d.End(emit)
	c := d.Counts()
	require.Equal(t, c.Records, c.Emitted+c.Ignored+c.Bad)
	require.EqualValues(t, len(got), c.Emitted)
	return got, c
}

func TestPaths(t *testing.T) {
	labels := field(5, "flag")
	labels.Labelled, labels.Texts, labels.AbsentText = true, map[string]float64{"GREEN": 1, "ü\n": 2}, []string{"-"}
	l := Layout{Fields: []Field{
		field(codec.Time, "t"), field(0, "a"), field(1, "w[2].tyre.temp"), field(2, `x["y.z"]`), field(3, "w[0].tyre.temp"), field(4, "a"), labels,
	}}
	tests := []struct {
		name, text string
		want       string // Row and time; empty: no record
		wrong      int64  // readings refused
	}{
		{"all", `{"t":1.5,"a":2,"w":[{"tyre":{"temp":3}},{},{"tyre":{"temp":"4.5"}}],"x":{"y.z":true},"flag":"GREEN"}`, "[2 4.5 1 3 2 1] 1.5", 0},
		{"another order, spaces, what is not mapped", " { \"flag\" : \"\\u00fc\\n\" , \"q\": [1,{\"a\":[[]]}], \"x\":{\"y.z\":false , \"y\":{\"z\":9}} ,\"a\":-2e-1 } ", "[-0.2 NaN 0 NaN -0.2 2] NaN", 0},
		{"null and absent", `{"a":null,"w":[],"x":{"y.z":0},"flag":"-"}`, "[NaN NaN 0 NaN NaN NaN] NaN", 0},
		{"escaped key", `{"\u0061":7}`, "[7 NaN NaN NaN 7 NaN] NaN", 0},
		{"the last of two", `{"a":1,"a":2}`, "[2 NaN NaN NaN 2 NaN] NaN", 0},
		{"wrong kinds of values", `{"a":{"b":1},"w":3,"x":{"y.z":[1]},"flag":"PINK","t":"soon"}`, "", 5},
		{"a choice is no number", `{"a":1,"flag":1}`, "[1 NaN NaN NaN 1 NaN] NaN", 1},
		{"too large for a number", `{"a":1e999,"x":{"y.z":1}}`, "[NaN NaN 1 NaN NaN NaN] NaN", 2},
		{"only the time", `{"t":5}`, "", 0},
		{"not an object", `[1,2]`, "", 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			for _, lines := range []bool{false, true} {
				l.Lines = lines
				got, c := decode(t, l, 6, strings.ReplaceAll(tt.text, "\n", `\n`))
				if tt.want == "" {
					require.Empty(t, got)
				} else {
					require.Equal(t, []string{tt.want}, got)
				}
				require.Equal(t, tt.wrong, c.BadReadings)
				require.Zero(t, c.Bad)
			}
		})
	}
}

func TestAMistakeAnywhereRefusesTheRecord(t *testing.T) {
	l := Layout{Lines: true, Fields: []Field{field(0, "a")}}
	got, c := decode(t, l, 1, "{\"a\":1}\n{\"a\":2,}\n{\"a\":3} x\n\n{\"a\":4\n{\"a\":05}\n{\"a\":+6}\n{\"a\":6}\r\n{\"a\":7")
	require.Equal(t, []string{"[1] NaN", "[6] NaN"}, got)
	require.EqualValues(t, 6, c.Bad)
	require.EqualValues(t, 1, c.Ignored)
	require.Equal(t, "line 9, byte 7: syntax", c.Last("line"))
	// A datagram may hold several values and line ends within them.
	got, c = decode(t, Layout{Fields: l.Fields}, 1, "\ufeff{\n\"a\": 1\n}\n{\"a\":2} {\"a\":oops} {\"a\":3}")
	require.Equal(t, []string{"[1] NaN", "[2] NaN"}, got)
	require.EqualValues(t, 1, c.Bad)
}

func TestNamedValues(t *testing.T) {
	l := Layout{Lines: true, NameValue: &NameValue{"name", "value", "timestamp"}, Fields: []Field{field(codec.Time, ""), field(0, "speed"), field(1, "gear"), field(2, "speed")}}
	got, c := decode(t, l, 3, `{"name":"speed","value":10.5,"timestamp":1}
{"timestamp":2,"value":"3","name":"gear"}
{"name":"odometer","value":1,"timestamp":3}
{"name":"gear","timestamp":4}
{"name":5,"value":1}
{"name":"gear","value":null,"timestamp":5}
{"name":"sp\u0065ed","value":false}`)
	require.Equal(t, []string{"[10.5 NaN 10.5] 1", "[NaN 3 NaN] 2", "[0 NaN 0] NaN"}, got)
	require.EqualValues(t, 4, c.Ignored)
}

func TestWrongPaths(t *testing.T) {
	for path, at := range map[string]int{"": 0, ".a": 0, "a.": 2, "a..b": 2, "a[": 1, "a[x]": 2, "a[-1]": 2, `a["b]`: 1, "a[1]b": 4, `a"b`: 1} {
		err := ParsePath(path)
		var pe *PathError
		require.ErrorAs(t, err, &pe, path)
		require.Equal(t, at, pe.At, path)
	}
	for _, path := range []string{"a", "a.b.c", "a[0][1].b", `["x y"].z`, "[3]"} {
		require.NoError(t, ParsePath(path))
	}
}

// The truth is encoding/json: the same texts are JSON, and the numbers and texts at the paths are the same.
func FuzzDecode(f *testing.F) {
	for _, s := range []string{`{"a":1.5,"b":{"c":[0,"x"]}}`, `{"a":"\ud83d\ude00"}`, `{"a":1e5,"a":2}`, `[{}]`, `{"a":tru}`, "{\"a\":\"\x00\"}", `{"a":1}{"a":2}`, `"`, `{"\u0062":{"c":[1,-0.0]}}`, `{"a":"\ud83d"}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, p []byte) {
		if bytes.ContainsRune(p, '\n') || bytes.HasPrefix(p, []byte("\xef\xbb\xbf")) {
			return // these are lines, or the mark of the encoding
		}
		got, c := decode(t, Layout{Lines: true, Fields: []Field{field(0, "a"), field(1, "b.c[1]")}}, 2, string(p))
		blank := len(bytes.Trim(p, " \t\r")) == 0
		if (c.Bad > 0) != !(stdjson.Valid(p) || blank) {
			t.Fatalf("%q: %+v", p, c)
		}
		if c.Bad > 0 || blank {
			return
		}
		var v any
		dec := stdjson.NewDecoder(bytes.NewReader(p))
		dec.UseNumber()
		if err := dec.Decode(&v); err != nil {
			t.Fatal(err)
		}
		o, _ := v.(map[string]any)
		want := []float64{truth(o["a"]), math.NaN()}
		if b, ok := o["b"].(map[string]any); ok {
			if l, ok := b["c"].([]any); ok && len(l) > 1 {
				want[1] = truth(l[1])
			}
		}
		if strings.Count(string(p), `"`) > 8 || bytes.Contains(p, []byte(`\`)) {
			return // keys that stand twice merge differently
		}
		if w := fmt.Sprint(want, math.NaN()); len(got) == 1 && got[0] != w && bytes.Count(p, []byte(`"a"`)) < 2 && bytes.Count(p, []byte(`"b"`)) < 2 && bytes.Count(p, []byte(`"c"`)) < 2 {
			t.Fatalf("%q: %v, want %v", p, got, w)
		}
	})
}

func truth(v any) float64 {
	switch v := v.(type) {
	case stdjson.Number:
		if x, err := v.Float64(); err == nil {
			return x
		}
	case bool:
		if v {
			return 1
		}
		return 0
	case string:
		if x, ok := codec.ParseNumber([]byte(v), false); ok {
			return x
		}
	}
	return math.NaN()
}

// sixty is a record of 60 channels.
func sixty() ([]byte, Layout) {
	var b strings.Builder
	l := Layout{}
	b.WriteString(`{"t":12.345`)
	l.Fields = append(l.Fields, field(codec.Time, "t"))
	for i := range 60 {
		fmt.Fprintf(&b, `,"channel_%d":%d.%03d`, i, i*37, i*16)
		l.Fields = append(l.Fields, field(channel.ID(i), fmt.Sprintf("channel_%d", i)))
	}
	b.WriteString("}")
	return []byte(b.String()), l
}

func TestDecodeDoesNotAllocate(t *testing.T) {
	p, l := sixty()
	l.Fields[5].Labelled, l.Fields[5].Texts = true, map[string]float64{"x": 1}
	p = bytes.Replace(p, []byte(`"channel_4":148.064`), []byte(`"channel_4":"x"`), 1)
	d, err := NewDecoder(l, 60)
	require.NoError(t, err)
	n := 0
	emit := func(r *codec.Record) { n++ }
	require.Zero(t, testing.AllocsPerRun(1000, func() { d.Decode(p, emit) }))
	require.Zero(t, d.Counts().BadReadings)
	require.Greater(t, n, 1000)
}

func BenchmarkDecode(b *testing.B) {
	p, l := sixty()
	b.Run("by-path", func(b *testing.B) {
		d, err := NewDecoder(l, 60)
		require.NoError(b, err)
		emit := func(*codec.Record) {}
		b.ReportAllocs()
		b.SetBytes(int64(len(p)))
		for b.Loop() {
			d.Decode(p, emit)
		}
	})
	b.Run("encoding-json-map", func(b *testing.B) {
		row := make([]float64, 60)
		b.ReportAllocs()
		b.SetBytes(int64(len(p)))
		for b.Loop() {
			var m map[string]float64
			if err := stdjson.Unmarshal(p, &m); err != nil {
				b.Fatal(err)
			}
			for i := range row {
				row[i] = m[l.Fields[i+1].Path]
			}
		}
	})
}
