package csv

import (
	"bytes"
	stdcsv "encoding/csv"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

func field(id channel.ID, column string) Field {
	return Field{Field: codec.Field{Name: column, ID: id, A: 1, Lo: math.NaN(), Hi: math.NaN()}, Column: column}
}

func numbered(id channel.ID, n int) Field {
	f := field(id, "")
	f.Number = n
	return f
}

func decode(t testing.TB, l Layout, n int, text string) ([]string, *codec.Counts) {
	d := NewDecoder(l, n)
	var got []string
	emit := func(r *codec.Record) { got = append(got, fmt.Sprint([]float64(r.Row), r.Time())) }
	d.Decode([]byte(text), emit)
	d.End(emit)
	c := d.Counts()
	require.Equal(t, c.Records, c.Emitted+c.Ignored+c.Bad)
	require.EqualValues(t, len(got), c.Emitted)
	return got, c
}

func TestTables(t *testing.T) {
	clock := field(codec.Time, "Time")
	clock.Format = codec.Clock
	unit := field(0, "Speed")
	unit.FromUnit, unit.Quantity, unit.Scale = true, channel.Velocity, 1
	pit := field(0, "pit")
	pit.Values, pit.Texts = []codec.Value{}, map[string]float64{"PIT": 1, "": 0}
	tests := []struct {
		name   string
		layout Layout
		text   string
		want   []string
		count  codec.Counts // Ignored, Bad and BadReadings
	}{
		{"mark, hash, spaces, line ends of both kinds, no end at the end", Layout{Fields: []Field{field(codec.Time, "t"), field(0, "a"), field(1, "b")}},
			"\ufeff# t , a,b\r\n1,2,3\n 2 , , 4\r\n3,5,6", []string{"[2 3] 1", "[NaN 4] 2", "[5 6] 3"}, codec.Counts{Ignored: 1}},
		{"decimal comma, clock, comments", Layout{Delimiter: ';', DecimalComma: true, Comment: "//", Fields: []Field{clock, field(0, "a")}},
			"made by a logger\nTime;a\n//x\n0:12,50;-1,5\n\n1:02:03,5;2\n", []string{"[-1.5] 12.5", "[2] 3723.5"}, codec.Counts{Ignored: 4}},
		{"quotation marks", Layout{Fields: []Field{field(0, `a "b", c`), field(1, "d")}, Only: []Only{{Column: "id", Text: "0,7"}}},
			"\"a \"\"b\"\", c\",\"id\",d\n\"1\",\"0,7\",2\n3,\"0,8\",4\n\"5,\"0,7\",6\n\"7\"x,1,1\n9, \"0,7\" ,10\n", []string{"[1 2] NaN", "[9 10] NaN"}, codec.Counts{Ignored: 2, Bad: 2}},
		{"numbers of cells", Layout{Fields: []Field{field(0, "a")}}, "a,b\n1,2\n3\n4,5,6\n7,8,\n9,10,,\n", []string{"[1] NaN", "[7] NaN"}, codec.Counts{Ignored: 1, Bad: 3}},
		{"what is no number", Layout{Fields: []Field{field(0, "a"), field(1, "b")}}, "a,b\n1,x\nNaN,2\n1e999,3\nnan,nan\n", []string{"[1 NaN] NaN", "[NaN 2] NaN", "[NaN 3] NaN"}, codec.Counts{Ignored: 2, BadReadings: 2}},
		{"a header again", Layout{Fields: []Field{field(0, "a")}}, "a\n1\na\n2\n", []string{"[1] NaN", "[2] NaN"}, codec.Counts{Ignored: 2}},
		{"units from the row", Layout{UnitsRow: true, Fields: []Field{unit, field(1, "Gear")}}, "Speed,Gear\n[km/h],\n180,4\n", []string{"[50 4] NaN"}, codec.Counts{Ignored: 2}},
		{"no header, tab", Layout{NoHeader: true, Delimiter: '\t', Fields: []Field{numbered(codec.Time, 1), numbered(0, 3)}, Only: []Only{{Number: 2, Text: "007"}}},
			"1\t007\t5\n2\t7\t6\n3\t007\t\n4\t007\n", []string{"[5] 1"}, codec.Counts{Ignored: 2, Bad: 1}},
		{"no column of the time", Layout{Fields: []Field{field(codec.Time, "t"), field(0, "a")}}, "a\n1\n", nil, codec.Counts{Ignored: 1, Bad: 1}},
		{"an empty cell that means something", Layout{Fields: []Field{pit, field(1, "b")}}, "pit,b\nPIT,1\n,2\n\"\",3\nx,4\n",
			[]string{"[1 1] NaN", "[0 2] NaN", "[0 3] NaN", "[NaN 4] NaN"}, codec.Counts{Ignored: 1, BadReadings: 1}},
		{"number signs", Layout{Fields: []Field{field(0, "# a (s)"), field(1, "#b")}}, "# a (s) ,#b\n1,2\n", []string{"[1 2] NaN"}, codec.Counts{Ignored: 1}},
		{"a column called #", Layout{Delimiter: '\t', Fields: []Field{field(0, "#"), field(1, "a")}}, "#\ta\t\n1\t2\t\n", []string{"[1 2] NaN"}, codec.Counts{Ignored: 1}},
		{"never a header", Layout{Fields: []Field{field(0, "a")}}, "x\n1\n2\n", nil, codec.Counts{Ignored: 3}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, c := decode(t, tt.layout, 2, tt.text)
			if tt.layout.UnitsRow {
				got[0] = strings.Replace(got[0], "50.00000000000001", "50", 1) // one rounding of 1/3.6
			}
			require.Equal(t, tt.want, trimRows(got, tt.want))
			require.Equal(t, []int64{tt.count.Ignored, tt.count.Bad, tt.count.BadReadings}, []int64{c.Ignored, c.Bad, c.BadReadings}, "ignored, bad, bad readings")
		})
	}
}

