package feedfile

import (
	"errors"
	"slices"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/configs/document"
	"earshot/rules/expression"
)

// words are the names and units of the expressions: the channels that are known so far.
type words struct {
	set   *channel.Set
	known map[channel.ID]bool
}

func (w words) Name(name string) (expression.Name, bool) {
	id, ok := w.set.Lookup(name)
	if !ok {
		return expression.Name{}, false
	}
	c := w.set.At(id)
	return expression.Name{
		Index: int(id), Quantity: string(c.Quantity), Labels: c.Labels, Available: w.known[id],
		Why: "the feed does not supply it, or derives it further down",
	}, true
}

func (w words) Names() []string {
	var have []string
	for id := range w.known {
		if id != codec.Time {
			have = append(have, w.set.At(id).Name)
		}
	}
	slices.Sort(have)
	return have
}

func (w words) Unit(spelling string) (expression.Unit, bool) {
	u, ok := channel.UnitNamed(spelling)
	return expression.Unit{Quantity: string(u.Quantity), Scale: u.Scale, Offset: u.Offset}, ok
}

func (w words) UnitsOf(quantity string) []string   { return channel.UnitsOf(channel.Quantity(quantity)) }
func (w words) Display(string) (string, int, bool) { return "", 0, false }
func (w words) Situations() []string               { return nil }

// derivedSection compiles the expressions of the derived channels, in their order.
func (p *parser) derivedSection(n *document.Node) {
	known := map[channel.ID]bool{}
	for id := range p.at {
		known[id] = true
	}
	for _, e := range p.Pairs(n, "derived") {
		id, c, ok := p.target(e.K, e.Key)
		if !ok || id == codec.Time {
			if ok {
				p.Bad(e.K, "", "time cannot be derived")
			}
			continue
		}
		text := p.Text(e.V, "an expression")
		if text == "" {
			continue
		}
		x, err := expression.New(text, words{p.set, known}, true)
		if m, bad := errors.AsType[*expression.Mistake](err); bad {
			p.BadWithin(e.V, m.Pos, m.Hint, "%s: %s", e.Key, m.Msg)
			continue
		}
		bare := func(q string) bool {
			return q == string(channel.None) || q == string(channel.Ratio) || q == "condition"
		}
		q, want := x.Quantity, string(c.Quantity)
		if q != expression.AnyQuantity && q != want && !(bare(q) && bare(want)) {
			p.Bad(e.V, "", "%s is a %s, and the expression gives a %s", e.Key, c.Quantity, q)
		}
		needs := make([]channel.ID, len(x.Reads))
		for i, r := range x.Reads {
			needs[i] = channel.ID(r)
		}
		p.together(e, needs)
		p.claim(e.K, id, e.Key, nil)
		known[id] = true
		for i, ids := range p.kinds {
			if subset(needs, ids) {
				p.kinds[i] = append(ids, id)
			}
		}
		p.f.Derived = append(p.f.Derived, Derived{id, needs, x})
	}
}

// together refuses an expression over channels that never come in one record.
func (p *parser) together(e document.Pair, needs []channel.ID) {
	if len(needs) == 0 {
		p.Bad(e.V, "name at least one channel", "%s would be the same for ever", e.Key)
		return
	}
	if slices.ContainsFunc(p.kinds, func(ids []channel.ID) bool { return subset(needs, ids) }) {
		return
	}
	p.Bad(e.V, "a derived channel needs all that it names in one record", "%s names channels that never come together", e.Key)
}

func subset(few, many []channel.ID) bool {
	return !slices.ContainsFunc(few, func(id channel.ID) bool { return !slices.Contains(many, id) })
}
