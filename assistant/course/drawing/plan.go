package drawing

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"earshot/assistant/course"
)

// Options say how a course is drawn. The zero Options work.
type Options struct {
	Title  string  // beside the name; empty: the name of the map
	Width  float64 // px; 0: 1200
	Dark   bool    // PNG only, which cannot ask on what page it stands
	Marks  []Mark  // what the driver marked
	Places []Mark  // other places to be named, such as the pit entry
}

// A Mark is a place on the course.
type Mark struct {
	Distance float64 // m from the line
	Text     string  // short: stands beside the road
}

// ErrNothing says that a map has no line to draw.
var ErrNothing = errors.New("the course has no line to draw")

// Sizes in px of a picture 1200 px wide; everything else follows the road.
const (
	width     = 1200.0
	border    = 120.0 // room for the labels around the road
	legendGap = 24.0
	roadWide  = 11.0
	casing    = 15.0
	numeral   = 22.0 // size of a corner's number
	nameSize  = 16.0
	textSize  = 15.0
	titleSize = 26.0
	clear     = 4.0 // px that labels keep from everything else
)

// A paint names what is drawn; colours.go has its colours on a light and on a dark page.
type paint string

// The paints besides room0 to room4.
const (
	paintCasing paint = "casing"
	paintText   paint = "text"
	paintQuiet  paint = "quiet"
	paintBrake  paint = "brake"
	paintTurn   paint = "turn"
	paintMark   paint = "mark"
	paintBack   paint = "back"
)

// A vec is a place in the picture, in px, y down.
type vec struct{ x, y float64 }

func (a vec) add(b vec) vec       { return vec{a.x + b.x, a.y + b.y} }
func (a vec) sub(b vec) vec       { return vec{a.x - b.x, a.y - b.y} }
func (a vec) times(f float64) vec { return vec{a.x * f, a.y * f} }
func (a vec) length() float64     { return math.Hypot(a.x, a.y) }
func (a vec) left() vec           { return vec{a.y, -a.x} } // as a driver sees it: y points down
func (a vec) dist(b vec) float64  { return a.sub(b).length() }
func (a vec) unit() vec           { return a.times(1 / math.Max(a.length(), 1e-9)) }

// A box is a rectangle.
type box struct{ x0, y0, x1, y1 float64 }

func (b box) grown(by float64) box { return box{b.x0 - by, b.y0 - by, b.x1 + by, b.y1 + by} }
func (b box) meets(c box) bool     { return b.x0 < c.x1 && c.x0 < b.x1 && b.y0 < c.y1 && c.y0 < b.y1 }

// A stroke is a line through points.
type stroke struct {
	points []vec
	wide   float64
	paint  paint
	closed bool
	what   string // for a reader who cannot see it
}

// A patch is a filled shape.
type patch struct {
	points []vec
	paint  paint
	what   string
}

// A text is a line of text whose baseline begins at x, y.
type text struct {
	x, y  float64
	size  float64
	bold  bool
	paint paint
	s     string
	kind  string // corner, straight, start, mark, legend or title
	box   box
}

// A plan is all that is to be drawn, in the order of drawing.
type plan struct {
	w, h    float64
	title   string
	about   string // the whole in words
	strokes []stroke
	patches []patch
	texts   []text

	m     *course.Map
	road  []vec   // of each point of the map
	scale float64 // px per m
	taken []box   // labels and markers
}

// newPlan lays a picture out.
func newPlan(m *course.Map, o Options) (*plan, error) {
	if m == nil || len(m.X) < 3 || len(m.X) != len(m.Y) {
		return nil, ErrNothing
	}
	p := &plan{m: m, w: width, title: o.Title}
	if p.title == "" {
		p.title = m.Name
	}
	if p.title == "" {
		p.title = "course"
	}
	p.place()
	p.layRoad()
	p.layStart()
	p.layPoints()
	p.layCorners()
	p.layMarks(o.Marks)
	for _, k := range o.Places {
		at, dir := p.at(k.Distance)
		p.bar(at, dir, 12, 2.5, paintQuiet, k.Text)
		p.label(at, p.outside(k.Distance, dir).times(-1), []line{{k.Text, textSize, false, paintText}}, "place")
	}
	p.layStraights()
	p.layTitle()
	p.layLegend()
	p.about = p.inWords()
	if o.Width > 0 {
		p.resize(o.Width / width)
	}
	return p, nil
}

// place finds the scale and lays the line of the map into the picture. A course that is much higher than wide makes the
// picture higher, up to a square and a half.
func (p *plan) place() {
	for i, x := range p.m.X {
		p.road = append(p.road, vec{x, p.m.Y[i]}) // in metres for now
	}
	b := around(p.road)
	top := border + 40.0
	room := p.w - 2*border
	p.scale = min(room/max(b.x1-b.x0, 1), 1.25*room/max(b.y1-b.y0, 1))
	p.h = top + (b.y1-b.y0)*p.scale + border - 30
	shift := (room - (b.x1-b.x0)*p.scale) / 2
	for i, v := range p.road {
		p.road[i] = vec{border + shift + (v.x-b.x0)*p.scale, top + (b.y1-v.y)*p.scale}
	}
}

