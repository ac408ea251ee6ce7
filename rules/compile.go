package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"earshot/configs/document"
	"earshot/rules/expression"
)

// switchOnly marks a spec that only switches a rule of an earlier file off or on.
const switchOnly expression.Each = "switch"

// defaultExpires is how long the words about an event, or about the end of a state, wait for room where the rule has no
// expires, in seconds: about a straight and the corner before it (common practice, no source).
const defaultExpires = 10.0

// rule checks and compiles one rule; nil after a mistake that makes the rest pointless.
func (b *builder) rule(raw *rawRule, overrides bool) *spec {
	switches := raw.Get("off") != nil && raw.Get("when") == nil
	off := raw.Flag(raw.Get("off"), "off", false)
	where := fmt.Sprintf("switched off in %s:%d", raw.file, raw.N.Line)
	if switches {
		if !overrides {
			var names []string
			for _, s := range b.specs {
				names = append(names, s.rule.Name)
			}
			raw.Bad(raw.N, document.Meant(raw.name, names, ""),
				"no earlier file has this rule, so it cannot be switched off or on")
			return nil
		}
		sp := &spec{rule: &Rule{Name: raw.name, Each: switchOnly}}
		if off {
			sp.off = where
		}
		return sp
	}
	before := raw.Count()
	r := &Rule{
		Name: raw.name, Group: raw.group, File: raw.file, Line: raw.N.Line,
		Each: expression.Each(raw.choice("each", string(expression.Once), string(expression.EachWheel),
			string(expression.EachAxle), string(expression.EachSide))),
		Priority: Priority(raw.choice("priority", string(Advisory), string(Caution), string(Warning))),
		Clear:    Priority(raw.choice("clear_priority", string(Advisory), string(Caution), string(Warning))),
		Where:    Where(raw.choice("where", string(Anywhere), string(Straight), string(Line))),
		EndOnly:  raw.Get("say") == nil,
		latch:    raw.Flag(raw.Get("latch"), "latch", false),
		Importance: Importance(raw.choice("importance", string(NormalImportance), string(LowImportance),
			string(HighImportance))),
	}
	w := &ruleWriter{builder: b, raw: raw, rule: r}
	w.times()
	w.situations()
	if raw.Get("when") == nil {
		raw.Bad(raw.N, "write when: fuel_left < 5 l", "the rule has no when")
	}
	if raw.Get("say") == nil && raw.Get("say_clear") == nil {
		raw.Bad(raw.N, "write say: Fuel low.", "the rule has nothing to say")
	}
	for _, pair := range [][2]string{{"say_short", "say"}, {"merge_short", "merge"}, {"clear_priority", "say_clear"},
		{"repeat_later", "repeat"}} {
		if n := raw.Get(pair[0]); n != nil && raw.Get(pair[1]) == nil {
			raw.Bad(n, "write "+pair[1]+" as well", "there is no %s for this %s", pair[1], pair[0])
		}
	}
	parts := w.instances()
	if raw.Count() > before {
		// Parts of it are wrong. Its name is kept all the same, so that the rest can be checked.
		return &spec{rule: r}
	}
	sp := &spec{rule: r, parts: parts}
	if off {
		sp.off = where
	}
	return sp
}

// A ruleWriter compiles the fields of one rule.
type ruleWriter struct {
	*builder
	raw    *rawRule
	rule   *Rule
	db     expression.Value
	hasDB  bool
	dbNode *document.Node
	off    []expression.Missing // what switches all instances off
}

func (w *ruleWriter) times() {
	w.rule.onDelay = w.duration("on_delay", 0, false)
	w.rule.offDelay = w.duration("off_delay", 0, false)
	w.rule.repeat = w.duration("repeat", 0, true)
	w.rule.repeatLater = w.duration("repeat_later", w.rule.repeat, true)
	w.rule.Expires = w.duration("expires", defaultExpires, true)
	w.rule.Apart = w.duration("apart", 0, true)
	n, v, ok := w.fixed("deadband", func(lit *expression.Node) {
		if lit.U.Quantity == expression.QTemp { // 20 °C can only be meant as a difference here
			lit.U = expression.Unit{Quantity: expression.QTempDiff, Scale: lit.U.Scale}
		}
	})
	if !ok {
		return
	}
	if v.C < 0 {
		w.raw.Bad(n, "", "the deadband is below zero")
		return
	}
	w.db, w.hasDB, w.dbNode = v, true, n
}

