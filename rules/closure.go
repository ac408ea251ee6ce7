package rules

import "math"

// A tri is a truth value of three-valued logic.
type tri uint8

const (
	isFalse tri = iota
	isTrue
	isUnknown
)

// A frame is what closures read. Nothing in it is kept.
type frame struct {
	env     []float64
	tracks  []track
	members uint64 // the instances that a merged text names
}

type (
	num  func(*frame) float64
	cond func(*frame) tri
)

func not(v value) value {
	v.moment = false
	if v.inverse != nil {
		v.cond, v.hold = v.inverse()
		v.inverse = nil
		return v
	}
	flip := func(g cond) cond {
		if g == nil {
			return nil
		}
		return func(f *frame) tri {
			switch g(f) {
			case isTrue:
				return isFalse
			case isFalse:
				return isTrue
			}
			return isUnknown
		}
	}
	v.cond, v.hold = flip(v.cond), flip(v.hold)
	return v
}

func both(a, b cond) cond {
	return func(f *frame) tri {
		x := a(f)
		if x == isFalse {
			return isFalse
		}
		if y := b(f); y != isTrue {
			return y
		}
		return x
	}
}

func either(a, b cond) cond {
	return func(f *frame) tri {
		x := a(f)
		if x == isTrue {
			return isTrue
		}
		if y := b(f); y != isFalse {
			return y
		}
		return x
	}
}

// compare compiles a op b+shift. A comparison with NaN is neither true nor false, which
// is how unknown is told without asking.
func compare(op string, a, b value, shift float64) cond {
	switch {
	case a.env >= 0 && b.isConst:
		return compareConst(op, a.env, b.c+shift)
	case a.env >= 0 && b.env >= 0:
		return compareTwo(op, a.env, b.env, shift)
	case b.isConst:
		if c := compareValue(op, a.num, b.c+shift); c != nil {
			return c
		}
	}
	return compareAny(op, a.num, b.num, shift)
}

// within compiles lo <= x and x <= hi.
func within(x, lo, hi value, shift float64) cond {
	if x.env < 0 || !lo.isConst || !hi.isConst {
		return both(compare(">=", x, lo, -shift), compare("<=", x, hi, shift))
	}
	i, l, h := x.env, lo.c-shift, hi.c+shift
	return func(f *frame) tri {
		x := f.env[i]
		if x >= l && x <= h {
			return isTrue
		}
		return falseIf(x < l || x > h)
	}
}

func compareConst(op string, i int, k float64) cond {
	switch op {
	case "<":
		return func(f *frame) tri {
			x := f.env[i]
			if x < k {
				return isTrue
			}
			return falseIf(x >= k)
		}
	case "<=":
		return func(f *frame) tri {
			x := f.env[i]
			if x <= k {
				return isTrue
			}
			return falseIf(x > k)
		}
	case ">":
		return func(f *frame) tri {
			x := f.env[i]
			if x > k {
				return isTrue
			}
			return falseIf(x <= k)
		}
	case ">=":
		return func(f *frame) tri {
			x := f.env[i]
			if x >= k {
				return isTrue
			}
			return falseIf(x < k)
		}
	case "==":
		return func(f *frame) tri {
			x := f.env[i]
			if x == k {
				return isTrue
			}
			return falseIf(x < k || x > k)
		}
	}
	return func(f *frame) tri {
		x := f.env[i]
		if x == k {
			return isFalse
		}
		if x < k || x > k {
			return isTrue
		}
		return isUnknown
	}
}

func falseIf(b bool) tri {
	if b {
		return isFalse
	}
	return isUnknown
}

func compareTwo(op string, i, j int, shift float64) cond {
	switch op {
	case "<":
		return func(f *frame) tri {
			x, k := f.env[i], f.env[j]+shift
			if x < k {
				return isTrue
			}
			return falseIf(x >= k)
		}
	case ">":
		return func(f *frame) tri {
			x, k := f.env[i], f.env[j]+shift
			if x > k {
				return isTrue
			}
			return falseIf(x <= k)
		}
	}
	return compareAny(op, func(f *frame) float64 { return f.env[i] }, func(f *frame) float64 { return f.env[j] }, shift)
}

// compareValue compiles what is most often asked of a computed value; nil for the rest.
func compareValue(op string, a num, k float64) cond {
	switch op {
	case "<":
		return func(f *frame) tri {
			x := a(f)
			if x < k {
				return isTrue
			}
			return falseIf(x >= k)
		}
	case ">":
		return func(f *frame) tri {
			x := a(f)
			if x > k {
				return isTrue
			}
			return falseIf(x <= k)
		}
	case "==":
		return func(f *frame) tri {
			x := a(f)
			if x == k {
				return isTrue
			}
			return falseIf(x < k || x > k)
		}
	}
	return nil
}

