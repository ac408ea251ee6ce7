package transport

import (
	"context"
	"encoding/binary"
	"strconv"
	"time"
)

// The structures can_frame and canfd_frame of SocketCAN (the kernel's linux/can.h), and the flags in their identifier.
const (
	canFrame   = 16
	canFDFrame = 72
	canData    = 8 // where the data begin

	canExtended = 1 << 31
	canRemote   = 1 << 30
	canError    = 1 << 29
	canStandard = 0x7ff
)

func openCAN(ctx context.Context, s Spec) (Source, error) {
	if s.Interface == "" {
		return nil, &Error{What: "can", Msg: "no interface is given", Hint: "write interface: can0"}
	}
	return openDevice(ctx, s, func(context.Context) (conn, error) { return dialCAN(s.Interface) })
}

// appendCAN appends a frame as the line that candump -L writes, so that a recorded bus and a live one are the same to
// the codec: "(1700000000.000123) can0 1F0#0102\n", a remote frame "1F0#R2", one with flexible data rate "1F0##1" and
// its data. ok is false for what is no data or remote frame.
func appendCAN(dst []byte, at time.Time, name string, frame []byte) (line []byte, ok bool) {
	if len(frame) != canFrame && len(frame) != canFDFrame {
		return dst, false
	}
	id, n := binary.NativeEndian.Uint32(frame), int(frame[4])
	if id&canError != 0 || n > len(frame)-canData {
		return dst, false
	}
	dst = append(dst, '(')
	dst = appendPadded(dst, uint64(max(0, at.Unix())), 10, 10)
	dst = append(dst, '.')
	dst = appendPadded(dst, uint64(at.Nanosecond()/1000), 10, 6)
	dst = append(append(append(dst, ") "...), name...), ' ')
	if id&canExtended != 0 {
		dst = appendPadded(dst, uint64(id&^(canExtended|canRemote)), 16, 8)
	} else {
		dst = appendPadded(dst, uint64(id&canStandard), 16, 3)
	}
	dst = append(dst, '#')
	switch {
	case len(frame) == canFDFrame:
		dst = append(dst, '#', hexDigits[frame[5]&0xf])
	case id&canRemote != 0:
		if dst = append(dst, 'R'); n > 0 {
			dst = append(dst, hexDigits[n])
		}
		return append(dst, '\n'), true
	}
	for _, b := range frame[canData : canData+n] {
		dst = append(dst, hexDigits[b>>4], hexDigits[b&0xf])
	}
	return append(dst, '\n'), true
}

const hexDigits = "0123456789ABCDEF"

func appendPadded(dst []byte, u uint64, base, width int) []byte {
	var digits [20]byte
	d := strconv.AppendUint(digits[:0], u, base)
	for range width - len(d) {
		dst = append(dst, '0')
	}
	for _, c := range d {
		if c >= 'a' {
			c -= 'a' - 'A'
		}
		dst = append(dst, c)
	}
	return dst
}
