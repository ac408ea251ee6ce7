package can

import (
	"bufio"
	"bytes"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"go.einride.tech/can/pkg/descriptor"

	"earshot/assistant/feed/codec"
	"earshot/assistant/opendata"
)

// openLog is a log of a road car that stands (ICSim at 74c0916, GPL-3.0), and what DBC files of opendbc (7343a66, MIT)
// say about it. Without them the test is skipped.
func openLog(t testing.TB) (log []byte, db *Database) {
	dir := opendata.Path(t, "can-bus")
	log, err := os.ReadFile(filepath.Join(dir, "sample-can.log"))
	require.NoError(t, err)
	db = &Database{}
	for _, name := range []string{"_honda_common.dbc", "_nidec_common.dbc"} {
		text, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		one, err := ParseDBC(text)
		require.NoError(t, err)
		db.Messages = append(db.Messages, one.Messages...)
	}
	return log, db
}

// A frameText is a line of the log, taken apart with the standard library.
type frameText struct {
	id   uint32
	time float64
	data []byte
}

func framesOf(t testing.TB, log []byte) []frameText {
	var list []frameText
	for s := bufio.NewScanner(bytes.NewReader(log)); s.Scan(); {
		f := strings.Fields(s.Text())
		id, hex, ok := strings.Cut(f[2], "#")
		require.True(t, ok)
		n, err := strconv.ParseUint(id, 16, 32)
		require.NoError(t, err)
		at, err := strconv.ParseFloat(strings.Trim(f[0], "()"), 64)
		require.NoError(t, err)
		list = append(list, frameText{uint32(n), at, bytesOf(t, hex)})
	}
	return list
}

// Every frame of the log passes the family's checksum (half bytes of identifier and data add up to 8 modulo 16), and
// the counter of two bits in the last byte, above the checksum, runs unbroken on every identifier but 0x1D0, as the
// log's description says. A frame with one bit turned passes no more.
func TestChecksumsAndCountersOfTheLog(t *testing.T) {
	log, _ := openLog(t)
	frames := framesOf(t, log)
	require.Len(t, frames, 6158)
	l, ids := Layout{}, map[uint32]int{}
	lengths := map[uint32]int{}
	for _, f := range frames {
		if len(f.data) > 0 {
			lengths[f.id] = len(f.data)
		}
	}
	for id, n := range lengths {
		ids[id] = len(l.Messages)
		l.Messages = append(l.Messages, Message{ID: id, Check: &Check{Total: 8}, Counter: place(8*n-4, 2), Signals: []Signal{{Field: field(0), Place: Place{Start: 0, Length: 8}, Mux: -1}}})
	}
	require.Len(t, ids, 34)
	require.Contains(t, ids, uint32(0x1D0))
	one := func(skip bool, text []byte) *codec.Counts {
		m := append([]Message(nil), l.Messages...)
		if skip {
			m[ids[0x1D0]].Counter = nil
		}
		_, c := decode(t, Layout{Messages: m}, 1, string(text))
		return c
	}
	c := one(true, log)
	require.EqualValues(t, 6158, c.Records)
	require.EqualValues(t, 6158, c.Emitted, c.Last("line"))
	require.Zero(t, c.Lost+c.Duplicate+c.Bad)
	c = one(false, log)
	require.Positive(t, c.Lost+c.Duplicate) // 0x1D0 has no such counter
	// One bit turned in the first half byte of every frame.
	var turned bytes.Buffer
	for _, line := range bytes.SplitAfter(log, []byte{'\n'}) {
		if i := bytes.IndexByte(line, '#'); i > 0 {
			line = bytes.Clone(line)
			line[i+1] = "123456789ABCDEF0"[strings.IndexByte("0123456789ABCDEF", line[i+1])]
		}
		turned.Write(line)
	}
	c = one(true, turned.Bytes())
	require.EqualValues(t, 6158, c.By[codec.BadChecksum])
	// Every third frame taken away shows as lost.
	var fewer bytes.Buffer
	for i, line := range bytes.SplitAfter(log, []byte{'\n'}) {
		if i%100 != 50 {
			fewer.Write(line)
		}
	}
	c = one(true, fewer.Bytes())
	gone := 0
	for i, f := range frames {
		if i%100 == 50 && f.id != 0x1D0 {
			gone++
		}
	}
	require.InDelta(t, gone, c.Lost, 5) // a loss at an end or of a whole turn does not show
}