// compareAny compiles the general case, one closure for each operator: a switch inside would cost
// more than the comparison.
func compareAny(op string, a, b num, shift float64) cond {
	switch op {
	case "<":
		return func(f *frame) tri {
			x, k := a(f), b(f)+shift
			if x < k {
				return isTrue
			}
			return falseIf(x >= k)
		}
	case "<=":
		return func(f *frame) tri {
			x, k := a(f), b(f)+shift
			if x <= k {
				return isTrue
			}
			return falseIf(x > k)
		}
	case ">":
		return func(f *frame) tri {
			x, k := a(f), b(f)+shift
			if x > k {
				return isTrue
			}
			return falseIf(x <= k)
		}
	case ">=":
		return func(f *frame) tri {
			x, k := a(f), b(f)+shift
			if x >= k {
				return isTrue
			}
			return falseIf(x < k)
		}
	case "==":
		return func(f *frame) tri {
			x, k := a(f), b(f)+shift
			if x == k {
				return isTrue
			}
			return falseIf(x < k || x > k)
		}
	}
	return func(f *frame) tri {
		x, k := a(f), b(f)+shift
		if x == k {
			return isFalse
		}
		if x < k || x > k {
			return isTrue
		}
		return isUnknown
	}
}

// operate compiles arithmetic. Division by zero is unknown.
func operate(op string, a, b value) num {
	x, y := a.num, b.num
	i, j := a.env, b.env
	switch {
	case op == "-" && i >= 0 && j >= 0:
		return func(f *frame) float64 { return f.env[i] - f.env[j] }
	case op == "+" && i >= 0 && j >= 0:
		return func(f *frame) float64 { return f.env[i] + f.env[j] }
	}
	switch op {
	case "+":
		return func(f *frame) float64 { return x(f) + y(f) }
	case "-":
		return func(f *frame) float64 { return x(f) - y(f) }
	case "*":
		return func(f *frame) float64 { return x(f) * y(f) }
	case "/":
		return func(f *frame) float64 {
			d := y(f)
			if d == 0 {
				return math.NaN()
			}
			return x(f) / d
		}
	}
	return func(f *frame) float64 { return math.Mod(x(f), y(f)) }
}

// gather compiles min, max and mean: unknown where one of the values is.
func gather(what string, fs []num) num {
	return func(f *frame) float64 {
		out := fs[0](f)
		for _, g := range fs[1:] {
			x := g(f)
			switch {
			case math.IsNaN(x) || math.IsNaN(out):
				return math.NaN()
			case what == "mean":
				out += x
			default:
				out = extreme(what, out, x)
			}
		}
		if what == "mean" {
			out /= float64(len(fs))
		}
		return out
	}
}

func extreme(what string, a, b float64) float64 {
	if what == "min" {
		return min(a, b)
	}
	return max(a, b)
}

// gatherMembers is gather over the values that belong to the instances named: bits tells which these are for
// each value, 0 where it belongs to all.
func gatherMembers(what string, fs []num, bits []uint64) num {
	return func(f *frame) float64 {
		out, count := math.NaN(), 0
		for i, g := range fs {
			if bits[i] != 0 && bits[i]&f.members == 0 {
				continue
			}
			x := g(f)
			switch {
			case math.IsNaN(x):
				return x
			case count == 0:
				out = x
			case what == "mean":
				out += x
			default:
				out = extreme(what, out, x)
			}
			count++
		}
		if what == "mean" {
			out /= float64(count)
		}
		return out
	}
}

// A tracker describes one use of changed or rate; a track is its memory.
type tracker struct {
	of   num
	by   num // how much counts as changed, inclusive; 0 is any difference
	rate bool
}

type track struct {
	out    float64 // what closures read: a rate, or 0 and 1 for changed; NaN unknown
	x, t   float64 // the last known value and its time
	x0, t0 float64 // where the first second began
	begun  bool
	warm   bool
}

// rateTime is the time constant of rate, in seconds.
const rateTime = 1.0

// change takes in the value x of changed(x, by).
func (k *track) change(x, by float64) {
	if math.IsNaN(x) || math.IsNaN(by) {
		k.out = math.NaN()
		return
	}
	if k.begun && (x == k.x || math.Abs(x-k.x) < by) {
		k.out = 0
		return
	}
	k.out = 0
	if k.begun {
		k.out = 1
	}
	k.x, k.begun = x, true
}

// A decay is exp(-dt) for the last dt: most rates of a Step ask for the same.
type decay struct{ dt, is float64 }

func (d *decay) over(dt float64) float64 {
	if dt != d.dt {
		*d = decay{dt, math.Exp(-dt / rateTime)}
	}
	return d.is
}

// slope takes in the value x of rate(x) at now. See the package comment for the method.
func (k *track) slope(x, now float64, d *decay) {
	if math.IsNaN(x) {
		if now-k.t > rateTime {
			k.out = math.NaN()
		}
		return
	}
	dt := now - k.t
	switch {
	case !k.begun || dt > rateTime+timeGrain || dt < 0:
		*k = track{out: math.NaN(), x: x, t: now, x0: x, t0: now, begun: true}
		return
	case dt == 0:
		return
	case k.warm:
		m := (x - k.x) / dt
		k.out = m + (k.out-m)*d.over(dt)
	case now-k.t0 >= rateTime-timeGrain:
		k.out, k.warm = (x-k.x0)/(now-k.t0), true
	}
	k.x, k.t = x, now
}

// timeGrain is how much too early a delay may end, in seconds: sums of sample times are not exact.
const timeGrain = 1e-9

// fit makes an env that is too short as long as the names need: what is not there is unknown.
func fit(env []float64, width int) []float64 {
	if len(env) >= width {
		return env
	}
	out := make([]float64, width)
	for i := copy(out, env); i < len(out); i++ {
		out[i] = math.NaN()
	}
	return out
}
