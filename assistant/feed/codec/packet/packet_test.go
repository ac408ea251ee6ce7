package packet

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

func plain(id channel.ID) codec.Field {
	return codec.Field{Name: fmt.Sprint("c", id), ID: id, A: 1, Lo: math.NaN(), Hi: math.NaN()}
}

// The check values for "123456789" in the catalogue of parametrised CRC algorithms (G. Cook):
// CRC-16/IBM-3740 (also called CCITT-FALSE) 29B1, CRC-32/ISO-HDLC CBF43926.
func TestSumsAgainstPublishedCheckValues(t *testing.T) {
	p := []byte("123456789")
	require.EqualValues(t, 0x29B1, sum(CRC16CCITT, p))
	require.EqualValues(t, 0xCBF43926, sum(CRC32, p))
	require.EqualValues(t, 0x31, sum(Xor8, p)) // 1^2^…^9 is 1, with the high half odd times 3
	require.EqualValues(t, 477%256, sum(Sum8, p))
}

// Values of the binary16 format of IEEE 754-2019: largest, least normal, least subnormal, nearest to a third.
func TestHalfAgainstIEEE754(t *testing.T) {
	for bits, want := range map[uint16]float64{0x3c00: 1, 0xc000: -2, 0x7bff: 65504, 0x0400: 0x1p-14, 0x0001: 0x1p-24, 0x3555: 0.333251953125, 0x7c00: math.Inf(1), 0x0000: 0} {
		require.Equal(t, want, half(bits))
		require.Equal(t, bits, toHalf(want))
	}
	require.True(t, math.Signbit(half(0x8000)))
	require.True(t, math.IsNaN(half(0x7e00)))
	for i := range 1 << 16 {
		if x := half(uint16(i)); !math.IsNaN(x) {
			require.Equal(t, uint16(i), toHalf(x))
		}
	}
	// Halfway cases go to the even neighbour; between 65504 and 65520 the largest is nearest.
	require.Equal(t, uint16(0x3c00), toHalf(1+0x1p-11))
	require.Equal(t, uint16(0x3c02), toHalf(1+3*0x1p-11))
	require.Equal(t, uint16(0x7bff), toHalf(65519.9))
	require.Equal(t, uint16(0x7c00), toHalf(65520))
}

// TestEveryType decodes bytes written by encoding/binary and by hand.
func TestEveryType(t *testing.T) {
	p := []byte{0x81, 0x02, 0x83, 0x04, 0x85, 0x06, 0x87, 0x88}
	tests := []struct {
		typ  Type
		big  bool
		want float64
	}{
		{U8, false, 0x81}, {I8, false, -127},
		{U16, false, 0x0281}, {U16, true, 0x8102}, {I16, true, 0x8102 - 1<<16},
		{U24, false, 0x830281}, {U24, true, 0x810283}, {I24, true, 0x810283 - 1<<24}, {I24, false, 0x830281 - 1<<24},
		{U32, false, 0x04830281}, {U32, true, 0x81028304}, {I32, true, 0x81028304 - 1<<32},
		{U64, true, 0x8102830485068788}, {I64, true, float64(int64(-0x7EFD7CFB7AF97878))},
		{U64, false, 0x8887068504830281},
		{F32, true, float64(math.Float32frombits(0x81028304))}, {F64, false, math.Float64frombits(0x8887068504830281)}, {F16, true, half(0x8102)},
	}
	for _, tt := range tests {
		t.Run(fmt.Sprint(tt.typ, tt.big), func(t *testing.T) {
			for _, odd := range []bool{false, true} { // the run and the long way agree
				f := Field{Field: plain(0), Type: tt.typ, Big: tt.big}
				if odd {
					f.Absent = []float64{12345}
				}
				d, err := NewDecoder(Layout{Kinds: []Kind{{Name: "k", Length: 8, Fields: []Field{f}}}}, 1)
				require.NoError(t, err)
				n := 0
				d.Decode(p, func(r *codec.Record) { n++; require.Equal(t, tt.want, r.Row[0]) })
				require.Equal(t, 1, n)
			}
		})
	}
}

