package packet

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/feed/codec"
)

// one is a layout of one kind, told by its byte at, which holds a number behind it.
func one(at int, check bool) Layout {
	k := Kind{Name: "k", When: []Match{{At: at, Type: U8, Is: 7}}, Fields: []Field{{Field: plain(0), At: at + 1, Type: U8}}}
	if check {
		k.Check = &Check{Sum: CRC16CCITT, At: -2, To: -2}
	}
	return Layout{Kinds: []Kind{k}}
}

// heard decodes the pieces and lists the readings.
func heard(t require.TestingT, l Layout, f Frame, pieces ...[]byte) ([]float64, *codec.Counts) {
	r, err := NewFramer(l, f, 1)
	require.NoError(t, err)
	var got []float64
	emit := func(x *codec.Record) { got = append(got, x.Row[0]) }
	for _, p := range pieces {
		r.Decode(p, emit)
	}
	r.End(emit)
	c := r.Counts()
	require.Equal(t, c.Records, c.Emitted+c.Ignored+c.Bad+c.Reordered+c.Duplicate)
	require.Equal(t, int64(len(bytes.Join(pieces, nil))), c.Bytes)
	return got, c
}

// Two framings that are published: the packets of ISO transport over TCP (RFC 1006, section 6: version 3, a zero, the
// length of the whole in two bytes, most significant first), and the messages of DNS over TCP (RFC 1035, section 4.2.2:
// two bytes that count what is behind them).
func TestPublishedFramings(t *testing.T) {
	tpkt := Frame{Start: []byte{3, 0}, Length: &Length{At: 2, Type: U16, Big: true}}
	got, c := heard(t, one(4, false), tpkt, []byte{3, 0, 0, 7, 7, 40, 9, 3, 0, 0, 6, 7, 41})
	require.Equal(t, []float64{40, 41}, got)
	require.Zero(t, c.Skipped)

	dns := Frame{Length: &Length{At: 0, Type: U16, Big: true, Rest: true}}
	got, c = heard(t, one(2, false), dns, []byte{0, 3, 7, 40, 9, 0, 2, 7, 41})
	require.Equal(t, []float64{40, 41}, got)
	require.Zero(t, c.Skipped)
}

func TestFrames(t *testing.T) {
	start := []byte{0xaa, 0x55}
	byLength := Frame{Start: start, Length: &Length{At: 2, Type: U8, Rest: true, Extra: 1}}
	tests := []struct {
		name         string
		at           int // of the kind
		frame        Frame
		bytes        []byte
		want         []float64
		bad, skipped int64
	}{
		{"a size alone", 0, Frame{Size: 3}, []byte{7, 1, 0, 7, 2, 0}, []float64{1, 2}, 0, 0},
		{"a size finds its place by the kind", 0, Frame{Size: 3}, []byte{0, 0, 7, 1, 0, 9, 7, 2, 0}, []float64{1, 2}, 2, 3},
		{"a size and a start", 2, Frame{Size: 5, Start: start}, []byte{1, 0xaa, 0xaa, 0x55, 7, 1, 0, 0xaa, 0x55, 7, 2, 0}, []float64{1, 2}, 0, 2},
		{"a length with more behind it", 3, byLength, []byte{0xaa, 0x55, 2, 7, 1, 0xff, 0xaa, 0x55, 3, 7, 2, 0, 0xff}, []float64{1, 2}, 0, 0},
		{"a kind that is not described", 3, byLength, []byte{0xaa, 0x55, 3, 8, 1, 1, 0xff, 0xaa, 0x55, 2, 7, 2, 0xff}, []float64{2}, 1, 0},
		{"a kind that is not described, and then garbage", 3, byLength, []byte{0xaa, 0x55, 3, 8, 1, 1, 0xff, 9, 0xaa, 0x55, 2, 7, 2, 0xff}, []float64{2}, 1, 8},
		{"an impossible length", 3, Frame{Start: start, Length: &Length{At: 2, Type: U8}, Largest: 9}, []byte{0xaa, 0x55, 200, 0xaa, 0x55, 2, 0xaa, 0x55, 5, 7, 2}, []float64{2}, 0, 6},
		{"a start within garbage", 3, byLength, []byte{9, 0xaa, 0x55, 6, 9, 9, 0xaa, 0x55, 2, 7, 2, 0xff, 9, 9}, []float64{2}, 0, 8},
		{"an end", 0, Frame{End: []byte{13, 10}}, []byte{7, 1, 13, 10, 13, 10, 7, 13, 13, 10, 7, 2, 13, 10}, []float64{1, 13, 2}, 0, 0},
		{"the last has no end", 0, Frame{End: []byte{0xc0}}, []byte{7, 1, 0xc0, 7, 2}, []float64{1}, 1, 2},
		{"too long", 0, Frame{End: []byte{0xc0}, Largest: 4}, []byte{7, 1, 0, 0, 0xc0, 7, 2, 0, 0, 0, 0xc0, 7, 3, 0xc0, 8, 0xc0}, []float64{1, 3}, 2, 6},
		{"a start and an end", 1, Frame{Start: []byte{2}, End: []byte{3}}, []byte{9, 2, 7, 1, 3, 9, 2, 7, 9, 9, 2, 7, 2, 3}, []float64{1, 7 + 2}, 0, 2},
		{"another start before the end", 1, Frame{Start: []byte{2}, End: []byte{3}}, []byte{2, 9, 9, 2, 7, 1, 3}, []float64{1}, 1, 3},
		{"an end that is missing", 1, Frame{Start: []byte{2}, End: []byte{3}, Largest: 5}, []byte{2, 7, 9, 9, 9, 9, 9, 2, 7, 1, 3}, []float64{1}, 1, 7},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, c := heard(t, one(tt.at, false), tt.frame, tt.bytes)
			require.Equal(t, tt.want, got)
			require.Equal(t, tt.bad, c.Bad, c.Last("packet"))
			require.Equal(t, tt.skipped, c.Skipped)
			var bytewise [][]byte
			for i := range tt.bytes {
				bytewise = append(bytewise, tt.bytes[i:i+1])
			}
			again, d := heard(t, one(tt.at, false), tt.frame, bytewise...)
			require.Equal(t, got, again)
			require.Equal(t, fmt.Sprint(*c), fmt.Sprint(*d))
		})
	}
}

