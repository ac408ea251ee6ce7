package rules

import (
	"math"

	"earshot/configs/document"
)

// An Expression is a checked expression on its own, outside a rule. It has no past, so changed
// and rate cannot be used in it.
type Expression struct {
	Quantity string // of the result; "condition" where it is true or false
	width    int
	num      num
	cond     cond
}

// ParseExpression checks and compiles src. The error is a *document.Error at line 1 of a file called "expression".
// A name that is not available is an error as well.
func ParseExpression(src string, voc Vocabulary) (*Expression, error) {
	c := &checker{voc: voc, in: &instancesOf[Once][0], noTracks: "outside a rule"}
	n, m := parse(src, voc)
	if m != nil {
		return nil, m.alone(src)
	}
	v := c.check(n, place{top: true})
	for _, m := range append(c.bad, c.unknown...) {
		return nil, m.alone(src)
	}
	if len(c.missing) > 0 {
		return nil, oops(0, "", "%s", c.missing[0]).alone(src)
	}
	if v.q == qLabel || v.q == noQuantity {
		return nil, oops(0, "", "a text alone is no expression").alone(src)
	}
	return &Expression{Quantity: v.q, width: c.width, num: v.num, cond: v.cond}, nil
}

func (m *mistake) alone(src string) *document.Error {
	pos := min(max(m.pos, 0), len(src))
	line, col := 1, 1
	for _, r := range src[:pos] {
		if col++; r == '\n' {
			line, col = line+1, 1
		}
	}
	return &document.Error{File: "expression", Line: line, Col: col, Msg: m.msg, Hint: m.hint}
}

// Value computes the expression in the unit used inside; a condition is 1 or 0. Unknown is NaN.
func (e *Expression) Value(env []float64) float64 {
	f := frame{env: (&Set{width: e.width}).fit(env)}
	if e.cond == nil {
		return e.num(&f)
	}
	switch e.cond(&f) {
	case isTrue:
		return 1
	case isFalse:
		return 0
	}
	return math.NaN()
}

// Constant reads a number with its unit, such as "26 psi", as a value of a quantity in the unit used inside. An empty
// quantity is any. A temperature difference may be written in °C or °F. wrong tells a mistake and hint the way out, at
// a byte of src.
func Constant(src, quantity string, voc Vocabulary) (x float64, is string, at int, wrong, hint string) {
	n, m := parse(src, voc)
	if m != nil {
		return math.NaN(), "", m.pos, m.msg, m.hint
	}
	if n.kind == nNumber && n.u.Quantity == qTemp && quantity == qTempDiff {
		n.u = Unit{qTempDiff, n.u.Scale, 0}
	}
	c := &checker{voc: voc, in: &instancesOf[Once][0], noTracks: "here"}
	v := c.number(n)
	switch {
	case len(c.bad)+len(c.unknown) > 0:
		m = append(c.bad, c.unknown...)[0]
		return math.NaN(), "", m.pos, m.msg, m.hint
	case !v.isConst || math.IsNaN(v.c):
		return math.NaN(), "", 0, "this is not a number with a unit", c.writeAs(quantity)
	case quantity == "" || v.q == quantity || v.loose && quantity == qRatio:
		return v.c, v.q, 0, "", ""
	case v.bare:
		return math.NaN(), v.q, 0, "the unit is missing", c.writeAs(quantity)
	}
	return math.NaN(), v.q, 0, "this is " + article(v.q) + ", and " + article(quantity) + " should stand here", c.writeAs(quantity)
}