func TestBitsTextsValuesAndAbsence(t *testing.T) {
	bits := Field{Field: plain(0), At: 0, Type: U16, Bit: 3, Width: 5, Signed: true}
	bit := Field{Field: plain(1), At: 0, Type: U16, Bit: 15, Width: 1}
	text := Field{Field: plain(2), At: 2, Type: Text, Length: 6}
	text.Labelled, text.Texts = true, map[string]float64{"soft": 1, "hard": 3}
	table := Field{Field: plain(3), At: 8, Type: U8}
	table.Values, table.Absent = []codec.Value{{Raw: 7, Is: 70}}, []float64{255}
	ranged := Field{Field: plain(4), At: 9, Type: I8}
	ranged.Lo, ranged.Hi = -10, 10
	d, err := NewDecoder(Layout{Kinds: []Kind{{Name: "k", Length: 10, Fields: []Field{bits, bit, text, table, ranged}}}}, 5)
	require.NoError(t, err)
	decode := func(p ...byte) (got []float64) {
		d.Decode(p, func(r *codec.Record) { got = append(got, r.Row...) })
		return got
	}
	nan := math.NaN()
	same := func(want, got []float64) {
		t.Helper()
		require.Equal(t, fmt.Sprint(want), fmt.Sprint(got))
	}
	same([]float64{-2, 1, 1, 70, -10}, decode(0xf0, 0x80, 's', 'o', 'f', 't', 0, 'x', 7, 0xf6))
	same([]float64{15, 0, 3, nan, 10}, decode(0x78, 0x00, ' ', 'h', 'a', 'r', 'd', ' ', 255, 10))
	require.Zero(t, d.Counts().BadReadings, "absent is not a mistake")
	same([]float64{0, 0, nan, nan, nan}, decode(0, 0, 'w', 'e', 't', 0, 0, 0, 8, 11))
	require.EqualValues(t, 3, d.Counts().BadReadings)
	require.EqualValues(t, 2, d.Counts().By[codec.UnknownValue])
	require.EqualValues(t, 1, d.Counts().By[codec.OutsideRange])
	require.Equal(t, "datagram 3: c4: outside the range in the feed file", d.Counts().Last("datagram"))
}

func TestKindsAndRefusals(t *testing.T) {
	kind := func(name string, is int64, length int, id channel.ID) Kind {
		return Kind{Name: name, When: []Match{{At: 0, Type: U8, Is: is}}, Length: length, Fields: []Field{{Field: plain(id), At: 1, Type: U8}}}
	}
	d, err := NewDecoder(Layout{Kinds: []Kind{kind("a", 1, 0, 0), kind("b", 2, 3, 1), kind("c", 2, 4, 2)}}, 3)
	require.NoError(t, err)
	var got []float64
	emit := func(r *codec.Record) { got = append(got, r.Row...) }
	for _, p := range [][]byte{{1, 11}, {1, 12, 99}, {2, 21, 0}, {2, 31, 0, 0}} {
		d.Decode(p, emit)
	}
	require.Equal(t, "[11 NaN NaN 12 NaN NaN NaN 21 NaN NaN NaN 31]", fmt.Sprint(got), "a kind leaves nothing behind for another")
	got = nil
	for _, p := range [][]byte{{}, {1}, {3, 1, 1, 1}, {2, 1}, {2, 1, 1, 1, 1}} {
		d.Decode(p, emit)
	}
	require.Empty(t, got)
	c := d.Counts()
	require.EqualValues(t, 5, c.Bad)
	require.EqualValues(t, 2, c.By[codec.UnknownKind])
	require.EqualValues(t, 2, c.By[codec.TooShort])
	require.EqualValues(t, 1, c.By[codec.WrongLength])
}

