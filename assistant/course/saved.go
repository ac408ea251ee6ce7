package course

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ErrSaved is wrapped by every error of DecodeSaved.
var ErrSaved = errors.New("not a saved course")

// The format of a saved course and its version. A higher version is refused; unknown fields are ignored.
const (
	savedFormat  = "earshot course"
	savedVersion = 1
)

// A Saved is a course as it is kept from one session to the next. configs/courses/README.md describes the
// file. Feed and Car say with what the latest laps were driven, Updated when (RFC 3339); all three are for people.
type Saved struct {
	Map     *Map
	Feed    string
	Car     string
	Updated string
}

// savedFile is a Saved as it stands in its file. Lengths are in metres, angles in degrees, speeds in m/s.
type savedFile struct {
	Format  string        `json:"format"`
	Version int           `json:"version"`
	Name    string        `json:"name"`
	Updated string        `json:"updated,omitempty"`
	Feed    string        `json:"feed,omitempty"`
	Car     string        `json:"car,omitempty"`
	Laps    int           `json:"laps"`
	Length  fixed         `json:"length"`
	Plane   savedPlane    `json:"plane"`
	Box     [4]fixed      `json:"box"` // least x and y, greatest x and y
	Corners []savedCorner `json:"corners"`
	X       line          `json:"x"`
	Y       line          `json:"y"`
	Z       line          `json:"z,omitempty"`
	Times   line          `json:"times,omitempty"` // s since the line, at each point and at the end of the lap
}

// savedPlane is the plane of x and y.
type savedPlane struct {
	Kind      string   `json:"kind"` // geographic, local or reckoned
	Scattered bool     `json:"scattered,omitempty"`
	Latitude  *float64 `json:"latitude,omitempty"`
	Longitude *float64 `json:"longitude,omitempty"`
}

// The kinds of planes.
const (
	geographic = "geographic" // x east and y north of an origin that is told in degrees
	local      = "local"      // the plane of the feed's position_x and position_y
	reckoned   = "reckoned"   // from speed and yaw rate: the line lies in the origin and is passed to the east
)

type savedCorner struct {
	Number   int    `json:"number"`
	Name     string `json:"name,omitempty"`
	Hand     string `json:"hand"`
	Entry    fixed  `json:"entry"`
	Apex     fixed  `json:"apex"`
	Exit     fixed  `json:"exit"`
	Radius   fixed  `json:"radius"`
	Angle    fixed  `json:"angle"` // degrees
	Braking  *fixed `json:"braking,omitempty"`
	TurnIn   *fixed `json:"turn_in,omitempty"`
	Slowest  *fixed `json:"slowest,omitempty"`
	MinSpeed *fixed `json:"min_speed,omitempty"`
}

// fixed is a number with three decimals.
type fixed float64

// MarshalJSON writes three decimals at most.
func (f fixed) MarshalJSON() ([]byte, error) { return appendFixed(nil, float64(f)), nil }

func appendFixed(b []byte, v float64) []byte {
	n := len(b)
	b = strconv.AppendFloat(b, v, 'f', 3, 64)
	b = bytes.TrimRight(b, "0") // there is a point: the zeros are behind it
	if b = bytes.TrimSuffix(b, []byte(".")); string(b[n:]) == "-0" {
		b = append(b[:n], '0')
	}
	return b
}

// line is a list of coordinates with a fast reader of its own, since a folder holds many of them.
type line []float64

// MarshalJSON writes three decimals at most.
func (l line) MarshalJSON() ([]byte, error) {
	b := append(make([]byte, 0, 10*len(l)), '[')
	for i, v := range l {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendFixed(b, v)
	}
	return append(b, ']'), nil
}

// UnmarshalJSON reads an array of numbers.
func (l *line) UnmarshalJSON(b []byte) error {
	if len(b) < 2 || b[0] != '[' {
		return errors.New("x and y are arrays of numbers")
	}
	*l = make(line, 0, bytes.Count(b, []byte{','})+1)
	for b = b[1 : len(b)-1]; len(b) > 0; {
		item, rest, _ := bytes.Cut(b, []byte{','})
		if len(*l) == maxPoints {
			return fmt.Errorf("more than %d points", maxPoints)
		}
		v, ok := plain(item)
		if !ok {
			var err error
			if v, err = strconv.ParseFloat(string(bytes.TrimSpace(item)), 64); err != nil {
				return fmt.Errorf("point %d: %q is not a number", len(*l), item)
			}
		}
		*l = append(*l, v)
		b = rest
	}
	return nil
}

// plain reads what appendFixed writes, which is most of what there is to read: up to three decimals. The quotient of
// two whole numbers below 2^53 is rounded once, as strconv rounds.
func plain(b []byte) (float64, bool) {
	whole, decimals, minus := 0, -1, false
	if len(b) > 0 && b[0] == '-' {
		minus, b = true, b[1:]
	}
	if len(b) == 0 || len(b) > 12 {
		return 0, false
	}
	for _, c := range b {
		switch {
		case c >= '0' && c <= '9':
			whole = 10*whole + int(c-'0')
			if decimals >= 0 {
				decimals++
			}
		case c == '.' && decimals < 0:
			decimals = 0
		default:
			return 0, false
		}
	}
	if decimals > 3 {
		return 0, false
	}
	v := float64(whole) / [...]float64{1, 10, 100, 1000}[max(decimals, 0)]
	if minus {
		v = -v
	}
	return v, true
}

