package session

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"

	"github.com/foxglove/mcap/go/mcap"
	"github.com/klauspost/compress/zstd"

	"earshot/assistant/channel"
)

// ErrNotRecording says that a file is not a recording of this program or ends before
// its head is complete, so that nothing in it can be replayed.
var ErrNotRecording = errors.New("not a recording that can be replayed")

const (
	maxRecord = 64 << 20 // bytes of any record; ours stay far below
	maxChunk  = 64 << 20 // bytes of a chunk unpacked
)

// A Recording reads the entries of a recording in their order, also of one that was cut
// off at any byte. It is used by one goroutine.
type Recording struct {
	Head Head
	// Closed tells that the recorder came to its proper end. Inputs, Start and End are
	// then those of the file's index: the number of entries and the span of their times in
	// seconds, to the nanosecond. Without an index Inputs is -1 and the times are NaN.
	Closed     bool
	Inputs     int64
	Start, End float64
	// OnEvent, unless nil, is called by Next for each line of the journal that stands in the recording, without the
	// line's end. The bytes are good until it returns.
	OnEvent func(line []byte)

	src     io.ReadSeeker
	size    int64
	in      *bufio.Reader
	read    int64 // place in src behind the last whole record
	at      int64 // place in src of the record being read
	broken  bool  // there is no whole record at that place
	zstd    *zstd.Decoder
	topics  map[uint16]string // kinds of inputs, eventFrame for events
	chunk   []byte            // records of the chunk being read, unpacked
	raw     []byte            // the record being read
	plain   []byte            // memory of chunk
	entry   Entry
	own     channel.Row // row in the order of the file
	bound   channel.Row // row in the order of the Set, where Bind was called
	place   []int       // of each channel of the file in the Set, or -1
	loss    Loss
	ended   bool
	first   bool // the first chunk waits in raw
	closeFn func() error
}

// OpenRecording opens the file and reads its head. The caller closes the Recording.
func OpenRecording(path string) (*Recording, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("opening the recording: %w", err)
	}
	r, err := NewRecording(f)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", path, err), f.Close())
	}
	r.closeFn = f.Close
	return r, nil
}

// NewRecording reads the head of a recording from src.
func NewRecording(src io.ReadSeeker) (*Recording, error) {
	size, err := src.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, err
	}
	dec, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(maxChunk),
		zstd.WithDecoderLowmem(true))
	if err != nil {
		return nil, err
	}
	r := &Recording{src: src, size: size, zstd: dec, topics: map[uint16]string{}, Inputs: -1, Start: math.NaN(),
		End: math.NaN()}
	r.readIndex()
	if _, err := src.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	r.in = bufio.NewReaderSize(src, 1<<16)
	if err := r.readHead(); err != nil {
		r.zstd.Close()
		return nil, err
	}
	return r, nil
}

// Close releases the file.
func (r *Recording) Close() error {
	r.zstd.Close()
	if r.closeFn == nil {
		return nil
	}
	return r.closeFn()
}

// Bind makes the rows of samples follow set, whatever the order of the channels in the file,
// and returns the names of the file's channels that set does not have: their readings are left out.
func (r *Recording) Bind(set *channel.Set) (unknown []string) {
	r.place = make([]int, len(r.Head.Channels))
	for i, name := range r.Head.Channels {
		id, ok := set.Lookup(name)
		if !ok {
			unknown = append(unknown, name)
			id = -1
		}
		r.place[i] = int(id)
	}
	r.bound = set.NewRow()
	return unknown
}

// Next returns the next entry. Its Row and Data are overwritten by the following call. At the
// end, wherever the file ends, the error is io.EOF; Loss then tells what is missing.
// Damage inside the file is passed over and counted in Loss.
func (r *Recording) Next() (Entry, error) {
	for {
		for len(r.chunk) > 0 {
			op, body, rest, ok := cutRecord(r.chunk)
			if !ok {
				r.loss.Damaged++
				r.chunk = nil
				break
			}
			r.chunk = rest
			switch op {
			case mcap.OpChannel:
				learnTopic(r.topics, body)
			case mcap.OpMessage:
				if e, ok := r.decode(body); ok {
					return e, nil
				}
			}
		}
		if r.ended {
			return Entry{}, io.EOF
		}
		r.nextChunk()
	}
}

// Loss tells what is missing up to the entry read last; after io.EOF, in the whole recording.
func (r *Recording) Loss() Loss {
	l := r.loss
	l.Closed = l.Closed || r.Closed
	return l
}

