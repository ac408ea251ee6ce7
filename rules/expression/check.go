package expression

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"earshot/configs/document"
)

// A Value is a checked and compiled piece of an expression.
type Value struct {
	Q       string // quantity, qCondition, qLabel, or noQuantity after a mistake
	Bare    bool   // a number written without a unit
	Loose   bool   // a number that may stand for a ratio: bare, or the quotient of two like quantities
	IsConst bool
	C       float64 // if isConst
	env     int     // index where the value is a plain reading, else -1
	Num     Num
	Cond    Cond                     // of an instance that is not active
	Hold    Cond                     // of an active instance: limits moved by the deadband
	inverse func() (cond, hold Cond) // what not makes of a comparison, nil for other conditions
	Labels  []string
	absOf   int    // one more than the index of the reading of which this is the magnitude, else 0
	Moment  bool   // true at single steps only
	text    string // of a qLabel
	what    string // for messages: the name, or ""
}

// Describe says what v is: "brake_peak, a temperature".
func (v *Value) Describe() string {
	switch {
	case v.Q == QCondition:
		return "a condition"
	case v.Q == qLabel:
		return fmt.Sprintf("the text %q", v.text)
	case v.Bare:
		return "a bare number"
	case v.what != "":
		return v.what + " (" + v.Q + ")"
	}
	return article(v.Q)
}

func article(q string) string {
	if q == QLaps {
		return "a number of laps"
	}
	if q != "" && strings.IndexByte("aeiou", q[0]) >= 0 {
		return "an " + q
	}
	return "a " + q
}

// A Missing is a name of the vocabulary that nothing supplies, or one that other instances have and this one lacks.
type Missing struct{ Name, Why string }

func (m Missing) String() string {
	if m.Why == "" {
		return m.Name + " is not available"
	}
	return m.Name + ": " + m.Why
}

// A Checker turns the expressions of one instance into closures.
type Checker struct {
	Voc          Vocabulary
	In           *Instance
	Each         Each
	free         bool   // what has no quantity of its own has AnyQuantity
	NoTracks     string // why changed and rate cannot be used, "" where they can
	Deadband     Value  // deadband
	HasDeadband  bool
	DeadbandUsed bool
	Tracks       []Tracker
	// Where its first track stands in a Memory.
	FirstTrack int
	Decide     *Decision
	Width      int // one more than the highest index of env in use

	Bad       []*Mistake
	Unknown   []*Mistake // names that this instance has not
	Missing   []Missing
	missingAt int          // where the first of them is named
	Learned   []string     // what the names read have to be learned from
	inKnown   int          // depth inside known()
	Uses      map[int]*Use // of the readings that the condition looks at
	Merging   bool         // in a text for several instances: a glob stands for those only
	Placed    bool         // a text names the corner where the car is
}

// A Decision is the comparison whose sides a Transition shows.
type Decision struct {
	rank             int
	Left             Num
	Limit, HoldLimit Num // nil where there is no limit
}

func (c *Checker) Fail(pos int, hint, format string, args ...any) Value {
	c.Bad = append(c.Bad, NewMistake(pos, hint, format, args...))
	return Value{env: -1}
}

// where says for cond whether the deadband applies, and whether it stands under not.
type Place struct{ Top, negated bool }

// Condition checks that n is one, and compiles it.
func (c *Checker) Condition(n *Node, at Place) Value {
	v := c.check(n, at)
	return c.asCondition(n, v)
}

func (c *Checker) asCondition(n *Node, v Value) Value {
	switch {
	case v.Q == QCondition || v.Q == NoQuantity:
		return v
	case v.Q == QNumber && n.Kind == nodeName && v.Labels == nil:
		// lap_completed is short for lap_completed != 0.
		c.limited(&v, 0, 0)
		f := compare("!=", v, constant(0, QNumber), 0)
		return Value{Q: QCondition, Cond: f, Hold: f, env: -1, Moment: v.Moment}
	}
	return c.Fail(n.Pos, "compare it with something", "%s is not a condition", v.Describe())
}

