package session

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/foxglove/mcap/go/mcap"
	"github.com/klauspost/compress/zstd"

	"earshot/assistant/channel"
)

const (
	recordEvery   = 800 * time.Millisecond // leaves 200 ms for the disk within the second
	recordQueue   = 8 << 20                // about half a minute of 100 channels at 360 Hz
	recordPending = 64 << 20               // what waits for a disk that takes nothing
	chunkBytes    = 1 << 20
	maxInput      = 1 << 20 // bytes of one input
	maxKinds      = 1000
	maxAttachment = 32 << 20
)

// A Head is what a recording knows about itself.
type Head struct {
	Session  string   // id
	Started  string   // RFC 3339, where the session was live
	Program  string   // name and version of what recorded
	Channels []string // names, in the order of a Row
	Files    []File   // feed, car, course, rules: what is needed to replay
}

// Options are how a Recorder behaves. The zero value is right for a live session.
type Options struct {
	Report Report
	// Wait makes Sample and Input wait for room instead of dropping: for a
	// source that can itself wait, such as a simulation at full speed.
	Wait bool
	// Queue is the bytes that may wait for the recorder's goroutine; 0 means 8 MiB.
	Queue int
}

// Recorder writes every input of the core to an MCAP file, bit for bit and in
// order. Sample and Input may be called from any goroutine; the order of the calls is the order
// of the entries.
type Recorder struct {
	mu      sync.Mutex
	space   sync.Cond // the queue was emptied; for Wait
	queue   []byte
	limit   int
	wait    bool
	seq     uint64
	dropped uint64
	kinds   map[string]bool
	closed  bool

	wake chan struct{}
	stop chan struct{}
	done chan error

	// Owned by the goroutine.
	spare   []byte
	sink    sink
	w       *mcap.Writer
	opts    mcap.WriterOptions
	topics  map[string]uint16
	written uint64
	lost    uint64 // taken in, but given up because the disk took nothing
	failed  error  // the format refused something: nothing more is written
}

// NewRecorder creates the file at path, which must not exist, writes head into it and starts its goroutine.
func NewRecorder(path string, head Head, o Options) (*Recorder, error) {
	f, err := create(path)
	if err != nil {
		return nil, fmt.Errorf("creating the recording: %w", err)
	}
	r, err := startRecorder(f, head, o)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("beginning the recording %s: %w", path, err), f.Close())
	}
	return r, nil
}

func startRecorder(f file, head Head, o Options) (*Recorder, error) {
	if len(head.Channels) > math.MaxUint16 {
		return nil, fmt.Errorf("%d channels: a recording holds at most %d", len(head.Channels), math.MaxUint16)
	}
	if o.Queue == 0 {
		o.Queue = recordQueue
	}
	r := &Recorder{
		limit: o.Queue, wait: o.Wait,
		kinds: map[string]bool{}, topics: map[string]uint16{},
		wake: make(chan struct{}, 1), stop: make(chan struct{}), done: make(chan error, 1),
		sink: sink{part: "recording", f: f, report: o.Report},
	}
	r.space.L = &r.mu
	if err := r.begin(head); err != nil {
		return nil, err
	}
	go r.run()
	return r, nil
}

