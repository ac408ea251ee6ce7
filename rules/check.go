package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"earshot/configs/document"
)

// A value is a checked and compiled piece of an expression.
type value struct {
	q       string // quantity, qCondition, qLabel, or noQuantity after a mistake
	bare    bool   // a number written without a unit
	loose   bool   // a number that may stand for a ratio: bare, or the quotient of two like quantities
	isConst bool
	c       float64 // if isConst
	env     int     // index where the value is a plain reading, else -1
	num     num
	cond    cond                     // of an instance that is not active
	hold    cond                     // of an active instance: limits moved by the deadband
	inverse func() (cond, hold cond) // what not makes of a comparison, nil for other conditions
	labels  []string
	absOf   int    // one more than the index of the reading of which this is the magnitude, else 0
	moment  bool   // true at single steps only
	text    string // of a qLabel
	what    string // for messages: the name, or ""
}

// describe says what v is: "brake_peak, a temperature".
func (v *value) describe() string {
	switch {
	case v.q == qCondition:
		return "a condition"
	case v.q == qLabel:
		return fmt.Sprintf("the text %q", v.text)
	case v.bare:
		return "a bare number"
	case v.what != "":
		return v.what + " (" + v.q + ")"
	}
	return article(v.q)
}

func article(q string) string {
	if q == qLaps {
		return "a number of laps"
	}
	if q != "" && strings.IndexByte("aeiou", q[0]) >= 0 {
		return "an " + q
	}
	return "a " + q
}

// A missing is a name that the vocabulary has and nobody supplies, or one that this
// instance lacks while others have it.
type missing struct{ name, why string }

func (m missing) String() string {
	if m.why == "" {
		return m.name + " is not available"
	}
	return m.name + ": " + m.why
}

// A checker turns the expressions of one instance into closures.
type checker struct {
	voc      Vocabulary
	in       *instance
	each     Each
	free     bool   // what has no quantity of its own has AnyQuantity
	noTracks string // why changed and rate cannot be used, "" where they can
	db       value  // deadband
	hasDB    bool
	dbUsed   bool
	tracks   []tracker
	// Where its first track stands in a Memory.
	firstTrack int
	decide     *decision
	width      int // one more than the highest index of env in use

	bad       []*Mistake
	unknown   []*Mistake // names that this instance has not
	missing   []missing
	missingAt int          // where the first of them is named
	learned   []string     // what the names read have to be learned from
	inKnown   int          // depth inside known()
	uses      map[int]*use // of the readings that the condition looks at
	merging   bool         // in a text for several instances: a glob stands for those only
	placed    bool         // a text names the corner where the car is
}

// A decision is the comparison whose sides a Transition shows.
type decision struct {
	rank             int
	left             num
	limit, holdLimit num // nil where there is no limit
}

func (c *checker) mistake(pos int, hint, format string, args ...any) value {
	c.bad = append(c.bad, oops(pos, hint, format, args...))
	return value{env: -1}
}

// where marks for cond: whether the deadband applies, and whether under not.
type place struct{ top, negated bool }

// condition checks that n is one, and compiles it.
func (c *checker) condition(n *node, at place) value {
	v := c.check(n, at)
	return c.asCondition(n, v)
}

func (c *checker) asCondition(n *node, v value) value {
	switch {
	case v.q == qCondition || v.q == noQuantity:
		return v
	case v.q == qNumber && n.kind == nName && v.labels == nil:
		// lap_completed is short for lap_completed != 0.
		c.limited(&v, 0, 0)
		f := compare("!=", v, constant(0, qNumber), 0)
		return value{q: qCondition, cond: f, hold: f, env: -1, moment: v.moment}
	}
	return c.mistake(n.pos, "compare it with something", "%s is not a condition", v.describe())
}

// number checks that n is a quantity.
func (c *checker) number(n *node) value {
	v := c.check(n, place{})
	if v.q == qCondition || v.q == qLabel {
		return c.mistake(n.pos, "", "a number should stand here, and not %s", v.describe())
	}
	return v
}

func constant(x float64, q string) value {
	return value{q: q, isConst: true, c: x, env: -1, num: func(*frame) float64 { return x }}
}

func computed(q string, f num) value { return value{q: q, env: -1, num: f} }