// A packet whose checksum is wrong does not take the good one with it that its wrong length reaches into.
func TestDamagedLength(t *testing.T) {
	f := Frame{Start: []byte{0xaa}, Length: &Length{At: 1, Type: U8}}
	good := func(v byte) []byte {
		p := []byte{0xaa, 6, 7, v, 0, 0}
		binary.LittleEndian.PutUint16(p[4:], uint16(sum(CRC16CCITT, p[:4])))
		return p
	}
	bad := good(1)
	bad[1] = 14
	got, c := heard(t, one(2, true), f, bad, good(2), good(3), good(4))
	require.Equal(t, []float64{2, 3, 4}, got)
	require.EqualValues(t, 1, c.Bad)
	require.EqualValues(t, 6, c.Skipped)
}

func TestGap(t *testing.T) {
	r, err := NewFramer(one(0, false), Frame{Size: 3}, 1)
	require.NoError(t, err)
	var got []float64
	emit := func(x *codec.Record) { got = append(got, x.Row[0]) }
	r.Decode([]byte{7, 1, 0, 7, 7}, emit)
	r.Gap()
	r.Decode([]byte{7, 2, 0}, emit)
	r.Gap()
	require.Equal(t, []float64{1, 2}, got)
	require.Equal(t, "packet 2: ended in the middle", r.Counts().Last("packet"))
	require.EqualValues(t, 2, r.Counts().Skipped)
}

