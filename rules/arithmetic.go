package rules

import (
	"math"
	"strings"
)

func (c *checker) negative(n *node) value {
	v := c.number(n.args[0])
	if v.q == qTemp && !c.free {
		return c.mistake(n.pos, "write -3 °C for a temperature below zero", "%s has no negative", v.describe())
	}
	if v.q == noQuantity {
		return v
	}
	if v.isConst {
		w := constant(-v.c, v.q)
		w.bare, w.loose = v.bare, v.loose
		return w
	}
	f := v.num
	w := computed(v.q, func(fr *frame) float64 { return -f(fr) })
	w.loose = v.loose
	return w
}

// arithmetic checks and compiles + - * / and %.
func (c *checker) arithmetic(n *node) value {
	a, b := c.number(n.args[0]), c.number(n.args[1])
	if a.q == noQuantity || b.q == noQuantity {
		return value{env: -1}
	}
	q, loose := "", false
	switch n.text {
	case "+", "-":
		q = c.sum(n, &a, &b)
	case "*":
		q, loose = c.product(n, &a, &b)
	case "/":
		q, loose = c.quotient(n, &a, &b)
	case "%":
		if a.q == qTemp {
			return c.mistake(n.pos, "", "%s leaves no remainder", a.describe())
		}
		q = c.alike(n.pos, &a, &b, "divided")
	}
	if q == noQuantity {
		return value{env: -1}
	}
	f := operate(n.text, a, b)
	if c.free && n.text == "/" {
		x, y := a.num, b.num
		f = func(fr *frame) float64 { return x(fr) / y(fr) }
	}
	if a.isConst && b.isConst {
		v := constant(f(nil), q)
		v.bare = a.bare && b.bare
		v.loose = v.bare || loose
		return v
	}
	v := computed(q, f)
	v.loose = loose || q == qNumber && a.loose && b.loose
	return v
}

// sum finds the quantity of a+b or a-b. Temperatures are points on a scale: their
// difference is a temperature difference, and only such a difference can be added to one.
func (c *checker) sum(n *node, a, b *value) string {
	switch {
	case a.q == qTemp && b.q == qTemp && n.text == "-":
		return qTempDiff
	case c.free && a.q == qTemp && b.q == qTemp:
		return qAny // the first half of a mean
	case a.q == qTemp && b.q == qTemp:
		c.mistake(n.pos, "write mean(a, b), or add a difference in K", "two temperatures cannot be added")
		return noQuantity
	case a.q == qTemp && b.q == qTempDiff, a.q == qTempDiff && b.q == qTemp && n.text == "+":
		return qTemp
	case a.q == qTempDiff && b.q == qTemp:
		c.mistake(n.pos, "", "a temperature cannot be subtracted from a temperature difference")
		return noQuantity
	case a.q == qTemp && b.bare, b.q == qTemp && a.bare:
		c.mistake(n.pos, "write it with one of "+strings.Join(unitsOf(c.voc, qTempDiff), ", "), "a bare number cannot be added to a temperature: the unit is missing")
		return noQuantity
	}
	verb := "added"
	if n.text == "-" {
		verb = "subtracted"
	}
	return c.alike(n.pos, a, b, verb)
}

// plain tells whether multiplying by v keeps the other's quantity.
func plain(v *value) bool { return v.q == qNumber || v.q == qRatio }

func (c *checker) scaled(n *node, v *value) bool {
	if v.q == qTemp && !c.free {
		c.mistake(n.pos, "scale a difference of temperatures instead", "%s cannot be multiplied or divided", v.describe())
		return true
	}
	return false
}

func (c *checker) product(n *node, a, b *value) (string, bool) {
	if c.scaled(n, a) || c.scaled(n, b) {
		return noQuantity, false
	}
	switch {
	case a.q == qNumber && b.q == qNumber:
		return qNumber, a.loose || b.loose
	case plain(a):
		return b.q, false
	case plain(b):
		return a.q, false
	}
	if c.free {
		return qAny, false
	}
	for _, v := range [][2]*value{{a, b}, {b, a}} {
		if v[1].q == qLaps && strings.HasSuffix(v[0].q, perLap) {
			return strings.TrimSuffix(v[0].q, perLap), false
		}
		if v[1].q == qTime && strings.HasSuffix(v[0].q, perSecond) {
			return strings.TrimSuffix(v[0].q, perSecond), false
		}
	}
	c.mistake(n.pos, "", "there is no quantity that is %s times %s", a.describe(), b.describe())
	return noQuantity, false
}

