package probe

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
)

// Bounds of what a Sniffer keeps.
const (
	mostSizes  = 32      // groups of datagrams by size
	runLength  = 8       // successive datagrams that are kept together, so that change can be seen
	mostKept   = 1024    // datagrams of one size
	mostMemory = 1 << 20 // bytes of one size
	mostLines  = 4096    // lines of text
	textMemory = 1 << 20 // bytes of them
)

// A Sniffer looks at bytes that nothing describes. It belongs to one goroutine.
type Sniffer struct {
	groups    []*group
	crowd     int64 // datagrams of further sizes
	datagrams int64
	bytes     int64
	printable int64 // datagrams, or pieces of a stream, of text
	text      guess
}

// A group is the datagrams of one size.
type group struct {
	size   int
	n      int64
	first  float64 // s: arrival of the first and the last
	last   float64
	runs   [][][]byte // runs of successive datagrams
	open   int        // datagrams still to come into the last run
	stride int64      // a run begins with every so many datagrams
}

// Datagram takes one whole datagram that arrived at that time in seconds.
func (s *Sniffer) Datagram(p []byte, arrived float64) {
	s.datagrams++
	s.bytes += int64(len(p))
	if isText(p) {
		s.printable++
		s.text.add(p, true)
	}
	i := slices.IndexFunc(s.groups, func(g *group) bool { return g.size == len(p) })
	if i < 0 {
		if len(s.groups) == mostSizes {
			s.crowd++
			return
		}
		i = len(s.groups)
		s.groups = append(s.groups, &group{size: len(p), first: arrived, stride: runLength})
	}
	s.groups[i].add(p, arrived)
}

// Stream takes the next bytes of a stream, cut anywhere.
func (s *Sniffer) Stream(p []byte) {
	s.bytes += int64(len(p))
	s.datagrams++
	if isText(p) {
		s.printable++
	}
	s.text.add(p, false)
}

func (g *group) add(p []byte, arrived float64) {
	g.last = arrived
	if g.n%g.stride == 0 {
		most := max(4, min(mostKept, mostMemory/max(1, g.size))/runLength)
		if len(g.runs) >= most {
			g.runs = everyOther(g.runs)
			g.stride *= 2
		}
		if g.n%g.stride == 0 {
			g.runs, g.open = append(g.runs, nil), runLength
		}
	}
	if g.open > 0 {
		g.open--
		g.runs[len(g.runs)-1] = append(g.runs[len(g.runs)-1], bytes.Clone(p))
	}
	g.n++
}

// isText tells whether p is text: UTF-8 or Latin letters, no control bytes but for tabs and line ends.
func isText(p []byte) bool {
	odd := 0
	for _, c := range p {
		if c < 0x20 && c != '\t' && c != '\n' && c != '\r' || c == 0x7f {
			return false
		}
		if c >= 0x80 {
			odd++
		}
	}
	return odd*4 <= len(p)
}

// A Value is the kind of thing that stands at a place in a datagram.
type Value string

// The kinds. Number is a measured thing, Count a running number, Clock a number that rises evenly.
const (
	Number   Value = "number"
	Count    Value = "counter"
	Clock    Value = "clock"
	Flags    Value = "flags"
	Constant Value = "constant"
	Text     Value = "text"
	Noise    Value = "noise"
)

// A Field is a hypothesis about a place in a datagram.
type Field struct {
	At   int     `json:"at"`
	Type string  `json:"type"` // as in a feed file: u8, i16, f32, …; "bytes" for constants and noise
	Big  bool    `json:"big_endian,omitempty"`
	Size int     `json:"size"`
	Is   Value   `json:"is"`
	Min  float64 `json:"min"`
	Max  float64 `json:"max"`
	Last float64 `json:"last"`
	Text string  `json:"text,omitempty"` // of a text, or the bytes of a constant in hexadecimal
	Note string  `json:"note,omitempty"`
}

// A Kind is the datagrams of one size, and of one value of the discriminator where there is one.
type Kind struct {
	Size   int     `json:"size"`
	Match  *Match  `json:"discriminator,omitempty"`
	Count  int64   `json:"count"`
	Rate   float64 `json:"rate"` // datagrams per second, 0 where the time of arrival is unknown
	Fields []Field `json:"fields"`
}

// A Match is a byte that tells datagrams of one size apart.
type Match struct {
	At int   `json:"at"`
	Is uint8 `json:"is"`
}

// A Layout is what unknown datagrams look like.
type Layout struct {
	Big   bool   `json:"big_endian"`
	Magic string `json:"magic,omitempty"` // bytes in hexadecimal with which all kinds begin
	Kinds []Kind `json:"kinds"`
	Other int64  `json:"other_sizes,omitempty"` // datagrams of further sizes, which were only counted
}

