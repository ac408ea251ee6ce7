package feed

import (
	"maps"
	"slices"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

// derivedSection compiles the expressions of the derived channels, in their order.
func (p *parser) derivedSection(n *yaml.Node) {
	known := map[channel.ID]bool{}
	for id := range p.at {
		known[id] = true
	}
	for _, e := range p.pairs(n, "derived") {
		id, c, ok := p.target(e.kn, e.key)
		if !ok || id == codec.Time {
			if ok {
				p.bad(e.kn, "", "time cannot be derived")
			}
			continue
		}
		text := p.text(e.n, "an expression")
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
				return 0, didYouMean(name, have, "it is no channel")
			case !known[other]:
				return 0, "the feed does not supply it, or derives it further down"
			}
			return other, ""
		}
		t, needs, err := parseExpression(text, p.set, names)
		if err != nil {
			at := *e.n
			ee := err.(*exprError)
			if at.Style&(yaml.LiteralStyle|yaml.FoldedStyle) == 0 {
				at.Column += ee.at
				if at.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0 {
					at.Column++
				}
			}
			p.bad(&at, ee.hint, "%s: %s", e.key, ee.msg)
			continue
		}
		if t.q != "" && t.q != c.Quantity && !(bare(t.q) && bare(c.Quantity)) {
			p.bad(e.n, "", "%s is a %s, and the expression gives a %s", e.key, c.Quantity, t.q)
		}
		p.together(e, needs)
		p.claim(e.kn, id, e.key, nil)
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
func (p *parser) together(e pair, needs []channel.ID) {
	if len(needs) == 0 {
		p.bad(e.n, "name at least one channel", "%s would be the same for ever", e.key)
		return
	}
	for _, ids := range p.kinds {
		if subset(needs, ids) {
			return
		}
	}
	p.bad(e.n, "a derived channel needs all that it names in one record", "%s names channels that never come together", e.key)
}

func subset(few, many []channel.ID) bool {
	for _, id := range few {
		if !slices.Contains(many, id) {
			return false
		}
	}
	return true
}
