package packet

import "earshot/assistant/feed/codec"

// window is how many datagrams late one may come and still be told from a restart.
const window = 64

// A tracker follows a sequence number. It remembers which of the last 64 numbers
// came, so that what came late is told from what came twice.
type tracker struct {
	begun bool
	last  uint32
	seen  uint64 // bit i: number last-i came
	span  uint32 // how far behind last counting began

	doubted bool   // the datagram before came from far behind
	doubt   uint32 // its number
}

// accept tells whether the datagram is to be used. One that comes after a later one
// is dropped, since its readings are older than those that were given out already. One
// number far behind is an old datagram that came again; two of them, one soon after
// the other, are a source that began anew (RFC 3550, appendix A.1, asks for neighbours;
// here a kind that is not mapped may have been between).
func (t *tracker) accept(n uint32, bytes int, c *codec.Counts) bool {
	mask := uint32(1)<<(8*bytes) - 1 // 4 bytes: the shift gives 0, and 0-1 is all ones
	if !t.begun {
		t.begun, t.last, t.seen, t.span = true, n, 1, 0
		return true
	}
	ahead := (n - t.last) & mask
	behind := (t.last - n) & mask
	reach := min(uint32(window), mask/4+1)
	doubted, after := t.doubted, (n-t.doubt)&mask
	t.doubted = false
	switch {
	case ahead == 0:
		c.Duplicate++
		return false
	case behind < reach:
		bit := uint64(1) << behind
		if t.seen&bit != 0 {
			c.Duplicate++
			return false
		}
		t.seen |= bit
		c.Reordered++
		if behind <= t.span {
			c.Lost-- // it was counted as lost when the later one came
		}
		return false
	case ahead <= mask/2:
		c.Lost += int64(ahead - 1)
		t.seen = t.seen<<min(ahead, 64) | 1
		t.span = min(t.span+min(ahead, window), window)
	case !doubted || after == 0 || after > reach:
		t.doubted, t.doubt = true, n
		c.Reordered++
		return false
	default:
		c.Restarts++
		t.seen, t.span = 1, 0
	}
	t.last = n
	return true
}
