package feedfile

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/configs/document"
)

// keys lists what may stand where the parser begins: at the top of the file or in one of its sources.
func (p *parser) keys() []string {
	keys := append(slices.Clone(topKeys), codecs...)
	if !p.part {
		return append(keys, "sources", "prefer")
	}
	keys = slices.DeleteFunc(keys, func(k string) bool { return k == "car" || k == "own_channels" || k == "derived" })
	return append(keys, "offset")
}

// shared reads what stands above the sources; done tells that the file has several and they have been read.
func (p *parser) shared(o document.Object) (done bool) {
	if p.part {
		return false
	}
	if o.Has("sources") {
		p.sourcesSection(o)
		return true
	}
	if o.Has("prefer") {
		p.Bad(o.Get("prefer"), "take it out, or write several sources", "one source has nothing to prefer")
	}
	return false
}

// sourcesSection reads a feed of several sources. own_channels has been read.
func (p *parser) sourcesSection(o document.Object) {
	f := p.f
	for _, key := range append(slices.Clone(topKeys), codecs...) {
		if o.Has(key) && !slices.Contains([]string{"name", "about", "car", "own_channels", "derived"}, key) {
			p.Bad(o.Get(key), "write it in each of the sources", "a file with sources has no %s of its own", key)
		}
	}
	givers := map[channel.ID][]int{} // index of the sources that give a channel
	nodes := map[channel.ID]*document.Node{}
	for i, n := range p.List(o.Get("sources"), "sources", "") {
		sub := &parser{Reader: p.Reader, set: p.set, f: &File{Path: p.f.Path}, at: map[channel.ID]*document.Node{}, part: true, open: p.open, bases: p.bases}
		s := Part{File: sub.f}
		so := sub.top(n)
		if document.IsMapping(n) {
			s.Name = sub.f.Name
			switch {
			case s.Name == "":
				sub.Bad(n, "write name: gps, or what it is", "the name of source %d is missing", i+1)
			case strings.Trim(s.Name, "abcdefghijklmnopqrstuvwxyz0123456789_-") != "":
				sub.Bad(so.Get("name"), "", "the name of a source has lower-case letters, digits, _ and -")
			case slices.ContainsFunc(f.Parts, func(other Part) bool { return other.Name == s.Name }):
				sub.Bad(so.Get("name"), "", "two sources are called %s", s.Name)
			}
			s.Offset = sub.quantity(so.Get("offset"), "offset", channel.Time, 0)
		}
		for id, at := range sub.at {
			if id == codec.Time {
				continue
			}
			givers[id] = append(givers[id], i)
			if p.at[id] == nil {
				p.at[id] = at
			}
			nodes[id] = at
		}
		f.Parts = append(f.Parts, s)
		if first := f.Parts[0].File.Transport; s.File.Transport.Kind != "" && first.Kind != "" && first.Live() != s.File.Transport.Live() {
			p.Bad(n, "a file gives everything at once; replay all sources from files, or take all of them live", "files and live sources do not join")
		}
	}
	if o.Has("sources") && len(f.Parts) == 0 {
		p.Bad(o.Get("sources"), "write a list of sources, each with name, transport, codec and channels", "there is no source")
	}
	p.prefer(o, givers, nodes)
	p.kinds = [][]channel.ID{slices.Collect(maps.Keys(p.at))}
	p.derivedSection(o.Get("derived"))
	f.Covers = slices.Sorted(maps.Keys(p.at))
	f.Clock.Own = len(f.Parts) > 0
	for _, s := range f.Parts {
		f.Clock.Own = f.Clock.Own && s.File.Clock.Own
	}
}

// prefer reads which source gives a channel that several have.
func (p *parser) prefer(o document.Object, givers map[channel.ID][]int, nodes map[channel.ID]*document.Node) {
	var names []string
	for _, s := range p.f.Parts {
		names = append(names, s.Name)
	}
	p.f.Prefer = map[channel.ID][]int{}
	for _, e := range p.Pairs(o.Get("prefer"), "prefer") {
		list := p.OneOrMore(e.V, "prefer")
		id, known := p.set.Lookup(e.Key)
		ids := []channel.ID{id}
		if first, ok := p.set.Lookup(e.Key + "_fl"); !known && ok {
			known, ids = true, channel.Four(first)
		}
		if !known || len(givers[ids[0]]) == 0 {
			p.Bad(e.K, "", "no source gives %s", e.Key)
			continue
		}
		for _, id := range ids {
			var order []int
			for _, n := range list {
				s := p.Choice(n, "the source of "+e.Key, names...)
				i := slices.Index(names, s)
				if i < 0 {
					continue
				}
				if !slices.Contains(givers[id], i) {
					p.Bad(n, "", "source %s does not give %s", s, e.Key)
					continue
				}
				if !slices.Contains(order, i) {
					order = append(order, i)
				}
			}
			for _, i := range givers[id] { // the others follow in the order of the file
				if !slices.Contains(order, i) {
					order = append(order, i)
				}
			}
			p.f.Prefer[id] = order
		}
	}
	for id, list := range givers {
		if len(list) > 1 && p.f.Prefer[id] == nil {
			name := p.set.At(id).Name
			p.Bad(nodes[id], "write prefer: {"+name+": "+names[list[0]]+"}: it wins while its reading is fresh", "%s is given by %s and by %s", name, names[list[0]], names[list[1]])
		}
	}
	maps.DeleteFunc(p.f.Prefer, func(_ channel.ID, list []int) bool { return len(list) < 2 })
}

// changes notes a channel of which a repeated value is no new reading.
func (p *parser) changes(n *document.Node, m mapped) {
	if n == nil || document.IsScalar(n) && n.Value == "false" {
		return
	}
	group := p.Text(n, "changes")
	switch {
	case m.id == codec.Time:
		p.Bad(n, "take it out", "time has no changes")
		return
	case group == "true":
		group = "= " + strconv.Itoa(int(m.id)) // no word that can be written
	}
	p.f.Changes = append(p.f.Changes, Change{m.id, group})
}
