package session

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/foxglove/mcap/go/mcap"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
)

func testHead(channels int) Head {
	h := Head{Session: "20260512-143012", Started: "2026-05-12T14:30:12Z", Program: "earshot test", Files: []File{
		{FeedFile, "bench.yaml", []byte("transport: udp\n")}, {RulesFile, "tyres.yaml", nil}, {CarFile, "tern.yaml", []byte("name: Tern\n")},
	}}
	for i := range channels {
		h.Channels = append(h.Channels, fmt.Sprintf("c%d", i))
	}
	return h
}

// input is what a test hands to a recorder and expects back.
type input struct {
	at   float64
	kind string
	row  channel.Row
	data []byte
}

func (in input) give(t require.TestingT, r *Recorder) {
	if in.kind == KindSample {
		r.Sample(in.at, in.row)
		return
	}
	if err := r.Input(in.at, in.kind, in.data); err != ErrFull { // that is counted, and some tests want it
		require.NoError(t, err)
	}
}

// same compares bits: a negative zero is not zero, and a time of NaN is itself.
func (in input) same(t require.TestingT, e Entry) {
	ok := in.kind == e.Kind && math.Float64bits(in.at) == math.Float64bits(e.At) && len(in.row) == len(e.Row) && bytes.Equal(in.data, e.Data)
	for i := 0; ok && i < len(in.row); i++ {
		ok = math.Float64bits(in.row[i]) == math.Float64bits(e.Row[i]) || math.IsNaN(in.row[i]) && math.IsNaN(e.Row[i])
	}
	if !ok { // require in every round would take most of the time of these tests
		require.Equal(t, fmt.Sprint(in), fmt.Sprint(input{e.At, e.Kind, e.Row, e.Data}))
		require.Fail(t, "the bits differ")
	}
}

func record(t require.TestingT, head Head, inputs []input, o Options) []byte {
	disk := &memory{}
	r, err := startRecorder(disk, head, o)
	require.NoError(t, err)
	for _, in := range inputs {
		in.give(t, r)
	}
	require.NoError(t, r.Close())
	return disk.safe()
}

// readAll reads entries and compares them with the inputs of the same number.
func readAll(t require.TestingT, b []byte, inputs []input) (n int, r *Recording) {
	r, err := NewRecording(bytes.NewReader(b))
	require.NoError(t, err)
	last := uint64(0)
	for {
		e, err := r.Next()
		if err == io.EOF {
			return n, r
		}
		require.NoError(t, err)
		require.Greater(t, e.Seq, last)
		require.LessOrEqual(t, e.Seq, uint64(len(inputs)))
		last = e.Seq
		inputs[e.Seq-1].same(t, e)
		n++
	}
}

func TestRecordingReturnsEveryBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		channels := rapid.IntRange(0, 40).Draw(t, "channels")
		value := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), math.Copysign(0, -1), 5e-324, math.MaxFloat64, 0.1}))
		inputs := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) input {
			in := input{at: value.Draw(t, "at")}
			if rapid.Bool().Draw(t, "sample") {
				in.kind, in.row = KindSample, rapid.SliceOfN(value, channels, channels).Draw(t, "row")
				return in
			}
			in.kind = rapid.SampledFrom([]string{"tick", "command", "x"}).Draw(t, "kind")
			in.data = rapid.SliceOfN(rapid.Byte(), 0, 50).Draw(t, "data")
			return in
		}), 0, 60).Draw(t, "inputs")
		head := testHead(channels)
		n, r := readAll(t, record(t, head, inputs, Options{}), inputs)
		require.Equal(t, len(inputs), n)
		require.Equal(t, int64(len(inputs)), r.Inputs)
		require.True(t, r.Closed)
		require.Empty(t, r.Loss().String())
		require.Equal(t, head.Session, r.Head.Session)
		require.Equal(t, head.Channels, r.Head.Channels)
		require.Len(t, r.Head.Files, len(head.Files))
		for i, f := range head.Files {
			require.Equal(t, f.Kind+f.Name+string(f.Data), r.Head.Files[i].Kind+r.Head.Files[i].Name+string(r.Head.Files[i].Data))
		}
	})
}

// drive makes inputs like those of a car: a few channels that move, most that do not, some that are absent.
func drive(n, channels int) []input {
	rnd := rand.New(rand.NewPCG(1, 2))
	row := make(channel.Row, channels)
	for i := range row {
		row[i] = rnd.Float64() * 100
		if i%7 == 6 {
			row[i] = math.NaN()
		}
	}
	var inputs []input
	for k := range n {
		row = append(channel.Row(nil), row...)
		for i := 0; i < channels; i += 3 {
			row[i] += rnd.NormFloat64() * 0.1
		}
		inputs = append(inputs, input{at: float64(k) / 60, kind: KindSample, row: row})
		if k%20 == 19 {
			inputs = append(inputs, input{at: float64(k) / 60, kind: "tick", data: []byte(`{}`)})
		}
	}
	return inputs
}

