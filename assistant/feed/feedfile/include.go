package feedfile

import (
	"bytes"
	"path"
	"slices"
	"strings"

	"earshot/configs/document"
)

// An Included is a file that a feed file refers to. Feed file and Included together replay alone.
type Included struct {
	Name string // as the feed file writes it
	Data []byte
}

// Base is the Name without its folders: no two files that a feed file includes have the same.
func (i Included) Base() string { return path.Base(i.Name) }

// withFile adds a file to a list that does not have it yet.
func withFile(list []Included, x Included) []Included {
	if slices.ContainsFunc(list, func(i Included) bool { return i.Name == x.Name }) {
		return list
	}
	return append(list, x)
}

// include reads a file beside the feed file; nil when there is none, which is told.
func (p *parser) include(n *document.Node, what string) []byte {
	name := p.Text(n, what)
	base := path.Base(name)
	switch {
	case name == "":
		return nil
	case path.IsAbs(name) || strings.ContainsAny(name, "\\:\x00") || base == "." || base == "..":
		p.Bad(n, "write the path from the folder of the feed file, with /", "%q is no relative path", name)
		return nil
	case p.open == nil:
		p.Bad(n, "read it with the files beside it", "the feed file refers to %q, which is not at hand", name)
		return nil
	}
	data, err := p.open(name)
	if err != nil {
		p.Bad(n, "the path is taken from the folder of the feed file", "reading %s: %v", name, err)
		return nil
	}
	for _, i := range *p.bases {
		if strings.EqualFold(i.Base(), base) && (i.Name != name || !bytes.Equal(i.Data, data)) {
			p.Bad(n, "rename one: a recording keeps them without their folders", "two files are called %s", base)
			return nil
		}
	}
	*p.bases = append(*p.bases, Included{name, data})
	p.f.includes = withFile(p.f.includes, Included{name, data})
	return data
}
