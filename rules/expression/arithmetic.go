package expression

import (
	"math"
	"strings"
)

func (c *Checker) negative(n *Node) Value {
	v := c.Number(n.Args[0])
	if v.Q == QTemp && !c.free {
		return c.Fail(n.Pos, "write -3 °C for a temperature below zero", "%s has no negative", v.Describe())
	}
	if v.Q == NoQuantity {
		return v
	}
	if v.IsConst {
		w := constant(-v.C, v.Q)
		w.Bare, w.Loose = v.Bare, v.Loose
		return w
	}
	f := v.Num
	w := computed(v.Q, func(fr *Frame) float64 { return -f(fr) })
	w.Loose = v.Loose
	return w
}

// arithmetic checks and compiles + - * / and %.
func (c *Checker) arithmetic(n *Node) Value {
	a, b := c.Number(n.Args[0]), c.Number(n.Args[1])
	if a.Q == NoQuantity || b.Q == NoQuantity {
		return Value{env: -1}
	}
	q, loose := "", false
	switch n.Text {
	case "+", "-":
		q = c.sum(n, &a, &b)
	case "*":
		q, loose = c.product(n, &a, &b)
	case "/":
		q, loose = c.quotient(n, &a, &b)
	case "%":
		if a.Q == QTemp {
			return c.Fail(n.Pos, "", "%s leaves no remainder", a.Describe())
		}
		q = c.alike(n.Pos, &a, &b, "divided")
	}
	if q == NoQuantity {
		return Value{env: -1}
	}
	f := operate(n.Text, a, b)
	if c.free && n.Text == "/" {
		x, y := a.Num, b.Num
		f = func(fr *Frame) float64 { return x(fr) / y(fr) }
	}
	if a.IsConst && b.IsConst {
		v := constant(f(nil), q)
		v.Bare = a.Bare && b.Bare
		v.Loose = v.Bare || loose
		return v
	}
	v := computed(q, f)
	v.Loose = loose || q == QNumber && a.Loose && b.Loose
	return v
}

// sum finds the quantity of a+b or a-b. Temperatures are points on a scale: their
// difference is a temperature difference, and only such a difference can be added to one.
func (c *Checker) sum(n *Node, a, b *Value) string {
	switch {
	case a.Q == QTemp && b.Q == QTemp && n.Text == "-":
		return QTempDiff
	case c.free && a.Q == QTemp && b.Q == QTemp:
		return qAny // the first half of a mean
	case a.Q == QTemp && b.Q == QTemp:
		c.Fail(n.Pos, "write mean(a, b), or add a difference in K", "two temperatures cannot be added")
		return NoQuantity
	case a.Q == QTemp && b.Q == QTempDiff, a.Q == QTempDiff && b.Q == QTemp && n.Text == "+":
		return QTemp
	case a.Q == QTempDiff && b.Q == QTemp:
		c.Fail(n.Pos, "", "a temperature cannot be subtracted from a temperature difference")
		return NoQuantity
	case a.Q == QTemp && b.Bare, b.Q == QTemp && a.Bare:
		c.Fail(n.Pos, "write it with one of "+strings.Join(UnitsOf(c.Voc, QTempDiff), ", "),
			"a bare number cannot be added to a temperature: the unit is missing")
		return NoQuantity
	}
	verb := "added"
	if n.Text == "-" {
		verb = "subtracted"
	}
	return c.alike(n.Pos, a, b, verb)
}

// Plain is true where multiplying by v keeps the other's quantity.
func Plain(v *Value) bool { return v.Q == QNumber || v.Q == QRatio }

func (c *Checker) scaled(n *Node, v *Value) bool {
	if v.Q == QTemp && !c.free {
		c.Fail(n.Pos, "scale a difference of temperatures instead", "%s cannot be multiplied or divided", v.Describe())
		return true
	}
	return false
}

func (c *Checker) product(n *Node, a, b *Value) (string, bool) {
	if c.scaled(n, a) || c.scaled(n, b) {
		return NoQuantity, false
	}
	switch {
	case a.Q == QNumber && b.Q == QNumber:
		return QNumber, a.Loose || b.Loose
	case Plain(a):
		return b.Q, false
	case Plain(b):
		return a.Q, false
	}
	if c.free {
		return qAny, false
	}
	for _, v := range [][2]*Value{{a, b}, {b, a}} {
		if v[1].Q == QLaps && strings.HasSuffix(v[0].Q, perLap) {
			return strings.TrimSuffix(v[0].Q, perLap), false
		}
		if v[1].Q == QTime && strings.HasSuffix(v[0].Q, perSecond) {
			return strings.TrimSuffix(v[0].Q, perSecond), false
		}
	}
	c.Fail(n.Pos, "", "there is no quantity that is %s times %s", a.Describe(), b.Describe())
	return NoQuantity, false
}

