package course

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
)

// When a course counts as recognised. A wrong course gives wrong corners and talks at the wrong moment; a course that
// is recognised late costs a lap of silence. So these limits ask for more than is likely to be needed. Common practice,
// no source; the tests drive twelve surveyed courses against each other.
const (
	lookEach   = 8.0   // m driven between two looks
	tooFar     = 150.0 // m between two looks: the car was moved, or not seen
	near       = 20.0  // m from the saved line: on the road, or in the pit lane beside it
	along      = 0.5   // rad between the way of the car and the saved line
	wander     = 6.0   // m: standard deviation of the distance from the saved line
	needGeo    = 300.0 // m of agreement where the place on earth is known
	needLocal  = 400.0 // m of agreement in a plane whose origin other courses may share
	needTurned = 0.8   // rad turned within them: straights look alike
	rivalRun   = 100.0 // m of agreement that make another course a rival: wait
	lineApart  = 60.0  // m between the saved line and that of this session
	leftAside  = 60.0  // m from the saved line: not on that course
	leftRun    = 300.0 // m driven there: it has been left
	leftSlow   = 12.0  // m/s: slower is the way of a pit lane or paddock
	sameAside  = 25.0  // m between two lines of one course
	sameLength = 0.02  // of the length, between two laps of one course
	rivalShape = 0.7   // of the bend: another course that is nearer than this is a rival
	needShape  = 0.3   // of the bend that may be left unexplained
	leftShape  = 1.0   // of the bend left unexplained over shapeLast: not that course
	shapeBin   = 10.0  // m over which the bend is averaged
	shapeLag   = 40.0  // m by which the place may be wrong
	shapeLeast = 800.0 // m, and
	shapePart  = 0.5   // of the course, and
	shapeTurn  = 3.0   // rad turned, before the shape is believed
	shapeLast  = 600.0 // m that are looked at for having left
	longest    = 2000  // bins: 20 km
)

// A Recogniser finds which of the saved courses the car is on, and whether it still is.
//
// By place, where the feed has a position in the plane of the saved course (latitude and longitude, or the feed's own x
// and y): the car has driven on its line, in its direction, with the start line at the same place, and on no other
// saved course. By shape, without such a position: the bends by distance from the line explain what was driven over
// half a lap, and no other saved course comes near. The other direction is another course.
type Recogniser struct {
	suspects []suspect
	closed   int      // suspects whose line has not been read
	wrong    error    // of the last file that could not be read
	on       *suspect // the course that the car is on, nil before
	ask      bool     // how on was recognised: by shape

	prev    Point // at the last look: in the feed's plane, or latitude and longitude
	seen    bool
	flat    bool // prev is in the feed's plane
	off     float64
	at      float64 // s, of the sample before
	looks   int
	lap     float64
	profile profile
}

// A suspect is a saved course.
type suspect struct {
	known   *Known
	m       *Map      // nil until it is needed
	barred  bool      // it was recognised and the car left it
	heading []float64 // rad at each point of its line: what it has turned since the line

	d      float64 // place at the last look, NaN: not on it
	run    float64 // m of agreement
	turned float64 // rad turned by the line over them
	aside  struct{ n, sum, squares float64 }
}

// NewRecogniser returns a Recogniser of saved courses.
func NewRecogniser(known []*Known) *Recogniser {
	r := &Recogniser{suspects: make([]suspect, 0, len(known)), closed: len(known), lap: math.NaN()}
	r.profile.bins = make([]float64, 0, longest)
	for _, k := range known {
		r.suspects = append(r.suspects, suspect{known: k, d: math.NaN()})
	}
	r.profile.reset()
	return r
}

// open reads the line of one more suspect that the car may be on: one a sample, so that no sample takes long.
func (r *Recogniser) open() {
	if r.closed == 0 || r.on != nil {
		return
	}
	for i := range r.suspects {
		if s := &r.suspects[i]; s.m == nil && !s.barred && (!r.samePlane(s) || r.inBox(s)) {
			r.read(s)
			return
		}
	}
}

// read reads the line of a suspect.
func (r *Recogniser) read(s *suspect) {
	if s.m != nil || s.barred {
		return
	}
	r.closed--
	saved, err := s.known.Saved()
	if err != nil {
		s.barred, r.wrong = true, err
		return
	}
	s.m = saved.Map
	s.prepare()
}

// Trouble returns what was wrong with a file that was read since the last call, or nil.
func (r *Recogniser) Trouble() error {
	err := r.wrong
	r.wrong = nil
	return err
}

// Recognised is how a course was recognised, in words for the journal.
type Recognised struct {
	Map *Map
	How string
}

