package course

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
)

// ParseFile reads a course file (configs/courses/README.md describes it). name stands in the
// errors, which are *Error joined together: every mistake is told at once.
func ParseFile(name string, data []byte) (*File, error) {
	p := &parser{file: name}
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		line := 1
		if m := yamlLine.FindStringSubmatch(err.Error()); m != nil {
			line, _ = strconv.Atoi(m[1])
		}
		return nil, &Error{File: name, Line: max(line, 1), Col: 1, Msg: strings.TrimPrefix(err.Error(), "yaml: "), Hint: "the file is not YAML: look at the indentation, brackets and colons around this line"}
	}
	f := &File{Names: map[int]string{}}
	if len(doc.Content) == 0 {
		p.fail(&yaml.Node{Line: 1, Column: 1}, "the file is empty", "a course file needs at least name and line")
		return nil, errors.Join(p.errs...)
	}
	p.course(f, doc.Content[0])
	if len(p.errs) > 0 {
		return nil, errors.Join(p.errs...)
	}
	return f, nil
}

var yamlLine = regexp.MustCompile(`line (\d+)`)

type parser struct {
	file string
	errs []error
}

func (p *parser) fail(n *yaml.Node, msg, hint string) {
	p.errs = append(p.errs, &Error{File: p.file, Line: max(n.Line, 1), Col: max(n.Column, 1), Msg: msg, Hint: hint})
}

// entries calls do for each key of the mapping n; a key that is not among known, one that
// stands twice, or a node that is no mapping, is a mistake.
func (p *parser) entries(n *yaml.Node, what string, known []string, do func(key string, k, v *yaml.Node)) {
	if n.Kind != yaml.MappingNode {
		p.fail(n, what+" is not a list of keys with values", "its keys are "+strings.Join(known, ", "))
		return
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		switch {
		case !slices.Contains(known, k.Value):
			p.fail(k, fmt.Sprintf("unknown key %q in %s", k.Value, what), "its keys are "+strings.Join(known, ", "))
		case seen[k.Value]:
			p.fail(k, fmt.Sprintf("%s stands twice in %s", k.Value, what), "keep one of them")
		default:
			seen[k.Value] = true
			do(k.Value, k, v)
		}
	}
}

func (p *parser) items(n *yaml.Node, what, example string) []*yaml.Node {
	if n.Kind != yaml.SequenceNode {
		p.fail(n, what+" is not a list", "write for example "+example)
		return nil
	}
	return n.Content
}

func (p *parser) text(n *yaml.Node, what string) string {
	if n.Kind != yaml.ScalarNode || strings.TrimSpace(n.Value) == "" {
		p.fail(n, what+" is not a text", "write for example "+what+": Mill")
		return ""
	}
	return strings.TrimSpace(n.Value)
}

func (p *parser) course(f *File, n *yaml.Node) {
	hasLine, hasName := false, false
	known := []string{"name", "saved", "direction", "length", "width", "line", "sectors", "corners", "pit"}
	p.entries(n, "the course", known, func(key string, k, v *yaml.Node) {
		switch key {
		case "name":
			hasName = true
			f.Name = p.text(v, "name")
		case "saved":
			f.Saved = p.text(v, "saved")
		case "direction":
			switch v.Value {
			case "clockwise":
				f.Direction = Right
			case "anticlockwise":
				f.Direction = Left
			default:
				p.fail(v, fmt.Sprintf("unknown direction %q", v.Value), "write clockwise or anticlockwise")
			}
		case "length":
			f.Length = p.metres(v, "length")
		case "width":
			f.Width = p.metres(v, "width")
		case "line":
			hasLine = true
			p.line(&f.Line, v)
		case "sectors":
			p.sectors(f, v)
		case "corners":
			p.corners(f, v)
		case "pit":
			p.pit(&f.Pit, k, v)
		}
	})
	if n.Kind != yaml.MappingNode {
		return
	}
	if f.Saved != "" && !hasName {
		f.Name, hasName = f.Saved, true
	}
	if !hasName {
		p.fail(n, "the course has no name", "add for example name: Mill course")
	}
	if !hasLine && f.Saved == "" {
		p.fail(n, "the course has no line", "add line: {gate: [[365.0 m, 14.7 m], [384.4 m, 2.2 m]]}, or line: {lap_distance: true} where the feed counts from the line, or saved: NAME for a course that earshot course list shows")
	}
	for i, d := range []float64{f.Pit.EntryAt, f.Pit.ExitAt} {
		if f.Length > 0 && d >= f.Length {
			p.fail(n, fmt.Sprintf("pit %s at %g m is beyond the course's length of %g m", [2]string{"entry", "exit"}[i], d, f.Length), "distances are counted from the line")
		}
	}
	last := 0.0
	for _, b := range f.Sectors {
		if b.Gate == nil && b.Distance <= last {
			p.fail(n, fmt.Sprintf("the sector boundary at %g m is not beyond the one before it", b.Distance), "list the boundaries in the order of driving, in metres from the line")
		}
		if b.Gate == nil {
			last = b.Distance
			if f.Length > 0 && b.Distance >= f.Length {
				p.fail(n, fmt.Sprintf("the sector boundary at %g m is beyond the course's length of %g m", b.Distance, f.Length), "boundaries lie between the line and the line")
			}
		}
	}
}

