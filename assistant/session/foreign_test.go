package session

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"io"
	"math"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/foxglove/mcap/go/mcap"
	"github.com/stretchr/testify/require"

	"earshot/assistant/journal"
)

// withEvents records samples with an event after every tenth, in chunks as those of a live run.
func withEvents(t testing.TB, samples, channels, perChunk int) (whole []byte, inputs []input, events [][]byte) {
	disk := &memory{}
	head := testHead(channels)
	for range head.Channels {
		head.Units = append(head.Units, "kPa")
	}
	r, err := startRecorder(disk, head, Options{Wait: true})
	require.NoError(t, err)
	for _, in := range drive(samples, channels) {
		if in.kind == KindSample {
			inputs = append(inputs, in)
		}
	}
	for i, in := range inputs {
		in.give(t, r)
		if i%10 == 9 {
			e := journal.Event{T: in.at, Lap: i / 100, Distance: journal.Unknown, Body: &journal.Health{Part: "feed", State: "ok", Text: "a \"quoted\" <text>"}}
			require.NoError(t, r.Event(e))
			line, err := e.Append(nil)
			require.NoError(t, err)
			events = append(events, bytes.TrimSpace(line))
		}
		if i%perChunk == perChunk-1 {
			r.chunkNow()
		}
	}
	require.NoError(t, r.Close())
	return disk.safe(), inputs, events
}

// chunkNow makes a chunk of what is queued, as the clock would.
func (r *Recorder) chunkNow() {
	r.wakeUp()
	for queued := true; queued; {
		r.mu.Lock()
		queued = len(r.queue) > 0
		r.mu.Unlock()
		runtime.Gosched()
	}
}

// Whoever has only an MCAP library and what the file says about itself can read it: topics, schemas, names and
// units of the channels, readings bit for bit, and the events of the journal. The reader here is the indexed one of
// the format's own library, and the decoding below follows the text in the schema, not this package.
func TestAStrangerCanReadARecording(t *testing.T) {
	whole, inputs, events := withEvents(t, 300, 21, 50)
	reader, err := mcap.NewReader(bytes.NewReader(whole))
	require.NoError(t, err)
	info, err := reader.Info()
	require.NoError(t, err)
	topics := map[string]string{}
	for _, c := range info.Channels {
		topics[c.Topic] = c.MessageEncoding + " " + info.Schemas[c.SchemaID].Encoding
	}
	require.Equal(t, map[string]string{"journal": "json jsonschema", "input/sample": "earshot-input text"}, topics)
	require.GreaterOrEqual(t, len(info.ChunkIndexes), 6)
	require.Equal(t, mcap.CompressionZSTD, info.ChunkIndexes[0].Compression)

	var names, units []string
	for _, m := range info.MetadataIndexes {
		if m.Name == "channels" {
			record, err := reader.GetMetadata(m.Offset)
			require.NoError(t, err)
			names, units = strings.Split(record.Metadata["names"], "\n"), strings.Split(record.Metadata["units"], "\n")
		}
	}
	require.Len(t, names, 21)
	require.Len(t, units, 21)

	it, err := reader.Messages(mcap.WithTopics([]string{"input/sample"}))
	require.NoError(t, err)
	n := 0
	require.NoError(t, mcap.Range(it, func(_ *mcap.Schema, _ *mcap.Channel, m *mcap.Message) error {
		want := inputs[n]
		n++
		require.Equal(t, uint64(n), binary.LittleEndian.Uint64(m.Data))
		require.Equal(t, want.at, math.Float64frombits(binary.LittleEndian.Uint64(m.Data[8:])))
		count := int(binary.LittleEndian.Uint16(m.Data[16:]))
		require.Equal(t, len(names), count)
		bitmap, values := m.Data[18:18+(count+7)/8], m.Data[18+(count+7)/8:]
		for i := range count {
			if bitmap[i/8]>>(i%8)&1 == 0 {
				require.True(t, math.IsNaN(want.row[i]))
				continue
			}
			require.Equal(t, math.Float64bits(want.row[i]), binary.LittleEndian.Uint64(values))
			values = values[8:]
		}
		require.Empty(t, values)
		return nil
	}))
	require.Equal(t, len(inputs), n)

	it, err = reader.Messages(mcap.WithTopics([]string{"journal"}))
	require.NoError(t, err)
	var got [][]byte
	require.NoError(t, mcap.Range(it, func(s *mcap.Schema, _ *mcap.Channel, m *mcap.Message) error {
		require.Equal(t, "Event", s.Name)
		got = append(got, bytes.Clone(m.Data))
		return nil
	}))
	require.Equal(t, events, got)
}

