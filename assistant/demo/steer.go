package demo

import "math"

// A pose is how the car takes a bend: the steady single-track (bicycle) model with four wheel loads.
// Left is positive, as in ISO 8855.
type pose struct {
	delta float64    // rad: road wheel angle
	beta  float64    // rad: sideslip at the centre of gravity
	side  [2]float64 // N: lateral force of each axle
	alpha [2]float64 // rad: slip angle of each axle, of the sign of side
	used  [2]float64 // lateral force over grip of each axle
	load  [4]float64 // N
}

// lightest is the load that a wheel keeps, so that no quotient runs away.
const lightest = 60.0 // N

// take returns the pose at speed v, path curvature k and longitudinal acceleration ax.
//
// delta = L k + alpha_f - alpha_r and beta = b k - alpha_r with alpha_i = side_i / C_i (Gillespie, ch. 6; Milliken and
// Milliken, ch. 5; from memory); the stiffness C falls with load transfer and grows with the root of the load; the slip
// angle grows beyond the linear one by the share Bend at the limit. Longitudinal load transfer changes loads, not
// stiffness.
func (l *limits) take(g *grip, scale [2]float64, v, k, ax float64) pose {
	c := l.car
	ay, q := v*v*k, 0.5*g.density*v*v
	var p pose
	for axle := range 2 {
		rest := c.share(axle) * g.mass * gravity
		aero := rest + q*l.lift[axle]
		total := aero - g.mass*ax*c.CGHeight/c.Wheelbase
		if axle == 1 {
			total = aero + g.mass*ax*c.CGHeight/c.Wheelbase
		}
		move := g.mass * ay * c.CGHeight * l.rollShare(axle) / c.Track[axle]
		p.load[2*axle] = max(lightest, total/2-move)
		p.load[2*axle+1] = max(lightest, total/2+move)

		r := min(1, math.Abs(move)/(aero/2))
		stiff := c.Stiffness[axle] * scale[axle] * (1 - c.StiffnessFall*r*r) * math.Sqrt(aero/rest)
		p.side[axle] = c.share(axle) * g.mass * ay
		if hold := c.locked(g.mass, ax, ay) / c.Wheelbase; axle == 0 {
			p.side[0] += hold // the front axle turns the car in against the differential
		} else {
			p.side[1] -= hold
		}
		p.used[axle] = math.Abs(p.side[axle]) / (l.axleGrip(g, axle, math.Abs(ay), aero) * aero)
		u := min(p.used[axle], 1.2)
		p.alpha[axle] = p.side[axle] / stiff * (1 + c.Bend*u*u*u*u)
	}
	p.delta = c.Wheelbase*k + p.alpha[0] - p.alpha[1]
	p.beta = c.FrontShare*c.Wheelbase*k - p.alpha[1] // the rear axle is share_f L behind the centre of gravity
	return p
}