// drawStream draws a way to frame, packets framed so, and garbage between them that holds no start.
func drawStream(t *rapid.T) (Layout, Frame, []byte, []float64, int64) {
	way := rapid.SampledFrom([]string{"size", "size and start", "length", "start and length", "end", "start and end"}).Draw(t, "way")
	value := rapid.SliceOfN(rapid.ByteRange(16, 255), 0, 12).Draw(t, "values")
	var f Frame
	var l Layout
	var stream, garbage []byte
	skipped := int64(0)
	for _, v := range value {
		body := []byte{7, v}
		if way != "size" && way != "size and start" {
			for range rapid.IntRange(0, 5).Draw(t, "more") {
				body = append(body, rapid.ByteRange(16, 255).Draw(t, "b"))
			}
		}
		if rapid.Bool().Draw(t, "garbage before") { // bytes that occur in no start, no end and no kind
			garbage = rapid.SliceOfN(rapid.ByteRange(8, 15), 0, 9).Draw(t, "garbage")
		} else {
			garbage = nil
		}
		switch way {
		case "size":
			f, l = Frame{Size: 2}, one(0, false)
		case "size and start":
			f, l = Frame{Size: 4, Start: []byte{1, 2}}, one(2, false)
			body = append([]byte{1, 2}, body...)
		case "length":
			f, l = Frame{Length: &Length{At: 0, Type: U8, Rest: true}}, one(1, false)
			body, garbage = append([]byte{byte(len(body))}, body...), nil
		case "start and length":
			f, l = Frame{Start: []byte{1, 2}, Length: &Length{At: 2, Type: U16, Big: true, Extra: -3}}, one(4, false)
			body = append([]byte{1, 2, 0, byte(len(body) + 7)}, body...)
		case "end":
			f, l = Frame{End: []byte{3, 4, 3}}, one(0, false)
			body, garbage = append(body, 3, 4, 3), nil
		case "start and end":
			f, l = Frame{Start: []byte{1, 1}, End: []byte{3, 4}}, one(2, false)
			body = append(append([]byte{1, 1}, body...), 3, 4)
		}
		stream = append(append(stream, garbage...), body...)
		skipped += int64(len(garbage))
	}
	if len(value) == 0 {
		f, l = Frame{Size: 2}, one(0, false)
		stream = nil
	}
	var want []float64
	for _, v := range value {
		want = append(want, float64(v))
	}
	return l, f, stream, want, skipped
}

func drawCuts(t *rapid.T, stream []byte) (pieces [][]byte) {
	for len(stream) > 0 {
		n := rapid.IntRange(1, len(stream)).Draw(t, "cut")
		pieces, stream = append(pieces, stream[:n]), stream[n:]
	}
	return pieces
}

// However a stream of packets is cut, and whatever lies between them, the packets are heard, each once, and the rest is
// counted.
func TestCutAnywhere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, f, stream, want, skipped := drawStream(t)
		got, c := heard(t, l, f, drawCuts(t, stream)...)
		if fmt.Sprint(got) != fmt.Sprint(want) || c.Skipped != skipped {
			t.Fatalf("%v, skipped %d\nwant %v, %d", got, c.Skipped, want, skipped)
		}
	})
}

// Of any bytes, a damaged stream too, every cutting makes the same.
func TestAnyBytesCutAnywhere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, f, stream, _, _ := drawStream(t)
		if rapid.Bool().Draw(t, "checked") {
			for i := range l.Kinds {
				l.Kinds[i].Check = &Check{Sum: Xor8, At: -1, To: -1}
			}
		}
		if f.Size == 0 && rapid.Bool().Draw(t, "short") {
			f.Largest = rapid.IntRange(8, 20).Draw(t, "largest")
		}
		for range rapid.IntRange(0, 6).Draw(t, "damages") {
			at := rapid.IntRange(0, len(stream)).Draw(t, "at")
			b := rapid.SliceOfN(rapid.ByteRange(0, 9), 0, 4).Draw(t, "bytes")
			stream = append(stream[:at:at], append(b, stream[min(len(stream), at+rapid.IntRange(0, 3).Draw(t, "lost")):]...)...)
		}
		whole, a := heard(t, l, f, stream)
		cut, b := heard(t, l, f, drawCuts(t, stream)...)
		if fmt.Sprint(whole) != fmt.Sprint(cut) || fmt.Sprint(*a) != fmt.Sprint(*b) {
			t.Fatalf("%x\nat once %v %+v\ncut     %v %+v", stream, whole, *a, cut, *b)
		}
	})
}

func TestFramerIsBounded(t *testing.T) {
	for _, f := range []Frame{{Size: 100}, {End: []byte{0xfe, 0xff}}, {Start: []byte{1}, End: []byte{0xff}}, {Start: []byte{1, 2}, Length: &Length{At: 2, Type: U16}}, {Length: &Length{Type: U32}}} {
		r, err := NewFramer(one(3, false), f, 1)
		require.NoError(t, err)
		x := rand.New(rand.NewPCG(1, 2))
		p := make([]byte, 1000)
		for range 200 {
			for i := range p {
				p[i] = byte(x.IntN(250))
			}
			r.Decode(p, func(*codec.Record) {})
			require.LessOrEqual(t, len(r.buf), f.largest()+len(f.Start)+len(f.End))
		}
	}
}