// The signals of the log, bit by bit as the DBC files say, written a second time here, and against another's decoder.
func TestSignalsOfTheLog(t *testing.T) {
	log, db := openLog(t)
	frames := framesOf(t, log)
	seen := map[uint32]bool{}
	for _, f := range frames {
		seen[f.id] = true
	}
	var l Layout
	type where struct {
		def *SignalDefinition
		ch  int
	}
	signals := map[uint32][]where{}
	n := 0
	for i := range db.Messages {
		m := &db.Messages[i]
		if m.Extended || !seen[m.ID] || signals[m.ID] != nil {
			continue
		}
		out := Message{Name: m.Name, ID: m.ID}
		for j := range m.Signals {
			s := &m.Signals[j]
			out.Signals = append(out.Signals, Signal{Field: scaled(n, s.Scale, s.Offset), Place: s.Place, Mux: -1})
			signals[m.ID] = append(signals[m.ID], where{s, n})
			n++
		}
		l.Messages = append(l.Messages, out)
	}
	require.Greater(t, len(l.Messages), 8)
	d, err := NewDecoder(l, n)
	require.NoError(t, err)
	compared, at := 0, 0
	for _, line := range bytes.SplitAfter(log, []byte{'\n'}) {
		if len(line) == 0 {
			continue
		}
		f := frames[at]
		at++
		d.Decode(line, func(r *codec.Record) {
			require.Equal(t, f.time, r.Time())
			for _, w := range signals[f.id] {
				if w.def.End() > len(f.data) {
					continue
				}
				raw := bitwise(w.def.Place, f.data)
				x := float64(raw)
				if w.def.Signed && raw>>(w.def.Length-1) == 1 {
					x = float64(raw) - float64(uint64(1)<<w.def.Length)
				}
				require.InDelta(t, x*w.def.Scale+w.def.Offset, r.Row[w.ch], 1e-9, "%X %s", f.id, w.def.Name)
				var b einride.Data
				copy(b[:], f.data)
				o := descriptor.Signal{Start: uint8(w.def.Start), Length: uint8(w.def.Length), IsBigEndian: w.def.Motorola, IsSigned: w.def.Signed, Scale: w.def.Scale, Offset: w.def.Offset}
				if w.def.Length > 1 { // of one bit it does not scale
					require.InDelta(t, o.UnmarshalPhysical(b), r.Row[w.ch], 1e-9)
				}
				compared++
			}
		})
	}
	t.Logf("%d messages, %d signals, %d readings compared", len(l.Messages), n, compared)
	require.Greater(t, compared, 9000)
}

func BenchmarkLog(b *testing.B) {
	log, db := openLog(b)
	var l Layout
	n := 0
	var messages []*Definition
	have := map[uint32]bool{}
	for i := range db.Messages {
		m := &db.Messages[i]
		if m.Extended || have[m.ID] {
			continue
		}
		have[m.ID] = true
		messages = append(messages, m)
		out := Message{Name: m.Name, ID: m.ID}
		for _, s := range m.Signals {
			out.Signals = append(out.Signals, Signal{Field: scaled(n, s.Scale, s.Offset), Place: s.Place, Mux: -1})
			n++
		}
		l.Messages = append(l.Messages, out)
	}
	b.Run("codec=own", func(b *testing.B) {
		d, err := NewDecoder(l, n)
		require.NoError(b, err)
		b.SetBytes(int64(len(log)))
		b.ReportAllocs()
		for b.Loop() {
			d.Decode(log, func(*codec.Record) {})
		}
	})
	// The same work with the other library: its frame from the text, its signals, into a row.
	b.Run("codec=einride", func(b *testing.B) {
		byID := map[uint32][]descriptor.Signal{}
		for _, m := range messages {
			for _, s := range m.Signals {
				byID[m.ID] = append(byID[m.ID], descriptor.Signal{Start: uint8(s.Start), Length: uint8(s.Length), IsBigEndian: s.Motorola, IsSigned: s.Signed, Scale: s.Scale, Offset: s.Offset})
			}
		}
		row := make([]float64, n)
		b.SetBytes(int64(len(log)))
		b.ReportAllocs()
		for b.Loop() {
			for s := bufio.NewScanner(bytes.NewReader(log)); s.Scan(); {
				text := s.Text()
				var f einride.Frame
				if err := f.UnmarshalString(text[strings.LastIndexByte(text, ' ')+1:]); err != nil {
					b.Fatal(err)
				}
				if _, err := strconv.ParseFloat(text[1:strings.IndexByte(text, ')')], 64); err != nil {
					b.Fatal(err)
				}
				for i, sig := range byID[f.ID] {
					row[i] = sig.UnmarshalPhysical(f.Data)
				}
			}
		}
	})
}
