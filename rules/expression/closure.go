package expression

import "math"

// A Tri is a truth value of three-valued logic.
type Tri uint8

const (
	IsFalse Tri = iota
	IsTrue
	IsUnknown
)

// A Frame is what closures read. They keep nothing of it.
type Frame struct {
	Env     []float64
	Tracks  []Track
	Members uint64 // the instances that a merged text names
}

type (
	Num  func(*Frame) float64
	Cond func(*Frame) Tri
)

func not(v Value) Value {
	v.Moment = false
	if v.inverse != nil {
		v.Cond, v.Hold = v.inverse()
		v.inverse = nil
		return v
	}
	flip := func(g Cond) Cond {
		if g == nil {
			return nil
		}
		return func(f *Frame) Tri {
			switch g(f) {
			case IsTrue:
				return IsFalse
			case IsFalse:
				return IsTrue
			}
			return IsUnknown
		}
	}
	v.Cond, v.Hold = flip(v.Cond), flip(v.Hold)
	return v
}

func both(a, b Cond) Cond {
	return func(f *Frame) Tri {
		x := a(f)
		if x == IsFalse {
			return IsFalse
		}
		if y := b(f); y != IsTrue {
			return y
		}
		return x
	}
}

func either(a, b Cond) Cond {
	return func(f *Frame) Tri {
		x := a(f)
		if x == IsTrue {
			return IsTrue
		}
		if y := b(f); y != IsFalse {
			return y
		}
		return x
	}
}

// compare compiles a op b+shift. A comparison with NaN is neither true nor false, so unknown needs no test of its own.
func compare(op string, a, b Value, shift float64) Cond {
	switch {
	case a.env >= 0 && b.IsConst:
		return compareConst(op, a.env, b.C+shift)
	case a.env >= 0 && b.env >= 0:
		return compareTwo(op, a.env, b.env, shift)
	case b.IsConst:
		if c := compareValue(op, a.Num, b.C+shift); c != nil {
			return c
		}
	}
	return compareAny(op, a.Num, b.Num, shift)
}

// within compiles lo <= x and x <= hi.
func within(x, lo, hi Value, shift float64) Cond {
	if x.env < 0 || !lo.IsConst || !hi.IsConst {
		return both(compare(">=", x, lo, -shift), compare("<=", x, hi, shift))
	}
	i, l, h := x.env, lo.C-shift, hi.C+shift
	return func(f *Frame) Tri {
		x := f.Env[i]
		if x >= l && x <= h {
			return IsTrue
		}
		return falseIf(x < l || x > h)
	}
}

func compareConst(op string, i int, k float64) Cond {
	switch op {
	case "<":
		return func(f *Frame) Tri {
			x := f.Env[i]
			if x < k {
				return IsTrue
			}
			return falseIf(x >= k)
		}
	case "<=":
		return func(f *Frame) Tri {
			x := f.Env[i]
			if x <= k {
				return IsTrue
			}
			return falseIf(x > k)
		}
	case ">":
		return func(f *Frame) Tri {
			x := f.Env[i]
			if x > k {
				return IsTrue
			}
			return falseIf(x <= k)
		}
	case ">=":
		return func(f *Frame) Tri {
			x := f.Env[i]
			if x >= k {
				return IsTrue
			}
			return falseIf(x < k)
		}
	case "==":
		return func(f *Frame) Tri {
			x := f.Env[i]
			if x == k {
				return IsTrue
			}
			return falseIf(x < k || x > k)
		}
	}
	return func(f *Frame) Tri {
		x := f.Env[i]
		if x == k {
			return IsFalse
		}
		if x < k || x > k {
			return IsTrue
		}
		return IsUnknown
	}
}

func falseIf(b bool) Tri {
	if b {
		return IsFalse
	}
	return IsUnknown
}

func compareTwo(op string, i, j int, shift float64) Cond {
	switch op {
	case "<":
		return func(f *Frame) Tri {
			x, k := f.Env[i], f.Env[j]+shift
			if x < k {
				return IsTrue
			}
			return falseIf(x >= k)
		}
	case ">":
		return func(f *Frame) Tri {
			x, k := f.Env[i], f.Env[j]+shift
			if x > k {
				return IsTrue
			}
			return falseIf(x <= k)
		}
	}
	return compareAny(op, func(f *Frame) float64 { return f.Env[i] }, func(f *Frame) float64 { return f.Env[j] }, shift)
}

// compareValue compiles the most frequent comparisons of a computed value; nil for the rest.
func compareValue(op string, a Num, k float64) Cond {
	switch op {
	case "<":
		return func(f *Frame) Tri {
			x := a(f)
			if x < k {
				return IsTrue
			}
			return falseIf(x >= k)
		}
	case ">":
		return func(f *Frame) Tri {
			x := a(f)
			if x > k {
				return IsTrue
			}
			return falseIf(x <= k)
		}
	case "==":
		return func(f *Frame) Tri {
			x := a(f)
			if x == k {
				return IsTrue
			}
			return falseIf(x < k || x > k)
		}
	}
	return nil
}