// begin writes what stands before the first input and waits for the disk, so that a
// folder that cannot be written is known before the car rolls.
func (r *Recorder) begin(head Head) error {
	zw, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithWindowSize(chunkBytes), zstd.WithLowerEncoderMem(true))
	if err != nil {
		return err
	}
	r.opts = mcap.WriterOptions{
		IncludeCRC: true, Chunked: true, ChunkSize: chunkBytes,
		Compressor: mcap.NewCustomCompressor(mcap.CompressionZSTD, zw),
	}
	if r.w, err = mcap.NewWriter(&r.sink, &r.opts); err != nil {
		return err
	}
	if err := r.w.WriteHeader(&mcap.Header{Profile: profile}); err != nil {
		return err
	}
	if err := r.w.WriteMetadata(&mcap.Metadata{Name: "session", Metadata: map[string]string{
		"id": head.Session, "started": head.Started, "program": head.Program, "files": strconv.Itoa(len(head.Files)),
	}}); err != nil {
		return err
	}
	if err := r.w.WriteMetadata(&mcap.Metadata{Name: "channels", Metadata: map[string]string{
		"names": strings.Join(head.Channels, "\n"),
	}}); err != nil {
		return err
	}
	for _, file := range head.Files {
		if len(file.Data) > maxAttachment {
			return fmt.Errorf("%s/%s has %d bytes: a file kept in a recording has at most %d", file.Kind, file.Name, len(file.Data), maxAttachment)
		}
		if err := r.w.WriteAttachment(&mcap.Attachment{
			Name: file.Kind + "/" + file.Name, MediaType: "application/octet-stream",
			DataSize: uint64(len(file.Data)), Data: bytes.NewReader(file.Data),
		}); err != nil {
			return err
		}
	}
	if err := r.w.WriteSchema(&mcap.Schema{ID: 1, Name: "Input", Encoding: "text", Data: []byte(layout)}); err != nil {
		return err
	}
	return r.sink.flush()
}

// Sample records the present readings. It copies row.
func (r *Recorder) Sample(at float64, row channel.Row) {
	size := 5 + len(KindSample) + headLen + 2 + (len(row)+7)/8 + 8*len(row)
	r.mu.Lock()
	if r.admit(size) {
		q := appendFrame(r.queue, KindSample)
		q = appendHead(q, r.seq, at)
		q = appendRow(q, row)
		r.queue = endFrame(q, len(r.queue))
	}
	r.nudge()
}

// Input records any other input. It copies data. A kind is one to sixty bytes and not "sample"; there
// may be a thousand different ones, and data may have a mebibyte: the error says so.
func (r *Recorder) Input(at float64, kind string, data []byte) error {
	if kind == "" || len(kind) > 60 || kind == KindSample {
		return fmt.Errorf("recording: %q cannot be the kind of an input", kind)
	}
	if len(data) > maxInput {
		return fmt.Errorf("recording: an input %q of %d bytes: at most %d can be recorded", kind, len(data), maxInput)
	}
	size := 5 + len(kind) + headLen + len(data)
	r.mu.Lock()
	if !r.kinds[kind] {
		if len(r.kinds) >= maxKinds {
			r.mu.Unlock()
			return fmt.Errorf("recording: %q would be one kind of input too many: there are %d", kind, maxKinds)
		}
		r.kinds[kind] = true
	}
	if r.admit(size) {
		q := appendFrame(r.queue, kind)
		q = appendHead(q, r.seq, at)
		q = append(q, data...)
		r.queue = endFrame(q, len(r.queue))
	}
	r.nudge()
	return nil
}

// admit numbers an input and tells whether there is room for it. The caller holds mu.
func (r *Recorder) admit(size int) bool {
	for r.wait && !r.closed && len(r.queue) > 0 && len(r.queue)+size > r.limit {
		r.wakeUp()
		r.space.Wait()
	}
	r.seq++
	if r.closed || len(r.queue)+size > r.limit {
		r.dropped++
		return false
	}
	return true
}

// nudge releases mu and wakes the goroutine when the queue is half full.
func (r *Recorder) nudge() {
	if len(r.queue) > r.limit/2 {
		r.wakeUp()
	}
	r.mu.Unlock()
}

func (r *Recorder) wakeUp() {
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// Dropped counts the inputs that found the queue full.
func (r *Recorder) Dropped() uint64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.dropped
}

// Close writes what is queued and the index, and closes the file. Inputs that come
// later are dropped. A second Close returns ErrClosed.
func (r *Recorder) Close() error {
	r.mu.Lock()
	if r.closed {
		r.mu.Unlock()
		return ErrClosed
	}
	r.closed = true
	r.space.Broadcast()
	r.mu.Unlock()
	close(r.stop)
	return <-r.done
}

func (r *Recorder) run() {
	tick := time.NewTicker(recordEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			r.put()
		case <-r.wake:
			r.put()
		case <-r.stop:
			r.put()
			r.done <- r.end()
			return
		}
	}
}

