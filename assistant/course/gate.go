package course

import "math"

// A Gate is a straight line across the road between two points.
type Gate struct {
	A, B     Point
	Geo      bool  // the points are latitude and longitude
	Toward   Point // where Directed: a point on the side to which the car drives
	Directed bool
}

func (g Gate) middle() Point { return Point{(g.A.X + g.B.X) / 2, (g.A.Y + g.B.Y) / 2} }

// Width returns the length of the gate in metres. The gate is not geographic.
func (g Gate) Width() float64 { return math.Hypot(g.B.X-g.A.X, g.B.Y-g.A.Y) }

// Side returns the signed distance of p from the line through A and B in metres, positive to the left of
// the way from A to B. The gate is not geographic.
func (g Gate) Side(p Point) float64 {
	ux, uy := g.B.X-g.A.X, g.B.Y-g.A.Y
	return (ux*(p.Y-g.A.Y) - uy*(p.X-g.A.X)) / math.Hypot(ux, uy)
}

// Forward returns the factor, +1 or -1, that makes Side grow in the direction of travel; 0 where the gate does not give
// the direction.
func (g Gate) Forward() float64 {
	if !g.Directed {
		return 0
	}
	return math.Copysign(1, g.Side(g.Toward))
}

// Between tells whether the way from p to q, whose ends lie on different sides of the gate or
// on it, passes between A and B rather than beside them.
func (g Gate) Between(p, q Point) bool {
	dp, dq := g.Side(p), g.Side(q)
	f := 0.0
	if dp != dq {
		f = dp / (dp - dq)
	}
	x, y := p.X+f*(q.X-p.X), p.Y+f*(q.Y-p.Y)
	ux, uy := g.B.X-g.A.X, g.B.Y-g.A.Y
	along := ((x-g.A.X)*ux + (y-g.A.Y)*uy) / (ux*ux + uy*uy)
	return along >= 0 && along <= 1
}

// AcrossAt returns a gate through p across the way (ux, uy), of length 1, that reaches so far to each side in metres.
func AcrossAt(p Point, ux, uy, reach float64) Gate {
	return Gate{
		A: Point{p.X - uy*reach, p.Y + ux*reach}, B: Point{p.X + uy*reach, p.Y - ux*reach},
		Toward: Point{p.X + ux, p.Y + uy}, Directed: true,
	}
}
