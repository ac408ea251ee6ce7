package probe

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"

	"earshot/assistant/channel"
	"earshot/assistant/statistics"
)

// A Finding is a hypothesis about a mistake in the feed file, with its evidence. Nothing is changed by it.
type Finding struct {
	Kind       string   `json:"kind"`     // "unit", "scale", "sign", "axes", "pair", "frozen", "range"
	Channels   []string `json:"channels"` // those that it is about
	Lines      []int    `json:"lines,omitempty"`
	Hypothesis string   `json:"hypothesis"`
	Fix        string   `json:"fix"`
	Evidence   string   `json:"evidence"`
	Samples    int      `json:"samples"`                // observations or readings behind it
	Ratio      float64  `json:"ratio,omitempty"`        // as read, divided by what the others say
	Rho        float64  `json:"correlation,omitempty"`  // with what the others say
	Unit       string   `json:"unit,omitempty"`         // proposed
	Alternate  bool     `json:"one_of_these,omitempty"` // the evidence cannot tell which of two is wrong
}

// enough is the number of observations below which nothing is accused: 5 s of driving.
const enough = 20

// findings holds what was measured against what physics allows.
func (m *Meter) findings() []Finding {
	j := &judge{m: m, obs: m.windows.obs.list, accused: map[channel.ID]bool{}, list: []Finding{}}
	j.pedals()
	j.engine()
	j.temperatures()
	j.pressures()
	j.places()
	j.speeds()
	j.turns()
	j.accelerations()
	j.vertical()
	j.steering()
	j.lapClock()
	j.still()
	return j.list
}

// judge collects findings.
type judge struct {
	m       *Meter
	obs     []observation
	accused map[channel.ID]bool
	list    []Finding

	speed []float64 // m/s per observation by what the others agree on, nil without
	turn  []float64 // rad/s per observation, left positive
}

func (j *judge) mapping(id channel.ID) Mapping {
	if x, ok := j.m.mappings[id]; ok {
		return x
	}
	return Mapping{Scale: 1}
}

// current is the unit in which the feed file says that id is written.
func (j *judge) current(id channel.ID) channel.Unit {
	q := j.m.set.At(id).Quantity
	if u, ok := channel.UnitNamed(j.mapping(id).Unit); ok && u.Quantity == q {
		return u
	}
	u, _ := channel.UnitNamed(channel.UnitsOf(q)[0])
	return u
}

// accuse adds f about ids. The fix gets the lines.
func (j *judge) accuse(f Finding, ids ...channel.ID) {
	for _, id := range ids {
		j.accused[id] = true
		f.Channels = append(f.Channels, j.m.set.At(id).Name)
		if l := j.mapping(id).Line; l > 0 && !slices.Contains(f.Lines, l) {
			f.Lines = append(f.Lines, l)
		}
	}
	f.Channels = brief(f.Channels)
	where := strings.Join(f.Channels, ", ")
	if len(f.Lines) > 0 {
		where = "line " + strings.ReplaceAll(strings.Trim(fmt.Sprint(f.Lines), "[]"), " ", ", ")
	}
	f.Fix = where + ": " + f.Fix
	j.list = append(j.list, f)
}

// brief writes four wheels as one name with a star.
func brief(names []string) []string {
	var out []string
	for _, n := range names {
		base, wheel := cutWheel(n)
		all := wheel != ""
		for w := channel.FL; w <= channel.RR; w++ {
			all = all && slices.Contains(names, base+"_"+w.Suffix())
		}
		if all {
			n = base + "_*"
		}
		if !slices.Contains(out, n) {
			out = append(out, n)
		}
	}
	return out
}

func cutWheel(name string) (base, wheel string) {
	for w := channel.FL; w <= channel.RR; w++ {
		if b, ok := strings.CutSuffix(name, "_"+w.Suffix()); ok {
			return b, w.Suffix()
		}
	}
	return name, ""
}

// accuseUnit says that id is written in another unit than the file says.
func (j *judge) accuseUnit(unit, evidence string, n int, ratio float64, ids ...channel.ID) {
	was := j.mapping(ids[0]).Unit
	if was == "" {
		was = j.current(ids[0]).Spelling
	}
	f := Finding{
		Kind: "unit", Unit: unit, Ratio: ratio, Samples: n, Evidence: evidence,
		Hypothesis: fmt.Sprintf("%s is read as %s and fits %s", brief([]string{j.m.set.At(ids[0]).Name})[0], was, unit),
		Fix:        fmt.Sprintf("unit: %s in place of unit: %s", quoted(unit), quoted(was)),
	}
	if len(ids) == 4 {
		base, _ := cutWheel(j.m.set.At(ids[0]).Name)
		f.Hypothesis = fmt.Sprintf("%s of the four wheels is read as %s and fits %s", base, was, unit)
	}
	j.accuse(f, ids...)
}

func quoted(unit string) string {
	if unit == "%" || unit == "1" {
		return `"` + unit + `"`
	}
	return unit
}

