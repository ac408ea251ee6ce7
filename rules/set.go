package rules

import (
	"errors"
	"slices"
	"strings"

	"earshot/configs/document"
	"earshot/rules/expression"
)

// A Source is one rules file.
type Source struct {
	Name string // for messages; its base name without the ending is the group of its rules
	Data []byte
}

// A Set is the compiled rules. It does not change and may be shared.
type Set struct {
	rules     []*Rule
	byName    map[string]*Rule
	infos     []RuleInfo
	instances []compiled
	tracks    int // how many tracks a Memory needs
	answers   []answer
	asks      []string
	phrases   []string
	width     int // how long env must be
	watches   []watch
}

// compiled is one instance of a rule.
type compiled struct {
	rule       *Rule
	number     int
	in         *expression.Instance
	cond, hold expression.Cond
	suppress   uint64
	trackers   []expression.Tracker
	firstTrack int
	decide     expression.Decision
	uses       map[int]*expression.Use
	say, clear *template
	short      *template // of say, nil where there is none
}

type answer struct {
	ask   string
	when  expression.Cond // nil: always
	say   *template
	short *template // nil where there is none
}

// mostRules bounds all files together: each rule costs time with every sample.
const mostRules = 1000

// Compile reads rules files. A rule of a later file takes the place of one of the same name from
// an earlier file, and `name: x` with `off: true` switches it off; likewise the answers of a later
// file to one question take the place of those of earlier files. The error joins every mistake of
// every file as *document.Error, in the order of the files and of the places within them.
func Compile(files []Source, voc expression.Vocabulary) (*Set, error) {
	count := 0
	b := &builder{voc: voc, set: &Set{byName: map[string]*Rule{}}}
	var all []error
	for i, src := range files {
		f := readFile(src)
		if slices.ContainsFunc(files[:i], func(earlier Source) bool { return earlier.Name == src.Name }) {
			f.Bad(nil, "", "the file is read twice")
		}
		if count += len(f.rules); count > mostRules {
			f.Bad(nil, "merge rules with each:, or take some out",
				"with this file there are %d rules, and no more than %d may be", count, mostRules)
		} else {
			b.file(f)
		}
		for _, e := range document.Errors(f.Err()) {
			all = append(all, e)
		}
	}
	if len(all) > 0 {
		return nil, errors.Join(all...)
	}
	return b.finish(), nil
}

// Rules describes every rule, also those that are off, in the order of the files.
func (s *Set) Rules() []RuleInfo {
	out := slices.Clone(s.infos)
	for i := range out {
		out[i].Why = slices.Clone(out[i].Why)
		out[i].Instances = slices.Clone(out[i].Instances)
		out[i].Learned = slices.Clone(out[i].Learned)
	}
	return out
}

// Rule returns the rule of that name, nil where there is none.
func (s *Set) Rule(name string) *Rule { return s.byName[name] }

// Phrases lists every static text that the rules and answers may say, and the names of the values
// that they name, sorted. Spelled numbers are those of package spoken.
func (s *Set) Phrases() []string { return slices.Clone(s.phrases) }

// Asks lists the questions to which there are answers, in the order of the files.
func (s *Set) Asks() []string { return slices.Clone(s.asks) }

// Answer gives the first answer to ask whose condition is true and whose values are all known. short is
// its say_short, "" where it has none.
func (s *Set) Answer(ask string, env []float64) (text, short string, ok bool) {
	f := expression.Frame{Env: s.fit(env)}
	for i := range s.answers {
		a := &s.answers[i]
		if a.ask != ask || a.when != nil && a.when(&f) != expression.IsTrue {
			continue
		}
		if text, whole := a.say.render(&f, 0); whole && text != "" {
			return text, a.short.words(&f, 0), true
		}
	}
	return "", "", false
}

// Merged gives the one text for several instances of a rule; members has a bit for each. A glob in it
// stands for those members only. ok is false where the rule has no such text or a value in it is unknown and
// nothing else is left to say. short is its merge_short, "" where it has none.
func (s *Set) Merged(rule *Rule, members uint64, env []float64) (text, short string, ok bool) {
	if rule == nil || members == 0 {
		return "", "", false
	}
	f := expression.Frame{Env: s.fit(env), Members: members}
	text = rule.merged.words(&f, members)
	return text, rule.mergedShort.words(&f, members), text != ""
}

func (s *Set) fit(env []float64) []float64 { return expression.Fit(env, s.width) }

// A builder gathers the files into a Set.
type builder struct {
	voc   expression.Vocabulary
	set   *Set
	specs []*spec
}

// A spec is a rule with its instances before they are put into the Set.
type spec struct {
	rule  *Rule
	parts []compiled // those that are watched, if the rule is on
	off   string     // why it was switched off by a file, else ""
}

func (b *builder) file(f *file) {
	for _, raw := range f.rules {
		at := slices.IndexFunc(b.specs, func(s *spec) bool { return s.rule.Name == raw.name })
		sp := b.rule(raw, at >= 0)
		switch {
		case sp == nil:
		case at < 0:
			b.specs = append(b.specs, sp)
		case sp.rule.Each == switchOnly:
			b.specs[at].off = sp.off
		default:
			b.specs[at] = sp
		}
	}
	var asked []string
	for _, raw := range f.asks {
		if !slices.Contains(asked, raw.name) {
			asked = append(asked, raw.name)
			b.set.answers = slices.DeleteFunc(b.set.answers, func(a answer) bool { return a.ask == raw.name })
		}
		b.answer(raw)
	}
}

func (b *builder) finish() *Set {
	s := b.set
	seen := map[string]bool{}
	add := func(text string) {
		if text = strings.Trim(text, " .,!?:;"); text != "" && !seen[text] {
			seen[text] = true
			s.phrases = append(s.phrases, text)
		}
	}
	for _, sp := range b.specs {
		r := sp.rule
		if sp.off != "" {
			sp.parts = nil
		}
		info := RuleInfo{Name: r.Name, Group: r.Group, File: r.File, Line: r.Line, Priority: r.Priority, Why: r.why,
			Learned: r.learned, Active: len(sp.parts) > 0}
		if !info.Active {
			info.Learned = nil
		}
		if sp.off != "" {
			info.Why = []string{sp.off}
		}
		r.cells = [4]int{-1, -1, -1, -1}
		for _, p := range sp.parts {
			r.cells[p.number] = len(s.instances)
			s.instances = append(s.instances, p)
			info.Instances = append(info.Instances, p.in.Suffix)
			for _, t := range []*template{p.say, p.short, p.clear} {
				t.phrases(add)
			}
		}
		if info.Active {
			r.merged.phrases(add)
			r.mergedShort.phrases(add)
		}
		s.rules = append(s.rules, r)
		s.byName[r.Name] = r
		s.infos = append(s.infos, info)
	}
	for _, a := range s.answers {
		a.say.phrases(add)
		a.short.phrases(add)
		if !slices.Contains(s.asks, a.ask) {
			s.asks = append(s.asks, a.ask)
		}
	}
	slices.Sort(s.phrases)
	s.watches = watchesOf(s.instances)
	return s
}