// A replay passes over the events, counts inputs only, and hands events to those who ask.
func TestEventsAreNoInputs(t *testing.T) {
	whole, inputs, events := withEvents(t, 100, 3, 30)
	n, r := readAll(t, whole, inputs)
	require.Equal(t, len(inputs), n)
	require.Equal(t, int64(len(inputs)), r.Inputs)
	require.Empty(t, r.Loss().String())

	r, err := NewRecording(bytes.NewReader(whole))
	require.NoError(t, err)
	var got [][]byte
	r.OnEvent = func(line []byte) { got = append(got, bytes.Clone(line)) }
	for err = nil; err == nil; {
		_, err = r.Next()
	}
	require.Equal(t, io.EOF, err)
	require.Equal(t, events, got)
	back, err := journal.Read(bytes.NewReader(bytes.Join(got, []byte("\n"))))
	require.NoError(t, err)
	require.Len(t, back, len(events))
	require.Equal(t, `a "quoted" <text>`, back[0].Body.(*journal.Health).Text)
}

// Every field that an event can have is in the schema, with a type that its JSON has.
func TestEventSchemaDescribesTheJournal(t *testing.T) {
	var schema struct {
		Type       string
		Required   []string
		Properties map[string]struct {
			Type        any
			Items       any
			Description string
		}
	}
	require.NoError(t, json.Unmarshal(eventJSONSchema(), &schema))
	require.Equal(t, "object", schema.Type)
	require.Equal(t, []string{"t", "kind"}, schema.Required)
	lap := journal.NewLap()
	lap.Number, lap.Class, lap.Time, lap.Valid, lap.Sectors = 3, "flying", 61.25, true, []journal.Num{20, journal.Unknown}
	lap.TyrePressure = journal.Wheels{1, 2, 3, 4}
	corner := journal.NewCorner()
	corner.Number, corner.Name, corner.Findings, corner.MinSpeed = 4, "Mill", []journal.Finding{{Kind: "oversteer", Phase: "turn_in"}}, 21
	for _, body := range []journal.Body{lap, corner, &journal.Health{Part: "feed", State: "ok"}} {
		line, err := journal.Event{T: 1.5, Lap: 3, Distance: 12, Body: body}.Append(nil)
		require.NoError(t, err)
		fields := map[string]any{}
		require.NoError(t, json.Unmarshal(line, &fields))
		for name, v := range fields {
			p, ok := schema.Properties[name]
			require.True(t, ok, name)
			var want string
			switch v.(type) {
			case string:
				want = "string"
			case bool:
				want = "boolean"
			case []any:
				want = "array"
				require.NotNil(t, p.Items, name)
			case float64:
				want = "number"
				if p.Type == "integer" {
					want = "integer"
				}
			}
			require.Equal(t, want, p.Type, name)
			require.NotEmpty(t, p.Description, name)
		}
	}
	require.Contains(t, schema.Properties["kind"].Description, "corner")
}

// Wherever a byte of the file is wrong behind its head, the chunks that it does not stand in come, every entry as it
// was, and what is missing is counted: also where the byte is one of a length, after which nothing stands where
// it should.
func TestDamageAnywhereCostsOneChunk(t *testing.T) {
	whole, inputs, _ := withEvents(t, 120, 3, 20)
	begin := bytes.Index(whole, zstdName) - chunkName
	flips := []byte{0x01, 0x80, 0xff}
	for i := begin; i < len(whole); i += 11 { // no divisor of any length here: every field of a frame is met in some chunk
		b := slices.Clone(whole)
		b[i] ^= flips[i%3]
		n, r := readAll(t, b, inputs)
		require.GreaterOrEqual(t, n, len(inputs)-20, "byte %d of %d", i, len(whole))
		if n < len(inputs) {
			require.NotEmpty(t, r.Loss().String(), "byte %d", i)
		}
	}
	frame := begin + bytes.Index(whole[begin+60:], zstdName) + 60 - chunkName // of the second chunk
	for i := frame; i < frame+chunkFrame+8; i++ {
		for _, flip := range flips {
			b := slices.Clone(whole)
			b[i] ^= flip
			n, _ := readAll(t, b, inputs)
			require.GreaterOrEqual(t, n, len(inputs)-20, "byte %d of the frame", i-frame)
		}
	}
}

// Two chunks gone and half of a third, filled with noise.
func TestAHoleInTheMiddle(t *testing.T) {
	whole, inputs, _ := withEvents(t, 200, 3, 20)
	third := 0
	for range 3 {
		third += bytes.Index(whole[third:], zstdName) + len(zstdName)
	}
	b := slices.Clone(whole)
	for i := third - 20; i < third+2500; i++ {
		b[i] = byte(i * 131)
	}
	n, r := readAll(t, b, inputs)
	require.Less(t, n, len(inputs))
	require.Greater(t, n, len(inputs)/2)
	require.Equal(t, uint64(len(inputs)-n), r.Loss().Dropped)
	require.Positive(t, r.Loss().Damaged)
	require.Contains(t, r.Loss().String(), "missing in between")
	require.NotContains(t, r.Loss().String(), "not closed")
}
