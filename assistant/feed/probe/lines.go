package probe

import (
	"strconv"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
)

// Mappings finds where a feed file that Parse has taken maps each channel. Where several kinds of record map one,
// the first counts.
func Mappings(file []byte, set *channel.Set) map[channel.ID]Mapping {
	found := map[channel.ID]Mapping{}
	var doc yaml.Node
	if err := yaml.Unmarshal(file, &doc); err != nil {
		return found
	}
	note := func(name string, line int, e entry) {
		m := Mapping{Line: line, Unit: e.Unit.Value, Scale: 1}
		if x, err := strconv.ParseFloat(e.Scale.Value, 64); err == nil && x != 0 {
			m.Scale = x
		}
		names := []string{name}
		for i, w := range e.Wheels.Content {
			names = append(names[:i], name+"_"+w.Value)
		}
		for _, n := range names {
			if id, ok := set.Lookup(n); ok {
				if _, twice := found[id]; !twice {
					found[id] = m
				}
			}
		}
	}
	var walk func(n *yaml.Node, key string)
	walk = func(n *yaml.Node, key string) {
		if n.Kind == yaml.MappingNode {
			if e := entryOf(n); e.To.Kind == yaml.ScalarNode {
				note(e.To.Value, e.To.Line, e)
			}
			for i := 0; i+1 < len(n.Content); i += 2 {
				k, v := n.Content[i], n.Content[i+1]
				if key == "channels" || key == "derived" {
					note(k.Value, k.Line, entryOf(v))
				}
				walk(v, k.Value)
			}
			return
		}
		for _, c := range n.Content {
			walk(c, key)
		}
	}
	walk(&doc, "")
	return found
}

// An entry is what a feed file says of a channel, as far as it matters here.
type entry struct{ To, Unit, Scale, Wheels yaml.Node }

// entryOf reads a node; what is no entry is empty.
func entryOf(n *yaml.Node) (e entry) {
	if n.Kind == yaml.MappingNode {
		_ = n.Decode(&e) // a node takes anything
	}
	return e
}