// boxOf returns the least and the greatest x and y.
func boxOf(x, y []float64) [4]fixed {
	inf := fixed(math.Inf(1))
	box := [4]fixed{inf, inf, -inf, -inf}
	for i := range min(len(x), len(y)) {
		box[0], box[1] = min(box[0], fixed(x[i])), min(box[1], fixed(y[i]))
		box[2], box[3] = max(box[2], fixed(x[i])), max(box[3], fixed(y[i]))
	}
	return box
}

func maybe(v float64) *fixed {
	if math.IsNaN(v) {
		return nil
	}
	f := fixed(v)
	return &f
}

func unmaybe(f *fixed) float64 {
	if f == nil {
		return math.NaN()
	}
	return float64(*f)
}

// nine rounds degrees to a tenth of a millimetre, so that they come back as they were.
func nine(v float64) float64 { return math.Round(v*1e9) / 1e9 }

const degree = math.Pi / 180

// Encode returns the file of a saved course. What is decoded from it encodes to the same bytes.
func (s Saved) Encode() ([]byte, error) {
	m := s.Map
	f := savedFile{
		Format: savedFormat, Version: savedVersion, Name: m.Name, Updated: s.Updated, Feed: s.Feed, Car: s.Car,
		Laps: m.Laps, Length: fixed(m.Length), Plane: savedPlane{Kind: reckoned}, Box: boxOf(m.X, m.Y),
		Corners: []savedCorner{}, X: m.X, Y: m.Y, Z: m.Z, Times: m.Times,
	}
	switch {
	case m.Placed && m.loc.geo:
		lat, lon := nine(m.loc.plane.Origin.X/degree), nine(m.loc.plane.Origin.Y/degree)
		f.Plane = savedPlane{Kind: geographic, Latitude: &lat, Longitude: &lon}
	case m.Placed:
		f.Plane.Kind = local
	}
	f.Plane.Scattered = m.scattered
	for _, c := range m.Corners {
		f.Corners = append(f.Corners, savedCorner{
			c.Number, c.Name, c.Hand.String(), fixed(c.Entry), fixed(c.Apex), fixed(c.Exit), fixed(c.Radius),
			fixed(c.Angle / degree),
			maybe(c.Braking), maybe(c.TurnIn), maybe(c.Slowest), maybe(c.MinSpeed),
		})
	}
	b, err := json.Marshal(f)
	return append(b, '\n'), err
}

// DecodeSaved reads a saved course. name stands in the errors, which wrap ErrSaved and tell every mistake.
func DecodeSaved(name string, data []byte) (Saved, error) {
	var f savedFile
	if err := json.Unmarshal(data, &f); err != nil {
		return Saved{}, fmt.Errorf("%s: %w: %v", name, ErrSaved, err)
	}
	if err := f.wrong(name, f.check); err != nil {
		return Saved{}, err
	}
	m := &Map{Name: f.Name, Length: float64(f.Length), Step: float64(f.Length) / float64(len(f.X)), X: f.X, Y: f.Y,
		Placed: f.Plane.Kind != reckoned, Laps: f.Laps}
	m.loc, m.scattered = f.Plane.locator(), f.Plane.Scattered
	if len(f.Z) > 0 {
		m.Z = f.Z
	}
	if len(f.Times) > 0 {
		m.Times = f.Times
	}
	m.K = Curvature(m.X, m.Y, m.Step, smoothing)
	for _, k := range m.K {
		m.Turning += k * m.Step
	}
	// Rounding may have moved a place onto the line.
	within := func(v float64) float64 { return min(v, math.Nextafter(m.Length, 0)) }
	for _, c := range f.Corners {
		hand := Right
		if c.Hand == Left.String() {
			hand = Left
		}
		m.Corners = append(m.Corners, Corner{
			Number: c.Number, Name: c.Name, Hand: hand, Entry: within(float64(c.Entry)), Apex: within(float64(c.Apex)),
			Exit:   within(float64(c.Exit)),
			Radius: float64(c.Radius), Angle: float64(c.Angle) * degree,
			Braking: within(unmaybe(c.Braking)), TurnIn: within(unmaybe(c.TurnIn)), Slowest: within(unmaybe(c.Slowest)),
			MinSpeed: unmaybe(c.MinSpeed),
		})
	}
	m.describe()
	m.findSweeps()
	return Saved{m, f.Feed, f.Car, f.Updated}, nil
}

