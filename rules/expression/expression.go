package expression

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
	num      Num
	cond     Cond
}

// AnyQuantity is the quantity of a result that is not checked, such as a product of two quantities.
const AnyQuantity = qAny

// New checks and compiles src. An unavailable name is a mistake too. Where free is true, products, quotients and sums
// without a quantity of their own are allowed: see AnyQuantity. The error is a *Mistake.
func New(src string, voc Vocabulary, free bool) (*Expression, error) {
	n, m := Parse(src, voc)
	if m != nil {
		return nil, m
	}
	c := &Checker{Voc: voc, In: &InstancesOf[Once][0], NoTracks: "outside a rule", free: free}
	v := c.check(n, Place{Top: true})
	for _, m := range append(c.Bad, c.Unknown...) {
		return nil, m
	}
	if len(c.Missing) > 0 {
		return nil, &Mistake{Pos: c.missingAt, Msg: c.Missing[0].String()}
	}
	if v.Q == qLabel || v.Q == NoQuantity {
		return nil, &Mistake{Msg: "a text alone is no expression"}
	}
	reads := slices.Sorted(maps.Keys(c.Uses))
	return &Expression{Quantity: v.Q, Reads: reads, width: c.Width, num: v.Num, cond: v.Cond}, nil
}

// A Workspace is the memory that Value needs beside the readings. It belongs to one caller at a time.
type Workspace struct{ f Frame }

// Value computes the expression in the unit used inside; a condition is 1 or 0. Unknown is NaN.
func (e *Expression) Value(env []float64, w *Workspace) float64 {
	w.f.Env = Fit(env, e.width)
	if e.cond == nil {
		return e.num(&w.f)
	}
	switch e.cond(&w.f) {
	case IsTrue:
		return 1
	case IsFalse:
		return 0
	}
	return math.NaN()
}

// Constant reads a number with its unit, such as "26 psi". It returns the value in the unit used inside, and the
// quantity. An empty quantity allows any. A temperature difference may be written in °C or °F. The error is a *Mistake.
func Constant(src, quantity string, voc Vocabulary) (x float64, is string, err error) {
	n, m := Parse(src, voc)
	if m != nil {
		return math.NaN(), "", m
	}
	if n.Kind == NodeNumber && n.U.Quantity == QTemp && quantity == QTempDiff {
		n.U = Unit{QTempDiff, n.U.Scale, 0}
	}
	c := &Checker{Voc: voc, In: &InstancesOf[Once][0], NoTracks: "here"}
	v := c.Number(n)
	for _, m := range append(c.Bad, c.Unknown...) {
		return math.NaN(), "", m
	}
	switch {
	case !v.IsConst || math.IsNaN(v.C):
		return math.NaN(), "", &Mistake{0, "this is not a number with a unit", c.writeAs(quantity)}
	case quantity == "" || v.Q == quantity || v.Loose && quantity == QRatio:
		return v.C, v.Q, nil
	case v.Bare:
		return math.NaN(), v.Q, &Mistake{0, "the unit is missing", c.writeAs(quantity)}
	}
	wrong := "this is " + article(v.Q) + ", and " + article(quantity) + " should stand here"
	return math.NaN(), v.Q, &Mistake{0, wrong, c.writeAs(quantity)}
}