// pit reads where the pit lane is: gates, or distances from the line.
func (p *parser) pit(pit *Pit, k, n *yaml.Node) {
	count := len(p.errs)
	p.entries(n, "pit", []string{"entry", "exit", "line"}, func(key string, _, v *yaml.Node) {
		if v.Kind == yaml.ScalarNode && key != "line" {
			at := p.metres(v, "pit "+key)
			if key == "entry" {
				pit.EntryAt = at
			} else {
				pit.ExitAt = at
			}
			return
		}
		g, before := &Gate{}, len(p.errs)
		p.entries(v, "pit "+key, []string{"gate", "toward"}, func(part string, _, v *yaml.Node) { p.gatePart(g, part, v) })
		p.needGate(g, v, "pit "+key, before)
		switch key {
		case "entry":
			pit.Entry = g
		case "exit":
			pit.Exit = g
		case "line":
			pit.Line = g
		}
	})
	if len(p.errs) > count {
		return
	}
	entry, exit := pit.Entry != nil || pit.EntryAt > 0, pit.Exit != nil || pit.ExitAt > 0
	switch {
	case entry != exit:
		p.fail(k, "the pit lane has an entry or an exit, but not both", "give a gate for each of them, or a distance for each of them")
	case (pit.Entry != nil) != (pit.Exit != nil):
		p.fail(k, "the pit lane has a gate at one end and a distance at the other", "give a gate for each of them, or a distance for each of them")
	case pit.EntryAt > 0 && pit.EntryAt == pit.ExitAt:
		p.fail(k, "the pit lane begins and ends at the same place", "give the distance from the line of its entry and of its exit")
	}
}

func (p *parser) line(l *Line, n *yaml.Node) {
	count := len(p.errs)
	p.entries(n, "line", []string{"gate", "toward", "lap_distance", "lap_number"}, func(key string, k, v *yaml.Node) {
		switch key {
		case "gate", "toward":
			p.gatePart(&l.Gate, key, v)
			if key == "gate" {
				p.source(l, ByGate, k)
			}
		default:
			if v.Value != "true" {
				p.fail(v, key+" is not true", "write "+key+": true, or leave it out")
			}
			p.source(l, Source(key), k)
		}
	})
	if len(p.errs) > count {
		return
	}
	switch {
	case l.Source == ByGate:
		p.needGate(&l.Gate, n, "line", count)
	case l.Source == Auto:
		p.fail(n, "the line tells no way to see it passed", "give one of gate, lap_distance, lap_number")
	case l.Gate.Directed:
		p.fail(n, "toward without a gate", "toward tells on which side of a gate the car drives on; leave it out")
	}
}

func (p *parser) source(l *Line, s Source, k *yaml.Node) {
	if l.Source != Auto && l.Source != s {
		p.fail(k, fmt.Sprintf("the line is told by %s and by %s", l.Source, s), "keep one of them")
	}
	l.Source = s
}

