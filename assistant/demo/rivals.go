package demo

import (
	"math"
	"slices"
)

// A field is the other cars of the race, all of them like Baseline. They are points that complete laps at a seeded
// pace: they do not get in the way. They slow down where the flag is yellow as the driver does, and where he stops they
// stop, a lap or two earlier or later. Progress is counted in laps from the start of the race; between the lines it
// goes by the time of an ideal lap, so that a gap does not swing with the corners.
type field struct {
	cars   []rival
	ideal  []float64 // s of an ideal lap from the line to each point of the course
	time   float64   // s of it
	pace   float64   // s: the lap of a car in the middle of the field
	racing bool
	own    float64 // progress of the driver
	lane   float64 // s that the way through the pit lane takes longer than the course

	yellows []slowed
}

// A slowed is a yellow flag, with the share of its speed that a car keeps at each point of the course where it heeds
// it.
type slowed struct {
	fault Fault
	keeps []float64
}

type rival struct {
	progress float64
	lap      int
	rate     float64 // laps a second
	standing float64 // s that a stop still costs
}

const (
	gridGap  = 1.1    // s between cars at the start
	spread   = 0.020  // between the quickest and the slowest, share of the pace
	unsteady = 0.0025 // standard deviation of a lap
)

// coldLaps is what the first laps on cold tyres lose.
var coldLaps = [3]float64{0.030, 0.014, 0.004}

func (f *field) begin(s *Sim) {
	f.cars = make([]rival, s.o.Rivals)
	if len(f.cars) == 0 {
		return
	}
	car := Baseline()
	g := grip{mass: car.Mass + 40, density: s.grip.density, mu: [2]float64{car.Grip * 0.955, car.Grip * 0.955}}
	p := newLimits(s.course, &car).profile(&g)
	f.time, f.pace = p.time, p.time*1.004
	f.ideal = make([]float64, len(p.v2)+1)
	for i := range p.v2 {
		f.ideal[i+1] = f.ideal[i] + 2*s.course.gap/(math.Sqrt(p.v2[i])+math.Sqrt(p.v2[(i+1)%len(p.v2)]))
	}
	for _, y := range s.o.Faults {
		if y.Kind != Yellow {
			continue
		}
		q := newLimits(s.course, &car).profileAt(&g, func(i int) float64 {
			if part := s.course.part(float64(i) * s.course.gap); y.Corner == 0 || y.Corner == part {
				return 1 - y.Amount
			}
			return 1
		})
		keeps := make([]float64, len(q.v2))
		for i := range keeps {
			keeps[i] = math.Sqrt(q.v2[i] / p.v2[i])
		}
		f.yellows = append(f.yellows, slowed{y, keeps})
	}
	in, out := int(s.course.pitIn/s.course.gap), int(s.course.pitOut/s.course.gap)
	f.lane = (s.course.Length-s.course.pitIn+s.course.pitOut)/laneSpeed - (f.time - f.ideal[in] + f.ideal[out])
}

// place is the progress of a car at d metres of a lap of ours, lap 1 being the first.
func (f *field) place(s *Sim) float64 {
	x := s.d / s.course.gap
	i := min(int(x), len(f.ideal)-2)
	return float64(s.lap-1) + (f.ideal[i]+(x-float64(i))*(f.ideal[i+1]-f.ideal[i]))/f.time
}

// start puts the cars in a row around the driver, who is in the middle of it.
func (f *field) start() {
	f.racing = true
	for i := range f.cars {
		ahead := len(f.cars)/2 - i
		if ahead <= 0 {
			ahead-- // the driver's own place
		}
		f.cars[i] = rival{progress: float64(ahead) * gridGap / f.pace, lap: math.MinInt}
	}
}

// advance moves the others on and tells whether the leader crossed the line.
func (f *field) advance(s *Sim, dt float64) (leaderCrossed bool) {
	if len(f.cars) == 0 {
		return false
	}
	f.own = f.place(s)
	if !f.racing {
		return false
	}
	lead := f.own
	for i := range f.cars {
		lead = max(lead, f.cars[i].progress)
	}
	slow := 1.0
	if s.sky.wet > 0 {
		// everyone is on the right tyre
		slow = math.Sqrt(max(s.sky.grip(hard), max(s.sky.grip(intermediate), s.sky.grip(wetTyre))))
	}
	for i := range f.cars {
		c := &f.cars[i]
		if lap := int(math.Floor(c.progress)); lap != c.lap {
			c.lap = lap
			share := 1 + spread*(float64(i)/float64(len(f.cars))-0.5) +
				unsteady*scatter(hash(s.o.Seed, 31+uint64(i), uint64(lap+10)))
			if lap < len(coldLaps) {
				share += coldLaps[max(lap, 0)]
			}
			c.rate = 1 / (f.pace * share)
			leaderCrossed = leaderCrossed || lap > 0 && c.progress >= lead
			c.standing += f.stops(s, i, lap)
		}
		if c.standing > 0 {
			c.standing -= dt
			continue
		}
		rate := c.rate * slow * f.yellow(c)
		if s.t < s.caution {
			rate = min(rate, cautionSpeed/s.course.Length)
		}
		c.progress += rate * dt
	}
	return leaderCrossed
}

// stops returns the s that a stop at the end of that many laps costs rival i, 0 where it makes none.
func (f *field) stops(s *Sim, i, laps int) (loss float64) {
	for k := range s.o.Stops {
		p := &s.o.Stops[k]
		other := p.Lap + int(5*unit(hash(s.o.Seed, 61+uint64(i), uint64(k)))) - 2
		if s.o.Duration == 0 {
			other = min(other, s.o.Laps-1)
		}
		if laps == max(1, other) {
			loss += p.seconds() + f.lane
		}
	}
	return loss
}

// yellow is the share of its speed that a rival keeps where it is.
func (f *field) yellow(c *rival) float64 {
	keep, i := 1.0, -1
	for k := range f.yellows {
		y := &f.yellows[k]
		if !y.fault.in(c.lap + 1) {
			continue
		}
		if i < 0 {
			i, _ = slices.BinarySearch(f.ideal, (c.progress-float64(c.lap))*f.time)
			i = min(i, len(y.keeps)-1)
		}
		keep = min(keep, y.keeps[i])
	}
	return keep
}

// gaps returns the position, the gaps in s and the laps that the leader has completed. A gap is NaN where nobody is.
func (f *field) gaps() (position int, ahead, behind, leader float64) {
	position, ahead, behind, leader = 1, math.NaN(), math.NaN(), f.own
	for i := range f.cars {
		d := f.cars[i].progress - f.own
		leader = max(leader, f.cars[i].progress)
		if d > 0 {
			position++
			if !(ahead <= d*f.pace) {
				ahead = d * f.pace
			}
		} else if !(behind <= -d*f.pace) {
			behind = -d * f.pace
		}
	}
	return position, ahead, behind, math.Floor(max(0, leader))
}

// blue tells whether somebody a lap or more ahead comes up behind.
func (f *field) blue() bool {
	for i := range f.cars {
		d := f.cars[i].progress - f.own
		if behind := math.Ceil(d) - d; d > 0.5 && behind*f.pace < 2 {
			return true
		}
	}
	return false
}
