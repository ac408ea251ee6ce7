package audio

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// A WAVError says what is wrong with a WAV stream and where.
type WAVError struct {
	Offset int64 // bytes from the beginning
	Msg    string
}

func (e *WAVError) Error() string { return fmt.Sprintf("WAV, byte %d: %s", e.Offset, e.Msg) }

// mostWAV bounds what ReadWAV keeps in memory: two hours of mono at 48 kHz.
const mostWAV = 2 * 3600 * 48000 * 2

// ReadWAV reads PCM of 8, 16, 24 or 32 bits or 32-bit float, and mixes the channels
// down to mono. A data chunk whose length says 0 or nearly 2 or 4 GiB, as a
// program that writes to a pipe leaves it, is read to the end. The error for
// a malformed stream is a *WAVError.
func ReadWAV(r io.Reader) (Clip, error) {
	var at int64
	bad := func(format string, a ...any) (Clip, error) {
		return Clip{}, &WAVError{Offset: at, Msg: fmt.Sprintf(format, a...)}
	}
	var head [12]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return bad("no RIFF header: it is shorter than 12 bytes")
	}
	if string(head[:4]) != "RIFF" || string(head[8:]) != "WAVE" {
		return bad("it begins with %q, not with RIFF and WAVE", head[:4])
	}
	at = 12
	var f wavFormat
	for {
		var chunk [8]byte
		if _, err := io.ReadFull(r, chunk[:]); err != nil {
			return bad("it ends before the data chunk")
		}
		id, size := string(chunk[:4]), int64(binary.LittleEndian.Uint32(chunk[4:]))
		if id == "data" {
			if f.rate == 0 {
				return bad("the data chunk comes before the fmt chunk")
			}
			return f.read(r, at+8, size)
		}
		at += 8
		if id == "fmt " {
			if size < 16 || size > 1024 {
				return bad("the fmt chunk has %d bytes; it must have at least 16", size)
			}
			body := make([]byte, size+size%2)
			if _, err := io.ReadFull(r, body); err != nil {
				return bad("it ends inside the fmt chunk")
			}
			var msg string
			if f, msg = parseFormat(body); msg != "" {
				return bad("%s", msg)
			}
		} else if _, err := io.CopyN(io.Discard, r, size+size%2); err != nil {
			return bad("it ends inside the chunk %q", id)
		}
		at += size + size%2
	}
}

type wavFormat struct {
	float          bool
	channels, rate int
	bytes          int // per sample
}

func parseFormat(b []byte) (wavFormat, string) {
	tag := binary.LittleEndian.Uint16(b)
	f := wavFormat{
		channels: int(binary.LittleEndian.Uint16(b[2:])),
		rate:     int(binary.LittleEndian.Uint32(b[4:])),
		bytes:    int(binary.LittleEndian.Uint16(b[14:])) / 8,
	}
	bits := int(binary.LittleEndian.Uint16(b[14:]))
	if tag == 0xFFFE && len(b) >= 26 { // extensible: the tag is the start of the sub-format
		tag = binary.LittleEndian.Uint16(b[24:])
	}
	f.float = tag == 3
	switch {
	case tag != 1 && tag != 3:
		return wavFormat{}, fmt.Sprintf("format tag %d; only PCM (1) and float (3) are read", tag)
	case f.channels < 1 || f.channels > 32:
		return wavFormat{}, fmt.Sprintf("%d channels; 1 to 32 are read", f.channels)
	case f.rate < 1000 || f.rate > 384000:
		return wavFormat{}, fmt.Sprintf("a rate of %d Hz; 1000 to 384000 are read", f.rate)
	case f.float && bits != 32, !f.float && bits != 8 && bits != 16 && bits != 24 && bits != 32:
		return wavFormat{}, fmt.Sprintf("samples of %d bits; PCM of 8, 16, 24, 32 and float of 32 are read", bits)
	}
	return f, ""
}

