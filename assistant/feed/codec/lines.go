package codec

import "bytes"

// LineLimit is the length in bytes from which a line is refused rather than kept.
const LineLimit = 1 << 20

// Lines cuts a stream into lines at any chunking. It keeps at most LineLimit bytes.
type Lines struct {
	part    []byte // the unfinished line
	tooLong bool   // the rest of this line is thrown away
}

// Feed calls line for each line that p completes, without its line end, and tooLong
// for each line beyond the limit. The slice is valid only until line returns.
func (l *Lines) Feed(p []byte, line func([]byte), tooLong func()) {
	for len(p) > 0 {
		n := bytes.IndexByte(p, '\n')
		if n < 0 {
			l.keep(p)
			return
		}
		whole := p[:n]
		if len(l.part) > 0 || l.tooLong {
			l.keep(whole)
			whole = l.part
		}
		l.out(whole, line, tooLong)
		p = p[n+1:]
	}
}

// End treats what is left as a last line.
func (l *Lines) End(line func([]byte), tooLong func()) {
	if len(l.part) > 0 || l.tooLong {
		l.out(l.part, line, tooLong)
	}
}

// Tear throws away the unfinished line, since what comes next is not its rest; it tells whether there was one.
func (l *Lines) Tear() bool {
	torn := len(l.part) > 0 || l.tooLong
	l.part, l.tooLong = l.part[:0], false
	return torn
}

func (l *Lines) keep(p []byte) {
	if l.tooLong || len(l.part)+len(p) > LineLimit {
		l.tooLong = true
		l.part = l.part[:0]
		return
	}
	l.part = append(l.part, p...)
}

func (l *Lines) out(b []byte, line func([]byte), tooLong func()) {
	if l.tooLong || len(b) > LineLimit {
		tooLong()
	} else {
		if n := len(b); n > 0 && b[n-1] == '\r' {
			b = b[:n-1]
		}
		line(b)
	}
	l.part, l.tooLong = l.part[:0], false
}
