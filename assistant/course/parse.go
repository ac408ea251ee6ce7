package course

import (
	"math"
	"strconv"

	"earshot/assistant/channel"
	"earshot/configs/document"
)

// ParseFile reads a course file (configs/courses/README.md describes it). name stands in the
// errors, which are *document.Error joined together: every mistake is told at once.
func ParseFile(name string, data []byte) (*File, error) {
	doc, top := document.Read(name, data, "a course file needs at least name and line")
	p := &parser{doc}
	f := &File{Names: map[int]string{}}
	if top != nil {
		p.course(f, top)
	}
	if err := p.Err(); err != nil {
		return nil, err
	}
	return f, nil
}

type parser struct{ document.Reader }

func (p *parser) course(f *File, n *document.Node) {
	o := p.Object(n, "the course", "name", "saved", "direction", "length", "width", "line", "sectors", "corners", "pit")
	if !document.IsMapping(n) {
		return
	}
	f.Name, f.Saved = p.Word(o.Get("name"), "name"), p.Word(o.Get("saved"), "saved")
	hasName := o.Has("name")
	switch p.Choice(o.Get("direction"), "direction", "clockwise", "anticlockwise") {
	case "clockwise":
		f.Direction = Right
	case "anticlockwise":
		f.Direction = Left
	}
	f.Length, f.Width = p.metres(o.Get("length"), "length"), p.metres(o.Get("width"), "width")
	if o.Has("line") {
		p.line(&f.Line, o.Get("line"))
	}
	p.sectors(f, o.Get("sectors"))
	if o.Has("corners") {
		p.corners(f, o.Get("corners"))
	}
	if o.Has("pit") {
		p.pit(&f.Pit, o.Key("pit"), o.Get("pit"))
	}
	if f.Saved != "" && !hasName {
		f.Name, hasName = f.Saved, true
	}
	if !hasName {
		p.Bad(n, "add for example name: Mill course", "the course has no name")
	}
	if !o.Has("line") && f.Saved == "" {
		p.Bad(n, "add line: {gate: [[365.0 m, 14.7 m], [384.4 m, 2.2 m]]}, or line: {lap_distance: true} where the "+
			"feed counts from the line, or saved: NAME for a course that earshot course list shows",
			"the course has no line")
	}
	for i, d := range []float64{f.Pit.EntryAt, f.Pit.ExitAt} {
		if f.Length > 0 && d >= f.Length {
			p.Bad(o.At("pit"), "distances are counted from the line",
				"pit %s at %g m is beyond the course's length of %g m", [2]string{"entry", "exit"}[i], d, f.Length)
		}
	}
	last := 0.0
	for _, b := range f.Sectors {
		if b.Gate == nil && b.Distance <= last {
			p.Bad(o.At("sectors"), "list the boundaries in the order of driving, in metres from the line",
				"the sector boundary at %g m is not beyond the one before it", b.Distance)
		}
		if b.Gate == nil {
			last = b.Distance
			if f.Length > 0 && b.Distance >= f.Length {
				p.Bad(o.At("sectors"), "boundaries lie between the line and the line",
					"the sector boundary at %g m is beyond the course's length of %g m", b.Distance, f.Length)
			}
		}
	}
}

// pit reads where the pit lane is: gates, or distances from the line.
func (p *parser) pit(pit *Pit, k, n *document.Node) {
	count := p.Count()
	o := p.Object(n, "pit", "entry", "exit", "line")
	end := func(key string) (g *Gate, at float64) {
		v := o.Get(key)
		if document.IsScalar(v) {
			return nil, p.metres(v, "pit "+key)
		}
		return p.gate(v, "pit "+key), 0
	}
	pit.Entry, pit.EntryAt = end("entry")
	pit.Exit, pit.ExitAt = end("exit")
	pit.Line = p.gate(o.Get("line"), "pit line")
	if p.Count() > count {
		return
	}
	entry, exit := pit.Entry != nil || pit.EntryAt > 0, pit.Exit != nil || pit.ExitAt > 0
	switch {
	case entry != exit:
		p.Bad(k, "give a gate for each of them, or a distance for each of them",
			"the pit lane has an entry or an exit, but not both")
	case (pit.Entry != nil) != (pit.Exit != nil):
		p.Bad(k, "give a gate for each of them, or a distance for each of them",
			"the pit lane has a gate at one end and a distance at the other")
	case pit.EntryAt > 0 && pit.EntryAt == pit.ExitAt:
		p.Bad(k, "give the distance from the line of its entry and of its exit",
			"the pit lane begins and ends at the same place")
	}
}

