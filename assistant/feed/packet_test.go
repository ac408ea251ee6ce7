package feed

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/packet"
	"earshot/assistant/feed/transport"
)

// A capture of the demo's datagrams is replayed from a compressed file, and gives what the datagrams give.
func TestReplayOfACapture(t *testing.T) {
	data, err := os.ReadFile("../../configs/feeds/demo.yaml")
	require.NoError(t, err)
	f, set := parse(t, strings.Replace(string(data), "\npacket:\n", "\npacket:\n  frame: {capture: true}\n", 1))
	e, err := NewEncoder(f, set)
	require.NoError(t, err)
	row := demoRow(f, set, rand.New(rand.NewPCG(1, 2)))
	gears := []float64{}
	gear, ok := set.Lookup("gear")
	require.True(t, ok)
	keep := func(s channel.Sample) {
		if !math.IsNaN(s.Row[gear]) {
			gears = append(gears, s.At, s.Row[gear])
		}
	}
	capture := []byte(packet.CaptureHead)
	direct := decoderOf(t, f, set)
	for i := range 500 {
		row[gear] = float64(i % 6)
		require.NoError(t, e.Encode(channel.Sample{At: float64(i) / 100, Row: row}, func(p []byte) {
			capture = packet.AppendCapture(capture, p)
			direct.Decode(p, math.NaN(), keep)
		}))
	}
	want := gears
	require.Greater(t, len(want), 500)
	gears = nil
	path := filepath.Join(t.TempDir(), "drive")
	require.NoError(t, os.WriteFile(path, capture, 0o600))
	f.Transport = transport.Spec{Kind: transport.File, Path: path}
	d := decoderOf(t, f, set)
	s, err := transport.Open(t.Context(), f.Transport)
	require.NoError(t, err)
	defer s.Close()
	for {
		p, arrived, err := s.Next(t.Context())
		d.Decode(p, arrived, keep)
		if err == io.EOF {
			d.End(keep)
			break
		}
		require.NoError(t, err)
	}
	require.Equal(t, want, gears)
	require.Equal(t, "packet", d.Stats().Record)
	require.Zero(t, d.Stats().Bad+d.Stats().Skipped)
}

func TestGarbageBetweenPacketsIsCounted(t *testing.T) {
	f, set := parse(t, `transport: {kind: stdin}
codec: packet
packet:
  frame: {start: B562, length: {at: 2, type: u16, counts: all}}
  kinds: {a: {when: [{at: 4, type: u8, is: 7}], fields: [{at: 5, type: u8, to: gear}]}}
`)
	d := decoderOf(t, f, set)
	p := []byte{0xb5, 0x62, 0, 0, 7, 3}
	binary.LittleEndian.PutUint16(p[2:], uint16(len(p)))
	n := 0
	emit := func(channel.Sample) { n++ }
	d.Decode(bytes.Join([][]byte{[]byte("noise"), p, p[:4]}, nil), 1, emit)
	d.(interface{ Gap() }).Gap()
	d.Decode(p, 2, emit)
	require.Equal(t, 2, n)
	s := d.Stats()
	require.EqualValues(t, 9, s.Skipped)
	require.Equal(t, map[string]int64{"ended in the middle": 1}, s.Reasons)
}
