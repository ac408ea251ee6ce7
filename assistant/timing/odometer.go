package timing

import (
	"math"

	"earshot/assistant/course"
)

// An odometer counts the metres driven: from position to position where the feed has positions, and by speed in between
// or without them. Position comes first because a speed is rarely calibrated to better than a percent.
//
// Scattered positions make the way between them longer. Their mean square difference across the way, 2·scatter², is
// taken out, and the way is measured over so many metres that the rest is small.
type odometer struct {
	total  float64
	have   bool
	anchor course.Point // from which the next metre is measured, so that a shaking position does not add up
	base   float64      // total at the anchor
	fix    float64      // total at the last position
	fixAt  float64

	scatter scatter
}

const (
	firmMetre   = 1.0  // m from the anchor that move it
	firmScatter = 6.0  // of the scatter: likewise where that is more
	quiet       = 0.05 // m: a scatter below this is none
)

// step processes a sample. dt (s) is the time since the one before, v and u (m/s) are the speeds now and before (NaN
// where unknown), p is the position where placed, new is true where p has changed, jumped where the car was moved.
func (o *odometer) step(at, dt, v, u float64, p course.Point, placed, fresh, jumped bool) {
	switch {
	case !placed:
		o.have = false
		if math.IsNaN(u) {
			u = v
		}
		if !math.IsNaN(v) && !jumped {
			o.total += (v + u) / 2 * dt
		}
	case !o.have || jumped:
		o.have, o.anchor, o.base, o.fix, o.fixAt = true, p, o.total, o.total, at
		o.scatter.n = 0
	case fresh:
		noise := o.scatter.add(p)
		d, firm := math.Hypot(p.X-o.anchor.X, p.Y-o.anchor.Y), firmMetre
		if noise > quiet {
			d = math.Sqrt(max(0, d*d-2*noise*noise))
			firm = max(firm, firmScatter*noise)
		}
		o.total = o.base + d
		if d >= firm {
			o.base, o.anchor = o.total, p
		}
		o.fix, o.fixAt = o.total, at
	case v > 0.5 && at-o.fixAt < stillAfter:
		o.total = o.fix + v*(at-o.fixAt)
	}
}

// A scatter measures how far single positions stray across the way: by the third differences of four neighbours, in
// which even a tight bend hardly shows at ten fixes a second. A slow drift does not show either.
type scatter struct {
	last  [3]course.Point
	n     int     // of last
	mean  float64 // of the sizes of the third differences across the way, m
	count float64 // fixes behind the mean, up to scatterOver
}

const (
	scatterOver  = 60.0 // fixes
	scatterAfter = 20.0 // fixes before the mean is believed
	scatterWild  = 4.0  // times the mean: a larger one is a jump and counts as this much
	// The standard deviation of the third difference of a unit scatter, √20, times the mean size of a normal deviate.
	perScatter = 4.47213595 * 0.7978846
)

// add adds a position and returns the standard deviation of the scatter in m, 0 before it is known.
func (s *scatter) add(p course.Point) float64 {
	if s.n < 3 {
		s.last[s.n] = p
		s.n++
		return s.value()
	}
	a, b, c := s.last[0], s.last[1], s.last[2]
	ux, uy := p.X-a.X, p.Y-a.Y
	if way := math.Hypot(ux, uy); way > 0 {
		dx, dy := p.X-3*c.X+3*b.X-a.X, p.Y-3*c.Y+3*b.Y-a.Y
		across := math.Abs(ux*dy-uy*dx) / way
		if s.count >= scatterAfter {
			across = min(across, scatterWild*s.mean+quiet)
		}
		s.count = min(s.count+1, scatterOver)
		s.mean += (across - s.mean) / s.count
	}
	s.last = [3]course.Point{b, c, p}
	return s.value()
}

func (s *scatter) value() float64 {
	if s.count < scatterAfter {
		return 0
	}
	return s.mean / perScatter
}