// put makes the queue one or more chunks and writes them.
func (r *Recorder) put() {
	r.mu.Lock()
	batch := r.queue
	r.queue, r.spare = r.spare[:0], nil
	r.space.Broadcast()
	r.mu.Unlock()
	if err := r.write(batch); err != nil && r.failed == nil {
		r.failed = err
		if r.sink.report != nil {
			r.sink.report(r.sink.part, err)
		}
	}
	r.spare = batch[:0]
	_ = r.sink.flush() // told through the Report
}

func (r *Recorder) write(batch []byte) error {
	var msg mcap.Message
	for len(batch) > 0 {
		kind, data, rest := nextFrame(batch)
		if r.failed != nil || len(r.sink.pending) > recordPending {
			r.lost++
			batch = rest
			continue
		}
		id, ok := r.topics[string(kind)]
		if !ok {
			id = uint16(len(r.topics) + 1)
			r.topics[string(kind)] = id
			if err := r.w.WriteChannel(&mcap.Channel{ID: id, SchemaID: 1, Topic: topicPrefix + string(kind), MessageEncoding: encoding}); err != nil {
				return err
			}
		}
		seq, at := binary.LittleEndian.Uint64(data), math.Float64frombits(binary.LittleEndian.Uint64(data[8:]))
		msg = mcap.Message{ChannelID: id, Sequence: uint32(seq), LogTime: nanos(at), PublishTime: nanos(at), Data: data}
		// The library closes a chunk when it has grown beyond ChunkSize and asks for
		// that at each message: a size of zero before the last one closes the batch.
		if len(rest) == 0 {
			r.opts.ChunkSize = 0
		}
		err := r.w.WriteMessage(&msg)
		r.opts.ChunkSize = chunkBytes
		if err != nil {
			return err
		}
		r.written++
		batch = rest
	}
	return nil
}

func (r *Recorder) end() error {
	r.mu.Lock()
	dropped, seq := r.dropped, r.seq
	r.mu.Unlock()
	err := r.failed
	if err == nil {
		err = r.w.WriteMetadata(&mcap.Metadata{Name: "end", Metadata: map[string]string{
			"inputs": strconv.FormatUint(seq, 10), "recorded": strconv.FormatUint(r.written, 10),
			"dropped": strconv.FormatUint(dropped+r.lost, 10),
		}})
	}
	if err == nil {
		err = r.w.Close()
	}
	if ferr := r.sink.flush(); ferr != nil {
		err = errors.Join(err, fmt.Errorf("the end of the recording is not on disk (%d bytes): %w", len(r.sink.pending), ferr))
	}
	if n := dropped + r.lost; n > 0 {
		err = errors.Join(err, &DropError{n})
	}
	return errors.Join(err, r.sink.f.Close())
}

// DropError says how many inputs a recording lacks because its queue or the disk was full.
type DropError struct{ Inputs uint64 }

func (e *DropError) Error() string {
	return fmt.Sprintf("the recording lacks %d inputs: the disk did not keep up", e.Inputs)
}

const (
	profile     = "earshot"
	topicPrefix = "input/"
	encoding    = "earshot-input"
)

// nanos is the time for the file's index, which counts nanoseconds from zero. The
// exact time stands in the message.
func nanos(at float64) uint64 {
	switch ns := at * 1e9; {
	case !(ns > 0): // NaN too
		return 0
	case ns >= math.MaxInt64:
		return math.MaxInt64
	default:
		return uint64(ns)
	}
}

// A frame of the queue: length of the data (four bytes), length of the kind (one), kind, data.

func appendFrame(q []byte, kind string) []byte {
	q = append(q, 0, 0, 0, 0, byte(len(kind)))
	return append(q, kind...)
}

func endFrame(q []byte, start int) []byte {
	n := len(q) - start - 5 - int(q[start+4])
	binary.LittleEndian.PutUint32(q[start:], uint32(n))
	return q
}

func nextFrame(q []byte) (kind, data, rest []byte) {
	n, k := int(binary.LittleEndian.Uint32(q)), int(q[4])
	return q[5 : 5+k], q[5+k : 5+k+n], q[5+k+n:]
}
