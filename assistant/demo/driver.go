package demo

import (
	"math"

	"earshot/assistant/channel"
)

// A driver plans the speed ahead from the grip there is, and follows the plan.
type driver struct {
	parts, bends []int     // of each point of the course: the corner in whose reach it lies; the corner it is in
	v2           []float64 // planned square of the speed, from the point start on
	full         []bool    // full throttle from this point to the next
	idle         []bool    // no pedal at all
	start        int       // number of a point, counted from the line of lap 0
	planned      bool

	stiff      [2]float64 // faults at this place: share of the axle's stiffness that is left
	duct, leak [4]float64 // share of the duct that is open; kPa a minute
	blocked    float64    // share of the radiator
	oil        float64    // share of the oil pressure that is lost
	saving     float64    // m by which he lifts early
	coasting   int        // number of the point, counted as start is, up to which he coasts
}

const (
	horizon = 400  // points of the course: about 800 m, more than any braking distance and a replanning distance
	replan  = 60   // points between plans
	crawl   = 15.0 // m/s to which the driver lifts off the course
	eye     = 0.07 // s by which the driver looks ahead of the car's lag
)

func (r *driver) prepare(s *Sim) {
	n := len(s.limits.k)
	r.parts, r.bends = make([]int, n), make([]int, n)
	for i := range n {
		r.parts[i], r.bends[i] = s.course.part(float64(i)*s.course.gap), s.course.CornerAt(float64(i)*s.course.gap)
	}
	r.v2, r.full, r.idle = make([]float64, horizon+2), make([]bool, horizon+2), make([]bool, horizon+2)
	r.stiff = [2]float64{1, 1}
	r.faults(s)
}

// skill returns which share of the grip the driver uses in that part of that lap, and what faults leave of each axle's.
func (r *driver) skill(s *Sim, lap, part, bend int) (use float64, left [2]float64) {
	use = 0.955 + 0.008*scatter(hash(s.o.Seed, uint64(lap)+1000, uint64(part)))
	if lap == 0 {
		use -= 0.20 // brings the tyres in
	}
	if s.finished != 0 {
		use -= 0.25 // the race is over
	}
	left = [2]float64{1, 1}
	for _, f := range s.o.Faults {
		if !f.at(lap, part) {
			continue
		}
		switch f.Kind {
		case Understeer:
			if bend == part {
				left[0] *= 1 - f.Amount/2
			}
		case Oversteer:
			if bend == part {
				left[1] *= 1 - f.Amount/2
			}
		case Wear:
			worn := 1 - f.Amount*float64(lap-f.FromLap+1)
			left[0], left[1] = left[0]*worn, left[1]*worn
		case Uneven:
			use *= 1 - f.Amount*(1+scatter(hash(s.o.Seed, uint64(lap)+5000, 0)))/2
		case RunWide:
			use *= 1.05 // too fast into the corner
		}
	}
	return use, left
}

// lane tells whether that place of that lap is in the pit lane.
func (s *Sim) inLane(lap int, d float64) bool {
	return d < s.course.pitOut && (lap == 0 || s.stopsAfter(lap-1) != nil) ||
		d >= s.course.pitIn && (lap == s.inLap() || s.stopsAfter(lap) != nil) || lap > s.inLap()
}

