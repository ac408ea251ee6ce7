package course_test

import (
	"math"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

// A survey is a centre line of the open data.
type survey struct {
	name string
	line *polyline
}

func surveyedLines(t testing.TB) []survey {
	t.Helper()
	truth, root := readTracks(t)
	var list []survey
	for _, row := range truth {
		list = append(list, survey{row[0], surveyed(t, root, row[0])})
	}
	return list
}

func (s survey) reversed() survey {
	var x, y []float64
	for i := range s.line.x {
		j := (len(s.line.x) - i) % len(s.line.x)
		x, y = append(x, s.line.x[j]), append(y, s.line.y[j])
	}
	return survey{s.name + " reversed", newPolyline(x, y)}
}

// A sense is how a drive is told: what of it the feed shows.
type sense int

const (
	byXY sense = iota
	byGeo
	byBend // speed, yaw rate and lap distance only
)

// somewhere is a place on earth for each course: roads there do not lie on each other, as they do in the planes of
// simulators.
func somewhere(name string) course.Point {
	h := 0.0
	for _, c := range name {
		h = math.Mod(31*h+float64(c), 997)
	}
	return course.Point{X: 47 * math.Pi / 180, Y: h / 997}
}

// a drive shows a point that goes along a line, weaving over the road, as a feed would.
type drive struct {
	on    *polyline
	sense sense
	weave float64 // m to each side
	gain  float64 // of the yaw rate
	s     float64 // m
	row   channel.Row
	plane course.Plane
	from  course.Point
}

const driveSpeed, driveStep = 50.0, 0.04

func newDrive(s survey, how sense, from float64) *drive {
	at := somewhere(strings.TrimSuffix(s.name, " reversed"))
	return &drive{on: s.line, sense: how, weave: 4, gain: 1.01, s: from, row: set.NewRow(), plane: course.NewPlane(at), from: at}
}

// step goes on by a sample. course_distance, lap and lap_distance are as timing would have them.
func (d *drive) step() float64 {
	d.s += driveSpeed * driveStep
	x, y := d.on.at(d.s)
	x1, y1 := d.on.at(d.s + 3)
	l := math.Hypot(x1-x, y1-y)
	ux, uy := (x1-x)/l, (y1-y)/l
	aside := d.weave * math.Sin(d.s/90)
	x, y = x-uy*aside, y+ux*aside
	lap := math.Mod(d.s, d.on.length)
	d.row[channel.Speed] = driveSpeed
	d.row[channel.Lap] = math.Floor(d.s / d.on.length)
	switch d.sense {
	case byXY:
		d.row[channel.PositionX], d.row[channel.PositionY] = x, y
	case byGeo:
		// The plane's own inverse is not exported: two corrections of a first guess come to a micrometre.
		at := d.from
		for range 3 {
			p := d.plane.Local(at)
			at.X += (y - p.Y) / 6.37e6
			at.Y += (x - p.X) / (6.38e6 * math.Cos(at.X))
		}
		d.row[channel.Latitude], d.row[channel.Longitude] = at.X, at.Y
	case byBend:
		x0, y0 := d.on.at(d.s + d.on.length - 3)
		x, y = d.on.at(d.s)
		bend := course.Menger(course.Point{X: x0, Y: y0}, course.Point{X: x, Y: y}, course.Point{X: x1, Y: y1})
		d.row[channel.YawRate] = bend * driveSpeed * d.gain
		d.row[channel.LapDistance], d.row[channel.CoursePlace] = lap, lap
	}
	return d.s / driveSpeed
}

// learn drives a whole lap and returns the map, under the name of the course.
func learn(t testing.TB, s survey, how sense) *course.Map {
	t.Helper()
	l := course.NewLearner(&course.File{Name: s.name})
	d := newDrive(s, how, s.line.length-100)
	d.weave, d.gain = 0, 1
	for d.s < 2*s.line.length+50 {
		at := d.step()
		d.row[channel.CoursePlace] = math.Mod(d.s, s.line.length)
		if m := l.Step(at, d.row); m != nil {
			return m
		}
	}
	t.Fatalf("%s was not learned", s.name)
	return nil
}

// known is a map as after a night in the folder.
func known(t testing.TB, m *course.Map) *course.Known {
	t.Helper()
	b, err := course.Saved{Map: m}.Encode()
	require.NoError(t, err)
	k, err := course.Glance(m.Name, b)
	require.NoError(t, err)
	return k
}

var learnedOnce sync.Map

func knownAll(t testing.TB, how sense) []*course.Known {
	t.Helper()
	if v, ok := learnedOnce.Load(how); ok {
		return v.([]*course.Known)
	}
	var all []*course.Known
	for _, s := range surveyedLines(t) {
		all = append(all, known(t, learn(t, s, how)))
	}
	learnedOnce.Store(how, all)
	return all
}

// recognised drives metres and returns what was recognised after how many metres, and whether it was left again.
func recognised(known []*course.Known, d *drive, metres float64) (name string, after float64, left string) {
	r := course.NewRecogniser(known)
	for begin := d.s; d.s < begin+metres; {
		at := d.step()
		found, gone := r.Step(at, d.row)
		if found.Map != nil {
			name, after = found.Map.Name, d.s-begin
		}
		if gone != "" {
			return name, after, gone
		}
	}
	return name, after, ""
}

// Each of twelve survey courses (TUM racetrack-database, LGPL-3.0, from OpenStreetMap, ODbL), in one plane over one
// origin or on earth, is recognised among the others from two places, and none is recognised where it is not driven.
func TestEachCourseIsRecognisedAmongOthers(t *testing.T) {
	lines := surveyedLines(t)
	for how, most := range map[sense]float64{byXY: 2600, byGeo: 1000, byBend: 4200} {
		known := knownAll(t, how)
		for i, s := range lines {
			for _, part := range []float64{0, 0.6} {
				from := part * s.line.length
				name, after, left := recognised(known, newDrive(s, how, from), 2*s.line.length)
				require.Equal(t, s.name, name, "sense %d from %.0f m", how, from)
				require.Less(t, after, most, "%s, sense %d from %.0f m", s.name, how, from)
				require.Empty(t, left, "%s, sense %d", s.name, how)
				t.Logf("%-14s sense %d from %4.0f m: after %4.0f m", s.name, how, from, after)

				if part > 0 {
					continue
				}
				others := append(append([]*course.Known{}, known[:i]...), known[i+1:]...)
				name, _, _ = recognised(others, newDrive(s, how, from), 1.5*s.line.length)
				require.Empty(t, name, "%s is not among the saved, sense %d from %.0f m", s.name, how, from)

				back := s.reversed()
				name, _, _ = recognised(known, newDrive(back, how, from), 1.5*s.line.length)
				require.Empty(t, name, "%s, sense %d from %.0f m", back.name, how, from)
			}
		}
	}
}

// What shares a stretch with a saved course and then goes elsewhere is told, and that course is not taken again.
func TestACourseThatIsLeftIsDropped(t *testing.T) {
	lines := surveyedLines(t)
	for _, how := range []sense{byXY, byBend} {
		known := knownAll(t, how)
		r := course.NewRecogniser(known)
		d := newDrive(lines[0], how, 0)
		for !r.Follows() {
			d.step()
			r.Step(d.s/driveSpeed, d.row)
			require.Less(t, d.s, 3000.0)
		}
		// Another road from here on, which begins where this one ends.
		x, y := d.on.at(d.s)
		other := newPolyline(append([]float64{}, lines[3].line.x...), append([]float64{}, lines[3].line.y...))
		for i := range other.x {
			other.x[i] += x + 30
			other.y[i] += y + 30
		}
		clock := d.s / driveSpeed
		e := newDrive(survey{lines[0].name, other}, how, 0)
		why := ""
		for e.s < other.length && why == "" {
			at := e.step()
			e.row[channel.Lap] = 0
			if how == byBend {
				e.row[channel.CoursePlace] += math.Mod(d.s, d.on.length)
				e.row[channel.LapDistance] = e.row[channel.CoursePlace]
			}
			_, why = r.Step(clock+at, e.row)
		}
		require.NotEmpty(t, why, "sense %d", how)
		require.Less(t, e.s, 2500.0, "sense %d: %s", how, why)
		require.False(t, r.Follows())
		again := newDrive(lines[0], how, 0)
		for again.s < 2*again.on.length {
			at := again.step()
			found, _ := r.Step(clock+at+1000, again.row)
			require.Nil(t, found.Map, "it was left: in this session it is no candidate any more")
		}
	}
}

// The same road counted from another line is not the saved course: its corners would have other numbers.
func TestAnotherLineIsAnotherCourse(t *testing.T) {
	s := surveyedLines(t)[0]
	known := knownAll(t, byXY)
	r := course.NewRecogniser(known)
	d := newDrive(s, byXY, 0)
	left := ""
	for d.s < 1.2*s.line.length && left == "" {
		at := d.step()
		d.row[channel.Lap] = math.Floor((d.s + 500) / s.line.length) // the line lies 500 m before the saved one
		_, left = r.Step(at, d.row)
	}
	require.Contains(t, left, "the lap began")

	// Where the feed counts from the line, it is seen before anything is taken for certain.
	d = newDrive(s, byXY, 0)
	r = course.NewRecogniser(known)
	for d.s < 1.2*s.line.length {
		at := d.step()
		d.row[channel.LapDistance] = math.Mod(d.s+500, s.line.length)
		d.row[channel.CoursePlace] = d.row[channel.LapDistance]
		found, _ := r.Step(at, d.row)
		require.Nil(t, found.Map)
	}
}

// Two saved layouts that share a stretch: no word before they part.
func TestARivalMakesWait(t *testing.T) {
	s := surveyedLines(t)[0]
	part := 1800.0
	x, y := append([]float64{}, s.line.x...), append([]float64{}, s.line.y...)
	for i, d := range s.line.d {
		if d > part && d < part+1500 { // a detour of the second layout
			x[i] += 150 * math.Sin(math.Pi*(d-part)/1500)
			y[i] += 150 * math.Sin(math.Pi*(d-part)/1500)
		}
	}
	rival := survey{"rival", newPolyline(x, y)}
	both := []*course.Known{knownAll(t, byXY)[0], known(t, learn(t, rival, byXY))}
	for i, on := range []survey{s, rival} {
		name, after, left := recognised(both, newDrive(on, byXY, 0), s.line.length)
		require.Equal(t, both[i].Name, name)
		require.Greater(t, after, part)
		require.Empty(t, left)
	}
}

func TestAWholeLapShowsWhichItIs(t *testing.T) {
	lines := surveyedLines(t)
	for _, how := range []sense{byXY, byGeo, byBend} {
		known := knownAll(t, how)
		r := course.NewRecogniser(known)
		for i, s := range lines[:4] {
			m := learn(t, s, how)
			require.Equal(t, known[i].Name, r.Whole(m).Name)
			require.Nil(t, r.Whole(learn(t, s.reversed(), how)), s.name)
		}
	}
}

// Looking for the course costs a sample nothing on the heap.
func TestRecogniserDoesNotAllocate(t *testing.T) {
	for _, how := range []sense{byXY, byBend} {
		known := knownAll(t, how)[1:]
		r := course.NewRecogniser(known)
		d := newDrive(surveyedLines(t)[0], how, 0)
		for d.s < 3000 { // the lines that shape is compared with are laid out once
			d.step()
			r.Step(d.s/driveSpeed, d.row)
		}
		require.Zero(t, testing.AllocsPerRun(500, func() {
			d.step()
			r.Step(d.s/driveSpeed, d.row)
		}))
	}
}

// BenchmarkRecogniser: a sample with 300 saved courses about one origin, against one with none.
func BenchmarkRecogniser(b *testing.B) {
	known := knownAll(b, byXY)[1:]
	var many []*course.Known
	for len(many) < 300 {
		many = append(many, known...)
	}
	for _, list := range [][]*course.Known{nil, known[:1], many} {
		b.Run(strconv.Itoa(len(list)), func(b *testing.B) {
			r := course.NewRecogniser(list)
			d := newDrive(surveyedLines(b)[0], byXY, 0)
			for b.Loop() {
				d.step()
				r.Step(d.s/driveSpeed, d.row)
			}
		})
	}
}