func (c *Checker) quotient(n *Node, a, b *Value) (string, bool) {
	if c.scaled(n, a) || c.scaled(n, b) {
		return NoQuantity, false
	}
	switch {
	case c.free && !Plain(b) && (a.Q != b.Q || a.Q == QTemp || a.Q == qAny):
		return qAny, false
	case c.free && Plain(b):
		return a.Q, a.Loose
	case a.Q == b.Q:
		return QNumber, true
	case Plain(b):
		return a.Q, false
	case b.Q == QLaps:
		return a.Q + perLap, false
	case b.Q == a.Q+perLap:
		return QLaps, false
	case b.Q == QTime:
		return ratePer(c.Voc, a.Q), false
	case b.Q == ratePer(c.Voc, a.Q):
		return QTime, false
	}
	c.Fail(n.Pos, "", "there is no quantity that is %s divided by %s", a.Describe(), b.Describe())
	return NoQuantity, false
}

// call checks and compiles a function.
func (c *Checker) call(n *Node, at Place) Value {
	switch n.Text {
	case "between":
		return c.between(n, at)
	case "known":
		c.inKnown++
		v := c.Number(n.Args[0])
		c.inKnown--
		if v.Q == NoQuantity {
			return v
		}
		f := v.Num
		k := func(fr *Frame) Tri {
			if math.IsNaN(f(fr)) {
				return IsFalse
			}
			return IsTrue
		}
		return Value{Q: QCondition, env: -1, Cond: k, Hold: k}
	case "if":
		return c.where(n)
	case "changed", "rate":
		return c.tracked(n)
	case "abs":
		v := c.Number(n.Args[0])
		if v.Q == QTemp && !c.free {
			return c.Fail(n.Pos, "take the magnitude of a difference of temperatures", "%s has no magnitude",
				v.Describe())
		}
		if v.Q == NoQuantity {
			return v
		}
		f := v.Num
		size := func(fr *Frame) float64 { return math.Abs(f(fr)) }
		if i := v.env; i >= 0 {
			size = func(fr *Frame) float64 { return math.Abs(fr.Env[i]) }
		}
		return fold(Value{Q: v.Q, env: -1, absOf: v.env + 1, IsConst: v.IsConst, Bare: v.Bare, Loose: v.Loose,
			Num: size})
	case "sqrt":
		v := c.Number(n.Args[0])
		if c.free && v.Q != NoQuantity && !Plain(&v) {
			v.Q = qAny
		}
		if v.Q != NoQuantity && v.Q != qAny && !Plain(&v) {
			return c.Fail(n.Pos, "", "there is no square root of %s", v.Describe())
		}
		f := v.Num
		return fold(Value{Q: v.Q, env: -1, IsConst: v.IsConst, Bare: v.Bare, Loose: v.Loose,
			Num: func(fr *Frame) float64 { return math.Sqrt(f(fr)) }})
	case "hypot", "atan2":
		return c.vector(n)
	}
	return c.several(n)
}

// vector compiles the length or the angle of a vector.
func (c *Checker) vector(n *Node) Value {
	a, b := c.Number(n.Args[0]), c.Number(n.Args[1])
	q := c.alike(n.Pos, &a, &b, "put together")
	if q == NoQuantity {
		return Value{env: -1}
	}
	f, g := a.Num, b.Num
	v := Value{Q: q, env: -1, IsConst: a.IsConst && b.IsConst,
		Num: func(fr *Frame) float64 { return math.Hypot(f(fr), g(fr)) }}
	if n.Text == "atan2" {
		v.Q, v.Num = qAngle, func(fr *Frame) float64 { return math.Atan2(f(fr), g(fr)) }
	}
	return fold(v)
}

// where compiles if(condition, x): x while the condition is true, else unknown, so that a sentence with it is left out.
func (c *Checker) where(n *Node) Value {
	when, x := c.Condition(n.Args[0], Place{}), c.Number(n.Args[1])
	if when.Q == NoQuantity || x.Q == NoQuantity {
		return Value{env: -1}
	}
	test, f := Truth(when.Cond), x.Num
	v := computed(x.Q, func(fr *Frame) float64 { return f(fr) + test(fr) })
	v.Loose, v.Labels = x.Loose, x.Labels
	return v
}

