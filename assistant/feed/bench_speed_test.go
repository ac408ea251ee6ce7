package feed_test

import (
	"bytes"
	"context"
	"encoding/binary"
	stdcsv "encoding/csv"
	"math"
	"net"
	"strconv"
	"testing"
	"time"

	gojson "github.com/goccy/go-json"
	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/assistant/feed/codec/packet"
	"earshot/assistant/feed/transport"
)

// ratio times a and b in turns, so that what else the machine does falls on both alike, and reports a as so many times b.
func ratio(b *testing.B, unit string, a, other func()) {
	b.Helper()
	const turn = 200
	var ta, tb time.Duration
	best, bestOther := time.Hour, time.Hour
	for b.Loop() {
		begun := time.Now()
		for range turn {
			a()
		}
		mid := time.Now()
		for range turn {
			other()
		}
		end := time.Now()
		ta, tb = ta+mid.Sub(begun), tb+end.Sub(mid)
		best, bestOther = min(best, mid.Sub(begun)), min(bestOther, end.Sub(mid))
	}
	b.ReportMetric(float64(best)/float64(bestOther), unit) // the best turns are those that nobody disturbed
	b.ReportMetric(float64(ta)/float64(tb), unit+"-mean")
	b.ReportMetric(float64(best.Nanoseconds())/turn, "ns/sample")
	b.ReportMetric(0, "ns/op") // an op is many samples of both, so its time says nothing
}

var sink float64

// A hundred channels in single precision with their unit: the codec against a loop written by hand for just this datagram,
// and the whole decoder, which looks besides whether each reading is plausible, against such a loop that does so too.
func BenchmarkPacketAgainstScalarLoop(b *testing.B) {
	l := packetLoad(b)
	p := l.sample
	row, scale, offset := make([]float64, channels100), make([]float64, channels100), make([]float64, channels100)
	for i := range scale {
		scale[i] = 1 / 3.6
	}
	b.Run("codec", func(b *testing.B) {
		layout := packet.Layout{Kinds: []packet.Kind{{Name: "k", Length: len(p)}}}
		for i := range channels100 {
			layout.Kinds[0].Fields = append(layout.Kinds[0].Fields, packet.Field{
				Field: codec.Field{Name: "c", ID: channel.ID(i), A: scale[i], B: offset[i], Lo: math.NaN(), Hi: math.NaN()}, At: 8 + 4*i, Type: packet.F32,
			})
		}
		d, err := packet.NewDecoder(layout, channels100)
		require.NoError(b, err)
		emit := func(r *codec.Record) { sink = r.Row[99] }
		ratio(b, "x-of-scalar", func() { d.Decode(p, emit) }, func() {
			for i := range row {
				row[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(p[8+4*i:])))*scale[i] + offset[i]
			}
			sink = row[99]
		})
	})
	b.Run("feed", func(b *testing.B) {
		d := l.decoder(b)
		last, _ := l.set.Lookup("c99")
		emit := func(s channel.Sample) { sink = s.Row[last] }
		lo, hi := make([]float64, channels100), make([]float64, channels100)
		for i := range lo {
			lo[i], hi[i] = -1000, 1000
		}
		implausible := 0
		ratio(b, "x-of-scalar-with-range", func() { d.Decode(p, 0, emit) }, func() {
			for i := range row {
				row[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(p[8+4*i:])))*scale[i] + offset[i]
			}
			for i, v := range row {
				if v < lo[i] || v > hi[i] {
					implausible++
				}
			}
			sink = row[99]
		})
		require.Zero(b, implausible)
	})
}

// JSON by path from a file that a user wrote, against a decoder that has the names compiled into a struct (goccy/go-json).
func BenchmarkJSONAgainstStruct(b *testing.B) {
	l := jsonLoad(b)
	d := l.decoder(b)
	last, _ := l.set.Lookup("c99")
	emit := func(s channel.Sample) { sink = s.Row[last] }
	var v hundred
	row := make([]float64, channels100)
	ratio(b, "x-of-struct", func() { d.Decode(l.sample, 0, emit) }, func() {
		if err := gojson.Unmarshal(l.sample, &v); err != nil {
			b.Fatal(err)
		}
		v.row(row)
		sink = row[99]
	})
	require.InDelta(b, reading(99)/3.6, row[99], 1e-9)
}