func (f wavFormat) read(r io.Reader, at, size int64) (Clip, error) {
	open := size == 0 || size >= 0x7FFF0000
	if !open {
		r = io.LimitReader(r, size)
	}
	frame := make([]byte, f.channels*f.bytes)
	c := Clip{Rate: f.rate}
	br := bufio.NewReaderSize(r, 1<<16)
	for {
		_, err := io.ReadFull(br, frame)
		if err == io.EOF || errors.Is(err, io.ErrUnexpectedEOF) { // a torn frame at the end is left out
			break
		}
		if err != nil {
			return Clip{}, &WAVError{Offset: at + int64(len(c.Samples)*len(frame)), Msg: err.Error()}
		}
		if len(c.Samples) >= mostWAV {
			return Clip{}, &WAVError{Offset: at, Msg: "the sound is longer than can be held in memory"}
		}
		var sum float32
		for i := range f.channels {
			sum += f.sample(frame[i*f.bytes:])
		}
		c.Samples = append(c.Samples, sum/float32(f.channels))
	}
	if got := int64(len(c.Samples) * len(frame)); !open && size-got >= int64(len(frame)) {
		return Clip{}, &WAVError{Offset: at + got, Msg: fmt.Sprintf("the data chunk ends early: %d of %d bytes", got, size)}
	}
	return c, nil
}

func (f wavFormat) sample(b []byte) float32 {
	switch {
	case f.float:
		s := math.Float32frombits(binary.LittleEndian.Uint32(b))
		if s != s || s > 1e6 || s < -1e6 { // not sound; a NaN would never leave a filter again
			return 0
		}
		return s
	case f.bytes == 1:
		return (float32(b[0]) - 128) / 128
	case f.bytes == 2:
		return float32(int16(binary.LittleEndian.Uint16(b))) / (1 << 15)
	case f.bytes == 3:
		return float32(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)>>8) / (1 << 23)
	}
	return float32(int32(binary.LittleEndian.Uint32(b))) / (1 << 31)
}

// WriteWAV writes the clip as 16-bit PCM.
func WriteWAV(w io.Writer, c Clip) error {
	size := int64(len(c.Samples)) * 2
	if size > mostData {
		return errLong
	}
	if _, err := w.Write(wavHeader(c.Rate, uint32(size))); err != nil {
		return err
	}
	return writePCM(w, c.Samples)
}

const mostData = math.MaxUint32 - 36

var errLong = errors.New(
	"a WAV file holds at most 4 GiB: end this one and begin another, or choose a lower sample rate")

func wavHeader(rate int, size uint32) []byte {
	le := binary.LittleEndian
	b := append(make([]byte, 0, 44), "RIFF"...)
	b = le.AppendUint32(b, 36+size)
	b = append(b, "WAVEfmt "...)
	b = le.AppendUint32(b, 16)
	b = le.AppendUint16(b, 1) // PCM
	b = le.AppendUint16(b, 1) // mono
	b = le.AppendUint32(b, uint32(rate))
	b = le.AppendUint32(b, uint32(rate)*2)
	b = le.AppendUint16(b, 2)
	b = le.AppendUint16(b, 16)
	b = append(b, "data"...)
	return le.AppendUint32(b, size)
}

func writePCM(w io.Writer, samples []float32) error {
	buf := make([]byte, 0, 8192)
	for len(samples) > 0 {
		n := min(len(samples), cap(buf)/2)
		buf = buf[:0]
		for _, s := range samples[:n] {
			buf = binary.LittleEndian.AppendUint16(buf, uint16(pcm16(s)))
		}
		if _, err := w.Write(buf); err != nil {
			return err
		}
		samples = samples[n:]
	}
	return nil
}

func pcm16(s float32) int16 {
	return int16(math.RoundToEven(float64(min(max(s, -1), 32767.0/32768)) * 32768))
}

// A WAVWriter writes 16-bit mono PCM of a length not known beforehand.
type WAVWriter struct {
	w    io.WriteSeeker
	rate int
	n    int64 // samples
}

// NewWAVWriter writes the header. Close has to be called to put the length in.
func NewWAVWriter(w io.WriteSeeker, rate int) (*WAVWriter, error) {
	if _, err := w.Write(wavHeader(rate, 0)); err != nil {
		return nil, err
	}
	return &WAVWriter{w: w, rate: rate}, nil
}

// Write appends samples.
func (w *WAVWriter) Write(samples []float32) error {
	if (w.n+int64(len(samples)))*2 > mostData {
		return errLong
	}
	w.n += int64(len(samples))
	return writePCM(w.w, samples)
}

// Samples is how many samples have been written.
func (w *WAVWriter) Samples() int64 { return w.n }

// Close puts the length into the header. It does not close the file below.
func (w *WAVWriter) Close() error {
	if _, err := w.w.Seek(0, io.SeekStart); err != nil {
		return err
	}
	if _, err := w.w.Write(wavHeader(w.rate, uint32(w.n*2))); err != nil {
		return err
	}
	_, err := w.w.Seek(0, io.SeekEnd)
	return err
}