// Datagrams is how many came, Bytes how many bytes.
func (s *Sniffer) Datagrams() int64 { return s.datagrams }

// Bytes is how many bytes came.
func (s *Sniffer) Bytes() int64 { return s.bytes }

// IsText tells whether nearly all that came is text.
func (s *Sniffer) IsText() bool {
	return s.datagrams > 0 && float64(s.printable) >= 0.95*float64(s.datagrams)
}

// part is the datagrams that are looked at together.
type part struct {
	size  int
	match *Match
	count int64
	rate  float64
	runs  [][][]byte
}

// Layout says what the datagrams look like. All are taken to have one byte order, the one that explains them in fewer
// bits.
func (s *Sniffer) Layout() Layout {
	l := Layout{Other: s.crowd}
	var parts []part
	for _, g := range s.groups {
		parts = append(parts, g.split()...)
	}
	slices.SortStableFunc(parts, func(a, b part) int { return a.size - b.size })
	var total [2]float64
	var found [2][]Kind
	for big := range 2 {
		for _, p := range parts {
			fields, cost := p.explain(big == 1)
			total[big] += cost
			found[big] = append(found[big], Kind{Size: p.size, Match: p.match, Count: p.count, Rate: p.rate, Fields: fields})
		}
	}
	l.Kinds = found[0]
	if total[1] < total[0] {
		l.Big, l.Kinds = true, found[1]
	}
	l.Magic = magic(parts)
	return l
}

// magic is the bytes with which every datagram begins, at most eight.
func magic(parts []part) string {
	var common []byte
	for i, p := range parts {
		for _, r := range p.runs {
			for _, d := range r {
				if i == 0 && common == nil {
					common = bytes.Clone(d[:min(8, len(d))])
				}
				n := 0
				for n < min(len(common), len(d)) && common[n] == d[n] {
					n++
				}
				common = common[:n]
			}
		}
	}
	if len(common) < 2 {
		return ""
	}
	return fmt.Sprintf("% x", common)
}

// split tells the kinds within one size apart by a byte that changes back and forth and after which more of the
// datagram is constant than before.
func (g *group) split() []part {
	rate := 0.0
	if g.last > g.first {
		rate = float64(g.n-1) / (g.last - g.first)
	}
	whole := part{size: g.size, count: g.n, rate: rate, runs: g.runs}
	before := constants(whole.runs)
	best, gain := -1, max(1, g.size/20)
	// Among those that tell most apart the first one: a discriminator stands in the head of a datagram.
	for at := range min(32, g.size) {
		if before[at] {
			continue
		}
		values := g.valuesAt(at)
		if values == nil {
			continue
		}
		least := g.size
		for v := range values {
			n := -1 // the discriminator itself is constant of course
			for i, c := range constants(pick(g.runs, at, v)) {
				if c && !before[i] {
					n++
				}
			}
			least = min(least, n)
		}
		if least > gain && (best < 0 || least > 2*gain) {
			best, gain = at, least
		}
	}
	if best < 0 {
		return []part{whole}
	}
	var list []part
	values := g.valuesAt(best)
	total := 0
	for _, n := range values {
		total += n
	}
	for _, v := range slices.Sorted(maps.Keys(values)) {
		share := float64(values[v]) / float64(total)
		list = append(list, part{g.size, &Match{best, v}, int64(share*float64(g.n) + 0.5), rate * share, pick(g.runs, best, v)})
	}
	return list
}

// valuesAt counts the values of a byte; nil where it cannot be a discriminator.
func (g *group) valuesAt(at int) map[byte]int {
	values := map[byte]int{}
	changes, steps := 0, 0
	for _, r := range g.runs {
		for i, d := range r {
			values[d[at]]++
			if i > 0 {
				steps++
				if d[at] != r[i-1][at] {
					changes++
				}
			}
		}
		if len(values) > 16 {
			return nil
		}
	}
	if len(values) < 2 || changes*5 < steps {
		return nil
	}
	for _, n := range values {
		if n < 8 {
			return nil
		}
	}
	return values
}

func pick(runs [][][]byte, at int, v byte) [][][]byte {
	var out [][][]byte
	for _, r := range runs {
		var one [][]byte
		for _, d := range r {
			if d[at] == v {
				one = append(one, d)
			}
		}
		if one != nil {
			out = append(out, one)
		}
	}
	return out
}

// constants tells which bytes never change.
func constants(runs [][][]byte) []bool {
	var first []byte
	var same []bool
	for _, r := range runs {
		for _, d := range r {
			if first == nil {
				first, same = d, slices.Repeat([]bool{true}, len(d))
			}
			for i := range d {
				same[i] = same[i] && d[i] == first[i]
			}
		}
	}
	return same
}