// trimRows takes a second channel away that the case does not have.
func trimRows(got, want []string) []string {
	if len(want) == 0 || strings.Count(want[0], " ") == 2 {
		return got
	}
	for i := range got {
		got[i] = strings.Replace(got[i], " NaN]", "]", 1)
	}
	return got
}

func TestMissingColumnsAndWrongUnitsAreNamed(t *testing.T) {
	unit := field(0, "v")
	unit.FromUnit, unit.Quantity, unit.Scale = true, channel.Velocity, 1
	got, c := decode(t, Layout{UnitsRow: true, Fields: []Field{unit, field(1, "gone"), field(2, "a")}, Only: []Only{{Column: "car", Text: "1"}}}, 3, "v,a\nkPa,\n1,2\n")
	require.Empty(t, got)
	require.Equal(t, []string{"car", "gone", "v in kPa"}, c.Missing)
	_, c = decode(t, Layout{Fields: []Field{field(0, "x")}}, 1, "a,b\n1,2\n")
	require.Equal(t, []string{"x"}, c.Missing)
	_, c = decode(t, Layout{Fields: []Field{field(0, "x")}}, 1, "a,b\nx,2\n")
	require.Empty(t, c.Missing, "the header came after all")
}

func TestColumnsOfOneNameAreTold(t *testing.T) {
	got, c := decode(t, Layout{Fields: []Field{field(0, "v"), field(1, "a")}}, 2, "# v,a,b,v,b\n1,2,3,4,5\n")
	require.Equal(t, []string{"[1 2] NaN"}, got)
	require.Equal(t, []string{"v (columns 1 and 4; the first is read)"}, c.Twice)
	require.Empty(t, c.Missing)
}