// at is the place of d metres from the line, and the direction of driving there.
func (p *plan) at(d float64) (vec, vec) {
	n := len(p.road)
	f := p.m.Wrap(d) / p.m.Step
	i := int(f) % n
	a, b := p.road[i], p.road[(i+1)%n]
	f -= math.Floor(f)
	back, fore := p.road[(i+n-2)%n], p.road[(i+3)%n]
	return a.add(b.sub(a).times(f)), fore.sub(back).unit()
}

// levels of room to talk: metres of road until the next braking or turn-in point, from each level on.
var levels = []struct {
	from float64
	word string
}{
	{0, "none: braking, turning"}, {0.001, "a word: under 100 m"}, {100, "a few words: from 100 m"},
	{250, "a sentence: from 250 m"}, {500, "plenty: from 500 m"},
}

// levelAt is the level at d metres from the line.
func levelAt(m *course.Map, d float64) int {
	metres := m.FreeRoad(d)
	level := 0
	for i, l := range levels {
		if metres >= l.from {
			level = i
		}
	}
	return level
}

// layRoad draws the road, coloured by the room to talk.
func (p *plan) layRoad() {
	p.strokes = append(p.strokes, stroke{points: p.road, wide: casing, paint: paintCasing, closed: true})
	n := len(p.road)
	of := func(i int) int { return levelAt(p.m, (float64(i%n)+0.5)*p.m.Step) }
	start := 0
	for start < n && of(start) == of(start+n-1) {
		start++
	}
	for i := start; i < start+n; {
		j := i
		for j < start+n && of(j) == of(i) {
			j++
		}
		var points []vec
		for k := i; k <= j; k++ {
			points = append(points, p.road[k%n])
		}
		p.line(points, roadWide, roomPaint(of(i)), "room to talk: "+levels[of(i)].word)
		i = j
	}
	if start == n { // the same all around
		p.strokes = append(p.strokes, stroke{points: p.road, wide: roadWide, paint: roomPaint(of(0)), closed: true,
			what: "room to talk: " + levels[of(0)].word})
	}
}

func roomPaint(level int) paint { return paint(fmt.Sprintf("room%d", level)) }

// bar draws a line across the road.
func (p *plan) bar(at, dir vec, half, wide float64, paint paint, what string) {
	l := dir.left().times(half)
	a, b := at.add(l), at.sub(l)
	p.line([]vec{a, b}, wide, paint, what)
	p.take(around([]vec{a, b}).grown(wide / 2))
}

// line draws a line; what is for a reader who cannot see it.
func (p *plan) line(points []vec, wide float64, paint paint, what string) {
	p.strokes = append(p.strokes, stroke{points: points, wide: wide, paint: paint, what: what})
}

// shape fills a shape.
func (p *plan) shape(points []vec, paint paint, what string) {
	p.patches = append(p.patches, patch{points: points, paint: paint, what: what})
}

func (p *plan) take(b box) { p.taken = append(p.taken, b) }

func around(points []vec) box {
	b := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, v := range points {
		b = box{min(b.x0, v.x), min(b.y0, v.y), max(b.x1, v.x), max(b.y1, v.y)}
	}
	return b
}

// layStart draws the start line, an arrow in the direction of driving beside it, and the word.
func (p *plan) layStart() {
	at, dir := p.at(0)
	p.bar(at, dir, 17, 5, paintText, "start line")
	side := p.outside(0, dir)
	const from, long, head = 14.0, 46.0, 13.0
	for _, off := range []float64{26, 34, 44} {
		for _, s := range []vec{side, side.times(-1)} {
			a := at.add(s.times(off)).add(dir.times(from))
			b := a.add(dir.times(long))
			l := dir.left().times(head * 0.5)
			tip := []vec{b.add(dir.times(head)), b.add(l), b.sub(l)}
			area := around(append([]vec{a}, tip...)).grown(3)
			if p.nearRoad(append([]vec{a, a.add(dir.times(long / 2))}, tip...), casing/2+6) {
				continue
			}
			p.line([]vec{a, b}, 4, paintText, "direction of driving")
			p.shape(tip, paintText, "")
			p.take(area)
			p.label(at.add(s.times(8)), s, []line{{"start", textSize, true, paintText}}, "start")
			return
		}
	}
	p.label(at, side, []line{{"start", textSize, true, paintText}}, "start")
}