func TestImpossibleLayoutsAreAllTold(t *testing.T) {
	l := Layout{Sequence: &Counter{Type: I16}, Kinds: []Kind{
		{Name: "a", When: []Match{{At: 0, Type: U8, Is: 300}}},
		{Name: "b", When: []Match{{At: 0, Type: U8, Is: 300}}, Fields: []Field{{Field: plain(0), Type: "u7"}, {Field: plain(1), Type: U8, Bit: 6, Width: 4}}},
		{Name: "c", Length: 4, Fields: []Field{{Field: plain(0), Type: U32, At: 1}}, Check: &Check{Sum: "md5"}},
		{Name: "d", When: []Match{{At: 0, Type: U8, Is: 3}}, Fields: []Field{{Field: plain(0), Type: F32, At: 180_000}}},
	}}
	require.Len(t, l.Validate(), 9)
	_, err := NewDecoder(l, 2)
	require.ErrorContains(t, err, "a datagram could be either")
	require.ErrorContains(t, err, "ends at byte 5")
	require.ErrorContains(t, err, "ends at byte 180004, and no packet has so many")
}

// The running number: what a list of arrivals must count. Truth by hand.
func TestSequence(t *testing.T) {
	tests := []struct {
		name                                 string
		in                                   []uint32
		size                                 int
		taken                                int
		lost, reordered, duplicate, restarts int64
	}{
		{"in order", []uint32{5, 6, 7}, 2, 3, 0, 0, 0, 0},
		{"a gap", []uint32{5, 8, 9}, 2, 3, 2, 0, 0, 0},
		{"around the end", []uint32{65534, 65535, 0, 1}, 2, 4, 0, 0, 0, 0},
		{"around the end of 32 bits", []uint32{math.MaxUint32, 0, 2}, 4, 3, 1, 0, 0, 0},
		{"twice", []uint32{5, 5, 6}, 2, 2, 0, 0, 1, 0},
		{"late", []uint32{5, 7, 6, 8}, 2, 3, 0, 1, 0, 0},
		{"late twice", []uint32{5, 7, 6, 6, 8}, 2, 3, 0, 1, 1, 0},
		{"late from before the first", []uint32{5, 4, 6}, 2, 2, 0, 1, 0, 0},
		{"the source began anew", []uint32{5000, 5001, 0, 1, 2}, 2, 4, 0, 1, 0, 1}, // the second one proves it
		{"the source began anew, every third is ours", []uint32{5000, 5003, 0, 3, 6}, 2, 4, 4, 1, 0, 1},
		{"an old one again", []uint32{5000, 5001, 7, 5002}, 2, 3, 0, 1, 0, 0},
		{"old ones again, not as they were sent", []uint32{5000, 5001, 7, 6, 5002, 8, 5003}, 2, 4, 0, 3, 0, 0},
		{"one old one again and again", []uint32{5000, 5001, 7, 7, 7, 5002}, 2, 3, 0, 3, 0, 0},
		{"eight bits around", []uint32{250, 3}, 1, 2, 8, 0, 0, 0},
		{"eight bits anew", []uint32{200, 5}, 1, 2, 60, 0, 0, 0}, // 61 ahead: cannot be told from loss
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var tr tracker
			var c codec.Counts
			taken := 0
			for _, n := range tt.in {
				if tr.accept(n, tt.size, &c) {
					taken++
				}
			}
			require.Equal(t, tt.taken, taken)
			require.Equal(t, []int64{tt.lost, tt.reordered, tt.duplicate, tt.restarts}, []int64{c.Lost, c.Reordered, c.Duplicate, c.Restarts})
		})
	}
}

