package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"earshot/configs/document"
)

// switchOnly marks a spec that does nothing but switch a rule of an earlier file off or on.
const switchOnly Each = "switch"

// defaultExpires is how long what is said of an event, or of the end of a state, waits for room where a rule does not tell, in seconds:
// about the length of a straight and the corner before it (common practice, no source).
const defaultExpires = 10.0

// rule checks and compiles one rule; nil after a mistake that leaves nothing to go on with.
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
			raw.Bad(raw.N, document.Meant(raw.name, names, ""), "no earlier file has this rule, so it cannot be switched off or on")
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
		Each:       Each(raw.choice("each", string(Once), string(EachWheel), string(EachAxle), string(EachSide))),
		Priority:   Priority(raw.choice("priority", string(Advisory), string(Caution), string(Warning))),
		Clear:      Priority(raw.choice("clear_priority", string(Advisory), string(Caution), string(Warning))),
		Where:      Where(raw.choice("where", string(Anywhere), string(Straight), string(Line))),
		EndOnly:    raw.Get("say") == nil,
		latch:      raw.Flag(raw.Get("latch"), "latch", false),
		Importance: Importance(raw.choice("importance", string(NormalImportance), string(LowImportance), string(HighImportance))),
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
	for _, pair := range [][2]string{{"say_short", "say"}, {"merge_short", "merge"}, {"clear_priority", "say_clear"}, {"repeat_later", "repeat"}} {
		if n := raw.Get(pair[0]); n != nil && raw.Get(pair[1]) == nil {
			raw.Bad(n, "write "+pair[1]+" as well", "there is no %s for this %s", pair[1], pair[0])
		}
	}
	parts := w.instances()
	if raw.Count() > before {
		// Parts of it are wrong; its name is still taken, so that the rest can be judged.
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
	db     value
	hasDB  bool
	dbNode *document.Node
	off    []missing // what switches all instances off
}

func (w *ruleWriter) times() {
	w.rule.onDelay = w.duration("on_delay", 0, false)
	w.rule.offDelay = w.duration("off_delay", 0, false)
	w.rule.repeat = w.duration("repeat", 0, true)
	w.rule.repeatLater = w.duration("repeat_later", w.rule.repeat, true)
	w.rule.Expires = w.duration("expires", defaultExpires, true)
	n, v, ok := w.fixed("deadband", func(lit *node) {
		if lit.u.Quantity == qTemp { // 20 °C can only be meant as a difference here
			lit.u = Unit{qTempDiff, lit.u.Scale, 0}
		}
	})
	if !ok {
		return
	}
	if v.c < 0 {
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
	case v.q == qTime || v.bare && v.c == 0:
	case v.bare:
		return fail("write it with one of "+strings.Join(unitsOf(w.voc, qTime), ", "), "%s has no unit", key)
	default:
		return fail("write it with one of "+strings.Join(unitsOf(w.voc, qTime), ", "), "%s is a time, and this is %s", key, v.describe())
	}
	switch {
	case v.c < 0:
		return fail("", "%s is below zero", key)
	case positive && v.c == 0:
		return fail("give it more, or leave the key out", "%s is zero", key)
	}
	return v.c
}

