package session

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"github.com/foxglove/mcap/go/mcap"
	"github.com/klauspost/compress/zstd"

	"earshot/assistant/channel"
	"earshot/assistant/journal"
)

const (
	recordEvery   = 800 * time.Millisecond // leaves 200 ms for the disk within the second
	forceEach     = 5                      // chunks: what is older than five seconds survives a loss of power too
	recordQueue   = 8 << 20                // about half a minute of 100 channels at 360 Hz
	recordPending = 16 << 20               // what waits for a disk that takes nothing: about a quarter of an hour
	chunkBytes    = 1 << 20
	maxInput      = 6 << 20 // bytes of one input: the largest are changed rules, as text in JSON
	maxKinds      = 1000
	maxAttachment = 32 << 20
)

// Room on the disk of the session, in bytes. A recording grows by megabytes where the journal grows by kilobytes, so
// the recording stops before the disk is full and leaves the rest to the journal; it goes on when there is plenty
// again.
const (
	keepFree      = 4 << 20
	resumeFree    = 16 << 20
	lookEvery     = 256 << 10 // the room is asked for again when the file has grown by so much
	keepFreeAtEnd = 256 << 10 // the journal has little to add then
)

// A Head is what a recording knows about itself.
type Head struct {
	Session  string   // id
	Started  string   // RFC 3339, where the session was live
	Program  string   // name and version of what recorded
	Channels []string // names, in the order of a Row
	Units    []string // of the channels, where known: for readers other than this program
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

	room func() (int64, error)
}

// Recorder writes every input of the core to an MCAP file, bit for bit and in
// order. Sample and Input may be called from any goroutine; the order of the calls is the order
// of the entries.
type Recorder struct {
	mu            sync.Mutex
	space         sync.Cond // the queue was emptied; for Wait
	queue         []byte
	limit         int
	wait          bool
	seq           uint64
	dropped       uint64
	eventsDropped uint64 // events that found no room
	kinds         map[string]bool
	closed        bool

	wake chan struct{}
	stop chan struct{}
	done chan error

	// Owned by the goroutine.
	spare      []byte
	sink       sink
	w          *mcap.Writer
	opts       mcap.WriterOptions
	topics     map[string]uint16
	chunks     int                   // batches since the medium was waited for
	room       func() (int64, error) // free bytes on the disk, or nil
	looked     int64                 // length of the file when it was asked for
	written    uint64
	events     uint64
	lost       uint64 // inputs taken in, but given up because the disk took nothing
	eventsLost uint64 // events likewise
	failed     error  // the format refused something: nothing more is written
}

// NewRecorder creates the file at path, which must not exist, writes head into it and starts its goroutine.
func NewRecorder(path string, head Head, o Options) (*Recorder, error) {
	f, err := create(path)
	if err != nil {
		return nil, fmt.Errorf("creating the recording: %w", err)
	}
	o.room = func() (int64, error) { return freeBytes(filepath.Dir(path)) }
	r, err := startRecorder(f, head, o)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("beginning the recording %s: %w", path, err), f.Close())
	}
	return r, nil
}

func startRecorder(f file, head Head, o Options) (*Recorder, error) {
	r, err := prepareRecorder(f, head, o)
	if err != nil {
		return nil, err
	}
	go r.run()
	return r, nil
}

// prepareRecorder makes a Recorder whose goroutine does not run yet.
func prepareRecorder(f file, head Head, o Options) (*Recorder, error) {
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
		sink: sink{part: RecordingPart, f: f, report: o.Report}, room: o.room,
	}
	r.space.L = &r.mu
	return r, r.begin(head)
}

// begin writes what stands before the first input and waits for the disk, so that a
// folder that cannot be written is known before the car rolls.
func (r *Recorder) begin(head Head) error {
	zw, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderLevel(zstd.SpeedFastest),
		zstd.WithWindowSize(chunkBytes), zstd.WithLowerEncoderMem(true))
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
	if err := writeHead(r.w, head); err != nil {
		return err
	}
	if err := r.outside(func() error {
		for _, s := range schemas() {
			if err := r.w.WriteSchema(s); err != nil {
				return err
			}
		}
		return nil
	}); err != nil {
		return err
	}
	for _, kind := range []string{eventFrame, KindSample} {
		if _, err := r.topic(kind); err != nil {
			return err
		}
	}
	return r.sink.flush()
}

