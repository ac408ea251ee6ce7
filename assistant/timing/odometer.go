package timing

import (
	"math"

	"earshot/assistant/course"
)

// An odometer counts metres driven: from position to position where the feed has one, with the speed
// in between; else by speed. Position goes first because a speed is rarely calibrated to better than
// a percent.
type odometer struct {
	total  float64
	have   bool
	anchor course.Point // from which the next metre is measured, so that a shaking position does not add up
	base   float64      // total at the anchor
	fix    float64      // total at the last position
	fixAt  float64
}

const firmMetre = 1.0 // m from the anchor that move it

// step takes a sample in: dt (s) after the one before; v and u (m/s) the speeds now and before, NaN where
// unknown; p the position where placed, new where it is another than before; jumped: moved by hand.
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
	case fresh:
		d := math.Hypot(p.X-o.anchor.X, p.Y-o.anchor.Y)
		o.total = o.base + d
		if d >= firmMetre {
			o.base, o.anchor = o.total, p
		}
		o.fix, o.fixAt = o.total, at
	case v > 0.5 && at-o.fixAt < stillAfter:
		o.total = o.fix + v*(at-o.fixAt)
	}
}