// keep plans anew when the car has gone far enough.
func (r *driver) keep(s *Sim) {
	here := s.lap*len(r.parts) + int(s.d/s.course.gap)
	if r.planned && here-r.start < replan {
		r.stiffness(s)
		return
	}
	r.planned, r.start = true, here
	r.faults(s)
	r.stiffness(s)
	n, gap, l := len(r.parts), s.course.gap, s.limits
	g := s.grip
	ready := func(j int) (lap int, k float64) { // the grip of the j-th point of the plan
		lap = (here + j) / n
		i := (here + j) % n
		use, left := r.skill(s, lap, r.parts[i], r.bends[i])
		g.mu[0], g.mu[1] = s.grip.mu[0]*use*left[0], s.grip.mu[1]*use*left[1]
		return lap, l.k[i]
	}
	for j := range r.v2 {
		lap, k := ready(j)
		r.v2[j] = l.bend(&g, k)
		part := r.parts[(here+j)%n]
		if share := s.yellowAt(lap, part); share > 0 {
			r.v2[j] *= (1 - share) * (1 - share)
		}
		if s.t < s.caution { // down to the limit without haste
			r.v2[j] = min(r.v2[j], max(cautionSpeed*cautionSpeed, s.v*s.v-2*4*gap*float64(j)))
		}
		if s.inLane(lap, float64((here+j)%n)*gap) {
			r.v2[j] = min(r.v2[j], laneSpeed*laneSpeed)
		}
	}
	for j := len(r.v2) - 2; j >= 0; j-- {
		_, k := ready(j + 1)
		r.v2[j] = min(r.v2[j], r.v2[j+1]+2*gap*l.braking(&g, r.v2[j+1], k))
	}
	r.v2[0] = min(r.v2[0], s.v*s.v)
	for j := range len(r.v2) - 1 {
		lap, k := ready(j)
		a, engine := l.driving(&g, r.v2[j], k)
		if r.v2[j] > crawl*crawl && s.offRoad(lap, float64((here+j)%n)*gap) {
			a, engine = -3, false // the driver lifts, and not before
		}
		reach := r.v2[j] + 2*gap*a
		r.full[j] = engine && reach <= r.v2[j+1]
		r.v2[j+1] = max(min(r.v2[j+1], reach), 0.1)
	}
	clear(r.idle)
	if r.saving > 0 {
		r.coast(s, &g, here)
	}
}

// coast takes the foot off the throttle some way before each braking point of the plan, so that the car rolls into the
// braking curve from below; so late that it meets that curve before the end of the braking. Where the car is
// rolling already it goes on.
func (r *driver) coast(s *Sim, g *grip, here int) {
	gap := s.course.gap
	early := int(r.saving / gap)
	brakes := func(j int) bool { return (r.v2[j+1]-r.v2[j])/(2*gap) < -4 }
	done := 0
	for j := 0; j < len(r.v2)-1; j++ {
		if !brakes(j) {
			continue
		}
		begin, end := j, j
		for end < len(r.v2)-1 && brakes(end) {
			end++
		}
		j = end
		lift := max(done, begin-early)
		if done == 0 && here < r.coasting && here+begin-early < r.coasting {
			lift = 0
		}
		for lift > 0 && lift < begin && !r.full[lift] {
			lift++ // still in the corner before
		}
		for meets := 0; lift < begin; lift += 3 {
			if meets = r.roll(s, g, here, lift, end, false); meets > 0 {
				done = r.roll(s, g, here, lift, end, true)
				if lift < replan {
					r.coasting = here + done
				}
				break
			}
		}
	}
}

// roll follows a car without throttle from one point of the plan until it meets the plan again, and returns where: 0 if
// not before end. With keep it puts that into the plan.
func (r *driver) roll(s *Sim, g *grip, here, from, end int, keep bool) int {
	ratio := s.car.Gears[len(s.car.Gears)-2] * s.car.FinalDrive / s.car.TyreRadius
	v2 := r.v2[from]
	for j := from; j < end; j++ {
		v2 -= 2 * s.course.gap * (rolling(s, g, v2, (here+j)%len(r.parts)) + s.car.EngineDrag*ratio/g.mass)
		if v2 >= r.v2[j+1] {
			return max(j, 1)
		}
		if keep {
			r.v2[j+1], r.full[j], r.idle[j] = v2, false, true
		}
	}
	return 0
}

// rolling is the deceleration in m/s² by air and rolling resistance at that point of the course.
func rolling(s *Sim, g *grip, v2 float64, point int) float64 {
	return s.limits.resistance(g, v2, v2*math.Abs(s.limits.k[point])) / g.mass
}

