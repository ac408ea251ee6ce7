package probe

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"
)

// The cut of a datagram into fields is the one that describes what came in the fewest bits (minimum description length;
// Rissanen 1978): a field costs, in each datagram, about as many bits as its step from the value before has, so that
// bytes that belong together are cheaper together. The prices are chosen by trial on the layouts of the tests.
const (
	fieldPrice = 1.0  // bits for each field, so that two are not made of one
	noisePrice = 8.5  // bits of a byte that nothing explains
	floatBonus = 3.0  // bits: random bytes are hardly ever believable floats throughout
	rough      = 0.45 // steps against deviations, 1 for white noise; above it nothing is measured
	leastSeen  = 24   // datagrams below which nothing is said
)

type form struct {
	name   string
	size   int
	signed bool
	float  bool
}

var forms = []form{
	{"u8", 1, false, false}, {"i8", 1, true, false}, {"u16", 2, false, false}, {"i16", 2, true, false},
	{"u32", 4, false, false}, {"i32", 4, true, false}, {"f32", 4, false, true}, {"f64", 8, false, true},
}

// read takes a value out of a datagram: as a number, and as an integer whose order is that of the numbers.
func (f form) read(p []byte, big bool) (v float64, order int64) {
	u, bytes := uint64(0), binary.ByteOrder(binary.LittleEndian)
	if big {
		bytes = binary.BigEndian
	}
	switch f.size {
	case 1:
		u = uint64(p[0])
	case 2:
		u = uint64(bytes.Uint16(p))
	case 4:
		u = uint64(bytes.Uint32(p))
	default:
		u = bytes.Uint64(p)
	}
	switch {
	case f.float && f.size == 4:
		v = float64(math.Float32frombits(uint32(u)))
		order = int64(int32(uint32(u)))
		if order < 0 {
			order = -int64(uint32(u) &^ (1 << 31))
		}
	case f.float:
		v = math.Float64frombits(u)
		order = int64(u)
		if order < 0 {
			order = -int64(u &^ (1 << 63))
		}
	case f.signed:
		shift := 64 - 8*f.size
		order = int64(u<<shift) >> shift
		v = float64(order)
	default:
		order = int64(u)
		v = float64(u)
	}
	return v, order
}

// believable tells whether a float is of a size that measured things have.
func believable(v float64) bool {
	a := math.Abs(v)
	return v == 0 || a > 1e-5 && a < 1e10
}

// A tried form of a field at a place.
type trial struct {
	form form
	cost float64 // bits per datagram
	is   Value
	ok   bool
}

// explain cuts the datagrams into fields. cost is in bits per datagram, all of them together.
func (p *part) explain(big bool) ([]Field, float64) {
	n := 0
	for _, r := range p.runs {
		n += len(r)
	}
	if n < leastSeen {
		return nil, 0
	}
	same := constants(p.runs)
	texts := p.texts(same)
	// From the end: the cheapest cut of the rest.
	least := make([]float64, p.size+1)
	choice := make([]trial, p.size)
	for at := p.size - 1; at >= 0; at-- {
		one := trial{form: forms[0], cost: noisePrice, is: Noise}
		if same[at] {
			one = trial{form: forms[0], cost: 0, is: Constant}
		}
		if texts[at] > 0 {
			choice[at] = trial{form: form{name: "text", size: texts[at]}, is: Text}
			least[at] = least[at+texts[at]] + fieldPrice
			continue
		}
		least[at] = one.cost + least[at+1]
		choice[at] = one
		for _, f := range forms {
			if at+f.size > p.size || same[at] && f.size == 1 {
				continue
			}
			t := p.try(f, at, big, same)
			if t.ok && t.cost+least[at+f.size] < least[at]-1e-9 {
				least[at], choice[at] = t.cost+least[at+f.size], t
			}
		}
	}
	var fields []Field
	for at := 0; at < p.size; {
		t := choice[at]
		fields = p.append(fields, t, at, big, same)
		at += t.form.size
	}
	return fields, least[0] * float64(n)
}