// Step processes one sample: position, else course_distance, speed and yaw_rate; lap, lap_distance and in_pits. It
// returns a course when one is recognised. left is not empty when the recognised one turns out to be wrong: it says
// why.
func (r *Recogniser) Step(at float64, row channel.Row) (found Recognised, left string) {
	if len(r.suspects) == 0 {
		return Recognised{}, ""
	}
	moved, dir, ok := r.move(row)
	r.open()
	if ok && moved > 0 && row[channel.InPits] != 1 {
		if r.on == nil {
			found = r.byPlace(moved, dir, row)
		} else if !r.ask {
			left = r.leaves(moved, dir, row)
		}
	}
	if r.shapes() && r.profile.step(at, row) && found.Map == nil && left == "" {
		if r.on == nil {
			found = r.byShape()
		} else if r.ask {
			left = r.outOfShape()
		}
	}
	if left == "" && r.on != nil {
		left = r.lineMoved(at, row)
	}
	r.at, r.lap = at, row[channel.Lap]
	if left != "" {
		r.on.barred, r.on = true, nil
		r.forget()
	}
	return found, left
}

// Whole returns the saved course that equals a learned one, or nil, and follows it from now on.
func (r *Recogniser) Whole(m *Map) *Map {
	for i := range r.suspects {
		s := &r.suspects[i]
		if math.Abs(m.Length-s.known.Length) > sameLength*s.known.Length {
			continue
		}
		if r.read(s); s.m != nil && Same(m, s.m) {
			return r.accept(s, !r.samePlane(s))
		}
	}
	return nil
}

// Follows tells whether a course has been recognised and not been left since.
func (r *Recogniser) Follows() bool { return r.on != nil }

func (r *Recogniser) accept(s *suspect, shape bool) *Map {
	r.on, r.ask, r.off, s.barred = s, shape, 0, false
	m := *s.m
	m.foreign = shape && m.Placed
	return &m
}

func (r *Recogniser) forget() {
	for i := range r.suspects {
		r.suspects[i].lose()
	}
	r.off = 0
	r.profile.reset()
}

func (s *suspect) lose() {
	s.d, s.run, s.turned = math.NaN(), 0, 0
	s.aside.n, s.aside.sum, s.aside.squares = 0, 0, 0
}

// samePlane is true where the place of the car is known in the plane of s.
func (r *Recogniser) samePlane(s *suspect) bool {
	return r.seen && s.known.placed && s.known.loc.geo != r.flat
}

// inBox is true where the car is within the box of s.
func (r *Recogniser) inBox(s *suspect) bool {
	p, b := r.here(s), &s.known.box
	return p.X > b[0]-near && p.Y > b[1]-near && p.X < b[2]+near && p.Y < b[3]+near
}

// move returns the distance and direction of the car since the last look; 0 where it is too early to look again.
func (r *Recogniser) move(row channel.Row) (moved float64, dir Point, ok bool) {
	flat := row.Has(channel.PositionX) && row.Has(channel.PositionY)
	here := Point{row[channel.PositionX], row[channel.PositionY]}
	if !flat {
		if !row.Has(channel.Latitude) || !row.Has(channel.Longitude) {
			return 0, dir, false
		}
		here = Point{row[channel.Latitude], row[channel.Longitude]}
	}
	if !r.seen || r.flat != flat {
		r.prev, r.seen, r.flat = here, true, flat
		return 0, dir, true
	}
	dir = Point{here.X - r.prev.X, here.Y - r.prev.Y}
	if !flat {
		dir = NewPlane(r.prev).Local(here)
	}
	moved = math.Hypot(dir.X, dir.Y)
	if moved < lookEach {
		return 0, dir, true
	}
	r.prev = here
	if moved > tooFar {
		for i := range r.suspects {
			r.suspects[i].lose()
		}
		return 0, dir, true
	}
	return moved, Point{dir.X / moved, dir.Y / moved}, true
}

// byPlace follows the car along the lines of all suspects.
func (r *Recogniser) byPlace(moved float64, dir Point, row channel.Row) Recognised {
	var best *suspect
	unread := false
	r.looks++
	for i := range r.suspects {
		s := &r.suspects[i]
		if s.barred || !r.samePlane(s) {
			continue
		}
		if s.m == nil {
			unread = unread || r.inBox(s)
			continue
		}
		if math.IsNaN(s.d) && (r.looks+i)%4 != 0 {
			continue // a folder may hold hundreds that lie about one origin: they are looked for in turn
		}
		if r.follow(s, moved, dir, row); best == nil || s.run > best.run {
			best = s
		}
	}
	if best == nil || unread { // what has not been read may be a rival
		return Recognised{}
	}
	if best.m.loc.geo {
		if best.run < needGeo {
			return Recognised{}
		}
	} else if best.run < needLocal || best.turned < needTurned {
		return Recognised{}
	}
	mean := best.aside.sum / best.aside.n
	if best.aside.squares/best.aside.n-mean*mean > wander*wander {
		return Recognised{}
	}
	for i := range r.suspects {
		if s := &r.suspects[i]; s != best && !s.barred && s.run >= rivalRun {
			return Recognised{}
		}
	}
	return Recognised{r.accept(best, false), fmt.Sprintf("by its place, over %.0f m", best.run)}
}

// here is where the car is in the plane of a suspect.
func (r *Recogniser) here(s *suspect) Point {
	if r.flat {
		return r.prev
	}
	return s.known.loc.plane.Local(r.prev)
}