// outside lets f write records beside the chunks, where the library would put them into one: a chunk that is
// damaged must not take with it what all the others need.
func (r *Recorder) outside(f func() error) error {
	r.opts.Chunked = false
	defer func() { r.opts.Chunked = true }()
	return f()
}

// topic is the number of the topic for a kind. The first time it announces it, beside the chunks and in the
// next one: either of the two may be damaged.
func (r *Recorder) topic(kind string) (uint16, error) {
	id, ok := r.topics[kind]
	if ok {
		return id, nil
	}
	id = uint16(len(r.topics) + 1)
	r.topics[kind] = id
	c := topicOf(id, kind)
	if err := r.outside(func() error { return r.w.WriteChannel(c) }); err != nil {
		return id, err
	}
	return id, r.w.WriteChannel(c)
}

// Sample records the present readings. It copies row. The error is ErrFull where there is no room.
func (r *Recorder) Sample(at float64, row channel.Row) error {
	size := 5 + len(KindSample) + headLen + 2 + (len(row)+7)/8 + 8*len(row)
	r.mu.Lock()
	defer r.nudge()
	if !r.admit(size) {
		return ErrFull
	}
	q := appendHead(appendFrame(r.queue, KindSample), r.seq, at)
	r.queue = endFrame(appendRow(q, row), len(r.queue))
	return nil
}

// Input records any other input. It copies data. A kind is one to sixty bytes and not "sample"; there
// may be a thousand different ones, and data has a limit: the error says so. It is ErrFull where there is no room.
func (r *Recorder) Input(at float64, kind string, data []byte) error {
	if kind == "" || len(kind) > 60 || kind == KindSample {
		return fmt.Errorf("recording: %q cannot be the kind of an input", kind)
	}
	if len(data) > maxInput {
		return fmt.Errorf("recording: an input %q of %d bytes: at most %d can be recorded", kind, len(data), maxInput)
	}
	size := 5 + len(kind) + headLen + len(data)
	r.mu.Lock()
	defer r.nudge()
	if !r.kinds[kind] {
		if len(r.kinds) >= maxKinds {
			return fmt.Errorf("recording: %q would be one kind of input too many: there are %d", kind, maxKinds)
		}
		r.kinds[kind] = true
	}
	if !r.admit(size) {
		return ErrFull
	}
	q := appendHead(appendFrame(r.queue, kind), r.seq, at)
	r.queue = endFrame(append(q, data...), len(r.queue))
	return nil
}

// Event records an event of the journal, which a replay passes over: for those who look at the recording with other
// tools. An event that finds no room is left out. The error is that of an event that cannot be written at all.
func (r *Recorder) Event(e journal.Event) error {
	line, err := e.Append(nil)
	if err != nil {
		return err
	}
	line = line[:len(line)-1] // without the line's end
	r.mu.Lock()
	defer r.nudge()
	if !r.fits(5 + 8 + len(line)) {
		r.eventsDropped++
		return nil
	}
	q := binary.LittleEndian.AppendUint64(appendFrame(r.queue, eventFrame), math.Float64bits(e.T))
	r.queue = endFrame(append(q, line...), len(r.queue))
	return nil
}

// admit numbers an input and tells whether there is room for it. The caller holds mu.
func (r *Recorder) admit(size int) bool {
	ok := r.fits(size)
	r.seq++
	if !ok {
		r.dropped++
	}
	return ok
}

// fits tells whether there is room, and waits for it where it may. The caller holds mu.
func (r *Recorder) fits(size int) bool {
	for r.wait && !r.closed && len(r.queue) > 0 && len(r.queue)+size > r.limit {
		r.wakeUp()
		r.space.Wait()
	}
	return !r.closed && len(r.queue)+size <= r.limit
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
	r.save(false)
}