// Number checks that n is a quantity.
func (c *Checker) Number(n *Node) Value {
	v := c.check(n, Place{})
	if v.Q == QCondition || v.Q == qLabel {
		return c.Fail(n.Pos, "", "a number should stand here, and not %s", v.Describe())
	}
	return v
}

func constant(x float64, q string) Value {
	return Value{Q: q, IsConst: true, C: x, env: -1, Num: func(*Frame) float64 { return x }}
}

func computed(q string, f Num) Value { return Value{Q: q, env: -1, Num: f} }

func (c *Checker) check(n *Node, at Place) Value {
	switch n.Kind {
	case NodeNumber:
		if n.unit == "" {
			v := constant(n.num, QNumber)
			v.Bare, v.Loose = true, true
			return v
		}
		v := constant(n.num*n.U.Scale+n.U.Offset, n.U.Quantity)
		if n.U.Quantity == QNumber {
			v.Bare, v.Loose = true, true
		}
		return v
	case NodeString:
		return Value{Q: qLabel, text: n.Text, env: -1}
	case nodeName:
		return c.name(n)
	case nodeGlob:
		return c.Fail(n.Pos, "write min("+n.Text+"*), max or mean", "%s* stands for several values", n.Text)
	case nodeUnary:
		if n.Text == "not" {
			at.negated = !at.negated
			return not(c.Condition(n.Args[0], at))
		}
		return c.negative(n)
	case NodeCall:
		return c.call(n, at)
	}
	switch n.Text {
	case "and", "or":
		a, b := c.Condition(n.Args[0], at), c.Condition(n.Args[1], at)
		if a.Q == NoQuantity || b.Q == NoQuantity {
			return Value{env: -1}
		}
		join, moment := both, a.Moment || b.Moment
		if n.Text == "or" {
			join, moment = either, a.Moment && b.Moment
		}
		return Value{Q: QCondition, env: -1, Moment: moment, Cond: join(a.Cond, b.Cond), Hold: join(a.Hold, b.Hold)}
	case "+", "-", "*", "/", "%":
		return c.arithmetic(n)
	}
	return c.comparison(n, at)
}

// Resolve finds the name that fits the instance best: the first that is available, else the first that exists.
func (c *Checker) Resolve(name string) (Name, string, bool) {
	var found Name
	var as string
	for _, cand := range c.In.candidates(name) {
		n, ok := look(c.Voc, cand)
		if !ok {
			continue
		}
		if n.Available {
			return n, cand, true
		}
		if as == "" {
			found, as = n, cand
		}
	}
	return found, as, as != ""
}

func (c *Checker) name(n *Node) Value {
	name, as, ok := c.Resolve(n.Text)
	if !ok {
		c.Unknown = append(c.Unknown, NewMistake(n.Pos, c.Suggest(n.Text, c.Each), "unknown name %s", n.Text))
		return Value{env: -1}
	}
	if !name.Available && len(c.Missing) == 0 {
		c.missingAt = n.Pos
	}
	return c.reading(name, as)
}

// reading compiles the value of a name that exists.
func (c *Checker) reading(name Name, as string) Value {
	if !name.Available {
		if c.inKnown == 0 {
			c.Missing = append(c.Missing, Missing{as, name.Why})
		}
		v := computed(name.Quantity, func(*Frame) float64 { return math.NaN() })
		v.what, v.Labels, v.Moment = as, name.Labels, name.Momentary
		return v
	}
	if name.Const {
		v := constant(name.Value, name.Quantity)
		v.what = as
		return v
	}
	if c.inKnown == 0 {
		for _, l := range name.Learned {
			if !slices.Contains(c.Learned, l) {
				c.Learned = append(c.Learned, l)
			}
		}
	}
	i := max(name.Index, 0)
	c.Width = max(c.Width, i+1)
	if c.Uses == nil {
		c.Uses = map[int]*Use{}
	}
	if c.Uses[i] == nil {
		c.Uses[i] = &Use{}
	}
	c.Uses[i].Exact++
	return Value{Q: name.Quantity, env: i, what: as, Labels: name.Labels, Moment: name.Momentary,
		Num: func(f *Frame) float64 { return f.Env[i] }}
}

