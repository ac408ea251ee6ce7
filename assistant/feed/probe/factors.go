package probe

import (
	"fmt"
	"math"
	"slices"

	"earshot/assistant/channel"
)

const (
	steady      = 0.15 // the middle half of the ratios lies within, for a factor that no unit explains
	leastFactor = 0.18 // logarithm: a tyre's radius and slip explain less
)

// turnTolerance is how far two that tell of the turn lie apart at most, as a logarithm. On a banked bend an
// accelerometer feels part of gravity, and a body that rolls adds to it.
func turnTolerance(x, y witness) float64 {
	if x.ids[0] == channel.AccelerationLat || y.ids[0] == channel.AccelerationLat {
		return 0.4
	}
	return 0.18
}

// times says how far off a reading is that is r of what it ought to be.
func times(r float64) string {
	if r < 1 {
		return fmt.Sprintf("%.3g times too small", 1/r)
	}
	return fmt.Sprintf("%.3g times too large", r)
}

// accuseScale says that ids read r of what they ought to, which no unit explains.
func (j *judge) accuseScale(evidence string, n int, r float64, ids ...channel.ID) {
	if j.implausible(ids[0]) {
		return
	}
	was := j.mapping(ids[0]).Scale
	j.accuse(Finding{Kind: "scale", Samples: n, Ratio: r, Evidence: evidence,
		Hypothesis: fmt.Sprintf("%s reads %s, and no unit explains the factor: another scale, or another field", j.nameOf(ids), times(r)),
		Fix:        fmt.Sprintf("scale: %.4g in place of scale: %.4g, or map the field that is meant", was/r, was)}, ids...)
}

// accuseEither says that a reads r of what b tells, which no unit explains, and that nothing tells which of them is
// wrong.
func (j *judge) accuseEither(a, b witness, evidence string, n int, r float64) {
	if j.implausible(a.ids[0]) || j.implausible(b.ids[0]) {
		return
	}
	wasA, wasB := j.mapping(a.ids[0]).Scale, j.mapping(b.ids[0]).Scale
	nameA, nameB := j.nameOf(a.ids), j.nameOf(b.ids)
	j.accuse(Finding{Kind: "scale", Alternate: true, Samples: n, Ratio: r, Evidence: evidence,
		Hypothesis: fmt.Sprintf("either %s reads %s, or %s reads %s: nothing else in the feed tells which", nameA, times(r), nameB, times(1/r)),
		Fix:        fmt.Sprintf("scale: %.4g for %s, or scale: %.4g for %s", wasA/r, nameA, wasB*r, nameB)}, slices.Concat(a.ids, b.ids)...)
}

// implausible tells whether id is mostly out of all bounds, which is told as such.
func (j *judge) implausible(id channel.ID) bool {
	x := j.m.measured(id)
	return x != nil && 2*x.implausible > x.n
}

// nameOf is what ids are called together.
func (j *judge) nameOf(ids []channel.ID) string {
	var names []string
	for _, id := range ids {
		names = append(names, j.m.set.At(id).Name)
	}
	names = brief(names)
	if len(names) == 1 {
		return names[0]
	}
	return names[0] + " and the like"
}

// singleWheels looks for wheels that differ from the car's speed while the others do not. It tells whether there were
// any.
func (j *judge) singleWheels(reference string) bool {
	var off []channel.ID
	var ratios [4]float64
	found := false
	for i := range ratios {
		r, spread, n := ratio(j.column(oWheel+i), j.speed)
		if n < enough || spread > steady {
			return false
		}
		ratios[i] = math.Log(r)
		if math.Abs(ratios[i]) > leastFactor {
			off = append(off, channel.WheelSpeed+channel.ID(i))
		}
	}
	if len(off) == 0 || len(off) == 4 && spreadOf(ratios) < leastFactor {
		return false // all of them alike is told as one
	}
	for _, id := range off {
		r, spread, n := ratio(j.column(oWheel+int(id-channel.WheelSpeed)), j.speed)
		evidence := fmt.Sprintf("%s ÷ %s = %.4g, the middle half within %.1f %%, and the other wheels do not (%d observations)", j.m.set.At(id).Name, reference, r, 100*spread, n)
		if unit := j.unitFor(id, r, 0.06); unit != "" {
			j.accuseUnit(unit, evidence, n, r, id)
		} else {
			j.accuseScale(evidence, n, r, id)
		}
		found = true
	}
	return found
}

func spreadOf(list [4]float64) float64 {
	return max(list[0], list[1], list[2], list[3]) - min(list[0], list[1], list[2], list[3])
}
