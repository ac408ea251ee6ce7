package story

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"earshot/configs/document"
	"earshot/rules"
)

// A Bench is the rules, car and vocabulary that a story file is tried on.
type Bench struct {
	Rules []rules.Source   // where the file names none
	Words rules.Vocabulary // names, with the limits of the car
	Open  func(name string) ([]byte, error)
	Car   func(name string) (rules.Vocabulary, error) // the names with the limits of another car
}

// A Result is what came of one test.
type Result struct {
	Name  string
	Line  int
	Calls int  // that the file expects
	Good  bool // it was as expected
}

// A call is what an instance of a rule said.
type call struct {
	at       float64
	rule, on string
	text     string
	expected bool
}

func (c call) String() string {
	name := c.rule
	if c.on != "" {
		name += " " + c.on
	}
	return fmt.Sprintf("%s at %.4g s: %q", name, c.at, c.text)
}

const (
	usualStep = 0.1     // s between two looks at the rules
	mostSteps = 1000000 // of one test
)

// Run tries every test of a file. The error joins what is wrong with the file, and everything that was not as
// expected, each as a *document.Error at its place.
func Run(name string, data []byte, b Bench) ([]Result, error) {
	r, top := document.Read(name, data, "a file of tests begins with tests:")
	if top == nil {
		return nil, r.Err()
	}
	o := r.Object(top, "a file of tests", "rules", "car", "limits", "tests")
	if n := r.Scalar(o.Get("car"), "car"); n != nil {
		if voc, err := b.Car(n.Value); err != nil {
			r.Bad(n, "the path is taken from the folder of this file", "%v", err)
		} else {
			b.Words = voc
		}
	}
	for i, n := range r.OneOrMore(o.Get("rules"), "rules") {
		if i == 0 {
			b.Rules = nil
		}
		path := r.Word(n, "rules")
		if path == "" {
			continue
		}
		data, err := b.Open(path)
		if err != nil {
			r.Bad(n, "the path is taken from the folder of this file", "%v", err)
			continue
		}
		b.Rules = append(b.Rules, rules.Source{Name: path, Data: data})
	}
	if !o.Has("tests") {
		r.Bad(top, "write tests: and a list of them, each with name, samples and calls", "there are no tests")
	}
	shared := readLimits(r, o.Get("limits"), b.Words)
	var done []Result
	for _, n := range r.List(o.Get("tests"), "tests", "") {
		t := &test{Reader: r, bench: b, words: &words{Vocabulary: b.Words, limits: []map[string]rules.Name{shared}}}
		before := r.Count()
		t.run(n)
		done = append(done, Result{t.name, n.Line, t.count, r.Count() == before})
	}
	return done, r.Err()
}

// A test is one of a file.
type test struct {
	document.Reader
	bench Bench
	words *words
	name  string
	rows  []row
	calls []call
	count int
	every float64
	ramp  bool
	after float64 // s for which the last readings go on
}

func (t *test) run(n *document.Node) {
	o := t.Object(n, "a test", "name", "limits", "every", "ramp", "after", "samples", "calls", "silent")
	if t.name = t.Word(o.Get("name"), "name"); t.name != "" {
		t.Reader = t.For(fmt.Sprintf("test %q", t.name))
	} else if !o.Has("name") {
		t.Bad(n, "write name: and what is tried", "the test has no name")
	}
	t.words.limits = append(t.words.limits, readLimits(t.Reader, o.Get("limits"), t.bench.Words))
	t.every = usualStep
	if o.Has("every") {
		t.every = t.constant(o.Get("every"), "every", "time")
	}
	if o.Has("after") {
		t.after = t.constant(o.Get("after"), "after", "time")
	}
	t.ramp = t.Flag(o.Get("ramp"), "ramp", false)
	before := t.Count()
	t.samples(o)
	set, err := rules.Compile(t.bench.Rules, t.words)
	for _, e := range document.Errors(err) {
		t.Add(e)
	}
	if t.Count() > before || set == nil {
		return
	}
	if span := t.rows[len(t.rows)-1].at - t.rows[0].at + t.after; !(t.every > 0) || span/t.every > mostSteps {
		t.Bad(o.At("every"), "", "every is more than 0 s, and a test has at most %d steps", mostSteps)
		return
	}
	t.play(set)
	t.compare(o, set)
}

// play shows the samples to the rules and notes what they say.
func (t *test) play(set *rules.Set) {
	mem := set.NewMemory()
	var out []rules.Transition
	step := func(now float64, r *row) {
		out = mem.Step(now, r.env, r.situation, out[:0])
		for _, tr := range out {
			if tr.Say {
				t.calls = append(t.calls, call{at: now, rule: tr.Rule.Name, on: tr.Wheel, text: tr.Text})
			}
		}
	}
	now := row{env: make([]float64, len(t.words.names))}
	for i := range t.rows {
		a := &t.rows[i]
		until := a.at + t.after
		if i+1 < len(t.rows) {
			until = t.rows[i+1].at
		}
		step(a.at, a)
		copy(now.env, a.env)
		now.situation = a.situation
		for k := range now.env {
			if t.words.known[k].Momentary {
				now.env[k] = 0
			}
		}
		for n := 1; ; n++ {
			at := a.at + float64(n)*t.every
			if at >= until-t.every/1000 {
				break
			}
			if t.ramp && i+1 < len(t.rows) {
				t.slide(now.env, a, &t.rows[i+1], (at-a.at)/(until-a.at))
			}
			step(at, &now)
		}
	}
	if last := &t.rows[len(t.rows)-1]; t.after > 0 {
		now.situation = last.situation
		step(last.at+t.after, &now)
	}
}