func (c *checker) check(n *node, at place) value {
	switch n.kind {
	case nNumber:
		if n.unit == "" {
			v := constant(n.num, qNumber)
			v.bare, v.loose = true, true
			return v
		}
		v := constant(n.num*n.u.Scale+n.u.Offset, n.u.Quantity)
		if n.u.Quantity == qNumber {
			v.bare, v.loose = true, true
		}
		return v
	case nString:
		return value{q: qLabel, text: n.text, env: -1}
	case nName:
		return c.name(n)
	case nGlob:
		return c.mistake(n.pos, "write min("+n.text+"*), max or mean", "%s* stands for several values", n.text)
	case nUnary:
		if n.text == "not" {
			at.negated = !at.negated
			return not(c.condition(n.args[0], at))
		}
		return c.negative(n)
	case nCall:
		return c.call(n, at)
	}
	switch n.text {
	case "and", "or":
		a, b := c.condition(n.args[0], at), c.condition(n.args[1], at)
		if a.q == noQuantity || b.q == noQuantity {
			return value{env: -1}
		}
		join, moment := both, a.moment || b.moment
		if n.text == "or" {
			join, moment = either, a.moment && b.moment
		}
		return value{q: qCondition, env: -1, moment: moment, cond: join(a.cond, b.cond), hold: join(a.hold, b.hold)}
	case "+", "-", "*", "/", "%":
		return c.arithmetic(n)
	}
	return c.comparison(n, at)
}

