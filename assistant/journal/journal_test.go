package journal

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"math"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var kinds = func() (kinds []string) {
	for _, b := range Bodies() {
		kinds = append(kinds, b.Kind())
	}
	return kinds
}()

func line(t require.TestingT, e Event) []byte {
	b, err := e.Append(nil)
	require.NoError(t, err)
	return b
}

// alike compares events; unknown is like unknown.
func alike(t require.TestingT, want, got Event) {
	require.Equal(t, string(line(t, want)), string(line(t, got)))
	require.Equal(t, reflect.TypeOf(want.Body), reflect.TypeOf(got.Body))
	same(t, reflect.ValueOf(want.Body).Elem(), reflect.ValueOf(got.Body).Elem())
}

func same(t require.TestingT, a, b reflect.Value) {
	for i := range a.NumField() {
		x, y := a.Field(i), b.Field(i)
		switch v := x.Interface().(type) {
		case Num:
			sameNum(t, v, y.Interface().(Num))
		case Wheels:
			for w := range v {
				sameNum(t, v[w], y.Interface().(Wheels)[w])
			}
		case []Num:
			require.Equal(t, x.Len(), y.Len())
			for k := range v {
				sameNum(t, v[k], y.Interface().([]Num)[k])
			}
		default:
			require.Equal(t, x.Interface(), y.Interface(), a.Type().Field(i).Name)
		}
	}
}

func sameNum(t require.TestingT, a, b Num) {
	require.Equal(t, a.IsZero(), b.IsZero(), "known stays known and unknown stays unknown")
	if !a.IsZero() {
		require.InDelta(t, float64(a), float64(b), 0.5e-4*(1+math.Abs(float64(a))*1e-9))
	}
}

// draw fills a body with anything that its types allow.
func draw(t *rapid.T) Event {
	body := newBody(rapid.SampledFrom(kinds).Draw(t, "kind"))
	number := rapid.Custom(func(t *rapid.T) Num {
		return Num(rapid.OneOf(rapid.Float64Range(-1e6, 1e6), rapid.Float64(),
			rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), 0, math.Copysign(0, -1), -0.00001})).Draw(t, "number"))
	})
	v := reflect.ValueOf(body).Elem()
	for i := range v.NumField() {
		switch f := v.Field(i); f.Interface().(type) {
		case Num:
			f.Set(reflect.ValueOf(number.Draw(t, "num")))
		case Wheels:
			f.Set(reflect.ValueOf(Wheels{number.Draw(t, "fl"), number.Draw(t, "fr"), number.Draw(t, "rl"), number.Draw(t, "rr")}))
		case []Num:
			if list := rapid.SliceOfN(number, 0, 4).Draw(t, "list"); len(list) > 0 {
				f.Set(reflect.ValueOf(list))
			}
		case string:
			f.SetString(rapid.String().Draw(t, "text"))
		case []Finding:
			if list := rapid.SliceOfN(rapid.SampledFrom(AllFindings), 0, 3).Draw(t, "findings"); len(list) > 0 {
				f.Set(reflect.ValueOf(list))
			}
		case int:
			f.SetInt(int64(rapid.IntRange(-5, 5000).Draw(t, "int")))
		case bool:
			f.SetBool(rapid.Bool().Draw(t, "bool"))
		default:
			t.Fatalf("a field of type %s needs a case here", f.Type())
		}
	}
	return Event{
		T: rapid.Float64Range(-10, 1e6).Draw(t, "t"), Lap: rapid.IntRange(-1, 4000).Draw(t, "lap"),
		Distance: number.Draw(t, "distance"), Body: body,
	}
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var want []Event
		var b []byte
		for range rapid.IntRange(1, 5).Draw(t, "events") {
			e := draw(t)
			want = append(want, e)
			text := line(t, e)
			require.True(t, json.Valid(text), "%s", text)
			require.Equal(t, 1, bytes.Count(text, []byte("\n")), "one line an event")
			require.Equal(t, text, line(t, e), "the same bytes every time")
			b = append(b, text...)
		}
		got, err := Read(bytes.NewReader(b))
		require.NoError(t, err)
		require.Len(t, got, len(want))
		for i := range want {
			alike(t, want[i], got[i])
			require.Equal(t, want[i].Lap, got[i].Lap)
		}
	})
}