func (p *parser) line(l *Line, n *document.Node) {
	count := p.Count()
	o := p.Object(n, "line", "gate", "toward", "lap_distance", "lap_number")
	p.gatePart(&l.Gate, "gate", o.Get("gate"))
	p.gatePart(&l.Gate, "toward", o.Get("toward"))
	for _, s := range []Source{ByGate, ByLapDistance, ByLapNumber} {
		k := o.Key(string(s))
		if k == nil {
			continue
		}
		if s != ByGate && !p.Flag(o.Get(string(s)), string(s), true) {
			p.Bad(o.Get(string(s)), "write "+string(s)+": true, or leave it out", "%s is not true", s)
		}
		if l.Source != Auto {
			p.Bad(k, "keep one of them", "the line is told by %s and by %s", l.Source, s)
		}
		l.Source = s
	}
	if p.Count() > count {
		return
	}
	switch {
	case l.Source == ByGate:
		p.needGate(&l.Gate, n, "line", count)
	case l.Source == Auto:
		p.Bad(n, "give one of gate, lap_distance, lap_number", "the line tells no way to see it passed")
	case l.Gate.Directed:
		p.Bad(n, "toward tells on which side of a gate the car drives on; leave it out", "toward without a gate")
	}
}

// gate reads a gate that is a value of its own; nil where there is none.
func (p *parser) gate(n *document.Node, what string) *Gate {
	if n == nil {
		return nil
	}
	g, before := &Gate{}, p.Count()
	o := p.Object(n, what, "gate", "toward")
	p.gatePart(g, "gate", o.Get("gate"))
	p.gatePart(g, "toward", o.Get("toward"))
	p.needGate(g, n, what, before)
	return g
}

// gatePart reads gate (two points) or toward (one) into g.
func (p *parser) gatePart(g *Gate, key string, n *document.Node) {
	if n == nil {
		return
	}
	if key == "toward" {
		pt, geo, ok := p.point(n)
		if ok {
			if (g.A != g.B) && geo != g.Geo {
				p.Bad(n, "use metres for all of them, or degrees for all of them",
					"toward and the gate are not written in the same way")
			}
			g.Toward, g.Directed, g.Geo = pt, true, geo
		}
		return
	}
	list := p.List(n, "gate", "write for example "+gateExample)
	if list == nil {
		return
	}
	if len(list) != 2 {
		p.Bad(n, "write for example "+gateExample, "a gate has two points, not %d", len(list))
		return
	}
	a, geoA, okA := p.point(list[0])
	b, geoB, okB := p.point(list[1])
	switch {
	case !okA || !okB:
	case geoA != geoB || g.Directed && g.Geo != geoA:
		p.Bad(n, "use metres for all of them, or degrees for all of them", "the points are not written in the same way")
	default:
		g.A, g.B, g.Geo = a, b, geoA
	}
}

const gateExample = "[[365.0 m, 14.7 m], [384.4 m, 2.2 m]]"

// needGate reports what is wrong with a gate as a whole, unless a part of it was wrong already: then there are more
// than before errors.
func (p *parser) needGate(g *Gate, n *document.Node, what string, before int) {
	if p.Count() > before {
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
		p.Bad(n, "give two points at the edges of the road, such as "+gateExample, "the gate of %s has no width", what)
	case w > 1000:
		p.Bad(n, "give two points at the edges of the road; is a sign or a digit wrong?",
			"the gate of %s is %.0f m wide", what, w)
	case g.Directed && math.Abs(flat.Side(flat.Toward)) < 0.5:
		p.Bad(n, "give a point some metres behind the gate, where the car drives on",
			"the point toward of %s lies on the gate", what)
	}
}

// point reads [x, y] in a unit of length, or [latitude, longitude] in a unit of angle.
func (p *parser) point(n *document.Node) (Point, bool, bool) {
	const example = "write [365.0 m, 14.7 m] for east and north, or [51.5 deg, -1.25 deg] for latitude and longitude"
	pair := p.List(n, "a point", example)
	if len(pair) != 2 {
		if document.IsList(n) {
			p.Bad(n, example, "a point is two numbers with units")
		}
		return Point{}, false, false
	}
	var v [2]float64
	geo, good := [2]bool{}, true
	for i, c := range pair {
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
			p.Bad(c, example, "%s", err.Error())
			good = false
		case math.Abs(x) > limit:
			p.Bad(c, "latitude goes from -90 to 90 deg, longitude from -180 to 180 deg, metres to 1000 km",
				"%s is out of range", c.Value)
			good = false
		}
		v[i] = x
	}
	if good && geo[0] != geo[1] {
		p.Bad(n, example, "one of the two is a length and the other an angle")
		good = false
	}
	return Point{v[0], v[1]}, geo[0], good
}