func (c *checker) quotient(n *node, a, b *value) (string, bool) {
	if c.scaled(n, a) || c.scaled(n, b) {
		return noQuantity, false
	}
	switch {
	case c.free && !plain(b) && (a.q != b.q || a.q == qTemp || a.q == qAny):
		return qAny, false
	case c.free && plain(b):
		return a.q, a.loose
	case a.q == b.q:
		return qNumber, true
	case plain(b):
		return a.q, false
	case b.q == qLaps:
		return a.q + perLap, false
	case b.q == a.q+perLap:
		return qLaps, false
	case b.q == qTime:
		return ratePer(c.voc, a.q), false
	case b.q == ratePer(c.voc, a.q):
		return qTime, false
	}
	c.mistake(n.pos, "", "there is no quantity that is %s divided by %s", a.describe(), b.describe())
	return noQuantity, false
}

// call checks and compiles a function.
func (c *checker) call(n *node, at place) value {
	switch n.text {
	case "between":
		return c.between(n, at)
	case "known":
		c.inKnown++
		v := c.number(n.args[0])
		c.inKnown--
		if v.q == noQuantity {
			return v
		}
		f := v.num
		k := func(fr *frame) tri {
			if math.IsNaN(f(fr)) {
				return isFalse
			}
			return isTrue
		}
		return value{q: qCondition, env: -1, cond: k, hold: k}
	case "if":
		return c.where(n)
	case "changed", "rate":
		return c.tracked(n)
	case "abs":
		v := c.number(n.args[0])
		if v.q == qTemp && !c.free {
			return c.mistake(n.pos, "take the magnitude of a difference of temperatures", "%s has no magnitude", v.describe())
		}
		if v.q == noQuantity {
			return v
		}
		f := v.num
		size := func(fr *frame) float64 { return math.Abs(f(fr)) }
		if i := v.env; i >= 0 {
			size = func(fr *frame) float64 { return math.Abs(fr.env[i]) }
		}
		return fold(value{q: v.q, env: -1, absOf: v.env + 1, isConst: v.isConst, bare: v.bare, loose: v.loose, num: size})
	case "sqrt":
		v := c.number(n.args[0])
		if c.free && v.q != noQuantity && !plain(&v) {
			v.q = qAny
		}
		if v.q != noQuantity && v.q != qAny && !plain(&v) {
			return c.mistake(n.pos, "", "there is no square root of %s", v.describe())
		}
		f := v.num
		return fold(value{q: v.q, env: -1, isConst: v.isConst, bare: v.bare, loose: v.loose, num: func(fr *frame) float64 { return math.Sqrt(f(fr)) }})
	case "hypot", "atan2":
		return c.vector(n)
	}
	return c.several(n)
}

// vector compiles the length or the angle of a vector.
func (c *checker) vector(n *node) value {
	a, b := c.number(n.args[0]), c.number(n.args[1])
	q := c.alike(n.pos, &a, &b, "put together")
	if q == noQuantity {
		return value{env: -1}
	}
	f, g := a.num, b.num
	v := value{q: q, env: -1, isConst: a.isConst && b.isConst, num: func(fr *frame) float64 { return math.Hypot(f(fr), g(fr)) }}
	if n.text == "atan2" {
		v.q, v.num = qAngle, func(fr *frame) float64 { return math.Atan2(f(fr), g(fr)) }
	}
	return fold(v)
}

// where compiles if(condition, x): x while the condition is true, else unknown. A sentence with it is left out then.
func (c *checker) where(n *node) value {
	when, x := c.condition(n.args[0], place{}), c.number(n.args[1])
	if when.q == noQuantity || x.q == noQuantity {
		return value{env: -1}
	}
	test, f := truth(when.cond), x.num
	v := computed(x.q, func(fr *frame) float64 { return f(fr) + test(fr) })
	v.loose, v.labels = x.loose, x.labels
	return v
}

