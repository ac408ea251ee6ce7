package session

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/foxglove/mcap/go/mcap"
	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// A recording that is cut at any byte gives exactly the entries of its complete chunks.
func TestRecordingCutAtAnyByte(t *testing.T) {
	inputs := drive(70, 4)
	whole, ends := live(t, inputs)
	require.Greater(t, len(ends), 3, "several chunks")
	n, r := readAll(t, whole, inputs)
	require.Equal(t, len(inputs), n)
	require.True(t, r.Closed)

	last, headless := 0, 0
	for cut := range len(whole) {
		r, err := NewRecording(bytes.NewReader(whole[:cut]))
		if err != nil {
			require.ErrorIs(t, err, ErrNotRecording)
			require.Less(t, cut, ends[1], "the head is complete before the first chunk")
			headless = cut
			continue
		}
		got := 0
		for {
			e, err := r.Next()
			if err == io.EOF {
				break
			}
			require.NoError(t, err)
			require.Equal(t, uint64(got+1), e.Seq, "a prefix without a gap")
			inputs[got].same(t, e)
			got++
		}
		require.GreaterOrEqual(t, got, last, "a longer file never gives less")
		last = got
		loss := r.Loss()
		require.False(t, r.Closed)
		require.Zero(t, loss.Damaged)
		require.Zero(t, loss.Dropped)
		if got < len(inputs) {
			require.False(t, loss.Closed)
			require.Contains(t, loss.String(), "not closed")
		}
		require.NoError(t, r.Close())
	}
	require.Equal(t, len(inputs), last)
	require.Less(t, headless, ends[0], "what NewRecorder has put on disk can be opened")
}

// Where bytes inside are wrong, the entries of the other chunks come and the loss is told.
func TestRecordingWithADamagedChunk(t *testing.T) {
	inputs := drive(70, 4)
	whole, ends := live(t, inputs)
	all := 0
	for i := ends[1]; i < ends[2]; i += 5 {
		b := bytes.Clone(whole)
		b[i] ^= 0x40
		n, r := readAll(t, b, inputs)
		all++
		require.Positive(t, n, "the first chunk is whole")
		if n < len(inputs) {
			require.NotEmpty(t, r.Loss().String())
		}
	}
	require.Greater(t, all, 10)
	// In the middle of the compressed bytes, where the frame of the record stays right.
	b := bytes.Clone(whole)
	b[ends[1]+150] ^= 0xff
	n, r := readAll(t, b, inputs)
	require.Less(t, n, len(inputs))
	require.Equal(t, 1, r.Loss().Damaged)
	require.Equal(t, uint64(len(inputs)-n), r.Loss().Dropped)
}

func FuzzRecording(f *testing.F) {
	inputs := drive(40, 6)
	whole := record(f, testHead(6), inputs, Options{})
	f.Add(whole)
	f.Add(whole[:len(whole)/2])
	f.Add([]byte{})
	f.Add(append(bytes.Clone(mcap.Magic), 6, 255, 255, 255, 255, 255, 255, 255, 255))
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := NewRecording(bytes.NewReader(b))
		if err != nil {
			require.ErrorIs(t, err, ErrNotRecording)
			return
		}
		last := uint64(0)
		for {
			e, err := r.Next()
			if err == io.EOF {
				break
			}
			require.NoError(t, err)
			require.Greater(t, e.Seq, last)
			last = e.Seq
			if e.Kind == KindSample {
				require.Len(t, e.Row, len(r.Head.Channels))
			}
		}
		_ = r.Loss().String()
		_ = r.Close()
	})
}

func FuzzRow(f *testing.F) {
	f.Add(appendRow(nil, channel.Row{1, math.NaN(), -2.5}))
	f.Add([]byte{3, 0, 0xff})
	f.Fuzz(func(t *testing.T, b []byte) {
		row, err := readRow(nil, b)
		if err != nil {
			require.ErrorIs(t, err, errEntry)
			return
		}
		require.Equal(t, b, appendRow(nil, row), "what is accepted encodes back")
	})
}

// A recording made with an older or a richer catalogue gives rows of the present one.
func TestBind(t *testing.T) {
	set := channel.NewSet()
	head := Head{Channels: []string{"brake", "of_another_feed", "speed"}}
	b := record(t, head, []input{{at: 1, kind: KindSample, row: channel.Row{0.5, 7, 61}}, {at: 2, kind: KindSample, row: channel.Row{math.NaN(), 7, 62}}}, Options{})
	r, err := NewRecording(bytes.NewReader(b))
	require.NoError(t, err)
	require.Equal(t, []string{"of_another_feed"}, r.Bind(set))
	e, err := r.Next()
	require.NoError(t, err)
	require.Len(t, e.Row, set.Len())
	require.Equal(t, 61.0, e.Row[channel.Speed])
	require.Equal(t, 0.5, e.Row[channel.Brake])
	require.False(t, e.Row.Has(channel.Gear))
	e, err = r.Next()
	require.NoError(t, err)
	require.False(t, e.Row.Has(channel.Brake), "absent again, not the reading before")
}

func TestOpenRecordingSaysWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	_, err := OpenRecording(filepath.Join(dir, "none.mcap"))
	require.ErrorIs(t, err, os.ErrNotExist)
	path := filepath.Join(dir, "text.mcap")
	require.NoError(t, os.WriteFile(path, []byte("lap,time\n1,102.4\n"), 0o644))
	_, err = OpenRecording(path)
	require.ErrorIs(t, err, ErrNotRecording)
	require.ErrorContains(t, err, "text.mcap")

	var other bytes.Buffer
	w, err := mcap.NewWriter(&other, &mcap.WriterOptions{})
	require.NoError(t, err)
	require.NoError(t, w.WriteHeader(&mcap.Header{Profile: "robots"}))
	require.NoError(t, w.Close())
	_, err = NewRecording(bytes.NewReader(other.Bytes()))
	require.ErrorContains(t, err, "not of this program")
}

// zstd has a checksum of its own; a chunk that is not compressed, as other tools may rewrite it, has only that of MCAP.
func TestDamageIsFoundWithoutCompression(t *testing.T) {
	var b bytes.Buffer
	w, err := mcap.NewWriter(&b, &mcap.WriterOptions{Chunked: true, IncludeCRC: true, Compression: mcap.CompressionNone})
	require.NoError(t, err)
	require.NoError(t, w.WriteHeader(&mcap.Header{Profile: profile}))
	require.NoError(t, w.WriteMetadata(&mcap.Metadata{Name: "session", Metadata: map[string]string{"files": "0"}}))
	require.NoError(t, w.WriteMetadata(&mcap.Metadata{Name: "channels", Metadata: map[string]string{"names": "speed"}}))
	require.NoError(t, w.WriteChannel(&mcap.Channel{ID: 9, Topic: "input/command"}))
	require.NoError(t, w.WriteMessage(&mcap.Message{ChannelID: 9, Data: append(appendHead(nil, 1, 2.5), "mute for a while"...)}))
	require.NoError(t, w.Close())
	want := []input{{at: 2.5, kind: "command", data: []byte("mute for a while")}}
	n, _ := readAll(t, b.Bytes(), want)
	require.Equal(t, 1, n)
	damaged := bytes.Replace(b.Bytes(), []byte("mute for"), []byte("mule for"), 1)
	n, r := readAll(t, damaged, want)
	require.Zero(t, n)
	require.Equal(t, 1, r.Loss().Damaged)
}