// metres reads a positive length; 0 where there is none or it is wrong.
func (p *parser) metres(n *document.Node, what string) float64 {
	if n == nil {
		return 0
	}
	x := channel.Read(p.Reader, n, what, channel.Length)
	if x <= 0 || x > 1e5 {
		p.Bad(n, "it lies between 0 and 100 km", "%s is %s", what, n.Value)
	}
	if x > 0 && x <= 1e5 {
		return x
	}
	return 0
}

func (p *parser) sectors(f *File, n *document.Node) {
	list := p.List(n, "sectors", "write for example [800 m, 1650 m]")
	for _, it := range list {
		before := p.Count()
		b := Boundary{Distance: math.NaN()}
		if document.IsMapping(it) {
			b.Gate = p.gate(it, "a sector boundary")
		} else {
			b.Distance = p.metres(it, "a sector boundary")
		}
		if p.Count() == before {
			f.Sectors = append(f.Sectors, b)
		}
	}
	if len(list) > MaxSectors-1 {
		p.Bad(n, "at most "+strconv.Itoa(MaxSectors-1)+" are kept apart", "%d sector boundaries", len(list))
	}
}

// MaxSectors is the greatest number of sectors.
const MaxSectors = 20

// number reads a corner's number.
func (p *parser) number(n *document.Node) int {
	if n == nil {
		return 0
	}
	i, err := strconv.Atoi(n.Value)
	if !document.IsScalar(n) || err != nil || i < 1 || i > 200 {
		p.Bad(n, "corners are numbered 1, 2, 3 from the line", "%q is not the number of a corner", n.Value)
		return 0
	}
	return i
}

func (p *parser) corners(f *File, n *document.Node) {
	o := p.Object(n, "corners", "join", "split", "names")
	for _, group := range p.List(o.Get("join"), "join", "write for example [[3, 4], [7, 8]]") {
		var g []int
		list := p.List(group, "a group of corners to join", "write for example [3, 4]")
		for _, it := range list {
			if c := p.number(it); len(g) > 0 && c != 0 && c != g[len(g)-1]+1 {
				p.Bad(it, "only neighbours can be joined, in the order of driving: [3, 4, 5]",
					"corner %d does not follow corner %d", c, g[len(g)-1])
			} else {
				g = append(g, c)
			}
		}
		if document.IsList(group) && len(list) < 2 {
			p.Bad(group, "write for example [3, 4]", "fewer than two corners to join")
		}
		f.Join = append(f.Join, g)
	}
	for _, it := range p.List(o.Get("split"), "split", "write for example [{corner: 5, at: 1240 m}]") {
		before := p.Count()
		so := p.Object(it, "split", "corner", "at")
		s := Split{At: math.NaN(), Corner: p.number(so.Get("corner"))}
		if so.Has("at") {
			s.At = p.metres(so.Get("at"), "at")
		}
		if document.IsMapping(it) && s.Corner == 0 && p.Count() == before {
			p.Bad(it, "write for example {corner: 5, at: 1240 m}", "split does not say which corner")
		}
		f.Split = append(f.Split, s)
	}
	for _, e := range p.Pairs(o.Get("names"), "names") {
		c := p.number(e.K)
		if _, twice := f.Names[c]; twice && c != 0 { // 1 and 01
			p.Bad(e.K, "keep one of them", "corner %d has two names", c)
		}
		f.Names[c] = p.Word(e.V, "a corner's name")
	}
	used := map[int]bool{}
	for _, g := range f.Join {
		for _, c := range g {
			if used[c] && c != 0 {
				p.Bad(n, "put all corners that count as one in one group", "corner %d is joined twice", c)
			}
			used[c] = true
		}
	}
	for _, s := range f.Split {
		if used[s.Corner] && s.Corner != 0 {
			p.Bad(n, "a corner can be corrected once: it is split in two, or joined to its neighbour",
				"corner %d is joined or split and split again", s.Corner)
		}
		used[s.Corner] = true
	}
}