func (r *Recording) decode(body []byte) (Entry, bool) {
	var m mcap.Message
	if m.PopulateFrom(body, false) != nil {
		return Entry{}, false // shows as a gap in the numbers
	}
	kind, known := r.topics[m.ChannelID]
	if known && kind == eventFrame {
		if r.OnEvent != nil {
			r.OnEvent(m.Data)
		}
		return Entry{}, false
	}
	if len(m.Data) < headLen {
		return Entry{}, false
	}
	seq := binary.LittleEndian.Uint64(m.Data)
	if !known || seq <= r.entry.Seq {
		return Entry{}, false
	}
	e := Entry{Seq: seq, At: math.Float64frombits(binary.LittleEndian.Uint64(m.Data[8:])), Kind: kind}
	if kind == KindSample {
		row, err := readRow(r.own, m.Data[headLen:])
		r.own = row
		if err != nil || len(row) != len(r.Head.Channels) {
			return Entry{}, false
		}
		e.Row = r.ordered(row)
	} else {
		e.Data = m.Data[headLen:]
	}
	r.loss.Dropped += seq - r.entry.Seq - 1
	r.entry = e
	return e, true
}

func (r *Recording) ordered(row channel.Row) channel.Row {
	if r.place == nil {
		return row
	}
	for i, at := range r.place {
		if at >= 0 {
			r.bound[at] = row[i]
		}
	}
	return r.bound
}

// nextChunk unpacks the next chunk that is whole into r.chunk, or finds the end.
func (r *Recording) nextChunk() {
	for {
		op := mcap.OpChunk
		if r.first {
			r.first = false
		} else if r.broken || !r.record(&op) {
			if !r.resync() {
				r.ended = true
				r.loss.TornBytes = r.size - r.at
				return
			}
			r.loss.Damaged++
			continue
		}
		switch op {
		case mcap.OpChunk:
			if r.unpack() == nil {
				return
			}
			if r.plausible() {
				r.loss.Damaged++
			} else {
				r.broken = true // its length cannot be trusted either
			}
		case mcap.OpChannel:
			learnTopic(r.topics, r.raw)
		case mcap.OpMetadata:
			r.readEnd()
		case mcap.OpDataEnd:
			r.ended, r.loss.Closed = true, true
			return
		}
	}
}

// record reads the next record of the file into r.raw. Where there is no whole one the Recording is broken. The
// library's lexer is not used for this: it takes the lengths inside an attachment on trust and
// would allocate whatever a damaged file asks for.
func (r *Recording) record(op *mcap.OpCode) bool {
	r.at = r.read
	var head [9]byte
	_, err := io.ReadFull(r.in, head[:])
	if n := binary.LittleEndian.Uint64(head[1:]); err == nil && n <= uint64(min(r.size-r.at, maxRecord)) {
		*op = mcap.OpCode(head[0])
		r.raw = slices.Grow(r.raw[:0], int(n))[:n]
		if _, err = io.ReadFull(r.in, r.raw); err == nil && *op != mcap.OpReserved {
			r.read += int64(n) + 9
			return true
		}
	}
	r.broken = true
	return false
}

// readEnd learns from the recorder's last words how many inputs there were, and so how many
// were dropped after the last entry.
func (r *Recording) readEnd() {
	m, err := parsed(mcap.ParseMetadata, r.raw)
	if err != nil || m.Name != "end" {
		return
	}
	if n, err := strconv.ParseUint(m.Metadata["inputs"], 10, 64); err == nil && n > r.entry.Seq {
		r.loss.Dropped += n - r.entry.Seq
	}
}

func (r *Recording) unpack() error {
	c, err := parsed(mcap.ParseChunk, r.raw)
	if err != nil {
		return err
	}
	switch c.Compression {
	case string(mcap.CompressionZSTD):
		r.plain, err = r.zstd.DecodeAll(c.Records, r.plain[:0])
	case "":
		r.plain = append(r.plain[:0], c.Records...)
	default:
		err = fmt.Errorf("unknown compression %q", c.Compression)
	}
	if err != nil {
		return err
	}
	if uint64(len(r.plain)) != c.UncompressedSize || c.UncompressedCRC != 0 &&
		crc32.ChecksumIEEE(r.plain) != c.UncompressedCRC {
		return errors.New("the checksum is wrong")
	}
	r.chunk = r.plain
	return nil
}

