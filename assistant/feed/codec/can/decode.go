// Package can decodes the frames of a CAN bus (ISO 11898-1) as candump writes them, a line a
// frame: signals at their bits, as a DBC file or the feed file says, and the answers of an
// engine controller to requests of SAE J1979 service 01.
//
// Each frame with a mapped signal is one Record, stamped with the time in its line. Frames of other
// identifiers, remote frames and error frames are ignored; a line that is no frame is refused.
// Frames of CAN FD are taken like others. Earshot sends nothing on the bus: the requests of service 01 are another's.
//
// A rolling counter, where one is told of, counts the frames lost; a frame that has come already, with the same
// counter and the same bytes, is dropped. What was lost in a gap of the stream it cannot count.
//
// The package is pure: no goroutine, clock, file, network, lock or log.
package can

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"

	"earshot/assistant/feed/codec"
)

// A Signal is a number in a message and what becomes of it.
type Signal struct {
	codec.Field
	Place
	Mux int64 // the value of the message's Switch with which it is there; -1: always
}

// A Check is a sum over the frame that must come out right: all half bytes of the identifier and the data, the
// checksum's own included, add up to Total modulo 16.
type Check struct{ Total int }

// A Message is a frame of one identifier.
type Message struct {
	Name     string
	ID       uint32
	Extended bool
	Switch   *Place // the multiplexer
	Check    *Check
	Counter  *Place // a rolling counter, of at most 16 bits
	Signals  []Signal
}

// A Layout is all that is mapped of one bus.
type Layout struct {
	Datagrams bool   // every datagram ends its last line
	Bus       string // take frames of this interface only; "": of all
	Untimed   bool   // the time in the line does not count
	Messages  []Message
	Answers   []Answer
}

type message struct {
	Message
	seen    bool
	counter uint64
	length  int
	data    [64]byte
}

// A Decoder turns lines into records. It is a codec.Decoder.
type Decoder struct {
	codec.LineDecoder
	layout   Layout
	rec      *codec.Record
	frame    Frame
	messages []message
	short    [maskShort + 1]int32 // index + 1 into messages by identifier of 11 bits
	long     []int32              // indices of messages of 29 bits in the order of their identifiers
}

// NewDecoder checks the layout and prepares a decoder for Rows of n channels.
func NewDecoder(l Layout, n int) (*Decoder, error) {
	d := &Decoder{layout: l, rec: codec.NewRecord(n)}
	for i, m := range l.Messages {
		if err := m.validate(); err != nil {
			return nil, err
		}
		d.messages = append(d.messages, message{Message: m})
		if m.Extended {
			d.long = append(d.long, int32(i))
			continue
		}
		if d.short[m.ID] != 0 {
			return nil, fmt.Errorf("messages %s and %s have the same identifier 0x%03X", l.Messages[d.short[m.ID]-1].Name, m.Name, m.ID)
		}
		d.short[m.ID] = int32(i) + 1
	}
	slices.SortFunc(d.long, func(a, b int32) int { return cmp.Compare(l.Messages[a].ID, l.Messages[b].ID) })
	for i := 1; i < len(d.long); i++ {
		a, b := &l.Messages[d.long[i-1]], &l.Messages[d.long[i]]
		if a.ID == b.ID {
			return nil, fmt.Errorf("messages %s and %s have the same identifier 0x%08X", a.Name, b.Name, a.ID)
		}
	}
	d.Start(l.Datagrams, d.line)
	return d, nil
}

func (m *Message) validate() error {
	if m.ID > maskLong || m.ID > maskShort && !m.Extended {
		return fmt.Errorf("message %s: 0x%X is no identifier", m.Name, m.ID)
	}
	places := []*Place{m.Switch, m.Counter}
	for i := range m.Signals {
		places = append(places, &m.Signals[i].Place)
	}
	for i, p := range places {
		if p == nil {
			continue
		}
		why := p.Check()
		if i == 1 && why == "" && p.Length > 16 {
			why = "a rolling counter has at most 16 bits"
		}
		if why != "" {
			return fmt.Errorf("message %s: %s", m.Name, why)
		}
	}
	return nil
}