// Where a line has no quotation mark but those of whole cells, the cells are those of encoding/csv.
func FuzzDecode(f *testing.F) {
	for _, s := range []string{"1,2", `"1",2`, `"1""2",3`, "1,2,", ",", `"`, "1;2", " 1 ,2", "\ufeff1,2", "#,1", "nan,1e5"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, p []byte) {
		d := NewDecoder(Layout{Comment: "#", Fields: []Field{field(codec.Time, "t"), field(0, "a"), field(1, "b")}}, 2)
		emitted := int64(0)
		var rows []string
		emit := func(r *codec.Record) { emitted++; rows = append(rows, fmt.Sprint([]float64(r.Row), r.Time())) }
		d.Decode([]byte("t,a,b\n"), emit)
		d.Decode(p, emit)
		d.End(emit)
		c := d.Counts()
		if c.Emitted != emitted || c.Records != c.Emitted+c.Ignored+c.Bad || c.Bytes != int64(len(p)+6) {
			t.Fatalf("%+v", c)
		}
		// Byte by byte gives the same.
		again := NewDecoder(d.layout, 2)
		var rows2 []string
		emit2 := func(r *codec.Record) { rows2 = append(rows2, fmt.Sprint([]float64(r.Row), r.Time())) }
		for i := range p {
			if i == 0 {
				again.Decode([]byte("t,a,b\n"), emit2)
			}
			again.Decode(p[i:i+1], emit2)
		}
		again.End(emit2)
		if len(p) > 0 && strings.Join(rows, "|") != strings.Join(rows2, "|") {
			t.Fatalf("%q: %v, byte by byte %v", p, rows, rows2)
		}
		if len(p) == 0 || bytes.ContainsFunc(p, func(r rune) bool { return r < ' ' || r > '~' }) {
			return // encoding/csv trims other spaces than the blank
		}
		r := stdcsv.NewReader(bytes.NewReader(p))
		r.TrimLeadingSpace = true
		want, err := r.Read()
		if err != nil || !d.split(p) {
			return
		}
		if len(want) != len(d.cells) {
			t.Fatalf("%q: %d cells, want %d", p, len(d.cells), len(want))
		}
		for i, w := range want {
			if strings.Trim(string(d.cells[i]), " ") != strings.TrimSpace(w) && strings.TrimSpace(w) == strings.Trim(w, " ") {
				t.Fatalf("%q: cell %d is %q, want %q", p, i, d.cells[i], w)
			}
		}
	})
}

func table(columns, rows int) (Layout, []byte) {
	var l Layout
	var b bytes.Buffer
	for i := range columns {
		fmt.Fprintf(&b, "c%d,", i)
		l.Fields = append(l.Fields, field(channel.ID(i), fmt.Sprint("c", i)))
	}
	l.Fields[0].ID = codec.Time
	b.WriteString("\n")
	for r := range rows {
		for i := range columns {
			fmt.Fprintf(&b, "%d.%08d,", r+i, r*i)
		}
		b.WriteString("\n")
	}
	return l, b.Bytes()
}

func TestDecodeDoesNotAllocate(t *testing.T) {
	l, p := table(17, 20)
	header := bytes.IndexByte(p, '\n') + 1
	d := NewDecoder(l, 17)
	emit := func(*codec.Record) {}
	d.Decode(p, emit)
	require.Zero(t, testing.AllocsPerRun(100, func() { d.Decode(p[header:len(p)-30], emit); d.Decode(p[len(p)-30:], emit) }))
	require.Zero(t, d.Counts().Bad)
}

func BenchmarkDecode(b *testing.B) {
	l, p := table(17, 1000)
	b.Run("feed", func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(len(p)))
		n := 0
		for b.Loop() {
			d := NewDecoder(l, 17)
			d.Decode(p, func(*codec.Record) { n++ })
		}
		b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "rows/s")
	})
	b.Run("encoding-csv", func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(len(p)))
		n := 0
		for b.Loop() {
			r := stdcsv.NewReader(bytes.NewReader(p))
			r.ReuseRecord = true
			for {
				rec, err := r.Read()
				if err != nil {
					break
				}
				n++
				for _, c := range rec {
					codec.ParseNumber([]byte(c), false)
				}
			}
		}
		b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "rows/s")
	})
}
