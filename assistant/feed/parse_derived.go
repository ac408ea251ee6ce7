package feed

import (
	"maps"
	"slices"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/configs/document"
)

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
		names := func(name string) (channel.ID, string) {
			other, ok := p.set.Lookup(name)
			switch {
			case !ok:
				var have []string
				for id := range maps.Keys(known) {
					if id != codec.Time {
						have = append(have, p.set.At(id).Name)
					}
				}
				slices.Sort(have)
				return 0, document.Meant(name, have, "it is no channel")
			case !known[other]:
				return 0, "the feed does not supply it, or derives it further down"
			}
			return other, ""
		}
		t, needs, err := parseExpression(text, p.set, names)
		if err != nil {
			ee := err.(*exprError)
			p.BadWithin(e.V, ee.at, ee.hint, "%s: %s", e.Key, ee.msg)
			continue
		}
		if t.q != "" && t.q != c.Quantity && !(bare(t.q) && bare(c.Quantity)) {
			p.Bad(e.V, "", "%s is a %s, and the expression gives a %s", e.Key, c.Quantity, t.q)
		}
		p.together(e, needs)
		p.claim(e.K, id, e.Key, nil)
		known[id] = true
		for i, ids := range p.kinds {
			if subset(needs, ids) {
				p.kinds[i] = append(ids, id)
			}
		}
		p.f.derived = append(p.f.derived, derivation{id, needs, t.eval})
	}
}

// together refuses an expression over channels that never come in one record.
func (p *parser) together(e document.Pair, needs []channel.ID) {
	if len(needs) == 0 {
		p.Bad(e.V, "name at least one channel", "%s would be the same for ever", e.Key)
		return
	}
	for _, ids := range p.kinds {
		if subset(needs, ids) {
			return
		}
	}
	p.Bad(e.V, "a derived channel needs all that it names in one record", "%s names channels that never come together", e.Key)
}

func subset(few, many []channel.ID) bool {
	for _, id := range few {
		if !slices.Contains(many, id) {
			return false
		}
	}
	return true
}