// duration reads a time in seconds.
func (w *ruleWriter) duration(key string, absent float64, positive bool) float64 {
	n, v, ok := w.fixed(key, nil)
	if !ok {
		return absent
	}
	fail := func(hint, format string, args ...any) float64 {
		w.raw.Bad(n, hint, format, args...)
		return absent
	}
	switch {
	case v.Q == expression.QTime || v.Bare && v.C == 0:
	case v.Bare:
		return fail("write it with one of "+strings.Join(expression.UnitsOf(w.voc, expression.QTime), ", "),
			"%s has no unit", key)
	default:
		return fail("write it with one of "+strings.Join(expression.UnitsOf(w.voc, expression.QTime), ", "),
			"%s is a time, and this is %s", key, v.Describe())
	}
	switch {
	case v.C < 0:
		return fail("", "%s is below zero", key)
	case positive && v.C == 0:
		return fail("give it more, or leave the key out", "%s is zero", key)
	}
	return v.C
}

// fixed reads a field that holds a constant: a number with its unit, or an expression of
// such numbers and of the car's limits.
func (w *ruleWriter) fixed(key string, literal func(*expression.Node)) (*document.Node, expression.Value, bool) {
	n := w.raw.scalar(key)
	if n == nil {
		return nil, expression.Value{}, false
	}
	tree, m := expression.Parse(n.Value, w.voc)
	if m != nil {
		w.raw.blame(n, m)
		return nil, expression.Value{}, false
	}
	if literal != nil && tree.Kind == expression.NodeNumber {
		literal(tree)
	}
	c := w.checker(&expression.InstancesOf[expression.Once][0], expression.Once)
	v := c.Number(tree)
	for _, m := range append(c.Bad, c.Unknown...) {
		w.raw.blame(n, m)
	}
	switch {
	case v.Q == expression.NoQuantity || len(c.Bad)+len(c.Unknown) > 0:
		return nil, expression.Value{}, false
	case len(c.Missing) > 0:
		w.off = append(w.off, c.Missing...)
		return nil, expression.Value{}, false
	case !v.IsConst || math.IsNaN(v.C):
		w.raw.Bad(n, "write a number with a unit", "%s changes while driving, and %s must not", n.Value, key)
		return nil, expression.Value{}, false
	}
	return n, v, true
}

func (w *ruleWriter) situations() {
	known := w.voc.Situations()
	for _, n := range w.raw.list("suppress_in") {
		i := slices.Index(known, n.Value)
		if i < 0 || i > 63 {
			w.raw.Bad(n, document.OneOf(n.Value, known), "unknown situation %q", n.Value)
			continue
		}
		w.rule.suppress |= 1 << i
	}
}

func (w *ruleWriter) checker(in *expression.Instance, each expression.Each) *expression.Checker {
	return &expression.Checker{Voc: w.voc, In: in, Each: each, Deadband: w.db, HasDeadband: w.hasDB}
}

// A field gathers the mistakes that the instances of a rule make in one scalar.
type field struct {
	node    *document.Node
	bad     []*expression.Mistake
	unknown map[expression.Mistake]int // in how many instances
}

func (fd *field) take(c *expression.Checker) (lacks []expression.Missing) {
	for _, m := range c.Bad {
		if !slices.ContainsFunc(fd.bad, func(o *expression.Mistake) bool {
			return o.Pos == m.Pos &&
				strings.EqualFold(o.Hint, m.Hint)
		}) {
			fd.bad = append(fd.bad, m)
		}
	}
	seen := map[expression.Mistake]bool{}
	for _, m := range c.Unknown {
		if !seen[*m] {
			seen[*m] = true
			fd.unknown[*m]++
		}
		lacks = append(lacks, expression.Missing{Name: c.In.Suffix, Why: m.Msg})
	}
	c.Bad, c.Unknown = nil, nil
	return lacks
}