// Lost, late and double datagrams in a random order within the window: every number is accounted for.
func TestSequenceAccountsForEveryNumber(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const n = 200
		start := rapid.Uint32().Draw(t, "start")
		type arrival struct{ n, when int }
		var in []arrival
		sent := map[int]int{}
		for i := range n {
			copies := rapid.SampledFrom([]int{1, 1, 1, 1, 0, 2}).Draw(t, "copies")
			if i == 0 || i == n-1 {
				copies = 1
			}
			for range copies {
				late := 0
				if i > 0 && i < n-1 {
					late = rapid.SampledFrom([]int{0, 0, 0, 3, 20}).Draw(t, "late")
				}
				in = append(in, arrival{i, i*2 + min(late, 2*(n-1)-i*2-1)})
			}
			sent[i] = copies
		}
		// A stable sort by the time of arrival.
		for i := 1; i < len(in); i++ {
			for j := i; j > 0 && in[j].when < in[j-1].when; j-- {
				in[j], in[j-1] = in[j-1], in[j]
			}
		}
		var tr tracker
		var c codec.Counts
		taken := int64(0)
		for _, a := range in {
			if tr.accept((start+uint32(a.n))&0xffff, 2, &c) {
				taken++
			}
		}
		var never, double int64
		for _, k := range sent {
			if k == 0 {
				never++
			}
			if k == 2 {
				double++
			}
		}
		if c.Lost != never || c.Duplicate != double || c.Restarts != 0 || taken+c.Reordered != n-never {
			t.Fatalf("taken %d, %+v; never came %d, double %d", taken, c, never, double)
		}
	})
}

// drawField draws a field of any type and a reading that it can express exactly.
func drawField(t *rapid.T, id channel.ID, at int) (Field, float64) {
	f := Field{Field: plain(id), At: at, Type: rapid.SampledFrom(Types()).Draw(t, "type"), Big: rapid.Bool().Draw(t, "big")}
	f.A = rapid.SampledFrom([]float64{1, 0.5, -2, 0x1p-7}).Draw(t, "a")
	f.B = rapid.SampledFrom([]float64{0, 0, 3, -40}).Draw(t, "b")
	if f.Type == Text {
		f.Length = rapid.IntRange(4, 9).Draw(t, "length")
		f.Texts = map[string]float64{"a": 1, "bb": 2, "ccc": 3, "ä": 4}
		return f, float64(rapid.IntRange(1, 4).Draw(t, "label"))
	}
	if f.Type == F16 {
		f.B = 0 // eleven bits leave no room for an offset
		return f, half(uint16(rapid.IntRange(0, 0x7bff).Draw(t, "half"))) * f.A
	}
	if f.Type == F32 {
		return f, float64(float32(rapid.IntRange(-4000, 4000).Draw(t, "float")))*f.A + f.B
	}
	if f.Type == F64 {
		return f, float64(rapid.IntRange(-1<<30, 1<<30).Draw(t, "double"))*f.A + f.B
	}
	lo, hi := f.Type.limits()
	if f.Type.Unsigned() && rapid.Bool().Draw(t, "bits") {
		f.Width = rapid.IntRange(1, min(40, 8*f.Type.Size())).Draw(t, "width")
		f.Bit = rapid.IntRange(0, 8*f.Type.Size()-f.Width).Draw(t, "bit")
		f.Signed = rapid.Bool().Draw(t, "signed")
		lo, hi = 0, math.Exp2(float64(f.Width))-1
		if f.Signed {
			lo, hi = -math.Exp2(float64(f.Width-1)), math.Exp2(float64(f.Width-1))-1
		}
	}
	lo, hi = max(lo, -1<<40), min(hi, 1<<40)
	raw := float64(rapid.Int64Range(int64(lo), int64(hi)).Draw(t, "raw"))
	if hi-lo > 10 {
		f.Absent = []float64{hi}
		raw = min(raw, hi-1)
	}
	return f, raw*f.A + f.B
}