// A table against encoding/csv with strconv, record and slices used again.
func BenchmarkCSVAgainstStandardLibrary(b *testing.B) {
	l := csvLoad(b)
	d := l.decoder(b)
	last, _ := l.set.Lookup("c99")
	emit := func(s channel.Sample) { sink = s.Row[last] }
	row := make([]float64, channels100)
	r := stdcsv.NewReader(&endless{text: l.sample})
	r.ReuseRecord = true
	ratio(b, "x-of-encoding-csv", func() { d.Decode(l.sample, 0, emit) }, func() {
		cells, err := r.Read()
		if err != nil {
			b.Fatal(err)
		}
		for i := range row {
			x, err := strconv.ParseFloat(cells[i+1], 64)
			if err != nil {
				b.Fatal(err)
			}
			row[i] = x / 3.6
		}
		sink = row[99]
	})
}

// endless is a text that begins again at its end.
type endless struct {
	text []byte
	at   int
}

func (e *endless) Read(p []byte) (int, error) {
	n := copy(p, e.text[e.at:])
	e.at = (e.at + n) % len(e.text)
	return n, nil
}

// Datagrams that wait in the socket, read and decoded through our transport, against a bare loop over the same
// datagrams that throws them away.
func BenchmarkUDPAgainstBareLoop(b *testing.B) {
	const burst = 300 // at 408 bytes it fits in the smallest usual buffer of a socket
	l := packetLoad(b)
	d := l.decoder(b)
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	source, err := transport.Open(ctx, transport.Spec{Kind: transport.UDP, Listen: "127.0.0.1:0"})
	require.NoError(b, err)
	defer source.Close()
	bare, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(b, err)
	defer bare.Close()
	_ = bare.SetReadBuffer(4 << 20)
	dial := func(to net.Addr) *net.UDPConn {
		c, err := net.DialUDP("udp", nil, to.(*net.UDPAddr))
		require.NoError(b, err)
		b.Cleanup(func() { c.Close() })
		return c
	}
	toOurs, toBare := dial(source.(interface{ LocalAddr() net.Addr }).LocalAddr()), dial(bare.LocalAddr())
	fill := func(c *net.UDPConn) {
		for range burst {
			if _, err := c.Write(l.sample); err != nil {
				b.Fatal(err)
			}
		}
	}
	n := 0
	emit := func(channel.Sample) { n++ }
	buf := make([]byte, 1<<16)
	best, bestBare := time.Hour, time.Hour
	for b.Loop() {
		fill(toOurs)
		begun := time.Now()
		for range burst {
			p, arrived, err := source.Next(ctx)
			if err != nil {
				b.Fatal(err)
			}
			d.Decode(p, arrived, emit)
		}
		best = min(best, time.Since(begun))
		fill(toBare)
		begun = time.Now()
		for range burst {
			if _, _, err := bare.ReadFromUDPAddrPort(buf); err != nil {
				b.Fatal(err)
			}
		}
		bestBare = min(bestBare, time.Since(begun))
	}
	require.Positive(b, n)
	require.True(b, bytes.Equal(buf[:len(l.sample)], l.sample))
	b.ReportMetric(float64(best)/float64(bestBare), "x-of-bare-loop")
	b.ReportMetric(float64(burst)/best.Seconds(), "datagrams/s")
	b.ReportMetric(0, "ns/op")
}

