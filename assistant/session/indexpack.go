package session

import (
	"encoding/binary"
	"slices"

	"github.com/foxglove/mcap/go/mcap"
)

// indexPack keeps the index of the chunks until the end of the recording. The library keeps some 400
// bytes a chunk, 40 MB in a day; as differences in bytes that are as long as they need be it is a tenth of that.
type indexPack struct {
	blocks [][]byte // of packBlock each, so that growing never copies
	last   mcap.ChunkIndex
	chunks int
}

const packBlock = 64 << 10

// maxPacked bounds one chunk's entry: eight numbers, and two for each topic.
func maxPacked(x *mcap.ChunkIndex) int {
	return binary.MaxVarintLen64 * (8 + 2*len(x.MessageIndexOffsets))
}

// take moves the indexes out of the library's memory.
func (p *indexPack) take(w *mcap.Writer) {
	for _, x := range w.ChunkIndexes {
		p.add(x)
	}
	clear(w.ChunkIndexes)
	w.ChunkIndexes = w.ChunkIndexes[:0]
}

func (p *indexPack) add(x *mcap.ChunkIndex) {
	need := maxPacked(x)
	if n := len(p.blocks); n == 0 || cap(p.blocks[n-1])-len(p.blocks[n-1]) < need {
		p.blocks = append(p.blocks, make([]byte, 0, max(packBlock, need)))
	}
	b := p.blocks[len(p.blocks)-1]
	b = binary.AppendVarint(b, int64(x.MessageStartTime-p.last.MessageStartTime))
	b = binary.AppendVarint(b, int64(x.MessageEndTime-x.MessageStartTime))
	b = binary.AppendUvarint(b, x.ChunkStartOffset-p.last.ChunkStartOffset)
	b = binary.AppendUvarint(b, x.ChunkLength)
	b = binary.AppendUvarint(b, x.MessageIndexLength)
	b = binary.AppendUvarint(b, x.CompressedSize)
	b = binary.AppendUvarint(b, x.UncompressedSize)
	b = binary.AppendUvarint(b, uint64(len(x.MessageIndexOffsets)))
	for id, offset := range x.MessageIndexOffsets {
		b = binary.AppendUvarint(b, uint64(id))
		b = binary.AppendUvarint(b, offset-x.ChunkStartOffset)
	}
	p.blocks[len(p.blocks)-1] = b
	p.last.MessageStartTime, p.last.ChunkStartOffset = x.MessageStartTime, x.ChunkStartOffset
	p.chunks++
}

// give hands the indexes back, for the library to write.
func (p *indexPack) give(w *mcap.Writer) {
	more := w.ChunkIndexes
	w.ChunkIndexes = make([]*mcap.ChunkIndex, 0, p.chunks+len(more))
	all := make([]mcap.ChunkIndex, p.chunks)
	var last mcap.ChunkIndex
	for _, b := range p.blocks {
		signed := func() int64 { x, n := binary.Varint(b); b = b[n:]; return x }
		unsigned := func() uint64 { x, n := binary.Uvarint(b); b = b[n:]; return x }
		for len(b) > 0 {
			x := &all[len(w.ChunkIndexes)]
			x.Compression = mcap.CompressionZSTD
			x.MessageStartTime = last.MessageStartTime + uint64(signed())
			x.MessageEndTime = x.MessageStartTime + uint64(signed())
			x.ChunkStartOffset = last.ChunkStartOffset + unsigned()
			x.ChunkLength, x.MessageIndexLength = unsigned(), unsigned()
			x.CompressedSize, x.UncompressedSize = unsigned(), unsigned()
			n := unsigned()
			x.MessageIndexOffsets = make(map[uint16]uint64, n)
			for range n {
				id := uint16(unsigned())
				x.MessageIndexOffsets[id] = x.ChunkStartOffset + unsigned()
			}
			last = *x
			w.ChunkIndexes = append(w.ChunkIndexes, x)
		}
	}
	w.ChunkIndexes = slices.Concat(w.ChunkIndexes, more)
	p.blocks = nil
}
