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

// A LineDecoder is what the decoders of lines have in common. A codec embeds one and calls Start: so it is a Decoder,
// whose Counts has each line counted, and it sees whole lines only.
type LineDecoder struct {
	Tally Counts
	Emit  func(*Record) // of the call under way

	// Fresh tells that no line has come since the source began, or began again after a gap.
	Fresh bool
	// Last tells that the line at hand is what was left at the end of a stream, without a line end.
	Last bool

	datagrams bool
	lines     Lines
	line      func([]byte)
	onLine    func([]byte)
	onLong    func()
}

var byteOrderMark = []byte{0xef, 0xbb, 0xbf}

// Start makes it ready. Datagrams tells that each ends its last line; line is called for every line within the limit,
// without its line end and, at the beginning, without the mark with which some tools begin UTF-8. The slice is valid
// until line returns.
func (d *LineDecoder) Start(datagrams bool, line func([]byte)) {
	d.datagrams, d.line, d.Fresh = datagrams, line, true
	d.onLine, d.onLong = d.one, d.long
}

func (d *LineDecoder) one(p []byte) {
	d.Tally.Records++
	if d.Fresh {
		p = bytes.TrimPrefix(p, byteOrderMark)
	}
	d.line(p)
	d.Fresh = false
}

func (d *LineDecoder) long() {
	d.Tally.Records++
	d.Tally.Refuse(TooLong, "")
	d.Fresh = false
}

// Counts implements Decoder.
func (d *LineDecoder) Counts() *Counts { return &d.Tally }

// Decode implements Decoder.
func (d *LineDecoder) Decode(p []byte, emit func(*Record)) {
	d.Tally.Bytes += int64(len(p))
	d.Emit = emit
	d.lines.Feed(p, d.onLine, d.onLong)
	if d.datagrams {
		d.lines.End(d.onLine, d.onLong)
	}
}

// End implements Decoder.
func (d *LineDecoder) End(emit func(*Record)) {
	d.Emit, d.Last = emit, true
	d.lines.End(d.onLine, d.onLong)
	d.Last = false
}

// Give hands a record on, or counts it as ignored where it has no reading that is mapped.
func (d *LineDecoder) Give(r *Record, any bool) {
	if !any {
		d.Tally.Ignored++
		return
	}
	d.Tally.Emitted++
	d.Emit(r)
}

// Gap tells that the stream was torn: an unfinished line is counted as bad, and what comes next begins a new one.
func (d *LineDecoder) Gap() {
	if d.lines.Tear() {
		d.Tally.Records++
		d.Tally.Refuse(Unfinished, "")
	}
	d.Fresh = true
}