func TestWhatAFrameCannotBe(t *testing.T) {
	for want, f := range map[string]Frame{
		"one of size, length and end":                  {},
		"a frame has one of size":                      {Size: 1, End: []byte{1}},
		"does not hold its start":                      {Size: 1, Start: []byte{1, 2}},
		"a length is one of":                           {Length: &Length{Type: I8}},
		"the length ends at byte 9":                    {Length: &Length{Type: U8, At: 8}, Largest: 8},
		"the length stands in the start of the packet": {Length: &Length{Type: U8}, Start: []byte{1}},
		"the size is the largest already":              {Size: 3, Largest: 3},
		"a packet has 1 to":                            {Size: 70_000},
	} {
		_, err := NewFramer(one(0, false), f, 1)
		require.ErrorContains(t, err, want)
	}
}

func FuzzFramer(f *testing.F) {
	f.Add(uint8(0), []byte{1, 2, 7, 1, 1, 2, 7, 2}, 3)
	f.Add(uint8(1), []byte{1, 2, 5, 7, 1, 1, 2, 9, 7}, 2)
	f.Add(uint8(2), []byte{7, 1, 0xff, 7, 2, 0xff}, 1)
	f.Add(uint8(3), []byte{1, 7, 1, 2, 2}, 5)
	f.Fuzz(func(t *testing.T, way uint8, p []byte, cut int) {
		frames := []Frame{{Size: 4, Start: []byte{1, 2}}, {Start: []byte{1, 2}, Length: &Length{At: 2, Type: U8}, Largest: 60}, {End: []byte{0xff}, Largest: 40}, {Start: []byte{1}, End: []byte{2, 2}, Largest: 50}, {Size: 3}}
		ats := []int{2, 3, 0, 1, 0}
		i := int(way) % len(frames)
		whole, a := heard(t, one(ats[i], way > 127), frames[i], p)
		if cut < 0 || cut > len(p) {
			cut = len(p) / 2
		}
		got, b := heard(t, one(ats[i], way > 127), frames[i], p[:cut], p[cut:])
		require.Equal(t, whole, got)
		require.Equal(t, fmt.Sprint(*a), fmt.Sprint(*b))
	})
}

// streamOf is a hundred packets of 100 floats with a start and a length, in pieces of 1000 bytes.
func streamOf() (Layout, Frame, [][]byte) {
	l, p := hundred()
	k := &l.Kinds[0]
	k.Length = 0
	k.When = []Match{{At: 0, Type: U16, Is: 0x62b5}}
	for i := range k.Fields {
		k.Fields[i].At += 4
	}
	packet := append([]byte{0xb5, 0x62, 0, 0}, p...)
	binary.LittleEndian.PutUint16(packet[2:], uint16(len(packet)))
	var pieces [][]byte
	for s := bytes.Repeat(packet, 100); len(s) > 0; {
		n := min(1000, len(s))
		pieces, s = append(pieces, s[:n]), s[n:]
	}
	return l, Frame{Start: []byte{0xb5, 0x62}, Length: &Length{At: 2, Type: U16}}, pieces
}

func TestFramerDoesNotAllocate(t *testing.T) {
	l, f, pieces := streamOf()
	r, err := NewFramer(l, f, 100)
	require.NoError(t, err)
	n := 0
	emit := func(*codec.Record) { n++ }
	run := func() {
		for _, p := range pieces {
			r.Decode(p, emit)
		}
	}
	run()
	require.Equal(t, 100, n)
	require.Zero(t, testing.AllocsPerRun(20, run))
	require.Zero(t, r.Counts().Bad+r.Counts().Skipped)
}

// BenchmarkFramer tells what framing costs: packets out of a stream against the same packets whole.
func BenchmarkFramer(b *testing.B) {
	l, f, pieces := streamOf()
	emit := func(r *codec.Record) { sink = r.Row[99] }
	packet := pieces[0][:404]
	d, err := NewDecoder(l, 100)
	require.NoError(b, err)
	r, err := NewFramer(l, f, 100)
	require.NoError(b, err)
	b.Run("whole", func(b *testing.B) {
		for b.Loop() {
			for range 100 {
				d.Decode(packet, emit)
			}
		}
	})
	b.Run("framed", func(b *testing.B) {
		for b.Loop() {
			for _, p := range pieces {
				r.Decode(p, emit)
			}
		}
	})
}
