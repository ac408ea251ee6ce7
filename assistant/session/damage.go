package session

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"strings"

	"github.com/foxglove/mcap/go/mcap"
)

// Loss is what a recording lacks.
type Loss struct {
	Closed    bool   // false: the program ended without closing the recording
	Dropped   uint64 // inputs missing between entries: dropped by the recorder or in a damaged chunk
	Damaged   int    // chunks that were passed over because their contents are wrong
	TornBytes int64  // at the end of the file, too few for a chunk
}

// String says it for people; it is empty where nothing is missing.
func (l Loss) String() string {
	var parts []string
	if !l.Closed {
		parts = append(parts, "the recording was not closed: the last second before its end may be missing")
	}
	if l.TornBytes > 0 {
		parts = append(parts, fmt.Sprintf("the last %d bytes are an incomplete chunk", l.TornBytes))
	}
	if l.Damaged > 0 {
		parts = append(parts, counted(l.Damaged, "damaged chunk was", "damaged chunks were")+" passed over")
	}
	if l.Dropped > 0 {
		parts = append(parts, counted(l.Dropped, "input is", "inputs are")+" missing in between")
	}
	return strings.Join(parts, "; ")
}

func counted[N int | uint64](n N, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// plausible tells whether what follows the record read last looks like another one, or is the end of the file.
func (r *Recording) plausible() bool {
	head, err := r.in.Peek(9)
	if err != nil {
		return r.read == r.size
	}
	op, n := mcap.OpCode(head[0]), binary.LittleEndian.Uint64(head[1:])
	return op > mcap.OpReserved && op <= mcap.OpDataEnd && n <= uint64(min(r.size-r.read-9, maxRecord))
}

// The frame of a chunk as the recorder writes it: opcode, length, two times, length and checksum of the contents,
// the compression's name with its length, length of what is compressed.
const (
	chunkFrame = 1 + 8 + chunkTop
	chunkTop   = 8 + 8 + 8 + 4 + 4 + 4 + 8
	chunkName  = 1 + 8 + 8 + 8 + 8 + 4 // where the compression's name begins
)

var zstdName = []byte("\x04\x00\x00\x00" + string(mcap.CompressionZSTD))

// resync looks for the next chunk behind the place where the file stopped making sense, and goes there.
func (r *Recording) resync() bool {
	const block = 1 << 16
	buf := make([]byte, 0, block+chunkFrame)
	from := r.at + 1 // of buf in the file
	if _, err := r.src.Seek(from, io.SeekStart); err != nil {
		return false
	}
	for {
		n, err := io.ReadFull(r.src, buf[len(buf):len(buf)+block])
		buf = buf[:len(buf)+n]
		for i := 0; ; i++ {
			k := bytes.Index(buf[i:], zstdName)
			if k < 0 {
				break
			}
			i += k
			if start := i - chunkName; start >= 0 && start+chunkFrame <= len(buf) && r.chunkAt(buf[start:], from+int64(start)) {
				return r.seek(from + int64(start))
			}
		}
		if err != nil {
			return false
		}
		keep := min(len(buf), chunkFrame-1)
		from += int64(len(buf) - keep)
		buf = buf[:copy(buf, buf[len(buf)-keep:])]
	}
}

// chunkAt tells whether b, which stands at that place, begins with the frame of a chunk that fits into the file.
func (r *Recording) chunkAt(b []byte, place int64) bool {
	n := binary.LittleEndian.Uint64(b[1:])
	return mcap.OpCode(b[0]) == mcap.OpChunk && n <= uint64(min(r.size-place-9, maxRecord)) &&
		n == chunkTop+binary.LittleEndian.Uint64(b[chunkFrame-8:])
}

func (r *Recording) seek(place int64) bool {
	if _, err := r.src.Seek(place, io.SeekStart); err != nil {
		return false
	}
	r.in.Reset(r.src)
	r.read, r.broken = place, false
	return true
}