// slide interpolates the readings that have a unit between two rows.
func (t *test) slide(env []float64, a, b *row, part float64) {
	for k := range env {
		if t.words.known[k].Quantity != "number" {
			env[k] = a.env[k] + part*(b.env[k]-a.env[k])
		}
	}
}

// A span is the time in which a call is expected or not.
type span struct{ from, to float64 }

// span reads at: or between:, all time where there is neither.
func (t *test) span(o document.Object) span {
	s := span{math.Inf(-1), math.Inf(1)}
	if o.Has("at") && o.Has("between") {
		t.Bad(o.Key("between"), "take one of the two out", "at and between exclude each other")
	}
	if n := o.Get("at"); n != nil {
		at := t.constant(n, "at", "time")
		return span{at - t.every/2, at + t.every/2}
	}
	if n := o.Get("between"); n != nil {
		l := t.List(n, "between", "write it as [first, last]")
		if len(l) != 2 {
			t.Bad(n, "write it as [first, last]", "between has two times")
			return s
		}
		s = span{t.constant(l[0], "between", "time"), t.constant(l[1], "between", "time")}
		if s.from > s.to {
			t.Bad(n, "write it as [first, last]", "between ends before it begins")
		}
	}
	return s
}

// rule reads which rule is meant, and which of its instances; on is "" for any.
func (t *test) rule(o document.Object, set *rules.Set) (name, on string) {
	var names []string
	for _, r := range set.Rules() {
		names = append(names, r.Name)
	}
	if !o.Has("rule") {
		t.Bad(o.N, "write rule: and its name", "which rule is meant is missing")
		return "", ""
	}
	if name = t.Word(o.Get("rule"), "rule"); name != "" && !slices.Contains(names, name) {
		t.Bad(o.Get("rule"), document.Meant(name, names, "earshot check lists them"), "there is no rule %q", name)
		return "", ""
	}
	return name, t.Choice(o.Get("on"), "on", "fl", "fr", "rl", "rr", "front", "rear", "left", "right")
}

// compare tells where the calls are not as expected.
func (t *test) compare(o document.Object, set *rules.Set) {
	named := map[string]bool{}
	for _, n := range t.List(o.Get("calls"), "calls", "") {
		t.count++
		e := t.Object(n, "a call", "rule", "on", "at", "between", "text")
		name, on := t.rule(e, set)
		text, when := t.Text(e.Get("text"), "text"), t.span(e)
		if name == "" {
			continue
		}
		named[name] = true
		fits := func(c call) bool {
			return !c.expected && c.rule == name && (on == "" || c.on == on) && c.at >= when.from && c.at <= when.to
		}
		i := slices.IndexFunc(t.calls, func(c call) bool { return fits(c) && (text == "" || c.text == text) })
		if i < 0 {
			if i = slices.IndexFunc(t.calls, fits); i >= 0 {
				t.Bad(e.Get("text"), "", "it said other words: %s", t.calls[i])
			}
		}
		if i >= 0 {
			t.calls[i].expected = true
			continue
		}
		t.Bad(n, t.instead(name, set), "%s did not say it", strings.TrimSpace(name+" "+on))
	}
	for _, c := range t.calls {
		if named[c.rule] && !c.expected {
			t.Bad(o.Get("calls"), "", "not expected: %s", c)
		}
	}
	for _, n := range t.OneOrMore(o.Get("silent"), "silent") {
		t.silent(n, set, named)
	}
	if !o.Has("calls") && !o.Has("silent") {
		t.Bad(o.N, "write calls: or silent:", "the test expects nothing")
	}
}

// silent reads a rule that must say nothing: its name, a mapping with a time, or others for all that calls do not name.
func (t *test) silent(n *document.Node, set *rules.Set, named map[string]bool) {
	name, on, when := "", "", span{math.Inf(-1), math.Inf(1)}
	switch {
	case document.IsMapping(n):
		e := t.Object(n, "an entry of silent", "rule", "on", "at", "between")
		name, on = t.rule(e, set)
		when = t.span(e)
	case document.IsScalar(n) && n.Value == "others":
	default:
		name = t.Word(n, "silent")
		if set.Rule(name) == nil {
			var names []string
			for _, r := range set.Rules() {
				names = append(names, r.Name)
			}
			hint := document.Meant(name, append(names, "others"), "write the name of a rule, or others")
			t.Bad(n, hint, "there is no rule %q", name)
			return
		}
	}
	for _, c := range t.calls {
		meant := c.rule == name || name == "" && !named[c.rule] && document.IsScalar(n)
		if meant && (on == "" || c.on == on) && c.at >= when.from && c.at <= when.to {
			t.Bad(n, "", "it should be silent, and it said: %s", c)
		}
	}
}

// instead tells what the rule said, or why it said nothing.
func (t *test) instead(name string, set *rules.Set) string {
	var said []string
	for _, c := range t.calls {
		if c.rule == name {
			said = append(said, c.String())
		}
	}
	if said != nil {
		return "it said " + strings.Join(said, "; ")
	}
	for _, r := range set.Rules() {
		if r.Name == name && len(r.Why) > 0 && len(r.Instances) == 0 {
			return "it is off: " + strings.Join(r.Why, "; ")
		}
	}
	return "it said nothing"
}