// gatePart reads gate (two points) or toward (one) into g.
func (p *parser) gatePart(g *Gate, key string, n *yaml.Node) {
	if key == "toward" {
		pt, geo, ok := p.point(n)
		if ok {
			if (g.A != g.B) && geo != g.Geo {
				p.fail(n, "toward and the gate are not written in the same way", "use metres for all of them, or degrees for all of them")
			}
			g.Toward, g.Directed, g.Geo = pt, true, geo
		}
		return
	}
	list := p.items(n, "gate", gateExample)
	if list == nil {
		return
	}
	if len(list) != 2 {
		p.fail(n, fmt.Sprintf("a gate has two points, not %d", len(list)), "write for example "+gateExample)
		return
	}
	a, geoA, okA := p.point(list[0])
	b, geoB, okB := p.point(list[1])
	switch {
	case !okA || !okB:
	case geoA != geoB || g.Directed && g.Geo != geoA:
		p.fail(n, "the points are not written in the same way", "use metres for all of them, or degrees for all of them")
	default:
		g.A, g.B, g.Geo = a, b, geoA
	}
}

const gateExample = "[[365.0 m, 14.7 m], [384.4 m, 2.2 m]]"

// needGate tells what is wrong with a gate as a whole; silent where a part of it was wrong
// already, which made more than before errors.
func (p *parser) needGate(g *Gate, n *yaml.Node, what string, before int) {
	if len(p.errs) > before {
		return
	}
	flat := *g
	if g.Geo {
		pl := NewPlane(g.middle())
		flat.A, flat.B, flat.Toward = pl.Local(g.A), pl.Local(g.B), pl.Local(g.Toward)
	}
	w := flat.Width()
	switch {
	case w < 1:
		p.fail(n, fmt.Sprintf("the gate of %s has no width", what), "give two points at the edges of the road, such as "+gateExample)
	case w > 1000:
		p.fail(n, fmt.Sprintf("the gate of %s is %.0f m wide", what, w), "give two points at the edges of the road; is a sign or a digit wrong?")
	case g.Directed && math.Abs(flat.Side(flat.Toward)) < 0.5:
		p.fail(n, fmt.Sprintf("the point toward of %s lies on the gate", what), "give a point some metres behind the gate, where the car drives on")
	}
}

// point reads [x, y] in a unit of length, or [latitude, longitude] in a unit of angle.
func (p *parser) point(n *yaml.Node) (Point, bool, bool) {
	const example = "write [365.0 m, 14.7 m] for east and north, or [51.5 deg, -1.25 deg] for latitude and longitude"
	if n.Kind != yaml.SequenceNode || len(n.Content) != 2 {
		p.fail(n, "a point is two numbers with units", example)
		return Point{}, false, false
	}
	var v [2]float64
	geo, good := [2]bool{}, true
	for i, c := range n.Content {
		x, err := channel.Parse(c.Value, channel.Length)
		if err != nil {
			var aerr error
			if x, aerr = channel.Parse(c.Value, channel.Angle); aerr == nil {
				err, geo[i] = nil, true
			}
		}
		limit := 1e6
		if geo[i] {
			limit = [2]float64{math.Pi / 2, math.Pi}[i]
		}
		switch {
		case err != nil:
			p.fail(c, err.Error(), example)
			good = false
		case math.Abs(x) > limit:
			p.fail(c, fmt.Sprintf("%s is out of range", c.Value), "latitude goes from -90 to 90 deg, longitude from -180 to 180 deg, metres to 1000 km")
			good = false
		}
		v[i] = x
	}
	if good && geo[0] != geo[1] {
		p.fail(n, "one of the two is a length and the other an angle", example)
		good = false
	}
	return Point{v[0], v[1]}, geo[0], good
}

// metres reads a positive length.
func (p *parser) metres(n *yaml.Node, what string) float64 {
	x, err := channel.Parse(n.Value, channel.Length)
	switch {
	case n.Kind != yaml.ScalarNode || err != nil:
		msg := what + " is not a length"
		if err != nil {
			msg += ": " + err.Error()
		}
		p.fail(n, msg, "write for example 1240 m")
		return 0
	case x <= 0 || x > 1e5:
		p.fail(n, fmt.Sprintf("%s is %s", what, n.Value), "it lies between 0 and 100 km")
		return 0
	}
	return x
}

