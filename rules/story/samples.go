package story

import (
	"errors"
	"math"
	"slices"

	"earshot/configs/document"
	"earshot/rules"
	"earshot/rules/expression"
)

// words is the vocabulary of a test: the names in its samples are available, others are not.
type words struct {
	rules.Vocabulary
	limits []map[string]rules.Name // the later ones win
	names  []string                // of the samples
	known  []rules.Name
}

// Name looks a name up.
func (w *words) Name(name string) (rules.Name, bool) {
	for _, l := range slices.Backward(w.limits) {
		if n, ok := l[name]; ok {
			return n, true
		}
	}
	if i := slices.Index(w.names, name); i >= 0 {
		return w.known[i], true
	}
	n, ok := w.Vocabulary.Name(name)
	if ok && !n.Const {
		n.Available, n.Why = false, "no sample of the test has it"
	}
	return n, ok
}

// A row is a sample: its time, all readings at that time, and the situation.
type row struct {
	at        float64
	env       []float64
	situation uint64
}

// constant reads a number with its unit; NaN after a mistake.
func (t *test) constant(n *document.Node, what, quantity string) float64 {
	return constant(t.Reader, n, what, quantity, t.bench.Words)
}

func constant(r document.Reader, n *document.Node, what, quantity string, voc rules.Vocabulary) float64 {
	if n = r.Scalar(n, what); n == nil {
		return math.NaN()
	}
	x, _, err := expression.Constant(n.Value, quantity, voc)
	blame(r, n, what, err)
	return x
}

// blame reports a mistake in a constant.
func blame(r document.Reader, n *document.Node, what string, err error) bool {
	m, bad := errors.AsType[*expression.Mistake](err)
	if bad {
		r.BadWithin(n, m.Pos, m.Hint, "%s is %q: %s", what, n.Value, m.Msg)
	}
	return bad
}

// readLimits reads limits of the car that hold in place of its own.
func readLimits(r document.Reader, n *document.Node, voc rules.Vocabulary) map[string]rules.Name {
	limits := map[string]rules.Name{}
	for _, p := range r.Pairs(n, "limits") {
		if name, ok := voc.Name(p.Key); ok && !name.Const {
			r.Bad(p.K, "write it into the samples", "%s is no limit but a channel", p.Key)
			continue
		} else if v := r.Scalar(p.V, p.Key); v != nil {
			x, is, err := expression.Constant(v.Value, name.Quantity, voc)
			if blame(r, v, p.Key, err) {
				continue
			}
			if name.Quantity != "" {
				is = name.Quantity
			}
			limits[p.Key] = rules.Name{Quantity: is, Const: true, Value: x, Available: true}
		}
	}
	return limits
}

// samples reads the rows. A reading holds until the next row that has it.
func (t *test) samples(o document.Object) {
	list := t.List(o.Get("samples"), "samples", "write rows such as - {t: 0 s, speed: 120 km/h}")
	if len(list) == 0 {
		t.Bad(o.At("samples"), "write samples: and rows such as - {t: 0 s, speed: 120 km/h}", "the test has no samples")
		return
	}
	all := make([][]document.Pair, len(list))
	for i, n := range list {
		all[i] = t.Pairs(n, "a sample")
		for _, p := range all[i] {
			if p.Key != "t" && p.Key != "situation" && !slices.Contains(t.words.names, p.Key) {
				t.meet(p)
			}
		}
	}
	now := row{at: math.NaN(), env: make([]float64, len(t.words.names))}
	for k := range now.env {
		if !t.words.known[k].Momentary {
			now.env[k] = math.NaN()
		}
	}
	for i, n := range list {
		last := now.at
		now.at = math.NaN()
		for k := range now.env {
			if t.words.known[k].Momentary {
				now.env[k] = 0
			}
		}
		for _, p := range all[i] {
			switch p.Key {
			case "t":
				now.at = t.constant(p.V, "t", "time")
			case "situation":
				now.situation = t.situation(p.V)
			default:
				if k := slices.Index(t.words.names, p.Key); k >= 0 {
					now.env[k] = t.value(p.V, p.Key, t.words.known[k])
				}
			}
		}
		switch {
		case !slices.ContainsFunc(all[i], func(p document.Pair) bool { return p.Key == "t" }):
			t.Bad(n, "write for example t: 1.5 s", "the sample has no time")
		case now.at <= last:
			t.Bad(n, "", "a sample is later than the one before it")
		}
		t.rows = append(t.rows, row{now.at, slices.Clone(now.env), now.situation})
	}
}

// meet notes a name of a sample as available.
func (t *test) meet(p document.Pair) {
	n, ok := t.bench.Words.Name(p.Key)
	switch {
	case !ok:
		hint := document.Meant(p.Key, t.bench.Words.Names(), "earshot channels lists the names that there are")
		t.Bad(p.K, hint, "there is no channel %q", p.Key)
	case n.Const:
		t.Bad(p.K, "write it under limits:", "%s is a limit of the car", p.Key)
	default:
		n.Available, n.Why, n.Index = true, "", len(t.words.names)
		t.words.names, t.words.known = append(t.words.names, p.Key), append(t.words.known, n)
	}
}

// value reads a reading: a number with its unit, a label, true or false, or unknown.
func (t *test) value(n *document.Node, what string, name rules.Name) float64 {
	switch {
	case document.IsNull(n) || document.IsScalar(n) && n.Value == "unknown":
		return math.NaN()
	case name.Labels != nil:
		return float64(slices.Index(name.Labels, t.Choice(n, what, name.Labels...)))
	case document.IsScalar(n) && n.Value == "true":
		return 1
	case document.IsScalar(n) && n.Value == "false":
		return 0
	}
	return t.constant(n, what, name.Quantity)
}

func (t *test) situation(n *document.Node) (bits uint64) {
	known := t.bench.Words.Situations()
	for _, s := range t.OneOrMore(n, "situation") {
		if i := slices.Index(known, t.Choice(s, "situation", known...)); i >= 0 {
			bits |= 1 << i
		}
	}
	return bits
}