// texts finds runs of letters, ended by zero bytes: the length of the text that begins at each byte.
func (p *part) texts(same []bool) []int {
	lengths := make([]int, p.size)
	kind := make([]byte, p.size) // 'a' always a letter or a space, '0' a letter or zero, 0 neither
	for i := range kind {
		kind[i] = 'a'
	}
	letters := make([]int, p.size)
	total := 0
	for _, r := range p.runs {
		for _, d := range r {
			total++
			for i, c := range d {
				switch {
				case c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z':
					letters[i]++
				case c >= 0x20 && c < 0x7f:
				case c == 0 && kind[i] != 0:
					kind[i] = '0'
				default:
					kind[i] = 0
				}
			}
		}
	}
	for i := 0; i < p.size; {
		j, always := i, 0
		for j < p.size && kind[j] == 'a' && letters[j]*2 > total {
			j, always = j+1, always+1
		}
		if always < 4 {
			i = max(j, i+1)
			continue
		}
		for j < p.size && (kind[j] == '0' || kind[j] == 'a' && same[j]) {
			j++
		}
		lengths[i] = j - i
		i = j
	}
	return lengths
}

// try prices one form at one place.
func (p *part) try(f form, at int, big bool, same []bool) trial {
	t := trial{form: f, is: Number}
	lead, tail := at+f.size-1, at // the most and the least significant byte
	if big {
		lead, tail = tail, lead
	}
	// A field whose lowest byte never changes is a narrower field beside it, or a float of few digits.
	if !slices.Contains(same[at:at+f.size], false) || !f.float && f.size > 1 && same[tail] {
		return t
	}
	high := f.size - 1 // the place of the most significant byte that varies, from the least significant one
	for at2 := lead; high > 0 && same[at2]; at2 += step(big) {
		high--
	}
	top := func(o int64) int64 { return o >> (8 * high) }
	var cost, linear, steps float64
	var within, across carries
	var end int64 // of the run before
	var values []float64
	var stepList []int64
	rising, nonzero := 0, 0
	for _, r := range p.runs {
		var last, before int64
		for i, d := range r {
			v, o := f.read(d[at:at+f.size], big)
			if f.float && (math.IsNaN(v) || math.IsInf(v, 0) || !believable(v)) {
				return t
			}
			if v != 0 {
				nonzero++
			}
			values = append(values, v)
			if i > 0 {
				step := o - last
				steps += math.Abs(v - values[len(values)-2])
				cost += length(step)
				guess := step
				if i > 1 {
					guess = o - 2*last + before
				}
				linear += length(guess)
				if !f.signed && !f.float && f.size < 8 {
					step &= 1<<(8*f.size) - 1 // a counter wraps around
				}
				stepList = append(stepList, step)
				if step > 0 && step < 1<<(8*f.size-2) {
					rising++
				}
				within.see(top(o) != top(last), o-last, high)
			} else if len(values) > 1 {
				across.see(top(o) != top(end), o-end, high)
			}
			before, last = last, o
		}
		end = last
		within.before = false
	}
	m := float64(len(stepList))
	if m < leastSeen/2 {
		return t
	}
	mean, dev := stat.Mean(values, nil), 0.0
	for _, v := range values {
		dev += math.Abs(v-mean) / float64(len(values))
	}
	if dev == 0 {
		return t
	}
	t.cost = min(cost, linear)/m + fieldPrice
	counts := !f.signed && !f.float && float64(rising) > 0.97*m
	if counts {
		slices.Sort(stepList)
		lo, mid, hi := stepList[len(stepList)/20], stepList[len(stepList)/2], stepList[len(stepList)*19/20]
		spread := length(hi - lo)
		switch {
		case mid >= 1 && hi <= 16 && (mid == 1 || hi-lo <= mid+2):
			t.is, t.cost = Count, min(t.cost, fieldPrice+spread)
		case float64(hi-lo) <= 0.5*float64(mid)+2:
			t.is, t.cost = Clock, min(t.cost, fieldPrice+spread)
		default:
			counts = false
		}
	}
	// 4/3 makes it one for evenly spread noise: its steps are a third of its range, its deviations a quarter.
	r := steps / m / dev * 0.75
	if !counts && r > rough {
		return t
	}
	if f.float {
		if nonzero < 8 || nonzero*50 < len(values) || len(slices.Compact(slices.Sorted(slices.Values(values)))) < 6 {
			return t
		}
		t.cost = max(t.cost-floatBonus, 0.5)
	} else if f.size > 1 && !counts {
		if within.another(m) || within.changed == 0 && across.another(math.Inf(1)) {
			return t
		}
		// Bytes above that never change: the narrower number says the same, unless the lower byte sweeps as the lower
		// half of a number does and the upper one is not zero.
		switch {
		case f.size == 4 && same[lead] && same[lead+step(big)]:
			return t
		case f.size == 2 && same[lead]:
			if p.runs[0][0][lead] == 0 || slices.Max(values)-slices.Min(values) < 64 {
				return t
			}
			t.cost -= 0.5
		}
	}
	if f.size == 1 && t.is == Number && flagLike(values) {
		t.is = Flags
		if f.signed {
			return t
		}
	}
	t.ok = true
	return t
}