// Suggest is the hint for an unknown name. as says what kind of name is meant.
func (c *Checker) Suggest(name string, as Each) string {
	has := func(suffix string) bool { _, ok := c.Voc.Name(name + "_" + suffix); return ok }
	switch {
	case has("fl") && as == Once:
		return fmt.Sprintf("there is one for each wheel: write %s_fl, max(%s_*), or give the rule each: wheel", name,
			name)
	case has("fl"):
		return fmt.Sprintf("there is one for each wheel: write max(%s_*), min or mean", name)
	case has("front"):
		return fmt.Sprintf("there is one for each axle: write %s_front, or give the rule each: axle", name)
	case has("left"):
		return fmt.Sprintf("there is one for each side: write %s_left, or give the rule each: side", name)
	}
	names := c.Voc.Names()
	if as != Once {
		all := slices.Clone(names)
		for _, n := range names {
			for _, in := range InstancesOf[as] {
				if base, ok := strings.CutSuffix(n, "_"+in.Suffix); ok && !slices.Contains(all, base) {
					all = append(all, base)
				}
			}
		}
		names = all
	}
	return document.Meant(name, names, "earshot channels lists the names that there are")
}

// glob lists the values that tyre_core_* stands for.
// members tells to which instances of the rule each of them belongs, as bits.
func (c *Checker) glob(n *Node) (out []Value, members []uint64) {
	for _, suffixes := range [][]string{c.In.wheels, {"front", "rear"}, {"left", "right"}} {
		for _, s := range suffixes {
			if name, ok := look(c.Voc, n.Text+s); ok {
				out = append(out, c.reading(name, n.Text+s))
				members = append(members, membersOf(c.Each, s))
			}
		}
		if out != nil {
			return out, members
		}
	}
	c.Unknown = append(c.Unknown, NewMistake(n.Pos, c.Suggest(strings.TrimSuffix(n.Text, "_"), EachWheel),
		"no name fits %s*", n.Text))
	return []Value{{env: -1}}, []uint64{0}
}

// alike finds the common quantity of a and b. verb is the operation, for the message.
func (c *Checker) alike(pos int, a, b *Value, verb string) string {
	switch {
	case a.Q == NoQuantity || b.Q == NoQuantity:
		return NoQuantity
	case (a.Q == qAny || b.Q == qAny) && a.Q != QCondition && b.Q != QCondition && a.Q != qLabel && b.Q != qLabel:
		return qAny
	case a.Q == QCondition || b.Q == QCondition || a.Q == qLabel || b.Q == qLabel:
		c.Fail(pos, "", "%s and %s cannot be %s", a.Describe(), b.Describe(), verb)
		return NoQuantity
	case a.Q == b.Q:
		return a.Q
	case a.Bare && fits(a, b.Q):
		return b.Q
	case b.Bare && fits(b, a.Q):
		return a.Q
	case a.Loose && b.Q == QRatio, b.Loose && a.Q == QRatio:
		return QRatio
	}
	hint := ""
	for _, v := range [][2]*Value{{a, b}, {b, a}} {
		switch {
		case v[0].Bare:
			c.Fail(pos, c.writeAs(v[1].Q), "a bare number cannot be %s with %s: the unit is missing", verb,
				v[1].Describe())
			return NoQuantity
		case v[0].IsConst && v[0].what == "":
			hint = c.writeAs(v[1].Q)
		}
	}
	c.Fail(pos, hint, "%s and %s cannot be %s", a.Describe(), b.Describe(), verb)
	return NoQuantity
}

// writeAs shows how a number of quantity q is written.
func (c *Checker) writeAs(q string) string {
	if q == QNumber {
		return "write a number without a unit"
	}
	return "write it with one of " + strings.Join(UnitsOf(c.Voc, q), ", ")
}

// fits is true where the bare number v may stand for a q.
func fits(v *Value, q string) bool {
	return v.IsConst && v.C == 0 && q != QTemp || q == QRatio
}