// tell reports the mistakes that every instance has. A name that only some have is no mistake: it switches the others
// off.
func (fd *field) tell(raw *rawRule, instances int) {
	for _, m := range fd.bad {
		raw.blame(fd.node, m)
	}
	for m, count := range fd.unknown {
		if count == instances {
			raw.blame(fd.node, &m)
		}
	}
}

// instances compiles the rule once for each wheel, axle or side.
func (w *ruleWriter) instances() []compiled {
	raw, r := w.raw, w.rule
	fields := map[string]*field{}
	for _, key := range []string{"when", "say", "say_short", "say_clear", "merge", "merge_short"} {
		if n := raw.scalar(key); n != nil {
			fields[key] = &field{node: n, unknown: map[expression.Mistake]int{}}
		}
	}
	needs := raw.list("needs")
	needUnknown := make([]int, len(needs))
	list := expression.InstancesOf[r.Each]
	var parts []compiled
	moved, placed := false, false
	for i := range list {
		c := w.checker(&list[i], r.Each)
		c.FirstTrack = w.set.tracks
		part := compiled{rule: r, number: i, in: &list[i], suppress: r.suppress}
		off := slices.Clone(w.off)
		for k, n := range needs {
			name, as, ok := c.Resolve(n.Value)
			switch {
			case !ok:
				needUnknown[k]++
				off = append(off, expression.Missing{Name: c.In.Suffix, Why: "unknown name " + n.Value})
			case !name.Available:
				off = append(off, expression.Missing{Name: as, Why: name.Why})
			}
		}
		off = append(off, w.when(c, fields["when"], &part)...)
		part.uses = c.Uses
		c.Uses = nil
		moved = moved || c.DeadbandUsed || part.cond == nil
		learned := c.Learned
		off = append(off, w.words(c, fields, &part)...)
		if part.say != nil && len(part.say.sentences) == 1 {
			learned = c.Learned // without its values there is nothing to say
		}
		placed = placed || c.Placed
		part.trackers, part.firstTrack = c.Tracks, c.FirstTrack
		w.set.tracks += len(c.Tracks)
		w.set.width = max(w.set.width, c.Width)
		w.note(off)
		if len(off) == 0 && part.cond != nil {
			parts = append(parts, part)
			for _, l := range learned {
				if !slices.Contains(r.learned, l) {
					r.learned = append(r.learned, l)
				}
			}
		}
	}
	r.Placed = placed
	for k, n := range needs {
		if needUnknown[k] == len(list) {
			c := w.checker(&list[0], r.Each)
			raw.Bad(n, c.Suggest(n.Value, r.Each), "unknown name %s", n.Value)
		}
	}
	r.merged, r.mergedShort = w.mergedText(fields["merge"]), w.mergedText(fields["merge_short"])
	r.Merge = r.merged != nil
	for _, fd := range fields {
		fd.tell(raw, len(list))
	}
	if w.hasDB && !moved {
		raw.Bad(w.dbNode, "", "the deadband, %s, fits none of the limits in when", w.db.Describe())
	}
	if when := fields["when"]; when != nil {
		var needed []string
		for _, n := range needs {
			needed = append(needed, n.Value)
		}
		r.fingerprint = fmt.Sprintf("%s\n%s\n%v %v %v %v %v %v", when.node.Value, r.Each, w.db.C, r.onDelay, r.offDelay,
			r.latch, r.suppress, needed)
	}
	return parts
}

// note adds a reason why something is off, unless it is there already.
func (w *ruleWriter) note(why []expression.Missing) {
	for _, m := range why {
		if s := m.String(); !slices.Contains(w.rule.why, s) {
			w.rule.why = append(w.rule.why, s)
		}
	}
}