// fixed reads a field that holds a constant: a number with its unit, or an expression of
// such numbers and of the car's limits.
func (w *ruleWriter) fixed(key string, literal func(*node)) (*document.Node, value, bool) {
	n := w.raw.scalar(key)
	if n == nil {
		return nil, value{}, false
	}
	tree, m := parse(n.Value, w.voc)
	if m != nil {
		w.raw.blame(n, m)
		return nil, value{}, false
	}
	if literal != nil && tree.kind == nNumber {
		literal(tree)
	}
	c := w.checker(&instancesOf[Once][0], Once)
	v := c.number(tree)
	for _, m := range append(c.bad, c.unknown...) {
		w.raw.blame(n, m)
	}
	switch {
	case v.q == noQuantity || len(c.bad)+len(c.unknown) > 0:
		return nil, value{}, false
	case len(c.missing) > 0:
		w.off = append(w.off, c.missing...)
		return nil, value{}, false
	case !v.isConst || math.IsNaN(v.c):
		w.raw.Bad(n, "write a number with a unit", "%s changes while driving, and %s must not", n.Value, key)
		return nil, value{}, false
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

func (w *ruleWriter) checker(in *instance, each Each) *checker {
	return &checker{voc: w.voc, in: in, each: each, db: w.db, hasDB: w.hasDB}
}

// A field gathers the mistakes that the instances of a rule make in one scalar.
type field struct {
	node    *document.Node
	bad     []*Mistake
	unknown map[Mistake]int // in how many instances
}

func (fd *field) take(c *checker) (lacks []missing) {
	for _, m := range c.bad {
		if !slices.ContainsFunc(fd.bad, func(o *Mistake) bool { return o.pos == m.pos && strings.EqualFold(o.hint, m.hint) }) {
			fd.bad = append(fd.bad, m)
		}
	}
	seen := map[Mistake]bool{}
	for _, m := range c.unknown {
		if !seen[*m] {
			seen[*m] = true
			fd.unknown[*m]++
		}
		lacks = append(lacks, missing{c.in.suffix, m.msg})
	}
	c.bad, c.unknown = nil, nil
	return lacks
}

// tell reports what is wrong in every instance: a name that only some of them have switches the
// others off and is no mistake.
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
			fields[key] = &field{node: n, unknown: map[Mistake]int{}}
		}
	}
	needs := raw.list("needs")
	needUnknown := make([]int, len(needs))
	list := instancesOf[r.Each]
	var parts []compiled
	moved, placed := false, false
	for i := range list {
		c := w.checker(&list[i], r.Each)
		c.firstTrack = w.set.tracks
		part := compiled{rule: r, number: i, in: &list[i], suppress: r.suppress}
		off := slices.Clone(w.off)
		for k, n := range needs {
			name, as, ok := c.resolve(n.Value)
			switch {
			case !ok:
				needUnknown[k]++
				off = append(off, missing{c.in.suffix, "unknown name " + n.Value})
			case !name.Available:
				off = append(off, missing{as, name.Why})
			}
		}
		off = append(off, w.when(c, fields["when"], &part)...)
		part.uses = c.uses
		c.uses = nil
		moved = moved || c.dbUsed || part.cond == nil
		learned := c.learned
		off = append(off, w.words(c, fields, &part)...)
		if part.say != nil && len(part.say.sentences) == 1 {
			learned = c.learned // without its values there is nothing to say
		}
		placed = placed || c.placed
		part.trackers, part.firstTrack = c.tracks, c.firstTrack
		w.set.tracks += len(c.tracks)
		w.set.width = max(w.set.width, c.width)
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
			raw.Bad(n, c.suggest(n.Value, r.Each), "unknown name %s", n.Value)
		}
	}
	r.merged, r.mergedShort = w.mergedText(fields["merge"]), w.mergedText(fields["merge_short"])
	r.Merge = r.merged != nil
	for _, fd := range fields {
		fd.tell(raw, len(list))
	}
	if w.hasDB && !moved {
		raw.Bad(w.dbNode, "", "the deadband, %s, fits none of the limits in when", w.db.describe())
	}
	if when := fields["when"]; when != nil {
		var needed []string
		for _, n := range needs {
			needed = append(needed, n.Value)
		}
		r.print = fmt.Sprintf("%s\n%s\n%v %v %v %v %v %v", when.node.Value, r.Each, w.db.c, r.onDelay, r.offDelay, r.latch, r.suppress, needed)
	}
	return parts
}

// note keeps a reason why something is off, once.
func (w *ruleWriter) note(why []missing) {
	for _, m := range why {
		if s := m.String(); !slices.Contains(w.rule.why, s) {
			w.rule.why = append(w.rule.why, s)
		}
	}
}

func (w *ruleWriter) when(c *checker, fd *field, part *compiled) []missing {
	if fd == nil {
		return nil
	}
	tree, m := parse(fd.node.Value, w.voc)
	if m != nil {
		c.bad = append(c.bad, m)
		return fd.take(c)
	}
	if v := c.condition(tree, place{top: true}); v.q == qCondition {
		part.cond, part.hold = v.cond, v.hold
		w.rule.Momentary = w.rule.Momentary || v.moment
	}
	if c.decide != nil {
		part.decide = *c.decide
	}
	off := append(fd.take(c), c.missing...)
	c.missing = nil
	return off
}

// words compiles say, say_short and say_clear. What they cannot say does not matter as long as something is left.
func (w *ruleWriter) words(c *checker, fields map[string]*field, part *compiled) (off []missing) {
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
	if w.rule.Each == Once {
		w.raw.Bad(fd.node, "give the rule each: wheel, axle or side", "there is nothing to merge")
		return nil
	}
	c := w.checker(&instancesOf[Once][0], w.rule.Each)
	c.noTracks = "in merge"
	t := speaker{c}.template(fd.node.Value, scope{merge: true})
	fd.bad = append(fd.bad, c.bad...)
	fd.bad = append(fd.bad, c.unknown...)
	w.set.width = max(w.set.width, c.width)
	if t == nil {
		return nil
	}
	w.note(t.dropped)
	if len(t.sentences) == 0 {
		return nil
	}
	return t
}

// answer checks and compiles one answer. One that rests on what is not available is never given and so is left out.
func (b *builder) answer(raw *rawRule) {
	w := &ruleWriter{builder: b, raw: raw}
	a := answer{ask: raw.name}
	c := w.checker(&instancesOf[Once][0], Once)
	c.noTracks = "in an answer"
	tell := func(n *document.Node) {
		for _, m := range append(c.bad, c.unknown...) {
			raw.blame(n, m)
		}
		c.bad, c.unknown = nil, nil
	}
	if n := raw.scalar("when"); n != nil {
		tree, m := parse(n.Value, b.voc)
		if m != nil {
			raw.blame(n, m)
		} else {
			a.when = c.condition(tree, place{}).cond
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
	b.set.width = max(b.set.width, c.width)
	if a.say != nil && len(c.missing) == 0 && len(a.say.dropped) == 0 {
		b.set.answers = append(b.set.answers, a)
	}
}
