package course

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
)

// A profile is the curvature of the way driven, averaged over bins of shapeBin metres, from a known place.
type profile struct {
	from   float64 // m from the line, of the first bin; NaN before
	bins   []float64
	turned float64 // rad, all turning counted as positive
	length float64 // m of the lap that ended within it, NaN: none

	at, d  float64 // of the sample before
	filled float64 // m of the bin under way, and
	angle  float64 // rad turned in it
	fresh  int     // bins since the last look
}

func (p *profile) reset() {
	p.from, p.length, p.d = math.NaN(), math.NaN(), math.NaN()
	p.bins, p.turned, p.filled, p.angle = p.bins[:0], 0, 0, 0
	p.fresh = 0
}

// step adds one sample and returns whether enough is new to compare again.
func (p *profile) step(at float64, row channel.Row) bool {
	d, v, yaw := row[channel.CoursePlace], row[channel.Speed], row[channel.YawRate]
	if math.IsNaN(d) || math.IsNaN(v) || math.IsNaN(yaw) || row[channel.InPits] == 1 {
		p.reset()
		return false
	}
	if math.IsNaN(p.d) {
		p.from, p.at, p.d = d, at, d
		return false
	}
	dt, gone := at-p.at, d-p.d
	if dt <= 0 || gone == 0 {
		return false
	}
	if gone < -shortest { // over the line: from here on the place is counted from it, and what lies before it backwards
		p.length = p.d + v*dt - d
		gone = v * dt
		p.from = d - gone - p.filled - float64(len(p.bins))*shapeBin
	}
	p.at, p.d = at, d
	if gone < 0 || gone > tooFar || dt > silence {
		p.reset()
		p.from, p.at, p.d = d, at, d
		return false
	}
	p.filled += gone
	p.angle += yaw * dt
	if p.filled < shapeBin {
		return false
	}
	// A sample may be longer than a bin at speed: what it turned is spread over them.
	for rate := p.angle / p.filled; p.filled >= shapeBin; p.filled -= shapeBin {
		if len(p.bins) == longest {
			p.bins = p.bins[:copy(p.bins, p.bins[longest/2:])]
			p.from += longest / 2 * shapeBin
		}
		p.bins = append(p.bins, rate)
		p.turned += math.Abs(rate) * shapeBin
		p.angle = rate * (p.filled - shapeBin)
		p.fresh++
	}
	if p.fresh < 10 {
		return false
	}
	p.fresh = 0
	return true
}

// shapes is true where some course can be recognised only by shape.
func (r *Recogniser) shapes() bool {
	if r.on != nil {
		return r.ask
	}
	for i := range r.suspects {
		if s := &r.suspects[i]; !s.barred && !r.samePlane(s) {
			return true
		}
	}
	return false
}

// latest returns the bins of the last metres that were driven, and where they begin.
func (p *profile) latest(metres float64) (bins []float64, from float64) {
	skip := max(len(p.bins)-int(metres/shapeBin), 0)
	return p.bins[skip:], p.from + float64(skip)*shapeBin
}

// unexplained is the part of the curvature in bins, which begin from metres behind the line, that the line of s does
// not have: 0 is all explained, 1 is what a straight would leave. The place may be wrong by shapeLag.
func (s *suspect) unexplained(bins []float64, from float64) float64 {
	s.prepare()
	best := math.Inf(1)
	for lag := -shapeLag; lag <= shapeLag; lag += shapeBin / 2 {
		var rest, bend float64
		for i, k := range bins {
			d := from + lag + float64(i)*shapeBin
			own := (s.turnedAt(d+shapeBin) - s.turnedAt(d)) / shapeBin
			rest += (k - own) * (k - own)
			bend += max(k*k, own*own)
		}
		if bend > 0 {
			best = min(best, rest/bend)
		}
	}
	return best
}

// prepare lays out what the line has turned at each point.
func (s *suspect) prepare() {
	if s.heading != nil {
		return
	}
	s.heading = make([]float64, len(s.m.K)+1)
	for i, k := range s.m.K {
		s.heading[i+1] = s.heading[i] + k*s.m.Step
	}
}

// turnedAt is how far the line has turned at d metres, which may be several laps.
func (s *suspect) turnedAt(d float64) float64 {
	laps := math.Floor(d / s.m.Length)
	at := (d - laps*s.m.Length) / s.m.Step
	i := min(int(at), len(s.m.K)-1)
	return laps*s.m.Turning + s.heading[i] + (at-float64(i))*(s.heading[i+1]-s.heading[i])
}

// byShape compares the way driven with all courses that have no place in this plane.
func (r *Recogniser) byShape() Recognised {
	p := &r.profile
	driven := float64(len(p.bins)) * shapeBin
	if driven < shapeLeast || p.turned < shapeTurn {
		return Recognised{}
	}
	var best *suspect
	rest, second := math.Inf(1), math.Inf(1)
	for i := range r.suspects {
		s := &r.suspects[i]
		if s.barred || r.samePlane(s) || !math.IsNaN(p.length) &&
			math.Abs(p.length-s.known.Length) > sameLength*s.known.Length+lookEach {
			continue
		}
		if s.m == nil {
			return Recognised{} // what has not been read may be a rival
		}
		switch u := s.unexplained(p.latest(s.m.Length)); {
		case u < rest:
			best, rest, second = s, u, rest
		case u < second:
			second = u
		}
	}
	if best == nil || rest > needShape || second < rivalShape || driven < shapePart*best.m.Length {
		return Recognised{}
	}
	return Recognised{r.accept(best, true), fmt.Sprintf("by its shape, over %.0f m", driven)}
}

// outOfShape is true where the way driven last no longer fits the course.
func (r *Recogniser) outOfShape() string {
	p, m := &r.profile, r.on.m
	if !math.IsNaN(p.length) && math.Abs(p.length-m.Length) > sameLength*m.Length+lookEach {
		return fmt.Sprintf("a lap is %.0f m long, and not %.0f m", p.length, m.Length)
	}
	if float64(len(p.bins))*shapeBin < shapeLast {
		return ""
	}
	if u := r.on.unexplained(p.latest(shapeLast)); u >= leftShape {
		return fmt.Sprintf("the bends of the last %.0f m are not its bends", shapeLast)
	}
	return ""
}

// Same is true where two lines are of one course: equal in length and direction, with the start line at the same place.
func Same(a, b *Map) bool {
	if math.Abs(a.Length-b.Length) > sameLength*b.Length {
		return false
	}
	if !a.Placed || !b.Placed || a.foreign || b.foreign || a.loc.geo != b.loc.geo {
		s, p := suspect{m: b}, suspect{m: a}
		p.prepare()
		bins := make([]float64, int(a.Length/shapeBin))
		for i := range bins {
			d := float64(i) * shapeBin
			bins[i] = (p.turnedAt(d+shapeBin) - p.turnedAt(d)) / shapeBin
		}
		return s.unexplained(bins, 0) <= needShape
	}
	const looks = 64
	for i := range looks {
		f := float64(i) / looks
		at := int(f * float64(len(a.X)))
		p := Point{a.X[at], a.Y[at]}
		if a.loc.geo {
			p = b.loc.plane.Local(a.loc.plane.global(p))
		}
		nearest := math.Inf(1)
		for back := -lineApart; back <= lineApart; back += b.Step {
			j := int(b.Wrap(f*b.Length+back)/b.Step) % len(b.X)
			nearest = min(nearest, math.Hypot(p.X-b.X[j], p.Y-b.Y[j]))
		}
		if nearest > sameAside {
			return false
		}
	}
	return true
}
