package course

import (
	"math"

	"earshot/assistant/channel"
)

// A Point is a place: metres east (X) and north (Y) in the feed's local plane; in a
// geographic Gate X is the latitude and Y the longitude, in radians.
type Point struct{ X, Y float64 }

// A Plane is a flat map of the surroundings of one place on the WGS 84 ellipsoid. Within 5 km of its origin lengths are
// right to 0.05 %, beyond 50° of latitude to 0.1 %: the parallels shrink towards the poles.
type Plane struct {
	Origin     Point   // latitude and longitude, rad
	perX, perY float64 // m per rad of longitude and latitude
}

// WGS 84: semi-major axis in metres and flattening (NGA.STND.0036).
const (
	wgsA = 6378137.0
	wgsF = 1 / 298.257223563
)

// NewPlane returns the Plane that touches the ellipsoid at origin. It uses the radii of curvature
// in the meridian and in the prime vertical (Snyder, Map Projections: A Working Manual,
// USGS Professional Paper 1395, eq. 4-18 to 4-20; equation numbers from memory).
func NewPlane(origin Point) Plane {
	const e2 = wgsF * (2 - wgsF)
	sin, cos := math.Sincos(origin.X)
	w := 1 - e2*sin*sin
	n := wgsA / math.Sqrt(w)
	return Plane{Origin: origin, perX: n * cos, perY: n * (1 - e2) / w}
}

// Local returns the place of a latitude and longitude in the plane, in metres.
func (p Plane) Local(geo Point) Point {
	dl := math.Remainder(geo.Y-p.Origin.Y, 2*math.Pi) // a course may lie across the date line
	return Point{dl * p.perX, (geo.X - p.Origin.X) * p.perY}
}

// global is the reverse of Local: the latitude and longitude of a place in the plane.
func (p Plane) global(at Point) Point {
	return Point{p.Origin.X + at.Y/p.perY, math.Remainder(p.Origin.Y+at.X/p.perX, 2*math.Pi)}
}

// A Locator finds the car in a local plane: by position_x and position_y where the feed has them, else by latitude and
// longitude. The zero Locator is ready. The kind of position that comes first decides for good, and the first fix
// becomes the origin.
type Locator struct {
	geo, flat bool
	plane     Plane
}

// NewLocator returns a Locator for a course: where its line is a geographic gate, latitude and
// longitude are used, with the middle of the gate as the origin. f may be nil.
func NewLocator(f *File) Locator {
	if f == nil || f.Line.Source != ByGate {
		return Locator{}
	}
	if !f.Line.Gate.Geo {
		return Locator{flat: true}
	}
	return Locator{geo: true, plane: NewPlane(f.Line.Gate.middle())}
}

// Find returns where the car is, or false where the row has no position.
func (l *Locator) Find(row channel.Row) (Point, bool) {
	if !l.geo && row.Has(channel.PositionX) && row.Has(channel.PositionY) {
		l.flat = true
		return Point{row[channel.PositionX], row[channel.PositionY]}, true
	}
	if l.flat || !row.Has(channel.Latitude) || !row.Has(channel.Longitude) {
		return Point{}, false
	}
	here := Point{row[channel.Latitude], row[channel.Longitude]}
	if !l.geo {
		l.geo, l.plane = true, NewPlane(here)
	}
	return l.plane.Local(here), true
}

// Gate returns g in the Locator's plane. A geographic gate needs a Locator that has an origin.
func (l *Locator) Gate(g Gate) (Gate, bool) {
	if !g.Geo {
		return g, true
	}
	if !l.geo {
		return g, false
	}
	g.A, g.B, g.Toward, g.Geo = l.plane.Local(g.A), l.plane.Local(g.B), l.plane.Local(g.Toward), false
	return g, true
}