// What the encoder of any layout says, the decoder of that layout hears, absent readings included.
func TestEncodeDecodeRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "fields")
		k := Kind{Name: "k", When: []Match{{At: 0, Type: U16, Big: rapid.Bool().Draw(t, "big"), Is: rapid.Int64Range(0, 65535).Draw(t, "magic")}}}
		want := make(channel.Row, n)
		at := 2
		for i := range n {
			at += rapid.IntRange(0, 3).Draw(t, "gap")
			f, v := drawField(t, channel.ID(i), at)
			if (f.Absent != nil || f.Type[0] == 'f' || f.Type == Text) && rapid.IntRange(0, 4).Draw(t, "absent") == 0 {
				v = math.NaN()
			}
			if v == 0 {
				v = 0 // a zero with a sign is the same reading
			}
			want[i] = v
			at += f.size()
			k.Fields = append(k.Fields, f)
		}
		l := Layout{Kinds: []Kind{k}}
		if s := rapid.SampledFrom(append(Sums(), "")).Draw(t, "sum"); s != "" {
			l.Kinds[0].Check = &Check{Sum: s, At: -s.Size(), To: -s.Size(), Big: rapid.Bool().Draw(t, "big sum")}
		}
		e, err := NewEncoder(l)
		if err != nil {
			t.Fatal(err)
		}
		d, err := NewDecoder(l, n)
		if err != nil {
			t.Fatal(err)
		}
		heard := 0
		err = e.Encode(want, 0, func(p []byte) {
			d.Decode(p, func(r *codec.Record) {
				heard++
				if fmt.Sprint(r.Row) != fmt.Sprint(want) {
					t.Fatalf("%v\nwant %v", r.Row, want)
				}
			})
			if l.Kinds[0].Check != nil { // one flipped bit is always seen: by every one of the sums
				p[rapid.IntRange(0, len(p)-1).Draw(t, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
				d.Decode(p, func(*codec.Record) { t.Fatal("a damaged datagram was taken") })
			}
		})
		if err != nil || heard != 1 {
			t.Fatalf("%v, heard %d", err, heard)
		}
	})
}

func TestWhatTheLayoutCannotSayIsAnError(t *testing.T) {
	e, err := NewEncoder(Layout{Kinds: []Kind{{Name: "k", Fields: []Field{{Field: plain(0), Type: U8}}}, {Name: "l", Length: 9, Fields: []Field{{Field: plain(1), Type: F32}}}}})
	require.NoError(t, err)
	sent := 0
	send := func([]byte) { sent++ }
	for _, v := range []float64{math.NaN(), -1, 256, math.Inf(1)} {
		err := e.Encode(channel.Row{v, math.NaN()}, 0, send)
		require.ErrorIs(t, err, ErrUnsayable)
		require.ErrorContains(t, err, "kind k: c0")
	}
	require.Equal(t, 4, sent, "the other kind was sent each time")
	require.NoError(t, e.Encode(channel.Row{255, 1}, 0, send))
}

// A hundred thousand random datagrams, a part of them with the right beginning: nothing panics, and nothing is
// taken whose discriminators, length and checksum are not those of a kind.
func TestRandomDatagrams(t *testing.T) {
	l := Layout{Kinds: []Kind{
		{Name: "a", When: []Match{{At: 0, Type: U16, Is: 0x1234}, {At: 2, Type: U8, Is: 1}}, Length: 20, Fields: []Field{{Field: plain(0), At: 3, Type: F64}, {Field: plain(1), At: 12, Type: U64, Bit: 3, Width: 60}}},
		{Name: "b", When: []Match{{At: 0, Type: U16, Is: 0x1234}, {At: 2, Type: U8, Is: 2}}, Fields: []Field{{Field: plain(0), At: 3, Type: I32, Big: true}}, Check: &Check{Sum: Xor8, At: -1, To: -1}},
	}}
	d, err := NewDecoder(l, 2)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(3, 4))
	taken := map[byte]int{}
	for range 100_000 {
		p := make([]byte, r.IntN(40))
		for i := range p {
			p[i] = byte(r.Uint32())
		}
		if len(p) > 2 && r.IntN(2) == 0 {
			p[0], p[1], p[2] = 0x34, 0x12, byte(r.IntN(4))
		}
		d.Decode(p, func(*codec.Record) {
			require.GreaterOrEqual(t, len(p), 8)
			require.Equal(t, []byte{0x34, 0x12}, p[:2])
			switch p[2] {
			case 1:
				require.Len(t, p, 20)
			case 2:
				x := byte(0)
				for _, b := range p {
					x ^= b
				}
				require.Zero(t, x)
			default:
				t.Fatal("of no kind")
			}
			taken[p[2]]++
		})
	}
	require.Greater(t, taken[1], 100)
	require.Greater(t, taken[2], 10)
	c := d.Counts()
	require.Equal(t, c.Records, c.Emitted+c.Bad)
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte{0x34, 0x12, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0})
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, p []byte) {
		text := Field{Field: plain(2), At: 3, Type: Text, Length: 4}
		text.Texts = map[string]float64{"a": 1}
		d, err := NewDecoder(Layout{Sequence: &Counter{At: 2, Type: U8}, Kinds: []Kind{
			{Name: "a", When: []Match{{At: 0, Type: U8, Is: 1}}, Fields: []Field{{Field: plain(0), At: 3, Type: F16}, {Field: plain(1), At: 5, Type: I24}}, Check: &Check{Sum: CRC16CCITT, At: 8, From: -3, To: -1}},
			{Name: "b", When: []Match{{At: 0, Type: U8, Is: 2}}, Fields: []Field{text}},
		}}, 3)
		if err != nil {
			t.Fatal(err)
		}
		emitted := int64(0)
		for range 2 {
			d.Decode(p, func(*codec.Record) { emitted++ })
		}
		c := d.Counts()
		if c.Records != 2 || c.Emitted != emitted || c.Records != c.Emitted+c.Ignored+c.Bad+c.Reordered+c.Duplicate {
			t.Fatalf("%+v", c)
		}
	})
}