var flipped = map[string]string{"<": ">", "<=": ">=", ">": "<", ">=": "<=", "==": "==", "!=": "!="}

var opposite = map[string]string{"<": ">=", "<=": ">", ">": "<=", ">=": "<", "==": "!=", "!=": "=="}

func (c *Checker) comparison(n *Node, at Place) Value {
	a, b := c.check(n.Args[0], Place{}), c.check(n.Args[1], Place{})
	if a.Q == qLabel || b.Q == qLabel {
		c.label(n, &a, &b)
	}
	q := c.alike(n.Pos, &a, &b, "compared")
	if q == NoQuantity {
		return Value{env: -1}
	}
	op := n.Text
	if a.IsConst && !b.IsConst {
		a, b, op = b, a, flipped[op] // the limit stands on the right
	}
	shift := 0.0
	ordered := op[0] == '<' || op[0] == '>'
	if ordered && at.Top && c.fitsDeadband(q) {
		c.DeadbandUsed = true
		shift = c.Deadband.C
		if (op[0] == '>') != at.negated {
			shift = -shift
		}
	}
	if b.IsConst {
		c.limited(&a, b.C, b.C+shift)
	}
	right := b.Num
	c.candidate(q, ordered, shift != 0, Decision{Left: a.Num, Limit: right,
		HoldLimit: func(f *Frame) float64 { return right(f) + shift }})
	// The opposite comparison is unknown where this one is, and cheaper than negating its result.
	inverse := func() (Cond, Cond) { return compare(opposite[op], a, b, 0), compare(opposite[op], a, b, shift) }
	return Value{Q: QCondition, env: -1, Cond: compare(op, a, b, 0), Hold: compare(op, a, b, shift), inverse: inverse,
		Moment: a.Moment || b.Moment}
}

// candidate proposes a comparison for Transitions to show: best one that the deadband moves, else one of an ordered
// quantity, else any.
func (c *Checker) candidate(q string, ordered, moved bool, d Decision) {
	d.rank = 1
	switch {
	case moved:
		d.rank = 4
	case ordered && q != QNumber:
		d.rank = 3
	case ordered:
		d.rank = 2
	}
	if c.Decide == nil || c.Decide.rank < d.rank {
		c.Decide = &d
	}
}

// fitsDeadband is true where the deadband has the quantity by which a limit of q can move.
func (c *Checker) fitsDeadband(q string) bool {
	if !c.HasDeadband {
		return false
	}
	if q == QTemp {
		q = QTempDiff
	}
	return c.Deadband.Q == q || c.Deadband.Bare && q == QRatio
}

// label replaces the name of a choice by its number.
func (c *Checker) label(n *Node, a, b *Value) {
	if a.Q == qLabel {
		a, b = b, a
	}
	bad := func(hint, format string, args ...any) {
		c.Fail(n.Pos, hint, format, args...)
		a.Q = NoQuantity
	}
	switch {
	case b.Q != qLabel || a.Q == NoQuantity:
	case a.Q == qLabel:
		bad("", "two texts cannot be compared")
	case a.Labels == nil:
		bad("", "%s has no named values to compare with %q", a.Describe(), b.text)
	case n.Text != "==" && n.Text != "!=":
		bad("write == or !=", "named values have no order")
	default:
		i := slices.Index(a.Labels, b.text)
		if i < 0 {
			bad(document.OneOf(b.text, a.Labels), "%s is never %q", a.what, b.text)
			return
		}
		*b = constant(float64(i), a.Q)
	}
}

// A Use is how one condition uses a reading.
type Use struct {
	Exact  int       // how often otherwise than against a constant
	Limits []float64 // the constants
}

// limited notes that v is compared only with constants here.
func (c *Checker) limited(v *Value, limits ...float64) {
	i := v.env
	if v.absOf > 0 {
		i = v.absOf - 1
		for _, k := range limits {
			limits = append(limits, -k)
		}
	}
	if u := c.Uses[i]; i >= 0 && u != nil {
		u.Exact--
		u.Limits = append(u.Limits, limits...)
	}
}