// truth is 0 where the condition is true, else unknown.
func truth(test cond) num {
	return func(fr *frame) float64 {
		if test(fr) == isTrue {
			return 0
		}
		return math.NaN()
	}
}

// fold computes a constant once.
func fold(v value) value {
	if v.isConst {
		v.c = v.num(nil)
		x := v.c
		v.num = func(*frame) float64 { return x }
	}
	return v
}

// several compiles min, max and mean.
func (c *checker) several(n *node) value {
	var args []value
	var members []uint64
	for _, a := range n.args {
		if a.kind == nGlob {
			vs, ms := c.glob(a)
			args, members = append(args, vs...), append(members, ms...)
		} else {
			args, members = append(args, c.number(a)), append(members, 0)
		}
	}
	out := args[0]
	fs := make([]num, len(args))
	for i := range args {
		v := &args[i]
		if v.q == noQuantity || out.q == noQuantity {
			return value{env: -1}
		}
		if i > 0 {
			q := c.alike(n.pos, &out, v, "put together")
			out.q, out.isConst, out.bare, out.loose = q, out.isConst && v.isConst, out.bare && v.bare, out.loose && v.loose
		}
		fs[i] = v.num
	}
	if out.q == noQuantity {
		return value{env: -1}
	}
	f := gather(n.text, fs)
	if c.merging {
		f, out.isConst = gatherMembers(n.text, fs, members), false
	}
	return fold(value{q: out.q, env: -1, isConst: out.isConst, bare: out.bare, loose: out.loose, num: f})
}

// tracked compiles what needs the past.
func (c *checker) tracked(n *node) value {
	v := c.number(n.args[0])
	if c.noTracks != "" {
		return c.mistake(n.pos, "", "%s cannot be used %s", n.text, c.noTracks)
	}
	if v.q == noQuantity {
		return v
	}
	by := constant(0, v.q)
	if len(n.args) == 2 {
		if by = c.number(n.args[1]); by.q == noQuantity {
			return by
		}
		like := v
		if v.q == qTemp {
			like = computed(qTempDiff, nil)
		}
		if c.alike(n.args[1].pos, &like, &by, "compared") == noQuantity {
			return value{env: -1}
		}
	}
	slot := c.firstTrack + len(c.tracks)
	c.tracks = append(c.tracks, tracker{of: v.num, by: by.num, rate: n.text == "rate"})
	read := func(f *frame) float64 { return f.tracks[slot].out }
	if n.text == "rate" {
		return computed(ratePer(c.voc, v.q), read)
	}
	c.candidate(v.q, false, false, decision{left: v.num})
	t := func(f *frame) tri {
		switch x := f.tracks[slot].out; {
		case x == 0:
			return isFalse
		case x == 1:
			return isTrue
		}
		return isUnknown
	}
	return value{q: qCondition, env: -1, cond: t, hold: t, moment: true}
}

func (c *checker) between(n *node, at place) value {
	x, lo, hi := c.number(n.args[0]), c.number(n.args[1]), c.number(n.args[2])
	q := c.alike(n.pos, &x, &lo, "compared")
	if q2 := c.alike(n.pos, &x, &hi, "compared"); q == noQuantity || q2 == noQuantity {
		return value{env: -1}
	}
	if lo.isConst && hi.isConst && lo.c > hi.c {
		return c.mistake(n.pos, "write the lower limit first", "between has its limits the wrong way round")
	}
	shift := 0.0
	if at.top && c.fitsDeadband(q) {
		c.dbUsed = true
		shift = c.db.c
		if at.negated {
			shift = -shift
		}
	}
	if lo.isConst && hi.isConst {
		c.limited(&x, lo.c, hi.c, lo.c-shift, hi.c+shift)
	}
	nearer := func(shift float64) num {
		x, lo, hi := x.num, lo.num, hi.num
		return func(f *frame) float64 {
			l, h := lo(f)-shift, hi(f)+shift
			if v := x(f); v-l < h-v {
				return l
			}
			return h
		}
	}
	c.candidate(q, true, shift != 0, decision{left: x.num, limit: nearer(0), holdLimit: nearer(shift)})
	return value{q: qCondition, env: -1,
		cond: within(x, lo, hi, 0), hold: within(x, lo, hi, shift)}
}
