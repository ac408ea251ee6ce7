package drawing

import (
	"math"
	"slices"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// A line is a line of a label.
type line struct {
	s     string
	size  float64
	bold  bool
	paint paint
}

// fonts are the two that texts are measured with and that a PNG is written with. A browser takes a face of its own,
// which may be wider: measured widths are taken a little larger.
var fonts = sync.OnceValue(func() [2]*sfnt.Font {
	var f [2]*sfnt.Font
	for i, data := range [][]byte{goregular.TTF, gobold.TTF} {
		parsed, err := opentype.Parse(data)
		if err != nil {
			panic("a font that is compiled in does not parse: " + err.Error())
		}
		f[i] = parsed
	}
	return f
})

func fontOf(bold bool) *sfnt.Font {
	if bold {
		return fonts()[1]
	}
	return fonts()[0]
}

const wider = 1.08 // a browser's face against the one measured with

// measure is the width of a text in px.
func measure(l line) float64 {
	var b sfnt.Buffer
	f := fontOf(l.bold)
	w := fixed.Int26_6(0)
	size := fixed.Int26_6(l.size * 64)
	for _, r := range l.s {
		i, err := f.GlyphIndex(&b, r)
		if err != nil {
			continue
		}
		if a, err := f.GlyphAdvance(&b, i, size, font.HintingNone); err == nil {
			w += a
		}
	}
	return float64(w) / 64 * wider
}

// Heights above and below the baseline, in parts of the size, of what labels have in them.
const (
	ascent  = 0.76
	descent = 0.22
)

// put adds a line of text whose baseline begins at x, y, and keeps its place clear.
func (p *plan) put(x, y float64, l line, kind string) {
	p.take(p.write(x, y, l, kind))
}

// write is put without keeping the place clear; it returns the place.
func (p *plan) write(x, y float64, l line, kind string) box {
	b := box{x, y - ascent*l.size, x + measure(l), y + descent*l.size}
	p.texts = append(p.texts, text{x: x, y: y, size: l.size, bold: l.bold, paint: l.paint, s: l.s, kind: kind, box: b})
	return b
}

// label finds a place for a label at a point of the road: in the direction out, as near as possible, then at growing
// angles and distances until it is clear of the road and of everything else. A thin line joins a distant label to its
// point. The label of a straight is left out where there is no room, since the scale shows the same.
func (p *plan) label(at, out vec, lines []line, kind string) {
	w, h := 0.0, 0.0
	for _, l := range lines {
		w = max(w, measure(l))
		h += (ascent + descent) * l.size
	}
	best := p.search(at, out, w, h, []float64{casing/2 + 5, 20, 28, 38, 50, 64}, false)
	if best.none() && kind != "straight" {
		best = p.search(at, out, w, h, []float64{80, 100, 125, 150, 180}, false)
	}
	if best.none() && kind != "straight" { // rather over the road than not at all
		best = p.search(at, out, w, h, []float64{38, 64, 100, 150, 200, 260, 330, 410, 500}, true)
	}
	if best.none() {
		return
	}
	if best.off > leader {
		from := at.add(best.dir.times(casing/2 + 2))
		p.line([]vec{from, edge(best.b, at)}, 1.2, paintQuiet, "")
	}
	y := best.b.y0
	for _, l := range lines {
		y += ascent * l.size
		wide := measure(l)
		x := (best.b.x0 + best.b.x1 - wide/wider) / 2
		switch { // a label beside the road leans to it
		case len(lines) == 1:
		case best.dir.x > 0.5:
			x = best.b.x0
		case best.dir.x < -0.5:
			x = best.b.x1 - wide
		}
		p.write(x, y, l, kind)
		y += descent * l.size
	}
	p.take(best.b)
}

// A try is a place for a label.
type try struct {
	b    box
	cost float64
	off  float64
	dir  vec
}

func (t try) none() bool { return math.IsInf(t.cost, 1) }

// search finds the cheapest free place of w by h at some offsets from a point. over allows its line to cross the road.
func (p *plan) search(at, out vec, w, h float64, offs []float64, over bool) try {
	best := try{cost: math.Inf(1)}
	for _, off := range offs {
		for turn := 0; turn <= 12; turn++ {
			for _, sign := range []float64{1, -1} {
				angle := sign * float64(turn) * math.Pi / 12
				s, c := math.Sincos(angle)
				dir := vec{out.x*c - out.y*s, out.x*s + out.y*c}
				// The box touches the circle of radius off around the point.
				m := at.add(dir.times(off)).add(vec{dir.x * w / 2, dir.y * h / 2})
				b := box{m.x - w/2, m.y - h/2, m.x + w/2, m.y + h/2}
				cost := off + 22*math.Abs(angle)
				if cost >= best.cost || !p.free(b) {
					continue
				}
				from, to := at.add(dir.times(casing/2+3)), edge(b, at)
				if !over && p.crosses(from, to) ||
					off > leader && p.through(from, to) {
					continue
				}
				best = try{b, cost, off, dir}
			}
		}
	}
	return best
}

// leader is the distance in px from which on a thin line joins a label to its point.
const leader = 30.0

// through tells whether the line from a to b goes through a label or a sign.
func (p *plan) through(a, b vec) bool {
	return slices.ContainsFunc(p.taken, func(t box) bool { return meets(t, a, b) })
}

// nearRoad tells whether one of the points lies nearer to the middle of the road than that.
func (p *plan) nearRoad(points []vec, than float64) bool {
	return slices.ContainsFunc(points, func(at vec) bool {
		return slices.ContainsFunc(p.road, func(v vec) bool { return at.dist(v) < than })
	})
}

// edge is the place of a box that is nearest to a point.
func edge(b box, to vec) vec {
	return vec{min(max(to.x, b.x0), b.x1), min(max(to.y, b.y0), b.y1)}
}

// free tells whether a box lies in the picture, off the road and off everything else.
func (p *plan) free(b box) bool {
	if b.x0 < 8 || b.y0 < 80 || b.x1 > p.w-8 || b.y1 > p.h-4 {
		return false
	}
	return !slices.ContainsFunc(p.taken, b.grown(clear).meets) && !p.onRoad(b)
}

// onRoad tells whether a box comes nearer to the road than its edge.
func (p *plan) onRoad(b box) bool {
	g := b.grown(casing/2 + 2)
	for i, v := range p.road {
		if meets(g, v, p.road[(i+1)%len(p.road)]) {
			return true
		}
	}
	return false
}

// meets tells whether the line from a to b comes into the box g (Liang and Barsky's clipping).
func meets(g box, a, b vec) bool {
	t0, t1 := 0.0, 1.0
	d := b.sub(a)
	for _, e := range [4][2]float64{{-d.x, a.x - g.x0}, {d.x, g.x1 - a.x}, {-d.y, a.y - g.y0}, {d.y, g.y1 - a.y}} {
		switch {
		case e[0] == 0 && e[1] < 0:
			return false
		case e[0] < 0:
			t0 = max(t0, e[1]/e[0])
		case e[0] > 0:
			t1 = min(t1, e[1]/e[0])
		}
	}
	return t0 <= t1
}

// crosses tells whether the line from a to b goes over the road.
func (p *plan) crosses(a, b vec) bool {
	for i, v := range p.road {
		w := p.road[(i+1)%len(p.road)]
		d1, d2 := side(a, b, v), side(a, b, w)
		d3, d4 := side(v, w, a), side(v, w, b)
		if d1*d2 < 0 && d3*d4 < 0 {
			return true
		}
	}
	return false
}

func side(a, b, c vec) float64 { return (b.x-a.x)*(c.y-a.y) - (b.y-a.y)*(c.x-a.x) }
