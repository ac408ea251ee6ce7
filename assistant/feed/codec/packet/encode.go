package packet

import (
	"errors"
	"fmt"
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

// ErrUnsayable is wrapped when a Row holds what the layout cannot express.
var ErrUnsayable = errors.New("the layout cannot say this")

// An Encoder turns Rows into the datagrams of a Layout.
type Encoder struct {
	layout Layout
	next   []float64 // when each kind is due again
	seq    []uint32
	shared uint32
	bufs   [][]byte
}

// NewEncoder prepares an encoder; the error is that of Layout.Validate.
func NewEncoder(l Layout) (*Encoder, error) {
	if err := errors.Join(l.Validate()...); err != nil {
		return nil, err
	}
	e := &Encoder{layout: l, next: make([]float64, len(l.Kinds)), seq: make([]uint32, len(l.Kinds)), bufs: make([][]byte, len(l.Kinds))}
	for i := range l.Kinds {
		e.next[i] = math.Inf(-1)
		e.bufs[i] = make([]byte, l.Kinds[i].End(l.Sequence))
	}
	return e, nil
}

// Encode calls send with a datagram of every kind that is due at `at` (seconds); the bytes are valid
// until send returns. A kind without a period is always due. An error names the first channel
// that cannot be said; then nothing of that kind was sent.
func (e *Encoder) Encode(row channel.Row, at float64, send func(p []byte)) error {
	var errs []error
	for i := range e.layout.Kinds {
		period := e.layout.Kinds[i].Period
		if period > 0 && at < e.next[i]-period*1e-6 {
			continue
		}
		p, err := e.encodeKind(i, row, at)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		e.next[i] = at + period
		send(p)
	}
	return errors.Join(errs...)
}

// encodeKind gives one datagram of kind i, valid until the next call for that kind.
func (e *Encoder) encodeKind(i int, row channel.Row, at float64) ([]byte, error) {
	k, p := &e.layout.Kinds[i], e.bufs[i]
	clear(p)
	for j := range k.Fields {
		f := &k.Fields[j]
		x := at
		if f.ID != codec.Time {
			x = row[f.ID]
		}
		if err := f.encode(p, x); err != nil {
			return nil, fmt.Errorf("kind %s: %w", k.Name, err)
		}
	}
	for _, m := range k.When {
		store(p, m.At, m.Type, m.Big, uint64(m.Is))
	}
	seq, n := k.Sequence, &e.seq[i]
	if seq == nil {
		seq, n = e.layout.Sequence, &e.shared
	}
	if seq != nil {
		store(p, seq.At, seq.Type, seq.Big, uint64(*n))
		*n++
	}
	if c := k.Check; c != nil {
		s, _ := c.compute(p)
		store(p, c.place(len(p)), c.typ(), c.Big, s)
	}
	return p, nil
}

func (f *Field) unsayable(x float64) error {
	if math.IsNaN(x) {
		return fmt.Errorf("%s is absent, and the field has no value that means absent: %w", f.Name, ErrUnsayable)
	}
	return fmt.Errorf("%s is %g: %w", f.Name, x, ErrUnsayable)
}

// encode writes x, in the unit used inside, the reverse of decode. A number
// that an integer cannot hold is written as absent where the field can say so.
func (f *Field) encode(p []byte, x float64) error {
	if f.Type == Text {
		return f.encodeText(p, x)
	}
	raw, ok := f.raw(x)
	if !f.Type.Integer() {
		if !ok {
			raw = math.NaN()
			if len(f.Absent) > 0 {
				raw = f.Absent[0]
			}
		}
		switch f.Type {
		case F16:
			store(p, f.At, U16, f.Big, uint64(toHalf(raw)))
		case F32:
			store(p, f.At, U32, f.Big, uint64(math.Float32bits(float32(raw))))
		default:
			store(p, f.At, U64, f.Big, math.Float64bits(raw))
		}
		return nil
	}
	lo, hi := f.Type.limits()
	if f.Width > 0 {
		lo, hi = 0, math.Exp2(float64(f.Width))-1
		if f.Signed {
			lo, hi = -math.Exp2(float64(f.Width-1)), math.Exp2(float64(f.Width-1))-1
		}
	}
	raw = math.RoundToEven(raw)
	if !ok || raw < lo || raw > hi {
		if len(f.Absent) == 0 {
			return f.unsayable(x)
		}
		raw = f.Absent[0]
	}
	u := uint64(int64(raw))
	if raw >= 0x1p64 {
		u = math.MaxUint64
	} else if raw >= 0x1p63 {
		u = uint64(raw)
	}
	if f.Width > 0 {
		mask := ^uint64(0) >> (64 - f.Width) << f.Bit
		u = load(p, f.At, f.Type, f.Big)&^mask | u<<f.Bit&mask
	}
	store(p, f.At, f.Type, f.Big, u)
	return nil
}

// raw is the number on the wire for x; false where there is none.
func (f *Field) raw(x float64) (float64, bool) {
	if math.IsNaN(x) {
		return x, false
	}
	if f.Values != nil || f.Labelled {
		for _, v := range f.Values {
			if v.Is == x {
				return v.Raw, true
			}
		}
		return math.NaN(), false
	}
	return (x - f.B) / f.A, true
}

func (f *Field) encodeText(p []byte, x float64) error {
	room := p[f.At : f.At+f.Length]
	if math.IsNaN(x) {
		clear(room)
		return nil
	}
	best, found := "", false
	for text, v := range f.Texts {
		if v == x && len(text) <= len(room) && (!found || text < best) { // the same one each time
			best, found = text, true
		}
	}
	if !found {
		return f.unsayable(x)
	}
	copy(room, best)
	return nil
}