// readIndex takes from the end of the file what a recording that was closed has there.
func (r *Recording) readIndex() {
	const tail = 9 + 20 + 8 // footer record and closing magic
	end := make([]byte, tail)
	if _, err := r.src.Seek(-tail, io.SeekEnd); err != nil {
		return
	}
	if _, err := io.ReadFull(r.src, end); err != nil {
		return
	}
	start := binary.LittleEndian.Uint64(end[9:])
	if mcap.OpCode(end[0]) != mcap.OpFooter || !bytes.Equal(end[tail-8:], mcap.Magic) || start == 0 ||
		start >= uint64(r.size) {
		return
	}
	if _, err := r.src.Seek(int64(start), io.SeekStart); err != nil {
		return
	}
	index := Recording{in: bufio.NewReader(r.src), size: r.size, read: int64(start)}
	var op mcap.OpCode
	topics := map[uint16]string{}
	for index.record(&op) && op != mcap.OpFooter {
		if op == mcap.OpChannel {
			learnTopic(topics, index.raw)
		}
		if op != mcap.OpStatistics {
			continue
		}
		s, err := parsed(mcap.ParseStatistics, index.raw)
		if err != nil {
			return
		}
		inputs := uint64(0)
		for id, n := range s.ChannelMessageCounts {
			if topics[id] != eventFrame {
				inputs += n
			}
		}
		if inputs > math.MaxInt64 {
			return
		}
		r.Closed, r.Inputs = true, int64(inputs)
		if s.MessageCount > 0 {
			r.Start, r.End = float64(s.MessageStartTime)/1e9, float64(s.MessageEndTime)/1e9
		}
		return
	}
}

// readHead reads up to the first chunk.
func (r *Recording) readHead() error {
	magic := make([]byte, len(mcap.Magic))
	if _, err := io.ReadFull(r.in, magic); err != nil || !bytes.Equal(magic, mcap.Magic) {
		return fmt.Errorf("%w: it does not begin like an MCAP file", ErrNotRecording)
	}
	r.read = int64(len(magic))
	var metadata []*mcap.Metadata
	var op mcap.OpCode
	ours := false
	for !r.first && !r.ended && r.record(&op) {
		switch op {
		case mcap.OpHeader:
			h, err := parsed(mcap.ParseHeader, r.raw)
			ours = err == nil && h.Profile == profile
		case mcap.OpMetadata:
			r.readEnd() // a recording without inputs has its last words here
			if m, err := parsed(mcap.ParseMetadata, r.raw); err == nil {
				metadata = append(metadata, m)
			}
		case mcap.OpAttachment:
			if f, ok := attachment(r.raw); ok {
				r.Head.Files = append(r.Head.Files, f)
			}
		case mcap.OpChunk:
			r.first = true
		case mcap.OpChannel:
			learnTopic(r.topics, r.raw)
		case mcap.OpDataEnd:
			r.ended, r.loss.Closed = true, true
		}
	}
	if !ours {
		return fmt.Errorf("%w: it is not of this program, or too short to tell", ErrNotRecording)
	}
	return r.takeHead(metadata)
}

// attachment reads the record of a file: two times, name, media type, data and a checksum of all that.
func attachment(b []byte) (File, bool) {
	if len(b) < 16+4 || crc32.ChecksumIEEE(b[:len(b)-4]) != binary.LittleEndian.Uint32(b[len(b)-4:]) {
		return File{}, false
	}
	b = b[16 : len(b)-4]
	var text [2]string
	for i := range text {
		if len(b) < 4 || uint64(len(b)-4) < uint64(binary.LittleEndian.Uint32(b)) {
			return File{}, false
		}
		n := binary.LittleEndian.Uint32(b)
		text[i], b = string(b[4:4+n]), b[4+n:]
	}
	if len(b) < 8 || uint64(len(b)-8) != binary.LittleEndian.Uint64(b) {
		return File{}, false
	}
	kind, name, _ := strings.Cut(text[0], "/")
	return File{Kind: kind, Name: name, Data: bytes.Clone(b[8:])}, true
}

func (r *Recording) takeHead(metadata []*mcap.Metadata) error {
	files, named := "", false
	for _, m := range metadata {
		switch m.Name {
		case "session":
			r.Head.Session, r.Head.Started, r.Head.Program = m.Metadata["id"], m.Metadata["started"], m.Metadata["program"]
			files = m.Metadata["files"]
		case "channels":
			named = true
			if names := m.Metadata["names"]; names != "" {
				r.Head.Channels = strings.Split(names, "\n")
			}
			if units := m.Metadata["units"]; units != "" {
				r.Head.Units = strings.Split(units, "\n")
			}
		}
	}
	if !named || files != fmt.Sprint(len(r.Head.Files)) {
		return fmt.Errorf("%w: it ends before the names of its channels and its files are complete", ErrNotRecording)
	}
	return nil
}

func cutRecord(b []byte) (op mcap.OpCode, body, rest []byte, ok bool) {
	if len(b) < 9 {
		return 0, nil, nil, false
	}
	n := binary.LittleEndian.Uint64(b[1:9])
	if n > uint64(len(b)-9) {
		return 0, nil, nil, false
	}
	return mcap.OpCode(b[0]), b[9 : 9+n], b[9+n:], true
}

// parsed turns a panic of the library's parser on malformed bytes into an error.
func parsed[T any](parse func([]byte) (T, error), record []byte) (value T, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("malformed: %v", p)
		}
	}()
	return parse(record)
}
