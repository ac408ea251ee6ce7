package transport

import (
	"encoding/binary"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// rawFrame is a can_frame, or with more than 8 bytes or flags a canfd_frame, laid out by hand: identifier in the
// machine's byte order, length, flags, two bytes of padding, data (Linux, Documentation/networking/can.rst).
func rawFrame(id uint32, flags byte, fd bool, data ...byte) []byte {
	p := make([]byte, 16)
	if fd {
		p = make([]byte, 72)
	}
	binary.NativeEndian.PutUint32(p, id)
	p[4], p[5] = byte(len(data)), flags
	copy(p[8:], data)
	return p
}

// The lines are those of candump -L; the first is the form that its manual page shows, the others from memory of the
// tool.
func TestCANLines(t *testing.T) {
	at := time.Unix(1436509052, 249_713_999)
	for want, frame := range map[string][]byte{
		"(1436509052.249713) vcan0 044#2A366C2BBA\n":   rawFrame(0x44, 0, false, 0x2a, 0x36, 0x6c, 0x2b, 0xba),
		"(1436509052.249713) vcan0 1F0#\n":             rawFrame(0x1f0, 0, false),
		"(1436509052.249713) vcan0 18FEF1AB#0102\n":    rawFrame(0x98fef1ab, 0, false, 1, 2),
		"(1436509052.249713) vcan0 00000001#FF\n":      rawFrame(1<<31|1, 0, false, 255),
		"(1436509052.249713) vcan0 123#R\n":            rawFrame(1<<30|0x123, 0, false),
		"(1436509052.249713) vcan0 123##10102030A0B\n": rawFrame(0x123, 1, true, 1, 2, 3, 10, 11),
	} {
		got, ok := appendCAN(nil, at, "vcan0", frame)
		require.True(t, ok)
		require.Equal(t, want, string(got))
	}
	for _, frame := range [][]byte{nil, make([]byte, 15), rawFrame(1<<29|1, 0, false), {0, 0, 0, 0, 9, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0}} {
		_, ok := appendCAN(nil, at, "vcan0", frame)
		require.False(t, ok)
	}
	long, ok := appendCAN(nil, at, "", rawFrame(1<<31|1, 15, true, make([]byte, 64)...))
	require.True(t, ok)
	require.Len(t, long, len("(1436509052.249713)  80000001##F\n")+2*64)
	buf, frame := make([]byte, 100), rawFrame(1, 0, false, 1, 2, 3, 4, 5, 6, 7, 8)
	require.Zero(t, testing.AllocsPerRun(100, func() { _, _ = appendCAN(buf[:0], at, "can0", frame) }))
}

func TestErrorsOfCAN(t *testing.T) {
	_, err := Open(t.Context(), Spec{Kind: CAN})
	require.ErrorContains(t, err, "no interface is given")
	s, err := Open(t.Context(), Spec{Kind: CAN, Interface: "lo"})
	if err == nil {
		_ = s.Close()
		t.Fatal("the loopback is no bus")
	}
	require.ErrorIs(t, err, ErrUnavailable)
	require.ErrorContains(t, err, "hint:")
	t.Log(runtime.GOOS, err)
}