// Truth is 0 where the condition is true, else unknown.
func Truth(test Cond) Num {
	return func(fr *Frame) float64 {
		if test(fr) == IsTrue {
			return 0
		}
		return math.NaN()
	}
}

// fold computes a constant once.
func fold(v Value) Value {
	if v.IsConst {
		v.C = v.Num(nil)
		x := v.C
		v.Num = func(*Frame) float64 { return x }
	}
	return v
}

// several compiles min, max and mean.
func (c *Checker) several(n *Node) Value {
	var args []Value
	var members []uint64
	for _, a := range n.Args {
		if a.Kind == nodeGlob {
			vs, ms := c.glob(a)
			args, members = append(args, vs...), append(members, ms...)
		} else {
			args, members = append(args, c.Number(a)), append(members, 0)
		}
	}
	out := args[0]
	fs := make([]Num, len(args))
	for i := range args {
		v := &args[i]
		if v.Q == NoQuantity || out.Q == NoQuantity {
			return Value{env: -1}
		}
		if i > 0 {
			q := c.alike(n.Pos, &out, v, "put together")
			out.Q, out.IsConst, out.Bare, out.Loose = q, out.IsConst && v.IsConst, out.Bare && v.Bare, out.Loose &&
				v.Loose
		}
		fs[i] = v.Num
	}
	if out.Q == NoQuantity {
		return Value{env: -1}
	}
	f := gather(n.Text, fs)
	if c.Merging {
		f, out.IsConst = gatherMembers(n.Text, fs, members), false
	}
	return fold(Value{Q: out.Q, env: -1, IsConst: out.IsConst, Bare: out.Bare, Loose: out.Loose, Num: f})
}

// tracked compiles changed and rate, which need the past.
func (c *Checker) tracked(n *Node) Value {
	v := c.Number(n.Args[0])
	if c.NoTracks != "" {
		return c.Fail(n.Pos, "", "%s cannot be used %s", n.Text, c.NoTracks)
	}
	if v.Q == NoQuantity {
		return v
	}
	by := constant(0, v.Q)
	if len(n.Args) == 2 {
		if by = c.Number(n.Args[1]); by.Q == NoQuantity {
			return by
		}
		like := v
		if v.Q == QTemp {
			like = computed(QTempDiff, nil)
		}
		if c.alike(n.Args[1].Pos, &like, &by, "compared") == NoQuantity {
			return Value{env: -1}
		}
	}
	slot := c.FirstTrack + len(c.Tracks)
	c.Tracks = append(c.Tracks, Tracker{Of: v.Num, By: by.Num, Rate: n.Text == "rate"})
	read := func(f *Frame) float64 { return f.Tracks[slot].Out }
	if n.Text == "rate" {
		return computed(ratePer(c.Voc, v.Q), read)
	}
	c.candidate(v.Q, false, false, Decision{Left: v.Num})
	t := func(f *Frame) Tri {
		switch x := f.Tracks[slot].Out; {
		case x == 0:
			return IsFalse
		case x == 1:
			return IsTrue
		}
		return IsUnknown
	}
	return Value{Q: QCondition, env: -1, Cond: t, Hold: t, Moment: true}
}

func (c *Checker) between(n *Node, at Place) Value {
	x, lo, hi := c.Number(n.Args[0]), c.Number(n.Args[1]), c.Number(n.Args[2])
	q := c.alike(n.Pos, &x, &lo, "compared")
	if q2 := c.alike(n.Pos, &x, &hi, "compared"); q == NoQuantity || q2 == NoQuantity {
		return Value{env: -1}
	}
	if lo.IsConst && hi.IsConst && lo.C > hi.C {
		return c.Fail(n.Pos, "write the lower limit first", "between has its limits the wrong way round")
	}
	shift := 0.0
	if at.Top && c.fitsDeadband(q) {
		c.DeadbandUsed = true
		shift = c.Deadband.C
		if at.negated {
			shift = -shift
		}
	}
	if lo.IsConst && hi.IsConst {
		c.limited(&x, lo.C, hi.C, lo.C-shift, hi.C+shift)
	}
	nearer := func(shift float64) Num {
		x, lo, hi := x.Num, lo.Num, hi.Num
		return func(f *Frame) float64 {
			l, h := lo(f)-shift, hi(f)+shift
			if v := x(f); v-l < h-v {
				return l
			}
			return h
		}
	}
	c.candidate(q, true, shift != 0, Decision{Left: x.Num, Limit: nearer(0), HoldLimit: nearer(shift)})
	return Value{Q: QCondition, env: -1,
		Cond: within(x, lo, hi, 0), Hold: within(x, lo, hi, shift)}
}