// What is not known never becomes a zero: not in the bytes, and not on the way back.
func TestUnknownIsNeverZero(t *testing.T) {
	for _, kind := range kinds {
		e := Event{T: 1, Lap: -1, Distance: Unknown, Body: newBody(kind)}
		text := line(t, e)
		var fields map[string]any
		require.NoError(t, json.Unmarshal(text, &fields))
		v := reflect.ValueOf(e.Body).Elem()
		for i := range v.NumField() {
			name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
			switch v.Field(i).Interface().(type) {
			case Num, Wheels, []Num:
				require.NotContains(t, fields, name, "%s: %s", kind, text)
			}
		}
		got, err := Read(bytes.NewReader(text))
		require.NoError(t, err)
		alike(t, e, got[0])
	}
	got, err := Read(strings.NewReader(`{"t":1,"kind":"lap","number":3,"time":null,"tyre_pressure":[180,null],"sectors":[30.5,null]}` +
		"\n"))
	require.NoError(t, err)
	l := got[0].Body.(*Lap)
	require.True(t, l.Time.IsZero())
	require.Equal(t, Num(180), l.TyrePressure[0])
	for _, w := range l.TyrePressure[1:] {
		require.True(t, w.IsZero(), "neither null nor a number that is missing is zero")
	}
	require.True(t, l.Sectors[1].IsZero())
}

func TestBytes(t *testing.T) {
	m := NewMark()
	m.Number, m.Tag, m.Corner, m.Memo, m.Speed = 2, "understeer", 3, "wide <\n> \"here\"", 41.23456
	m.TyreTemperature = Wheels{90, Unknown, 0, math.MaxFloat32}
	l := NewLap()
	l.Number, l.Time, l.Class = 4, Num(math.Copysign(0, -1)), "flying"
	tests := []struct {
		name string
		e    Event
		want string
	}{
		{"a mark", Event{61.5, 4, 1180.25, m},
			`{"t":61.5,"kind":"mark","lap":4,"distance":1180.25,"number":2,"tag":"understeer","corner":3,"memo":"wide <\n> \"here\"","speed":41.2346,"tyre_temperature":[90,null,0,340282346638528860000000000000000000000]}`},
		{"no negative zero", Event{-0.00001, 0, Unknown, l},
			`{"t":0,"kind":"lap","lap":0,"number":4,"time":0,"valid":false,"class":"flying"}`},
		{"nothing known", Event{1, -1, Unknown, NewFuel()}, `{"t":1,"kind":"fuel"}`},
		{"huge", Event{1e300, -1, Unknown, NewFuel()}, `{"t":1` + strings.Repeat("0", 300) + `,"kind":"fuel"}`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want+"\n", string(line(t, tt.e)))
		})
	}
	b, err := Event{math.NaN(), 1, Unknown, NewFuel()}.Append([]byte("before\n"))
	require.ErrorContains(t, err, "without a time")
	require.Equal(t, "before\n", string(b), "nothing half is written")
}

// The last line may be cut at any byte; what stands before it is read.
func TestTornLastLine(t *testing.T) {
	m := NewMark()
	m.Number, m.Tag = 1, "oversteer"
	first := line(t, Event{1, 1, Unknown, &Command{"mark", "wheel"}})
	last := line(t, Event{2, 1, 99, m})
	for cut := range len(last) + 1 {
		got, err := Read(bytes.NewReader(append(bytes.Clone(first), last[:cut]...)))
		switch {
		case cut == 0:
			require.NoError(t, err)
			require.Len(t, got, 1)
		case cut >= len(last)-1: // only the newline may be missing
			require.NoError(t, err)
			require.Len(t, got, 2)
		default:
			require.ErrorIs(t, err, ErrTorn)
			require.Len(t, got, 1)
		}
	}
	_, err := Read(bytes.NewReader(append(bytes.Clone(first), make([]byte, 512)...)))
	require.ErrorIs(t, err, ErrTorn, "zeros that a power cut left behind")
}