// resolve finds the name that fits the instance best: the first that exists and is
// available, else the first that exists.
func (c *checker) resolve(name string) (Name, string, bool) {
	var found Name
	var as string
	for _, cand := range c.in.candidates(name) {
		n, ok := look(c.voc, cand)
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

func (c *checker) name(n *node) value {
	name, as, ok := c.resolve(n.text)
	if !ok {
		c.unknown = append(c.unknown, oops(n.pos, c.suggest(n.text, c.each), "unknown name %s", n.text))
		return value{env: -1}
	}
	if !name.Available && len(c.missing) == 0 {
		c.missingAt = n.pos
	}
	return c.reading(name, as)
}

// reading compiles the value of a name that exists.
func (c *checker) reading(name Name, as string) value {
	if !name.Available {
		if c.inKnown == 0 {
			c.missing = append(c.missing, missing{as, name.Why})
		}
		v := computed(name.Quantity, func(*frame) float64 { return math.NaN() })
		v.what, v.labels, v.moment = as, name.Labels, name.Momentary
		return v
	}
	if name.Const {
		v := constant(name.Value, name.Quantity)
		v.what = as
		return v
	}
	if c.inKnown == 0 {
		for _, l := range name.Learned {
			if !slices.Contains(c.learned, l) {
				c.learned = append(c.learned, l)
			}
		}
	}
	i := max(name.Index, 0)
	c.width = max(c.width, i+1)
	if c.uses == nil {
		c.uses = map[int]*use{}
	}
	if c.uses[i] == nil {
		c.uses[i] = &use{}
	}
	c.uses[i].exact++
	return value{q: name.Quantity, env: i, what: as, labels: name.Labels, moment: name.Momentary, num: func(f *frame) float64 { return f.env[i] }}
}

// suggest is the way out for a name that there is not; as is what it stands for one of.
func (c *checker) suggest(name string, as Each) string {
	has := func(suffix string) bool { _, ok := c.voc.Name(name + "_" + suffix); return ok }
	switch {
	case has("fl") && as == Once:
		return fmt.Sprintf("there is one for each wheel: write %s_fl, max(%s_*), or give the rule each: wheel", name, name)
	case has("fl"):
		return fmt.Sprintf("there is one for each wheel: write max(%s_*), min or mean", name)
	case has("front"):
		return fmt.Sprintf("there is one for each axle: write %s_front, or give the rule each: axle", name)
	case has("left"):
		return fmt.Sprintf("there is one for each side: write %s_left, or give the rule each: side", name)
	}
	names := c.voc.Names()
	if as != Once {
		all := slices.Clone(names)
		for _, n := range names {
			for _, in := range instancesOf[as] {
				if base, ok := strings.CutSuffix(n, "_"+in.suffix); ok && !slices.Contains(all, base) {
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
func (c *checker) glob(n *node) (out []value, members []uint64) {
	for _, suffixes := range [][]string{c.in.wheels, {"front", "rear"}, {"left", "right"}} {
		for _, s := range suffixes {
			if name, ok := look(c.voc, n.text+s); ok {
				out = append(out, c.reading(name, n.text+s))
				members = append(members, membersOf(c.each, s))
			}
		}
		if out != nil {
			return out, members
		}
	}
	c.unknown = append(c.unknown, oops(n.pos, c.suggest(strings.TrimSuffix(n.text, "_"), EachWheel), "no name fits %s*", n.text))
	return []value{{env: -1}}, []uint64{0}
}

// alike finds the quantity that a and b have in common; verb says what is
// being done to them.
func (c *checker) alike(pos int, a, b *value, verb string) string {
	switch {
	case a.q == noQuantity || b.q == noQuantity:
		return noQuantity
	case (a.q == qAny || b.q == qAny) && a.q != qCondition && b.q != qCondition && a.q != qLabel && b.q != qLabel:
		return qAny
	case a.q == qCondition || b.q == qCondition || a.q == qLabel || b.q == qLabel:
		c.mistake(pos, "", "%s and %s cannot be %s", a.describe(), b.describe(), verb)
		return noQuantity
	case a.q == b.q:
		return a.q
	case a.bare && fits(a, b.q):
		return b.q
	case b.bare && fits(b, a.q):
		return a.q
	case a.loose && b.q == qRatio, b.loose && a.q == qRatio:
		return qRatio
	}
	hint := ""
	for _, v := range [][2]*value{{a, b}, {b, a}} {
		switch {
		case v[0].bare:
			c.mistake(pos, c.writeAs(v[1].q), "a bare number cannot be %s with %s: the unit is missing", verb, v[1].describe())
			return noQuantity
		case v[0].isConst && v[0].what == "":
			hint = c.writeAs(v[1].q)
		}
	}
	c.mistake(pos, hint, "%s and %s cannot be %s", a.describe(), b.describe(), verb)
	return noQuantity
}

// writeAs says how a number of quantity q is written.
func (c *checker) writeAs(q string) string {
	if q == qNumber {
		return "write a number without a unit"
	}
	return "write it with one of " + strings.Join(unitsOf(c.voc, q), ", ")
}

// fits tells whether the bare number v may stand for a q.
func fits(v *value, q string) bool {
	return v.isConst && v.c == 0 && q != qTemp || q == qRatio
}

var flipped = map[string]string{"<": ">", "<=": ">=", ">": "<", ">=": "<=", "==": "==", "!=": "!="}

var opposite = map[string]string{"<": ">=", "<=": ">", ">": "<=", ">=": "<", "==": "!=", "!=": "=="}

func (c *checker) comparison(n *node, at place) value {
	a, b := c.check(n.args[0], place{}), c.check(n.args[1], place{})
	if a.q == qLabel || b.q == qLabel {
		c.label(n, &a, &b)
	}
	q := c.alike(n.pos, &a, &b, "compared")
	if q == noQuantity {
		return value{env: -1}
	}
	op := n.text
	if a.isConst && !b.isConst {
		a, b, op = b, a, flipped[op] // the limit stands on the right
	}
	shift := 0.0
	ordered := op[0] == '<' || op[0] == '>'
	if ordered && at.top && c.fitsDeadband(q) {
		c.dbUsed = true
		shift = c.db.c
		if (op[0] == '>') != at.negated {
			shift = -shift
		}
	}
	if b.isConst {
		c.limited(&a, b.c, b.c+shift)
	}
	right := b.num
	c.candidate(q, ordered, shift != 0, decision{left: a.num, limit: right, holdLimit: func(f *frame) float64 { return right(f) + shift }})
	// The opposite comparison is unknown where this one is, and cheaper than turning its result round.
	inverse := func() (cond, cond) { return compare(opposite[op], a, b, 0), compare(opposite[op], a, b, shift) }
	return value{q: qCondition, env: -1, cond: compare(op, a, b, 0), hold: compare(op, a, b, shift), inverse: inverse, moment: a.moment || b.moment}
}

// candidate offers a comparison to be shown by Transitions: first one that the deadband
// moves, then one of a quantity with an order, then any.
func (c *checker) candidate(q string, ordered, moved bool, d decision) {
	d.rank = 1
	switch {
	case moved:
		d.rank = 4
	case ordered && q != qNumber:
		d.rank = 3
	case ordered:
		d.rank = 2
	}
	if c.decide == nil || c.decide.rank < d.rank {
		c.decide = &d
	}
}

// fitsDeadband tells whether the deadband is of the kind by which a limit of q can move.
func (c *checker) fitsDeadband(q string) bool {
	if !c.hasDB {
		return false
	}
	if q == qTemp {
		q = qTempDiff
	}
	return c.db.q == q || c.db.bare && q == qRatio
}

// label puts the number of a choice in the place of its name.
func (c *checker) label(n *node, a, b *value) {
	if a.q == qLabel {
		a, b = b, a
	}
	bad := func(hint, format string, args ...any) {
		c.mistake(n.pos, hint, format, args...)
		a.q = noQuantity
	}
	switch {
	case b.q != qLabel || a.q == noQuantity:
	case a.q == qLabel:
		bad("", "two texts cannot be compared")
	case a.labels == nil:
		bad("", "%s has no named values to compare with %q", a.describe(), b.text)
	case n.text != "==" && n.text != "!=":
		bad("write == or !=", "named values have no order")
	default:
		i := slices.Index(a.labels, b.text)
		if i < 0 {
			bad(document.OneOf(b.text, a.labels), "%s is never %q", a.what, b.text)
			return
		}
		*b = constant(float64(i), a.q)
	}
}

// A use is how one condition looks at a reading.
type use struct {
	exact  int       // how often otherwise than against a constant
	limits []float64 // the constants
}

// limited tells that v is compared with constants only, here.
func (c *checker) limited(v *value, limits ...float64) {
	i := v.env
	if v.absOf > 0 {
		i = v.absOf - 1
		for _, k := range limits {
			limits = append(limits, -k)
		}
	}
	if u := c.uses[i]; i >= 0 && u != nil {
		u.exact--
		u.limits = append(u.limits, limits...)
	}
}