// wrong joins all mistakes that check finds into one error.
func (f *savedFile) wrong(name string, check func(bad func(string, ...any))) error {
	var list []string
	bad := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	switch {
	case f.Format != savedFormat:
		bad("format is %q, not %q", f.Format, savedFormat)
	case f.Version < 1 || f.Version > savedVersion:
		bad("version is %d: this program reads up to %d", f.Version, savedVersion)
	default:
		check(bad)
	}
	if len(list) == 0 {
		return nil
	}
	return fmt.Errorf("%s: %w: %s (remove the file: the course is learned anew)", name, ErrSaved,
		strings.Join(list, "; "))
}

// locator finds the car in the plane.
func (p savedPlane) locator() Locator {
	switch p.Kind {
	case geographic:
		return Locator{geo: true, plane: NewPlane(Point{*p.Latitude * degree, *p.Longitude * degree})}
	case local:
		return Locator{flat: true}
	}
	return Locator{}
}

// check lists the values that cannot be.
func (f *savedFile) check(bad func(string, ...any)) {
	f.checkHead(bad)
	f.checkBody(bad)
}

// checkHead checks the fields before the line and the corners.
func (f *savedFile) checkHead(bad func(string, ...any)) {
	length := float64(f.Length)
	if strings.TrimSpace(f.Name) == "" {
		bad("it has no name")
	}
	if f.Laps < 0 || f.Laps > 1e9 {
		bad("laps is %d", f.Laps)
	}
	if !(length >= shortest) || length > 1e5 {
		bad("length is %g m", length)
	}
	switch p := f.Plane; p.Kind {
	case geographic:
		if p.Latitude == nil || p.Longitude == nil || !(math.Abs(*p.Latitude) < 90) ||
			!(math.Abs(*p.Longitude) <= 180) {
			bad("the origin of the plane is missing or out of range")
		}
	case local, reckoned:
	default:
		bad("plane.kind is %q, not %s, %s or %s", p.Kind, geographic, local, reckoned)
	}
}

// mostCorners is more than twice what the longest courses have; common practice, no source.
const mostCorners = 500

// checkBody checks the line and the corners.
func (f *savedFile) checkBody(bad func(string, ...any)) {
	length, n := float64(f.Length), len(f.X)
	switch {
	case n != len(f.Y) || n < 8:
		bad("%d and %d coordinates in x and y", n, len(f.Y))
	case length/float64(n) > 50:
		bad("%d points on %g m", n, length)
	}
	for i := range min(n, len(f.Y)) {
		if !(math.Abs(f.X[i]) < 1e7) || !(math.Abs(f.Y[i]) < 1e7) {
			bad("point %d is out of range", i)
			break
		}
	}
	if len(f.Z) > 0 && len(f.Z) != n {
		bad("%d heights beside %d points", len(f.Z), n)
	}
	if len(f.Times) > 0 && len(f.Times) != n+1 {
		bad("%d times beside %d points: there is one more for the end of the lap", len(f.Times), n)
	}
	for i, t := range f.Times {
		if i == 0 && t != 0 || i > 0 && !(t > f.Times[i-1]) || !(t < 1e5) {
			bad("time %d is %g s: times begin at 0 and rise", i, t)
			break
		}
	}
	if box := boxOf(f.X, f.Y); box != f.Box {
		bad("box is %v, and the points lie in %v", f.Box, box)
	}
	on := func(i int, what string, v *fixed) {
		if v != nil && (!(*v >= 0) || float64(*v) > length) {
			bad("corner %d: %s is %g m, not on the course", i+1, what, float64(*v))
		}
	}
	if len(f.Corners) > mostCorners {
		bad("%d corners: no course has more than %d", len(f.Corners), mostCorners)
		return
	}
	ahead := func(from, to fixed) float64 { // m to drive
		if to < from {
			return float64(to-from) + length
		}
		return float64(to - from)
	}
	turn := 0.0 // m from apex to apex
	for i := range f.Corners {
		c := &f.Corners[i]
		turn += ahead(c.Apex, f.Corners[(i+1)%len(f.Corners)].Apex)
		if ahead(c.Entry, c.Apex) > ahead(c.Entry, c.Exit) {
			bad("corner %d: from entry (%g m) to exit (%g m) the apex (%g m) is not passed", i+1, float64(c.Entry),
				float64(c.Exit), float64(c.Apex))
		}
		if c.Number != i+1 {
			bad("corner %d has the number %d", i+1, c.Number)
		}
		if c.Hand != Left.String() && c.Hand != Right.String() {
			bad("corner %d: hand is %q", i+1, c.Hand)
		}
		on(i, "entry", &c.Entry)
		on(i, "apex", &c.Apex)
		on(i, "exit", &c.Exit)
		on(i, "braking", c.Braking)
		on(i, "turn_in", c.TurnIn)
		on(i, "slowest", c.Slowest)
		if !(c.Radius >= 0) || !(c.Angle >= 0) || c.MinSpeed != nil && !(*c.MinSpeed >= 0) {
			bad("corner %d: a radius, angle or speed below 0", i+1)
		}
	}
	if turn > 1.5*length {
		bad("the corners do not follow each other around the course")
	}
}

// Geographic tells whether X and Y lie east and north on the earth.
func (m *Map) Geographic() bool { return m.Placed && m.loc.geo }