// compareAny compiles the general case, one closure for each operator: a switch inside would cost
// more than the comparison.
func compareAny(op string, a, b Num, shift float64) Cond {
	switch op {
	case "<":
		return func(f *Frame) Tri {
			x, k := a(f), b(f)+shift
			if x < k {
				return IsTrue
			}
			return falseIf(x >= k)
		}
	case "<=":
		return func(f *Frame) Tri {
			x, k := a(f), b(f)+shift
			if x <= k {
				return IsTrue
			}
			return falseIf(x > k)
		}
	case ">":
		return func(f *Frame) Tri {
			x, k := a(f), b(f)+shift
			if x > k {
				return IsTrue
			}
			return falseIf(x <= k)
		}
	case ">=":
		return func(f *Frame) Tri {
			x, k := a(f), b(f)+shift
			if x >= k {
				return IsTrue
			}
			return falseIf(x < k)
		}
	case "==":
		return func(f *Frame) Tri {
			x, k := a(f), b(f)+shift
			if x == k {
				return IsTrue
			}
			return falseIf(x < k || x > k)
		}
	}
	return func(f *Frame) Tri {
		x, k := a(f), b(f)+shift
		if x == k {
			return IsFalse
		}
		if x < k || x > k {
			return IsTrue
		}
		return IsUnknown
	}
}

// operate compiles arithmetic. Division by zero is unknown.
func operate(op string, a, b Value) Num {
	x, y := a.Num, b.Num
	i, j := a.env, b.env
	switch {
	case op == "-" && i >= 0 && j >= 0:
		return func(f *Frame) float64 { return f.Env[i] - f.Env[j] }
	case op == "+" && i >= 0 && j >= 0:
		return func(f *Frame) float64 { return f.Env[i] + f.Env[j] }
	}
	switch op {
	case "+":
		return func(f *Frame) float64 { return x(f) + y(f) }
	case "-":
		return func(f *Frame) float64 { return x(f) - y(f) }
	case "*":
		return func(f *Frame) float64 { return x(f) * y(f) }
	case "/":
		return func(f *Frame) float64 {
			d := y(f)
			if d == 0 {
				return math.NaN()
			}
			return x(f) / d
		}
	}
	return func(f *Frame) float64 { return math.Mod(x(f), y(f)) }
}

// gather compiles min, max and mean: unknown where one of the values is.
func gather(what string, fs []Num) Num {
	return func(f *Frame) float64 {
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

// gatherMembers is gather over the values of the named instances. bits are the instances of each value, 0 for all.
func gatherMembers(what string, fs []Num, bits []uint64) Num {
	return func(f *Frame) float64 {
		out, count := math.NaN(), 0
		for i, g := range fs {
			if bits[i] != 0 && bits[i]&f.Members == 0 {
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

// A Tracker describes one use of changed or rate; a track is its memory.
type Tracker struct {
	Of   Num
	By   Num // how much counts as changed, inclusive; 0 is any difference
	Rate bool
}

type Track struct {
	Out    float64 // what closures read: a rate, or 0 and 1 for changed; NaN unknown
	x, t   float64 // the last known value and its time
	x0, t0 float64 // where the first second began
	begun  bool
	warm   bool
}

// rateTime is the time constant of rate, in seconds.
const rateTime = 1.0

// Change processes the value x of changed(x, by).
func (k *Track) Change(x, by float64) {
	if math.IsNaN(x) || math.IsNaN(by) {
		k.Out = math.NaN()
		return
	}
	if k.begun && (x == k.x || math.Abs(x-k.x) < by) {
		k.Out = 0
		return
	}
	k.Out = 0
	if k.begun {
		k.Out = 1
	}
	k.x, k.begun = x, true
}

// A Decay keeps exp(-dt) for the last dt, since most rates of a Step need the same one.
type Decay struct{ dt, is float64 }

func (d *Decay) over(dt float64) float64 {
	if dt != d.dt {
		*d = Decay{dt, math.Exp(-dt / rateTime)}
	}
	return d.is
}

// Slope processes the value x of rate(x) at now. The comment of package rules describes the method.
func (k *Track) Slope(x, now float64, d *Decay) {
	if math.IsNaN(x) {
		if now-k.t > rateTime {
			k.Out = math.NaN()
		}
		return
	}
	dt := now - k.t
	switch {
	case !k.begun || dt > rateTime+TimeGrain || dt < 0:
		*k = Track{Out: math.NaN(), x: x, t: now, x0: x, t0: now, begun: true}
		return
	case dt == 0:
		return
	case k.warm:
		m := (x - k.x) / dt
		k.Out = m + (k.Out-m)*d.over(dt)
	case now-k.t0 >= rateTime-TimeGrain:
		k.Out, k.warm = (x-k.x0)/(now-k.t0), true
	}
	k.x, k.t = x, now
}

// TimeGrain is how much too early a delay may end, in seconds: sums of sample times are not exact.
const TimeGrain = 1e-9

// Fit extends an env that is too short for the names with unknown values.
func Fit(env []float64, width int) []float64 {
	if len(env) >= width {
		return env
	}
	out := make([]float64, width)
	for i := copy(out, env); i < len(out); i++ {
		out[i] = math.NaN()
	}
	return out
}