func TestBadLineInTheMiddleAndUnknownKinds(t *testing.T) {
	text := `{"t":1,"kind":"command","name":"a"}
{"t":2,"kind":"weather","rain":0.5}
{"t":3,"kind":"lap","number":"three"}

not json
{"kind":"command"}
{"t":4,"kind":"command","name":"b","later":"field"}
{"t":5,"kind":"lap","tyre_pressure":[1,2,3,4,5]}
`
	got, err := Read(iotest.OneByteReader(strings.NewReader(text)))
	require.Len(t, got, 2, "an unknown kind and an unknown field are no mistakes")
	require.Equal(t, "b", got[1].Body.(*Command).Name)
	require.NotErrorIs(t, err, ErrTorn)
	for _, want := range []string{"journal line 3:", "journal line 5:", `journal line 6: "t" or "kind" is missing`,
		"journal line 8: 5 numbers for the four wheels"} {
		require.ErrorContains(t, err, want)
	}
	var at *LineError
	require.ErrorAs(t, err, &at)
	require.Equal(t, 3, at.Line)

	broken := errors.New("the disk is gone")
	got, err = Read(io.MultiReader(strings.NewReader(`{"t":1,"kind":"command"}`+"\n"), iotest.ErrReader(broken)))
	require.ErrorIs(t, err, broken)
	require.Len(t, got, 1)
}

func FuzzRead(f *testing.F) {
	for _, kind := range kinds {
		b, _ := Event{1, 1, 2, newBody(kind)}.Append(nil)
		f.Add(b)
	}
	f.Add([]byte(`{"t":1,"kind":"corner","max_slip":[null,-0.3]}` + "\n{"))
	f.Fuzz(func(t *testing.T, b []byte) {
		events, err := Read(bytes.NewReader(b))
		var at *LineError
		if err != nil && !errors.Is(err, ErrTorn) && !errors.As(err, &at) {
			t.Fatalf("refused with %#v", err)
		}
		var again []byte
		for _, e := range events {
			again = append(again, line(t, e)...) // whatever is read can be written
		}
		back, err := Read(bytes.NewReader(again))
		require.NoError(t, err)
		require.Len(t, back, len(events))
		var third []byte
		for _, e := range back {
			third = append(third, line(t, e)...)
		}
		require.Equal(t, string(again), string(third), "written, read and written again are the same bytes")
	})
}

func BenchmarkAppend(b *testing.B) {
	e := Event{61.5, 4, 1180.25, NewCorner()}
	e.Body.(*Corner).MaxSlip = Wheels{-0.1, -0.2, 0.05, 0.1}
	b.ReportAllocs()
	buf := make([]byte, 0, 1024)
	for b.Loop() {
		buf, _ = e.Append(buf[:0])
	}
}

// Codes and the words of earlier journals are read alike, and what is not known is kept.
func TestFindings(t *testing.T) {
	for code, earlier := range map[string]string{
		"understeer_mid_corner": "mid-corner understeer", "oversteer_turn_in": "turn-in oversteer",
		"locking_rr": "rear right locking", "wheelspin_front": "front wheelspin",
	} {
		f, ok := ParseFinding(code)
		require.True(t, ok, code)
		require.Equal(t, code, f.String())
		g, ok := ParseFinding(earlier)
		require.True(t, ok, earlier)
		require.Equal(t, f, g)
	}
	events, err := Read(strings.NewReader(`{"t":1,"kind":"corner","number":3,"findings":["front left locking","sliding_exit"]}`))
	require.NoError(t, err)
	require.Equal(t, []Finding{{Kind: Locking, Place: "fl"}, {Kind: "sliding_exit"}}, events[0].Body.(*Corner).Findings)
	require.Contains(t, string(line(t, events[0])), `"findings":["locking_fl","sliding_exit"]`)
}

// Of a new body no number is known: a field that is forgotten would be read as zero from every journal that lacks it.
func TestNewBodiesKnowNothing(t *testing.T) {
	for _, body := range Bodies() {
		v := reflect.ValueOf(body).Elem()
		for i := range v.NumField() {
			if z, ok := v.Field(i).Interface().(interface{ IsZero() bool }); ok {
				require.True(t, z.IsZero(), "%s of a new %s", v.Type().Field(i).Name, body.Kind())
			}
		}
	}
}