// Gap tells that the stream was torn. The rolling counters begin anew.
func (d *Decoder) Gap() {
	d.LineDecoder.Gap()
	for i := range d.messages {
		d.messages[i].seen = false
	}
}

func (d *Decoder) line(p []byte) {
	c, f := &d.Tally, &d.frame
	p = bytes.TrimSpace(p)
	if len(p) == 0 || p[0] == '#' {
		c.Ignored++
		return
	}
	if at, ok := f.Parse(p); !ok {
		c.RefuseAt(codec.BadSyntax, at)
		return
	}
	if f.Remote || f.Error || d.layout.Bus != "" && string(f.Bus) != d.layout.Bus {
		c.Ignored++
		return
	}
	m := d.find(f.ID, f.Extended)
	answer := len(d.layout.Answers) > 0 && answers(f)
	if m == nil && !answer {
		c.Ignored++
		return
	}
	if math.IsNaN(f.Time) && !d.layout.Untimed {
		c.Refuse(codec.BadSyntax, "the line has no time")
		return
	}
	slots := d.rec.Slots()
	for i := range slots {
		slots[i] = math.NaN()
	}
	any := false
	if m != nil {
		if m.Check != nil && !m.Check.right(f) {
			c.Refuse(codec.BadChecksum, m.Name)
			return
		}
		if m.Counter != nil && !d.count(m) {
			return
		}
		any = d.read(m)
	}
	if answer {
		found, refused := d.answer()
		if refused {
			return
		}
		any = any || found
	}
	if !d.layout.Untimed {
		slots[len(slots)-1] = f.Time
	}
	d.Give(d.rec, any)
}

func (d *Decoder) find(id uint32, extended bool) *message {
	if !extended {
		if i := d.short[id]; i > 0 {
			return &d.messages[i-1]
		}
		return nil
	}
	i, ok := slices.BinarySearchFunc(d.long, id, func(at int32, id uint32) int { return cmp.Compare(d.messages[at].ID, id) })
	if !ok {
		return nil
	}
	return &d.messages[d.long[i]]
}

func (d *Decoder) read(m *message) (any bool) {
	f, slots := &d.frame, d.rec.Slots()
	mux := int64(-1)
	if m.Switch != nil && m.Switch.End() <= f.Len {
		mux = int64(m.Switch.Raw(f.Data[:f.Len]))
	}
	for i := range m.Signals {
		s := &m.Signals[i]
		if s.Mux >= 0 && s.Mux != mux {
			continue
		}
		if s.End() > f.Len {
			d.Tally.RefuseReading(codec.TooShort, s.Name)
			continue
		}
		if v := s.FromNumber(s.Value(f.Data[:f.Len]), &d.Tally); !math.IsNaN(v) {
			slots[s.ID] = v
			any = true
		}
	}
	return any
}

// right tells whether the half bytes add up.
func (k *Check) right(f *Frame) bool {
	sum := 0
	for id := f.ID; id > 0; id >>= 4 {
		sum += int(id & 15)
	}
	for _, b := range f.Data[:f.Len] {
		sum += int(b>>4) + int(b&15)
	}
	return (sum-k.Total)&15 == 0
}

// count follows the rolling counter; false for a frame that came already.
func (d *Decoder) count(m *message) bool {
	f := &d.frame
	if m.Counter.End() > f.Len {
		d.Tally.Refuse(codec.TooShort, m.Name)
		return false
	}
	n := m.Counter.Raw(f.Data[:f.Len])
	if m.seen {
		if n == m.counter && f.Len == m.length && bytes.Equal(f.Data[:f.Len], m.data[:f.Len]) {
			d.Tally.Duplicate++
			return false
		}
		// The same number on other bytes is a whole turn later.
		d.Tally.Lost += int64((n - m.counter - 1) & (1<<m.Counter.Length - 1))
	}
	m.seen, m.counter, m.length = true, n, f.Len
	copy(m.data[:], f.Data[:f.Len])
	return true
}
