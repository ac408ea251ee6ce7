package demo

import "math"

// A grip is what the tyres and the air give at one moment.
type grip struct {
	mass    float64
	density float64    // kg/m³ of the air
	mu      [2]float64 // friction coefficient of each axle, before load transfer
}

// limits knows how a car is bounded at each place of a course.
type limits struct {
	car    *Car
	course *Course
	lift   [2]float64
	drag   float64
	force  []float64  // best drive by speed, in steps of forceStep
	k      []float64  // curvature at the points of the course
	roll   [2]float64 // shares of the lateral load transfer; 0 until they are asked for
}

const (
	forceStep = 0.5   // m/s
	topSpeed  = 110.0 // m/s, beyond any car here
)

func newLimits(course *Course, car *Car) *limits {
	l := &limits{car: car, course: course}
	l.lift, l.drag = car.aero()
	for v := 0.0; v <= topSpeed+1; v += forceStep {
		l.force = append(l.force, car.bestDrive(v))
	}
	n := len(course.x) - 1
	l.k = make([]float64, n)
	for i := range l.k {
		l.k[i], _ = course.Curvature(float64(i) * course.gap)
	}
	return l
}

// rollShare is that of the car, which does not change while it is driven.
func (l *limits) rollShare(axle int) float64 {
	if l.roll[axle] == 0 {
		l.roll[axle] = l.car.rollShare(axle)
	}
	return l.roll[axle]
}

// engine returns the best drive at v in N.
func (l *limits) engine(v float64) float64 {
	x := v / forceStep
	i := min(int(x), len(l.force)-2)
	return l.force[i] + (x-float64(i))*(l.force[i+1]-l.force[i])
}

// axleGrip is the friction coefficient of an axle under load in N, at lateral acceleration ay. The friction of a tyre
// falls linearly with its load, by GripFall for a load of twice that at rest; so a pair grips less the more it carries
// and the more its loads differ (Milliken and Milliken, ch. 2 and 18, from memory).
func (l *limits) axleGrip(g *grip, axle int, ay, load float64) float64 {
	c := l.car
	r := min(1, g.mass*ay*c.CGHeight*l.rollShare(axle)/c.Track[axle]/(load/2))
	x := load / (c.share(axle) * c.Mass * gravity)
	return g.mu[axle] * max(0.5, 1-c.GripFall*(x-1+r*r*x))
}

// bend returns the square of the speed at which the first axle slides in a bend of curvature k.
func (l *limits) bend(g *grip, k float64) float64 {
	k = math.Abs(k)
	v2 := topSpeed * topSpeed
	if k < 1e-6 {
		return v2
	}
	for axle := range 2 {
		share, q := l.car.share(axle)*g.mass, 0.5*g.density*l.lift[axle]
		w := v2 // of this axle: fixed point, since load transfer follows from the speed
		for range 4 {
			mu := l.axleGrip(g, axle, w*k, share*gravity+q*w)
			if d := share*k - mu*q; d > 0 {
				w = min(topSpeed*topSpeed, mu*share*gravity/d)
			} else {
				w = topSpeed * topSpeed
			}
		}
		v2 = min(v2, w)
	}
	return v2
}

// rest returns what the friction circle leaves for braking and driving at lateral acceleration ay: 0 to 1.
func (l *limits) rest(g *grip, v2, ay float64) float64 {
	u := 0.0
	for axle := range 2 {
		share := l.car.share(axle) * g.mass
		load := share*gravity + 0.5*g.density*l.lift[axle]*v2
		u = max(u, share*ay/(l.axleGrip(g, axle, ay, load)*load))
	}
	return math.Sqrt(max(0, 1-u*u))
}

// resistance returns air drag, rolling resistance and the drag of the slip angles in N.
func (l *limits) resistance(g *grip, v2, ay float64) float64 {
	c, q := l.car, 0.5*g.density*v2
	f := q*l.drag + c.Rolling*(g.mass*gravity+q*(l.lift[0]+l.lift[1]))
	for axle := range 2 {
		side := c.share(axle) * g.mass * ay
		f += side * side / c.Stiffness[axle]
	}
	return f
}