// carries counts how the highest byte of a number changes. In one number it does when the lower bytes carry over, or
// many times in a row when the number runs. Where it changes alone and seldom it is another field.
type carries struct {
	changed, carried, row float64
	before                bool // it changed in the step before
}

func (c *carries) see(changed bool, step int64, high int) {
	if changed && high > 0 {
		c.changed++
		switch half := int64(1) << (8*high - 1); {
		case step < half && step > -half:
			c.carried++
		case c.before:
			c.row++
		}
	}
	c.before = changed
}

// another tells whether it is another field, of m steps.
func (c *carries) another(m float64) bool {
	return c.changed > 0 && c.carried+1.5*c.row < 0.5*c.changed && c.changed < 0.08*m
}

// step is from the most significant byte to the next.
func step(big bool) int {
	if big {
		return 1
	}
	return -1
}

// length is the bits that a step takes, with its sign.
func length(step int64) float64 {
	if step < 0 {
		step = -step
	}
	if step < 0 { // the smallest integer
		return 64
	}
	if step == 0 {
		return 0.3
	}
	u := uint64(step)
	n := bits.Len64(u)
	// A straight line between powers of two instead of the logarithm: within 0.09 bits, and much quicker.
	frac := float64(u)/math.Ldexp(1, n-1) - 1
	return float64(n) + frac + 1
}

// flagLike tells whether a byte holds a few bits rather than a number that steps through its values.
func flagLike(values []float64) bool {
	var varying byte
	first := byte(int(values[0]))
	distinct := map[byte]bool{}
	near := true
	for i, v := range values {
		b := byte(int(v))
		varying |= b ^ first
		distinct[b] = true
		if i > 0 {
			d := int(b) - int(byte(int(values[i-1])))
			near = near && d >= -1 && d <= 1
		}
	}
	if len(distinct) > 8 || bits.OnesCount8(varying) > 4 {
		return false
	}
	return !near || len(distinct) == 2
}

// append adds a field; constants and noise are put together.
func (p *part) append(fields []Field, t trial, at int, big bool, same []bool) []Field {
	f := Field{At: at, Type: t.form.name, Size: t.form.size, Is: t.is, Big: big && t.form.size > 1 && t.form.name != "text"}
	lastRun := p.runs[len(p.runs)-1]
	last := lastRun[len(lastRun)-1][at : at+t.form.size]
	switch t.is {
	case Constant, Noise:
		if k := len(fields) - 1; k >= 0 && fields[k].Is == t.is {
			fields[k].Size++
			if t.is == Constant {
				fields[k].Text += fmt.Sprintf(" %02x", last[0])
			}
			return fields
		}
		f.Type, f.Big = "bytes", false
		if t.is == Constant {
			f.Text = fmt.Sprintf("%02x", last[0])
		}
	case Text:
		f.Text = strings.TrimRight(string(last), "\x00 ")
	default:
		f.Min, f.Max = math.Inf(1), math.Inf(-1)
		var varying byte
		for _, r := range p.runs {
			for _, d := range r {
				v, _ := t.form.read(d[at:at+t.form.size], big)
				f.Min, f.Max, f.Last = min(f.Min, v), max(f.Max, v), v
				varying |= d[at] ^ p.runs[0][0][at]
			}
		}
		if above := at + step(!big); t.form.size == 1 && t.is == Number && above >= 0 && above < p.size {
			if c := p.runs[0][0][above]; c != 0 && same[above] {
				f.Note = fmt.Sprintf("with the constant byte %02x at %d perhaps a u16", c, above)
			}
		}
		if t.is == Flags {
			f.Note = fmt.Sprintf("bits that change: %08b", varying)
		}
		if !t.form.float && t.form.size > 1 && !t.form.signed && f.Min >= 0 && f.Max < math.Exp2(float64(8*t.form.size-1)) {
			f.Note = "or i" + t.form.name[1:]
		}
	}
	return append(fields, f)
}