func (r *Recorder) write(batch []byte) error {
	var msg mcap.Message
	for len(batch) > 0 {
		kind, data, rest := nextFrame(batch)
		event := string(kind) == eventFrame
		if r.failed != nil || len(r.sink.pending) > recordPending {
			if event {
				r.eventsLost++
			} else {
				r.lost++
			}
			batch = rest
			continue
		}
		id, err := r.topic(string(kind))
		if err != nil {
			return err
		}
		if event {
			r.events++
			at := nanos(math.Float64frombits(binary.LittleEndian.Uint64(data)))
			msg = mcap.Message{ChannelID: id, Sequence: uint32(r.events), LogTime: at, PublishTime: at, Data: data[8:]}
		} else {
			r.written++
			seq, at := binary.LittleEndian.Uint64(data), nanos(math.Float64frombits(binary.LittleEndian.Uint64(data[8:])))
			msg = mcap.Message{ChannelID: id, Sequence: uint32(seq), LogTime: at, PublishTime: at, Data: data}
		}
		// The library closes a chunk when it has grown beyond ChunkSize and asks for
		// that at each message: a size of zero before the last one closes the batch.
		if len(rest) == 0 {
			r.opts.ChunkSize = 0
		}
		err = r.w.WriteMessage(&msg)
		r.opts.ChunkSize = chunkBytes
		if err != nil {
			return err
		}
		batch = rest
	}
	return nil
}

// save puts into the file what is pending, unless the disk is nearly full. Waiting for the medium costs more processor
// time than all else at 60 Hz, so that is done every few times. The trouble is told through the Report, once when it
// begins and once when it is over.
func (r *Recorder) save(last bool) {
	if grown := r.sink.off + int64(len(r.sink.pending)) - r.looked; r.room != nil &&
		(last || r.sink.ill || grown >= lookEvery) {
		r.looked += grown
		need := int64(keepFree)
		switch {
		case last:
			need = keepFreeAtEnd + int64(len(r.sink.pending))
		case r.sink.ill:
			need = resumeFree + int64(len(r.sink.pending))
		}
		if free, err := r.room(); err == nil && free < need {
			r.sink.tell(&FullError{Free: free})
			return
		}
	}
	if r.chunks++; last || r.sink.ill || r.chunks >= forceEach {
		r.chunks = 0
		_ = r.sink.flush() // told
		return
	}
	r.sink.hand()
}

func (r *Recorder) end() error {
	r.mu.Lock()
	dropped, seq, events := r.dropped, r.seq, r.eventsDropped+r.eventsLost
	r.mu.Unlock()
	err := r.failed
	if err == nil {
		err = r.w.WriteMetadata(&mcap.Metadata{Name: "end", Metadata: map[string]string{
			"inputs": strconv.FormatUint(seq, 10), "recorded": strconv.FormatUint(r.written, 10),
			"dropped": strconv.FormatUint(dropped+r.lost, 10),
			"events":  strconv.FormatUint(r.events, 10), "events_dropped": strconv.FormatUint(events, 10),
		}})
	}
	if err == nil {
		err = r.w.Close()
	}
	r.save(true)
	if n := len(r.sink.pending); n > 0 {
		err = errors.Join(err, &StoppedError{Bytes: n, Err: r.sink.err})
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

// A FullError says that a recording has stopped because the disk is nearly full.
type FullError struct{ Free int64 }

func (e *FullError) Error() string {
	return fmt.Sprintf("the disk is nearly full (%d KiB free); what is left is kept for the journal: make room and the "+
		"recording goes on", e.Free>>10)
}

// A StoppedError says that the end of a recording could not be put on disk. What is on disk can be replayed.
type StoppedError struct {
	Bytes int
	Err   error
}

func (e *StoppedError) Error() string {
	return fmt.Sprintf("the end of the recording is not on disk (%d bytes): %v", e.Bytes, e.Err)
}

// Unwrap gives the reason.
func (e *StoppedError) Unwrap() error { return e.Err }

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
