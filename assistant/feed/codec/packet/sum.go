package packet

import "hash/crc32"

var crc16Table = func() (t [256]uint16) {
	for i := range t {
		c := uint16(i) << 8
		for range 8 {
			if c&0x8000 != 0 {
				c = c<<1 ^ 0x1021
			} else {
				c <<= 1
			}
		}
		t[i] = c
	}
	return t
}()

func sum(kind Sum, p []byte) uint64 {
	switch kind {
	case Xor8:
		var x byte
		for _, b := range p {
			x ^= b
		}
		return uint64(x)
	case Sum8:
		var x byte
		for _, b := range p {
			x += b
		}
		return uint64(x)
	case CRC16CCITT:
		c := uint16(0xffff)
		for _, b := range p {
			c = c<<8 ^ crc16Table[byte(c>>8)^b]
		}
		return uint64(c)
	case CRC32:
		return uint64(crc32.ChecksumIEEE(p))
	}
	return 0
}