// braking returns the deceleration in m/s² at the grip of the axle that reaches it first, bias and load transfer
// considered, resistance included.
func (l *limits) braking(g *grip, v2, k float64) float64 {
	c, q := l.car, 0.5*g.density*v2
	ay := v2 * math.Abs(k)
	e, h := l.rest(g, v2, ay), c.CGHeight/c.Wheelbase
	a := c.BrakeForce / g.mass
	load := [2]float64{c.FrontShare*g.mass*gravity + q*l.lift[0], (1-c.FrontShare)*g.mass*gravity + q*l.lift[1]}
	mu := [2]float64{e * l.axleGrip(g, 0, ay, load[0]), e * l.axleGrip(g, 1, ay, load[1])}
	front := mu[0] * load[0] / g.mass
	if d := c.BrakeBias - mu[0]*h; d > 0 {
		a = min(a, front/d)
	}
	a = min(a, mu[1]*load[1]/g.mass/(1-c.BrakeBias+mu[1]*h))
	return a + l.resistance(g, v2, ay)/g.mass
}

// driving returns the acceleration in m/s² with full throttle or at the grip of the rear axle.
// The second result tells whether the engine is the bound.
func (l *limits) driving(g *grip, v2, k float64) (float64, bool) {
	c, q := l.car, 0.5*g.density*v2
	ay := v2 * math.Abs(k)
	load := (1-c.FrontShare)*g.mass*gravity + q*l.lift[1]
	ratio := min(1, g.mass*ay*c.CGHeight*l.rollShare(1)/c.Track[1]/(load/2))
	mu := l.axleGrip(g, 1, ay, load) * l.rest(g, v2, ay) * c.traction(ratio)
	f, engine := l.engine(math.Sqrt(v2)), true
	if d := 1 - mu*c.CGHeight/c.Wheelbase; d > 0 {
		if hold := mu * load / d; hold < f {
			f, engine = hold, false
		}
	}
	return (f - l.resistance(g, v2, ay)) / g.mass, engine
}

// A lapProfile is the quickest lap at constant grip: the square of the speed at each point of the course.
type lapProfile struct {
	v2   []float64
	time float64
	work float64 // J of the engine at the driven wheels
}

// profile computes it by one pass for the bends and two rounds each against and along the direction of travel, since
// the lap is closed.
func (l *limits) profile(g *grip) lapProfile { return l.profileAt(g, func(int) float64 { return 1 }) }

// profileAt is the same where in the bends the driver takes only that share of the speed that they would bear at each
// point.
func (l *limits) profileAt(g *grip, share func(i int) float64) lapProfile {
	n, gap := len(l.k), l.course.gap
	p := lapProfile{v2: make([]float64, n)}
	for i, k := range l.k {
		p.v2[i] = l.bend(g, k) * share(i) * share(i)
	}
	for i := 2*n - 1; i >= 0; i-- {
		here, next := i%n, (i+1)%n
		a := l.braking(g, p.v2[next], l.k[next])
		p.v2[here] = min(p.v2[here], p.v2[next]+2*gap*a)
	}
	for i := range 2 * n {
		here, next := i%n, (i+1)%n
		a, _ := l.driving(g, p.v2[here], l.k[here])
		p.v2[next] = min(p.v2[next], max(1, p.v2[here]+2*gap*a))
	}
	for i := range n {
		v0, v1 := math.Sqrt(p.v2[i]), math.Sqrt(p.v2[(i+1)%n])
		p.time += 2 * gap / (v0 + v1)
		mid := (p.v2[i] + p.v2[(i+1)%n]) / 2
		f := g.mass*(p.v2[(i+1)%n]-p.v2[i])/2/gap + l.resistance(g, mid, mid*math.Abs(l.k[i]))
		p.work += max(0, f) * gap
	}
	return p
}