// follow takes one look at a suspect.
func (r *Recogniser) follow(s *suspect, moved float64, dir Point, row channel.Row) {
	p := r.here(s)
	if !r.inBox(s) {
		s.lose()
		return
	}
	was := s.d
	d, aside, ok := s.m.nearest(p, dir, was, moved)
	switch {
	case !ok || math.Abs(aside) > near:
		s.lose()
		return
	case row[channel.LapDistance] >= 0 && row[channel.LapDistance] == row[channel.CoursePlace] &&
		math.Abs(math.Remainder(d-row[channel.LapDistance], s.m.Length)) > lineApart:
		s.lose() // its line lies elsewhere
		return
	case math.IsNaN(was):
		s.d = d
		return
	}
	gone := s.m.ahead(was, d)
	if math.Abs(gone-moved) > 0.3*moved+6 {
		s.lose()
		return
	}
	for x := 0.0; x < gone; x += s.m.Step {
		s.turned += math.Abs(s.m.K[int(s.m.Wrap(was+x)/s.m.Step)%len(s.m.K)]) * s.m.Step
	}
	s.d = d
	s.run += moved
	s.aside.n++
	s.aside.sum += aside
	s.aside.squares += aside * aside
}

// nearest returns the place on the line nearest to p, among those that lead in the direction dir. It looks near hint +
// moved (m), or everywhere where hint is NaN. aside is positive to the left.
func (m *Map) nearest(p, dir Point, hint, moved float64) (d, aside float64, ok bool) {
	n := len(m.X)
	first, count, stride := 0, n, max(int(lookEach/m.Step), 1)
	if !math.IsNaN(hint) {
		half := min(int((30+0.3*moved)/m.Step)+1, (n-1)/2)
		first, count, stride = int(m.Wrap(hint+moved)/m.Step)-half+n, 2*half+1, 1
	}
	best, at := math.Inf(1), -1
	for k := 0; k < count; k += stride {
		i := (first + k) % n
		dx, dy := p.X-m.X[i], p.Y-m.Y[i]
		if q := dx*dx + dy*dy; q < best {
			if ux, uy := m.tangent(i); ux*dir.X+uy*dir.Y > math.Cos(along) {
				best, at = q, i
			}
		}
	}
	if at < 0 {
		return 0, 0, false
	}
	if stride > 1 {
		d := float64(at) * m.Step
		return m.nearest(p, dir, m.Wrap(d-moved), moved)
	}
	ux, uy := m.tangent(at)
	dx, dy := p.X-m.X[at], p.Y-m.Y[at]
	return m.Wrap(float64(at)*m.Step + min(max(dx*ux+dy*uy, -m.Step), m.Step)), ux*dy - uy*dx,
		math.Abs(dx*ux+dy*uy) < near
}

// tangent is the direction of the line at point i.
func (m *Map) tangent(i int) (ux, uy float64) {
	n := len(m.X)
	before, after := (i+n-1)%n, (i+1)%n
	ux, uy = m.X[after]-m.X[before], m.Y[after]-m.Y[before]
	l := math.Hypot(ux, uy)
	if l == 0 {
		return 0, 0
	}
	return ux / l, uy / l
}

// leaves is true after the car has driven long beside the course or against its direction.
func (r *Recogniser) leaves(moved float64, dir Point, row channel.Row) string {
	if row[channel.Speed] < leftSlow {
		return ""
	}
	p, m := r.here(r.on), r.on.m
	nearest, at := math.Inf(1), 0
	for i := range m.X {
		dx, dy := p.X-m.X[i], p.Y-m.Y[i]
		if q := dx*dx + dy*dy; q < nearest {
			nearest, at = q, i
		}
	}
	ux, uy := m.tangent(at)
	if nearest < leftAside*leftAside && ux*dir.X+uy*dir.Y > -0.5 {
		r.off = 0
		return ""
	}
	if r.off += moved; r.off < leftRun {
		return ""
	}
	if nearest < leftAside*leftAside {
		return fmt.Sprintf("the car drives against its direction, for %.0f m now", r.off)
	}
	return fmt.Sprintf("the car is %.0f m beside it, for %.0f m now", math.Sqrt(nearest), r.off)
}

// lineMoved tells whether the lap that has just begun began elsewhere than at the saved line.
func (r *Recogniser) lineMoved(at float64, row channel.Row) string {
	lap := row[channel.Lap]
	if at-r.at > 1 { // the line was passed unseen
		return ""
	}
	if !(lap >= 1) || lap == r.lap || math.IsNaN(r.lap) || row[channel.InPits] == 1 {
		return ""
	}
	m := r.on.m
	if r.ask || !r.samePlane(r.on) {
		return ""
	}
	loc := m.loc
	p, ok := loc.Find(row)
	if !ok {
		return ""
	}
	apart := math.Inf(1)
	for back := -lineApart; back <= lineApart; back += m.Step {
		i := int(m.Wrap(back)/m.Step) % len(m.X)
		apart = min(apart, math.Hypot(p.X-m.X[i], p.Y-m.Y[i]))
	}
	if late := row[channel.Speed] / 2; apart <= lineApart || apart <= lineApart+late { // a counter may step late
		return ""
	}
	return fmt.Sprintf("the lap began %.0f m away from its line", apart)
}