// hundred is what a program written for just this source would have.
type hundred struct {
	T   float64 `json:"t"`
	C0  float64 `json:"channel_0"`
	C1  float64 `json:"channel_1"`
	C2  float64 `json:"channel_2"`
	C3  float64 `json:"channel_3"`
	C4  float64 `json:"channel_4"`
	C5  float64 `json:"channel_5"`
	C6  float64 `json:"channel_6"`
	C7  float64 `json:"channel_7"`
	C8  float64 `json:"channel_8"`
	C9  float64 `json:"channel_9"`
	C10 float64 `json:"channel_10"`
	C11 float64 `json:"channel_11"`
	C12 float64 `json:"channel_12"`
	C13 float64 `json:"channel_13"`
	C14 float64 `json:"channel_14"`
	C15 float64 `json:"channel_15"`
	C16 float64 `json:"channel_16"`
	C17 float64 `json:"channel_17"`
	C18 float64 `json:"channel_18"`
	C19 float64 `json:"channel_19"`
	C20 float64 `json:"channel_20"`
	C21 float64 `json:"channel_21"`
	C22 float64 `json:"channel_22"`
	C23 float64 `json:"channel_23"`
	C24 float64 `json:"channel_24"`
	C25 float64 `json:"channel_25"`
	C26 float64 `json:"channel_26"`
	C27 float64 `json:"channel_27"`
	C28 float64 `json:"channel_28"`
	C29 float64 `json:"channel_29"`
	C30 float64 `json:"channel_30"`
	C31 float64 `json:"channel_31"`
	C32 float64 `json:"channel_32"`
	C33 float64 `json:"channel_33"`
	C34 float64 `json:"channel_34"`
	C35 float64 `json:"channel_35"`
	C36 float64 `json:"channel_36"`
	C37 float64 `json:"channel_37"`
	C38 float64 `json:"channel_38"`
	C39 float64 `json:"channel_39"`
	C40 float64 `json:"channel_40"`
	C41 float64 `json:"channel_41"`
	C42 float64 `json:"channel_42"`
	C43 float64 `json:"channel_43"`
	C44 float64 `json:"channel_44"`
	C45 float64 `json:"channel_45"`
	C46 float64 `json:"channel_46"`
	C47 float64 `json:"channel_47"`
	C48 float64 `json:"channel_48"`
	C49 float64 `json:"channel_49"`
	C50 float64 `json:"channel_50"`
	C51 float64 `json:"channel_51"`
	C52 float64 `json:"channel_52"`
	C53 float64 `json:"channel_53"`
	C54 float64 `json:"channel_54"`
	C55 float64 `json:"channel_55"`
	C56 float64 `json:"channel_56"`
	C57 float64 `json:"channel_57"`
	C58 float64 `json:"channel_58"`
	C59 float64 `json:"channel_59"`
	C60 float64 `json:"channel_60"`
	C61 float64 `json:"channel_61"`
	C62 float64 `json:"channel_62"`
	C63 float64 `json:"channel_63"`
	C64 float64 `json:"channel_64"`
	C65 float64 `json:"channel_65"`
	C66 float64 `json:"channel_66"`
	C67 float64 `json:"channel_67"`
	C68 float64 `json:"channel_68"`
	C69 float64 `json:"channel_69"`
	C70 float64 `json:"channel_70"`
	C71 float64 `json:"channel_71"`
	C72 float64 `json:"channel_72"`
	C73 float64 `json:"channel_73"`
	C74 float64 `json:"channel_74"`
	C75 float64 `json:"channel_75"`
	C76 float64 `json:"channel_76"`
	C77 float64 `json:"channel_77"`
	C78 float64 `json:"channel_78"`
	C79 float64 `json:"channel_79"`
	C80 float64 `json:"channel_80"`
	C81 float64 `json:"channel_81"`
	C82 float64 `json:"channel_82"`
	C83 float64 `json:"channel_83"`
	C84 float64 `json:"channel_84"`
	C85 float64 `json:"channel_85"`
	C86 float64 `json:"channel_86"`
	C87 float64 `json:"channel_87"`
	C88 float64 `json:"channel_88"`
	C89 float64 `json:"channel_89"`
	C90 float64 `json:"channel_90"`
	C91 float64 `json:"channel_91"`
	C92 float64 `json:"channel_92"`
	C93 float64 `json:"channel_93"`
	C94 float64 `json:"channel_94"`
	C95 float64 `json:"channel_95"`
	C96 float64 `json:"channel_96"`
	C97 float64 `json:"channel_97"`
	C98 float64 `json:"channel_98"`
	C99 float64 `json:"channel_99"`
}

func (h *hundred) row(to []float64) {
	for i, x := range [...]float64{
		h.C0, h.C1, h.C2, h.C3, h.C4, h.C5, h.C6, h.C7, h.C8, h.C9,
		h.C10, h.C11, h.C12, h.C13, h.C14, h.C15, h.C16, h.C17, h.C18, h.C19,
		h.C20, h.C21, h.C22, h.C23, h.C24, h.C25, h.C26, h.C27, h.C28, h.C29,
		h.C30, h.C31, h.C32, h.C33, h.C34, h.C35, h.C36, h.C37, h.C38, h.C39,
		h.C40, h.C41, h.C42, h.C43, h.C44, h.C45, h.C46, h.C47, h.C48, h.C49,
		h.C50, h.C51, h.C52, h.C53, h.C54, h.C55, h.C56, h.C57, h.C58, h.C59,
		h.C60, h.C61, h.C62, h.C63, h.C64, h.C65, h.C66, h.C67, h.C68, h.C69,
		h.C70, h.C71, h.C72, h.C73, h.C74, h.C75, h.C76, h.C77, h.C78, h.C79,
		h.C80, h.C81, h.C82, h.C83, h.C84, h.C85, h.C86, h.C87, h.C88, h.C89,
		h.C90, h.C91, h.C92, h.C93, h.C94, h.C95, h.C96, h.C97, h.C98, h.C99,
	} {
		to[i] = x / 3.6
	}
}
