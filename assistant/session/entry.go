package session

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"earshot/assistant/channel"
)

// KindSample is the Kind of an Entry that carries a Row.
const KindSample = "sample"

// An Entry is one input of the core. Inputs are numbered from 1 in the order in which
// the core took them; a gap in the numbers is an input that the recorder had to drop.
type Entry struct {
	Seq  uint64
	At   float64 // seconds on the caller's clock, exactly as it was
	Kind string
	Row  channel.Row // of a sample: NaN where there was no reading; else nil
	Data []byte      // of any other kind: the bytes as handed over
}

// A message in the file begins with the number and the time of its Entry:
// eight bytes each, little endian, the time as the bits of a float64.
const headLen = 16

func appendHead(b []byte, seq uint64, at float64) []byte {
	b = binary.LittleEndian.AppendUint64(b, seq)
	return binary.LittleEndian.AppendUint64(b, math.Float64bits(at))
}

// appendRow appends the length of the row as two bytes, a bitmap of the readings
// that are there (first channel in the lowest bit of the first byte) and their
// float64 bits in order, all little endian. Every NaN counts as absent.
func appendRow(b []byte, row channel.Row) []byte {
	b = binary.LittleEndian.AppendUint16(b, uint16(len(row)))
	at := len(b)
	for range (len(row) + 7) / 8 {
		b = append(b, 0)
	}
	for i, v := range row {
		if math.IsNaN(v) {
			continue
		}
		b[at+i/8] |= 1 << (i % 8)
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
	}
	return b
}

var errEntry = errors.New("not an entry of a recording")

// readRow undoes appendRow. It uses the memory of row where that suffices.
func readRow(row channel.Row, b []byte) (channel.Row, error) {
	if len(b) < 2 {
		return row, fmt.Errorf("%w: the sample has %d bytes", errEntry, len(b))
	}
	n := int(binary.LittleEndian.Uint16(b))
	b = b[2:]
	bitmap := (n + 7) / 8
	if len(b) < bitmap {
		return row, fmt.Errorf("%w: the bitmap of %d channels needs %d bytes and %d are there", errEntry, n, bitmap, len(b))
	}
	if n%8 != 0 && b[bitmap-1]>>(n%8) != 0 {
		return row, fmt.Errorf("%w: the bitmap has bits beyond its %d channels", errEntry, n)
	}
	values := b[bitmap:]
	if cap(row) < n {
		row = make(channel.Row, n)
	}
	row = row[:n]
	for i := range row {
		if b[i/8]&(1<<(i%8)) == 0 {
			row[i] = math.NaN()
			continue
		}
		if len(values) < 8 {
			return row, fmt.Errorf("%w: the readings end at channel %d of %d", errEntry, i, n)
		}
		v := math.Float64frombits(binary.LittleEndian.Uint64(values))
		if math.IsNaN(v) {
			return row, fmt.Errorf("%w: channel %d is marked as present and is no number", errEntry, i)
		}
		row[i], values = v, values[8:]
	}
	if len(values) != 0 {
		return row, fmt.Errorf("%w: %d bytes follow the last reading", errEntry, len(values))
	}
	return row, nil
}