func (w *ruleWriter) when(c *expression.Checker, fd *field, part *compiled) []expression.Missing {
	if fd == nil {
		return nil
	}
	tree, m := expression.Parse(fd.node.Value, w.voc)
	if m != nil {
		c.Bad = append(c.Bad, m)
		return fd.take(c)
	}
	if v := c.Condition(tree, expression.Place{Top: true}); v.Q == expression.QCondition {
		part.cond, part.hold = v.Cond, v.Hold
		w.rule.Momentary = w.rule.Momentary || v.Moment
	}
	if c.Decide != nil {
		part.decide = *c.Decide
	}
	off := append(fd.take(c), c.Missing...)
	c.Missing = nil
	return off
}

// words compiles say, say_short and say_clear. Sentences that can never be said do not matter while one is left.
func (w *ruleWriter) words(c *expression.Checker, fields map[string]*field, part *compiled) (off []expression.Missing) {
	for _, to := range []struct {
		key string
		t   **template
	}{{"say", &part.say}, {"say_short", &part.short}, {"say_clear", &part.clear}} {
		key, fd := to.key, fields[to.key]
		if fd == nil {
			continue
		}
		t := speaker{c}.template(fd.node.Value, scope{})
		off = append(off, fd.take(c)...)
		if t == nil {
			continue
		}
		if len(t.sentences) == 0 {
			if key == "say" {
				off = append(off, t.dropped...)
			} else {
				w.note(t.dropped)
			}
			continue
		}
		w.note(t.dropped)
		*to.t = t
	}
	return off
}

// mergedText compiles merge or merge_short, nil where there is nothing to say.
func (w *ruleWriter) mergedText(fd *field) *template {
	if fd == nil {
		return nil
	}
	if w.rule.Each == expression.Once {
		w.raw.Bad(fd.node, "give the rule each: wheel, axle or side", "there is nothing to merge")
		return nil
	}
	c := w.checker(&expression.InstancesOf[expression.Once][0], w.rule.Each)
	c.NoTracks = "in merge"
	t := speaker{c}.template(fd.node.Value, scope{merge: true})
	fd.bad = append(fd.bad, c.Bad...)
	fd.bad = append(fd.bad, c.Unknown...)
	w.set.width = max(w.set.width, c.Width)
	if t == nil {
		return nil
	}
	w.note(t.dropped)
	if len(t.sentences) == 0 {
		return nil
	}
	return t
}

// answer checks and compiles one answer. One that needs an unavailable name can never be given and is left out.
func (b *builder) answer(raw *rawRule) {
	w := &ruleWriter{builder: b, raw: raw}
	a := answer{ask: raw.name}
	c := w.checker(&expression.InstancesOf[expression.Once][0], expression.Once)
	c.NoTracks = "in an answer"
	tell := func(n *document.Node) {
		for _, m := range append(c.Bad, c.Unknown...) {
			raw.blame(n, m)
		}
		c.Bad, c.Unknown = nil, nil
	}
	if n := raw.scalar("when"); n != nil {
		tree, m := expression.Parse(n.Value, b.voc)
		if m != nil {
			raw.blame(n, m)
		} else {
			a.when = c.Condition(tree, expression.Place{}).Cond
			tell(n)
		}
	}
	n := raw.scalar("say")
	if n == nil {
		if raw.Get("say") == nil {
			raw.Bad(raw.N, "write say: Fuel, {fuel_laps_left} laps.", "the answer has nothing to say")
		}
		return
	}
	a.say = speaker{c}.template(n.Value, scope{})
	tell(n)
	if n := raw.scalar("say_short"); n != nil {
		a.short = speaker{c}.template(n.Value, scope{})
		tell(n)
		if a.short != nil && len(a.short.dropped) > 0 {
			a.short = nil
		}
	}
	b.set.width = max(b.set.width, c.Width)
	if a.say != nil && len(c.Missing) == 0 && len(a.say.dropped) == 0 {
		b.set.answers = append(b.set.answers, a)
	}
}