// live records in a bubble, so that chunks are those of wall time, and returns the file and where its chunks end.
func live(t *testing.T, inputs []input) (whole []byte, ends []int) {
	synctest.Test(t, func(t *testing.T) {
		disk := &memory{}
		r, err := startRecorder(disk, testHead(len(inputs[0].row)), Options{})
		require.NoError(t, err)
		ends = append(ends, len(disk.kept()))
		begin := time.Now()
		for i, in := range inputs {
			in.give(t, r)
			time.Sleep(time.Second / 20)
			synctest.Wait()
			if n := len(disk.kept()); n != ends[len(ends)-1] {
				ends = append(ends, n)
			}
			if i%30 == 0 {
				older := func(than time.Duration) int { return int((time.Since(begin)-than)/(time.Second/20)) - 1 }
				got, _ := readAll(t, disk.kept(), inputs)
				require.GreaterOrEqual(t, got, older(time.Second), "what is older than one second is in a complete chunk")
				got, _ = readAll(t, disk.safe(), inputs)
				require.GreaterOrEqual(t, got, older(5*time.Second), "what is older than five seconds survives a loss of power")
			}
		}
		require.NoError(t, r.Close())
		whole = disk.safe()
	})
	return whole, ends
}

func TestRecordingSurvivesALossOfPower(t *testing.T) {
	inputs := drive(400, 3) // 20 s
	whole, _ := live(t, inputs)
	n, _ := readAll(t, whole, inputs)
	require.Equal(t, len(inputs), n)
}

// A recorder that is late drops, counts and tells, and the caller has never waited.
func TestRecorderDropsWhenLate(t *testing.T) {
	disk := &memory{}
	inputs := drive(3000, 20)
	var r *Recorder
	synctest.Test(t, func(t *testing.T) {
		var err error
		r, err = startRecorder(disk, testHead(20), Options{Queue: 20 << 10})
		require.NoError(t, err)
		r.mu.Lock() // hold the goroutine off for as long as the inputs take
		for i := range inputs[:1000] {
			if size := 5 + 6 + headLen + 2 + 3 + 160; r.admit(size) {
				q := appendHead(appendFrame(r.queue, KindSample), r.seq, inputs[i].at)
				r.queue = endFrame(appendRow(q, inputs[i].row), len(r.queue))
			}
		}
		dropped := r.dropped
		r.mu.Unlock()
		require.Positive(t, dropped)
		time.Sleep(time.Second) // the queue is written
		synctest.Wait()
		r.Sample(99, inputs[0].row)
		err = r.Close()
		var drop *DropError
		require.ErrorAs(t, err, &drop)
		require.Equal(t, dropped, drop.Inputs)
		require.Equal(t, []string{"20260512-143012"}, []string{testHead(0).Session})
	})
	rec, err := NewRecording(bytes.NewReader(disk.safe()))
	require.NoError(t, err)
	n := uint64(0)
	for {
		if _, err := rec.Next(); err == io.EOF {
			break
		}
		n++
	}
	require.Equal(t, uint64(1001), n+rec.Loss().Dropped, "every input is there or counted")
	require.Contains(t, rec.Loss().String(), "inputs are missing in between")
}

// What is dropped after the last entry is told too: the recorder says so at its end.
func TestDropsAtTheEndAreTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &memory{}
		r, err := startRecorder(disk, testHead(2), Options{Queue: 200})
		require.NoError(t, err)
		r.Sample(1, channel.Row{1, 2}) // less than the half at which the goroutine wakes
		require.ErrorIs(t, r.Input(2, "command", make([]byte, 200)), ErrFull)
		require.ErrorIs(t, r.Sample(3, make(channel.Row, 30)), ErrFull)
		require.Error(t, r.Close())
		n, rec := readAll(t, disk.safe(), []input{{at: 1, kind: KindSample, row: channel.Row{1, 2}}})
		require.Equal(t, 1, n)
		require.Equal(t, uint64(2), rec.Loss().Dropped)
	})
}

func TestRecorderWaitsWhereItMay(t *testing.T) {
	inputs := drive(5000, 20)
	n, _ := readAll(t, record(t, testHead(20), inputs, Options{Wait: true, Queue: 4 << 10}), inputs)
	require.Equal(t, len(inputs), n)
}

func TestRecorderSurvivesAFullDisk(t *testing.T) {
	inputs := drive(600, 20)
	disk, said := &memory{}, &told{}
	full := errors.New("no space left on device")
	synctest.Test(t, func(t *testing.T) {
		r, err := startRecorder(disk, testHead(20), Options{Report: said.report})
		require.NoError(t, err)
		for i, in := range inputs {
			switch i {
			case 100:
				disk.set(full, 333)
			case 400:
				disk.set(nil, 0)
			}
			in.give(t, r)
			time.Sleep(time.Second / 60)
		}
		require.NoError(t, r.Close())
	})
	require.Equal(t, []error{full, nil}, said.errs)
	n, _ := readAll(t, disk.safe(), inputs)
	require.Equal(t, len(inputs), n)
}

