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
	note := func(name string, line int, entry *yaml.Node) {
		m := Mapping{Line: line, Scale: 1}
		if u := child(entry, "unit"); u != nil {
			m.Unit = u.Value
		}
		if s := child(entry, "scale"); s != nil {
			if x, err := strconv.ParseFloat(s.Value, 64); err == nil && x != 0 {
				m.Scale = x
			}
		}
		names := []string{name}
		if wheels := child(entry, "wheels"); wheels != nil {
			names = nil
			for _, w := range wheels.Content {
				names = append(names, name+"_"+w.Value)
			}
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
			if to := child(n, "to"); to != nil && to.Kind == yaml.ScalarNode {
				note(to.Value, to.Line, n)
			}
			for i := 0; i+1 < len(n.Content); i += 2 {
				k, v := n.Content[i], n.Content[i+1]
				if key == "channels" || key == "derived" {
					note(k.Value, k.Line, v)
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

func child(n *yaml.Node, key string) *yaml.Node {
	if n == nil || n.Kind != yaml.MappingNode {
		return nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return n.Content[i+1]
		}
	}
	return nil
}