// outside is the direction from the road at d to the outside of its bend; on a straight to the outside of the course.
func (p *plan) outside(d float64, dir vec) vec {
	k := 0.0
	for off := -60.0; off <= 60; off += p.m.Step {
		k += p.m.K[int(p.m.Wrap(d+off)/p.m.Step)%len(p.m.K)]
	}
	if math.Abs(k)*p.m.Step < 0.05 {
		k = p.m.Turning
	}
	if k > 0 { // turns left: the outside is to the right
		return dir.left().times(-1)
	}
	return dir.left()
}

// layPoints draws where braking begins and where the car turns in.
func (p *plan) layPoints() {
	for _, c := range p.m.Corners {
		if !math.IsNaN(c.Braking) {
			at, dir := p.at(c.Braking)
			p.bar(at, dir, 13, 4, paintBrake, fmt.Sprintf("braking for %s", cornerWord(c)))
		}
		if !math.IsNaN(c.TurnIn) {
			at, dir := p.at(c.TurnIn)
			l := dir.left()
			const r = 7.0
			d := []vec{at.add(dir.times(r)), at.add(l.times(r)), at.sub(dir.times(r)), at.sub(l.times(r))}
			p.shape(d, paintTurn, fmt.Sprintf("turn-in for %s", cornerWord(c)))
			p.take(around(d))
		}
	}
}

func cornerWord(c course.Corner) string {
	if c.Name != "" {
		return fmt.Sprintf("corner %d, %s", c.Number, c.Name)
	}
	return fmt.Sprintf("corner %d", c.Number)
}

// layCorners writes number and name of each corner on the outside of its apex. The tightest room comes first.
func (p *plan) layCorners() {
	for _, c := range p.m.Corners {
		at, dir := p.at(c.Apex)
		out := dir.left()
		if c.Hand == course.Left {
			out = out.times(-1)
		}
		lines := []line{{fmt.Sprint(c.Number), numeral, true, paintText}}
		if c.Name != "" {
			lines = append(lines, line{c.Name, nameSize, false, paintText})
		}
		p.label(at, out, lines, "corner")
	}
}

// layMarks writes what the driver marked, inside of the road where there is room.
func (p *plan) layMarks(marks []Mark) {
	for _, k := range marks {
		at, dir := p.at(k.Distance)
		ring := circle(at, 7)
		p.shape(ring, paintMark, "mark "+k.Text)
		p.take(around(ring))
		p.label(at, p.outside(k.Distance, dir).times(-1), []line{{k.Text, textSize, true, paintMark}}, "mark")
	}
}

// layStraights writes the length of each straight that is long enough to matter.
func (p *plan) layStraights() {
	const least = 200.0 // m
	for _, s := range p.m.Straights {
		if s.Length < least {
			continue
		}
		middle := s.From + s.Length/2
		at, dir := p.at(middle)
		p.label(at, p.outside(middle, dir).times(-1), []line{{fmt.Sprintf("%.0f m", s.Length), textSize, false,
			paintQuiet}}, "straight")
	}
}

// layTitle writes name and length.
func (p *plan) layTitle() {
	turns := "anticlockwise"
	if p.m.Turning < 0 {
		turns = "clockwise"
	}
	about := fmt.Sprintf("%.0f m, %s", p.m.Length, plural(len(p.m.Corners), "corner"))
	if math.Abs(math.Abs(p.m.Turning)-2*math.Pi) < 1 {
		about += ", " + turns
	}
	p.put(30, 42, line{p.title, titleSize, true, paintText}, "title")
	p.put(30, 66, line{about, textSize, false, paintQuiet}, "title")
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// inWords describes the picture for a reader who cannot see it.
func (p *plan) inWords() string {
	var list []string
	for _, c := range p.m.Corners {
		s := fmt.Sprintf("%s, %s, %.0f m from the line", cornerWord(c), c.Hand, c.Apex)
		if !math.IsNaN(c.Braking) {
			s += fmt.Sprintf(", braking at %.0f m", c.Braking)
		}
		list = append(list, s)
	}
	return fmt.Sprintf("%s, %.0f m: %s.", p.title, p.m.Length, strings.Join(list, "; "))
}

// resize makes all of it larger or smaller.
func (p *plan) resize(f float64) {
	p.w, p.h = p.w*f, p.h*f
	for i := range p.strokes {
		s := &p.strokes[i]
		s.wide *= f
		points := make([]vec, len(s.points)) // the road is shared
		for j, v := range s.points {
			points[j] = v.times(f)
		}
		s.points = points
	}
	for _, a := range p.patches {
		for j := range a.points {
			a.points[j] = a.points[j].times(f)
		}
	}
	for i := range p.texts {
		t := &p.texts[i]
		t.x, t.y, t.size = t.x*f, t.y*f, t.size*f
		t.box = box{t.box.x0 * f, t.box.y0 * f, t.box.x1 * f, t.box.y1 * f}
	}
}