// offRoad tells whether the line that the driver will take there leaves the course.
func (s *Sim) offRoad(lap int, d float64) bool {
	if len(s.swerves) == 0 || s.inLane(lap, d) {
		return false
	}
	n, _, _ := s.lateral(lap, d)
	return math.Abs(n) > s.course.Width/2
}

// want returns the acceleration that the driver asks for, or that he has his foot down.
func (r *driver) want(s *Sim) (a float64, flat bool) {
	gap := s.course.gap
	x := float64(s.lap*len(r.parts)) + s.d/gap - float64(r.start)
	i := int(x)
	f := x - float64(i)
	target := math.Sqrt(r.v2[i]*(1-f) + r.v2[i+1]*f)
	ahead := min(i+int(f+s.v*eye/gap), len(r.v2)-2)
	a = (r.v2[ahead+1]-r.v2[ahead])/(2*gap) + 2.5*(target-s.v)
	if s.lap > s.inLap() || s.calling() != nil { // to a stand in the box
		const gentle = 2.0 // m/s²
		stop := math.Sqrt(2 * gentle * max(0, s.course.box-s.d))
		if s.v >= stop-0.3 {
			a = -gentle + 3*(stop-s.v)
		}
	}
	if s.inLane(s.lap, s.d) {
		return max(-8, min(3, a)), false
	}
	return a, r.full[ahead] && r.full[i] && s.v < target+1
}

// rolls tells whether both feet are off the pedals here.
func (r *driver) rolls(s *Sim) bool {
	return r.idle[int(float64(s.lap*len(r.parts))+s.d/s.course.gap)-r.start]
}

// stiffness looks up the faults that act on an axle at this place.
func (r *driver) stiffness(s *Sim) {
	r.stiff = [2]float64{1, 1}
	bend := r.bends[min(int(s.d/s.course.gap), len(r.bends)-1)]
	for _, f := range s.o.Faults {
		if bend == 0 || !f.at(s.lap, bend) {
			continue
		}
		switch f.Kind {
		case Understeer:
			r.stiff[0] *= 1 - f.Amount
		case Oversteer:
			r.stiff[1] *= 1 - f.Amount
		}
	}
}

// faults looks up those that act all round the lap.
func (r *driver) faults(s *Sim) {
	r.duct, r.leak = [4]float64{1, 1, 1, 1}, [4]float64{}
	r.blocked, r.oil, r.saving = 0, 0, 0
	for _, f := range s.o.Faults {
		if !f.in(s.lap) {
			continue
		}
		switch f.Kind {
		case BlockedDuct:
			r.duct[f.Wheel] *= 1 - f.Amount
		case Leak:
			r.leak[f.Wheel] += f.Amount
		case Radiator:
			r.blocked = max(r.blocked, f.Amount)
		case OilLoss:
			r.oil = max(r.oil, f.Amount)
		case Save:
			r.saving = max(r.saving, f.Amount)
		}
	}
}

// overdo returns the share of its grip that a wheel is asked for, where u is what the driver meant.
func (r *driver) overdo(s *Sim, w channel.Wheel, u float64) float64 {
	for _, f := range s.o.Faults {
		if f.Wheel != w || f.Kind != Lock && f.Kind != Spin {
			continue
		}
		part := r.parts[min(int(s.d/s.course.gap), len(r.parts)-1)]
		if !f.at(s.lap, part) {
			continue
		}
		t := &s.course.Corners[part-1]
		if f.Kind == Lock && s.brake > 0.15 && s.d > t.BeginArc-45 && s.d < t.BeginArc-5 {
			u = -f.Amount
		}
		if f.Kind == Spin && s.throttle > 0.3 && s.d > t.EndArc-10 && s.d < t.EndArc+40 {
			u = f.Amount
		}
	}
	return u
}