func (p *parser) sectors(f *File, n *yaml.Node) {
	for _, it := range p.items(n, "sectors", "[800 m, 1650 m]") {
		if it.Kind != yaml.MappingNode {
			f.Sectors = append(f.Sectors, Boundary{Distance: p.metres(it, "a sector boundary")})
			continue
		}
		g, before := &Gate{}, len(p.errs)
		p.entries(it, "a sector boundary", []string{"gate", "toward"}, func(part string, _, v *yaml.Node) { p.gatePart(g, part, v) })
		p.needGate(g, it, "a sector boundary", before)
		f.Sectors = append(f.Sectors, Boundary{Distance: math.NaN(), Gate: g})
	}
	if len(f.Sectors) > maxSectors-1 {
		p.fail(n, fmt.Sprintf("%d sector boundaries", len(f.Sectors)), fmt.Sprintf("at most %d are kept apart", maxSectors-1))
	}
}

const maxSectors = 20

// number reads a corner's number.
func (p *parser) number(n *yaml.Node) int {
	i, err := strconv.Atoi(n.Value)
	if n.Kind != yaml.ScalarNode || err != nil || i < 1 || i > 200 {
		p.fail(n, fmt.Sprintf("%q is not the number of a corner", n.Value), "corners are numbered 1, 2, 3 from the line")
		return 0
	}
	return i
}

func (p *parser) corners(f *File, n *yaml.Node) {
	p.entries(n, "corners", []string{"join", "split", "names"}, func(key string, k, v *yaml.Node) {
		switch key {
		case "join":
			for _, group := range p.items(v, "join", "[[3, 4], [7, 8]]") {
				var g []int
				for _, it := range p.items(group, "a group of corners to join", "[3, 4]") {
					if c := p.number(it); len(g) > 0 && c != 0 && c != g[len(g)-1]+1 {
						p.fail(it, fmt.Sprintf("corner %d does not follow corner %d", c, g[len(g)-1]), "only neighbours can be joined, in the order of driving: [3, 4, 5]")
					} else {
						g = append(g, c)
					}
				}
				if group.Kind == yaml.SequenceNode && len(group.Content) < 2 {
					p.fail(group, "fewer than two corners to join", "write for example [3, 4]")
				}
				f.Join = append(f.Join, g)
			}
		case "split":
			for _, it := range p.items(v, "split", "[{corner: 5, at: 1240 m}]") {
				s, before := Split{At: math.NaN()}, len(p.errs)
				p.entries(it, "split", []string{"corner", "at"}, func(key string, _, v *yaml.Node) {
					if key == "corner" {
						s.Corner = p.number(v)
					} else {
						s.At = p.metres(v, "at")
					}
				})
				if it.Kind == yaml.MappingNode && s.Corner == 0 && len(p.errs) == before {
					p.fail(it, "split does not say which corner", "write for example {corner: 5, at: 1240 m}")
				}
				f.Split = append(f.Split, s)
			}
		case "names":
			if v.Kind != yaml.MappingNode {
				p.fail(v, "names is not a list of numbers with names", "write for example names: {1: Mill, 2: Brook}")
				return
			}
			for i := 0; i+1 < len(v.Content); i += 2 {
				c := p.number(v.Content[i])
				if _, twice := f.Names[c]; twice && c != 0 {
					p.fail(v.Content[i], fmt.Sprintf("corner %d has two names", c), "keep one of them")
				}
				f.Names[c] = p.text(v.Content[i+1], "a corner's name")
			}
		}
	})
	used := map[int]bool{}
	for _, g := range f.Join {
		for _, c := range g {
			if used[c] && c != 0 {
				p.fail(n, fmt.Sprintf("corner %d is joined twice", c), "put all corners that count as one in one group")
			}
			used[c] = true
		}
	}
	for _, s := range f.Split {
		if used[s.Corner] && s.Corner != 0 {
			p.fail(n, fmt.Sprintf("corner %d is joined or split and split again", s.Corner), "a corner can be corrected once: it is split in two, or joined to its neighbour")
		}
		used[s.Corner] = true
	}
}