// unitFor finds the unit that makes a reading smaller by ratio than the present one does; "" when none is within tol.
func (j *judge) unitFor(id channel.ID, ratio, tol float64) string {
	cur := j.current(id)
	want := cur.Scale / ratio
	best, dist := "", tol
	for _, s := range channel.UnitsOf(cur.Quantity) {
		u, _ := channel.UnitNamed(s)
		if u.Scale == cur.Scale || s == "rpm" {
			continue // an angular velocity of the car's body is not counted in turns a minute
		}
		if d := math.Abs(math.Log(u.Scale / want)); d < dist {
			best, dist = s, d
		}
	}
	return best
}

// column takes one value of every observation.
func (j *judge) column(i int) []float64 {
	c := make([]float64, len(j.obs))
	for k := range j.obs {
		c[k] = j.obs[k][i]
	}
	return c
}

// magnitude is the value that the absolute readings exceed one time in ten.
func magnitude(c []float64) float64 {
	return statistics.Quantile(absolutes(c), 0.9)
}

// ratio is the median of a/b where both are well off zero, how far the middle half of the
// ratios lies apart against it, and of how many.
func ratio(a, b []float64) (r, spread float64, n int) {
	ma, mb := 0.25*magnitude(a), 0.25*magnitude(b)
	var list []float64
	for i := range a {
		if x := a[i] / b[i]; math.Abs(a[i]) > ma && math.Abs(b[i]) > mb && !math.IsNaN(x) && !math.IsInf(x, 0) {
			list = append(list, x)
		}
	}
	r = statistics.Quantile(list, 0.5)
	return r, math.Abs((statistics.Quantile(list, 0.75) - statistics.Quantile(list, 0.25)) / r), len(list)
}

// correlation is Pearson's, over the pairs that are whole. What lies far outside of nearly all other values is brought
// in to their edge first, so that a jump of a position or a heading does not outweigh the rest.
func correlation(a, b []float64) (rho float64, n int) {
	x, y := pairs(a, b)
	bring := func(c, all []float64) {
		lo, hi := edges(all)
		for i := range c {
			c[i] = min(max(c[i], lo), hi)
		}
	}
	bring(x, a)
	bring(y, b)
	if len(x) >= 3 {
		rho = stat.Correlation(x, y, nil)
	}
	if math.IsNaN(rho) { // one of them stands still
		rho = 0
	}
	return rho, len(x)
}

// pairs keeps what is whole on both sides.
func pairs(a, b []float64) (x, y []float64) {
	for i := range a {
		if !math.IsNaN(a[i] + b[i]) {
			x, y = append(x, a[i]), append(y, b[i])
		}
	}
	return x, y
}

// edges is beyond which a value lies far out.
func edges(c []float64) (lo, hi float64) {
	if lo, hi = statistics.Quantile(c, 0.02), statistics.Quantile(c, 0.98); math.IsNaN(lo) {
		return 0, 0
	}
	return lo - (hi-lo)/2, hi + (hi-lo)/2
}

// deviation is the standard deviation of the readings at which both are whole.
func deviation(a, b []float64) float64 {
	whole, _ := pairs(a, b)
	return stat.StdDev(whole, nil)
}

// still reports channels that do not change while the car moves, and those that are hardly ever plausible.
func (j *judge) still() {
	moving := 0
	for _, v := range j.speed {
		if v > 10 {
			moving++
		}
	}
	for i, id := range j.m.covers {
		x, c := &j.m.rows[i], j.m.set.At(id)
		if j.accused[id] || x.n < 2*enough {
			continue
		}
		if j.implausible(id) {
			share, lo, hi := float64(x.implausible)/float64(x.n), c.Min, c.Max
			j.accuse(Finding{Kind: "range", Samples: int(x.n),
				Hypothesis: c.Name + " is mostly outside of what is plausible: another field, unit, byte order or type",
				Fix:        "look at unit, scale, type and byte_order of this field",
				Evidence:   fmt.Sprintf("%.0f %% of %d readings are outside %.4g to %.4g %s; median %.4g", 100*share, x.n, lo, hi, channel.UnitsOf(c.Quantity)[0], x.values.quantile(0.5)),
			}, id)
			continue
		}
		// What moves with the car changes all the time; a pedal, a lever or a switch need not.
		if c.Stale <= 1 && slices.Contains([]channel.Quantity{channel.Velocity, channel.AngularVelocity, channel.Acceleration, channel.Angle, channel.Length}, c.Quantity) &&
			moving > 2*enough && float64(x.frozen) > 0.9*float64(x.n) && c.Origin == channel.Measured {
			j.accuse(Finding{Kind: "frozen", Samples: int(x.n),
				Hypothesis: c.Name + " does not change while the car moves: a dead sensor, or a field that the source never fills",
				Fix:        "map another field, or take the entry out so that its rules are off",
				Evidence:   fmt.Sprintf("%d of %d readings repeat %.4g %s; the car moved in %d observations", x.frozen, x.n, x.last, channel.UnitsOf(c.Quantity)[0], moving),
			}, id)
		}
	}
}