// hundred is a layout of 100 floats, each with a unit of its own.
func hundred() (Layout, []byte) {
	k := Kind{Name: "k", Length: 400}
	p := make([]byte, 400)
	for i := range 100 {
		f := Field{Field: plain(channel.ID(i)), At: 4 * i, Type: F32}
		f.A, f.B = 1/3.6+float64(i), float64(i%3)
		k.Fields = append(k.Fields, f)
		binary.LittleEndian.PutUint32(p[4*i:], math.Float32bits(float32(i)))
	}
	return Layout{Kinds: []Kind{k}}, p
}

func TestDecodeDoesNotAllocate(t *testing.T) {
	l, p := hundred()
	d, err := NewDecoder(l, 100)
	require.NoError(t, err)
	emit := func(*codec.Record) {}
	require.Zero(t, testing.AllocsPerRun(1000, func() { d.Decode(p, emit) }))
	e, err := NewEncoder(l)
	require.NoError(t, err)
	row := make(channel.Row, 100)
	send := func([]byte) {}
	require.Zero(t, testing.AllocsPerRun(1000, func() { _ = e.Encode(row, 0, send) }))
}

var sink float64

func BenchmarkDecode(b *testing.B) {
	l, p := hundred()
	b.Run("layout", func(b *testing.B) {
		d, err := NewDecoder(l, 100)
		require.NoError(b, err)
		emit := func(r *codec.Record) { sink = r.Row[99] }
		b.ReportAllocs()
		for b.Loop() {
			d.Decode(p, emit)
		}
	})
	b.Run("scalar-loop-by-hand", func(b *testing.B) {
		row, scale, offset := make([]float64, 100), make([]float64, 100), make([]float64, 100)
		for i, f := range l.Kinds[0].Fields {
			scale[i], offset[i] = f.A, f.B
		}
		b.ReportAllocs()
		for b.Loop() {
			for i := range row {
				row[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(p[4*i:])))*scale[i] + offset[i]
			}
			sink = row[99]
		}
	})
	b.Run("encoding-binary", func(b *testing.B) {
		var fields struct{ F [100]float32 }
		row := make([]float64, 100)
		b.ReportAllocs()
		for b.Loop() {
			_, _ = binary.Decode(p, binary.LittleEndian, &fields)
			for i, x := range fields.F {
				row[i] = float64(x)*l.Kinds[0].Fields[i].A + l.Kinds[0].Fields[i].B
			}
			sink = row[99]
		}
	})
}