func TestRecorderRefusesWhatItCannotKeep(t *testing.T) {
	disk := &memory{}
	r, err := startRecorder(disk, testHead(1), Options{})
	require.NoError(t, err)
	require.ErrorContains(t, r.Input(0, "", nil), "cannot be the kind")
	require.ErrorContains(t, r.Input(0, KindSample, nil), "cannot be the kind")
	require.ErrorContains(t, r.Input(0, "memo", make([]byte, maxInput+1)), "at most")
	longest := input{kind: "rules", data: bytes.Repeat([]byte("0123456789abcde\n"), maxInput/16)}
	longest.give(t, r)
	for i := range maxKinds - 1 {
		require.NoError(t, r.Input(0, fmt.Sprint("k", i), nil))
	}
	require.ErrorContains(t, r.Input(0, "more", nil), "one kind of input too many")
	require.NoError(t, r.Close())
	require.ErrorIs(t, r.Close(), ErrClosed)
	again, err := NewRecording(bytes.NewReader(disk.safe()))
	require.NoError(t, err)
	e, err := again.Next()
	require.NoError(t, err)
	longest.same(t, e)
	r.Sample(1, channel.Row{1}) // late: no panic
	_, err = startRecorder(&memory{}, Head{Channels: make([]string, 70000)}, Options{})
	require.ErrorContains(t, err, "at most 65535")
	disk = &memory{fail: errors.New("read-only file system")}
	_, err = startRecorder(disk, testHead(1), Options{})
	require.ErrorIs(t, err, disk.fail, "known before the car rolls")
}

// Any MCAP tool must be able to read the file: the library's own indexed reader stands for them.
func TestRecordingIsPlainMCAP(t *testing.T) {
	inputs := drive(100, 5)
	reader, err := mcap.NewReader(bytes.NewReader(record(t, testHead(5), inputs, Options{})))
	require.NoError(t, err)
	info, err := reader.Info()
	require.NoError(t, err)
	require.Equal(t, uint64(len(inputs)), info.Statistics.MessageCount)
	require.Len(t, info.AttachmentIndexes, 3)
	it, err := reader.Messages()
	require.NoError(t, err)
	n := 0
	require.NoError(t, mcap.Range(it, func(s *mcap.Schema, c *mcap.Channel, m *mcap.Message) error {
		require.Equal(t, layout, string(s.Data))
		require.Equal(t, "input/"+inputs[n].kind, c.Topic)
		require.Equal(t, uint64(inputs[n].at*1e9), m.LogTime)
		n++
		return nil
	}))
	require.Equal(t, len(inputs), n)
}

func TestSampleDoesNotAllocate(t *testing.T) {
	r, err := startRecorder(&memory{}, testHead(100), Options{Queue: 1 << 20})
	require.NoError(t, err)
	row := drive(1, 100)[0].row
	for range 3000 { // both queues have grown
		r.Sample(1, row)
	}
	r.wakeUp()
	const runs = 100 // fewer than make the goroutine wake and unpack: its allocations are not the caller's
	require.Zero(t, testing.AllocsPerRun(runs, func() {
		r.mu.Lock()
		r.queue = r.queue[:0]
		r.mu.Unlock()
		r.Sample(1, row)
	}))
	_ = r.Close()
}

// BenchmarkSample is what the caller pays.
func BenchmarkSample(b *testing.B) {
	row := drive(1, 100)[0].row
	r, err := startRecorder(&memory{}, testHead(100), Options{})
	require.NoError(b, err)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		r.Sample(float64(i), row)
		if i++; i%1000 == 0 { // stay below the half at which the goroutine wakes
			r.mu.Lock()
			r.queue = r.queue[:0]
			r.mu.Unlock()
		}
	}
	_ = r.Close()
}

// BenchmarkRecord is the whole way to a real file and back: what a sample of 100 channels costs in time and bytes.
func BenchmarkRecord(b *testing.B) {
	var inputs []input
	for _, in := range drive(6000, 100) {
		if in.kind == KindSample {
			inputs = append(inputs, in)
		}
	}
	path := ""
	for b.Loop() {
		path = filepath.Join(b.TempDir(), "r.mcap")
		r, err := NewRecorder(path, testHead(100), Options{Wait: true, Queue: 1 << 20})
		require.NoError(b, err)
		for _, in := range inputs {
			r.Sample(in.at, in.row)
		}
		require.NoError(b, r.Close())
	}
	info, err := os.Stat(path)
	require.NoError(b, err)
	b.ReportMetric(float64(info.Size())/float64(len(inputs)), "B/sample")
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N*len(inputs)), "µs/sample")
}
