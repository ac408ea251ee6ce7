package rules

import (
	"maps"
	"math"
	"slices"
)

// An Expression is a checked expression on its own, outside a rule. It has no past, so changed
// and rate cannot be used in it.
type Expression struct {
	Quantity string // of the result: "condition" where it is true or false, AnyQuantity where it has none
	Reads    []int  // the indexes of the readings that it needs, sorted
	width    int
	num      num
	cond     cond
}

// AnyQuantity is the quantity of a result that is not followed, such as a product of two quantities.
const AnyQuantity = qAny

// ParseExpression checks and compiles src. A name that is not available is a mistake as well. Where free is true, products,
// quotients and sums that have no quantity of their own are let pass: see AnyQuantity. The error is a *Mistake.
func ParseExpression(src string, voc Vocabulary, free bool) (*Expression, error) {
	n, m := parse(src, voc)
	if m != nil {
		return nil, m
	}
	c := &checker{voc: voc, in: &instancesOf[Once][0], noTracks: "outside a rule", free: free}
	v := c.check(n, place{top: true})
	for _, m := range append(c.bad, c.unknown...) {
		return nil, m
	}
	if len(c.missing) > 0 {
		return nil, &Mistake{pos: c.missingAt, msg: c.missing[0].String()}
	}
	if v.q == qLabel || v.q == noQuantity {
		return nil, &Mistake{msg: "a text alone is no expression"}
	}
	return &Expression{Quantity: v.q, Reads: slices.Sorted(maps.Keys(c.uses)), width: c.width, num: v.num, cond: v.cond}, nil
}

// A Workspace is what Value needs beside the readings; it belongs to one caller at a time.
type Workspace struct{ f frame }

// Value computes the expression in the unit used inside; a condition is 1 or 0. Unknown is NaN.
func (e *Expression) Value(env []float64, w *Workspace) float64 {
	w.f.env = fit(env, e.width)
	if e.cond == nil {
		return e.num(&w.f)
	}
	switch e.cond(&w.f) {
	case isTrue:
		return 1
	case isFalse:
		return 0
	}
	return math.NaN()
}

// Constant reads a number with its unit, such as "26 psi", as a value of a quantity in the unit used inside, and tells of which it is. An
// empty quantity is any. A temperature difference may be written in °C or °F. The error is a *Mistake.
func Constant(src, quantity string, voc Vocabulary) (x float64, is string, err error) {
	n, m := parse(src, voc)
	if m != nil {
		return math.NaN(), "", m
	}
	if n.kind == nNumber && n.u.Quantity == qTemp && quantity == qTempDiff {
		n.u = Unit{qTempDiff, n.u.Scale, 0}
	}
	c := &checker{voc: voc, in: &instancesOf[Once][0], noTracks: "here"}
	v := c.number(n)
	for _, m := range append(c.bad, c.unknown...) {
		return math.NaN(), "", m
	}
	switch {
	case !v.isConst || math.IsNaN(v.c):
		return math.NaN(), "", &Mistake{0, "this is not a number with a unit", c.writeAs(quantity)}
	case quantity == "" || v.q == quantity || v.loose && quantity == qRatio:
		return v.c, v.q, nil
	case v.bare:
		return math.NaN(), v.q, &Mistake{0, "the unit is missing", c.writeAs(quantity)}
	}
	return math.NaN(), v.q, &Mistake{0, "this is " + article(v.q) + ", and " + article(quantity) + " should stand here", c.writeAs(quantity)}
}
