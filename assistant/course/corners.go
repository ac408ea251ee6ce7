package course

import (
	"math"
	"slices"
)

// How bends become corners. No citable definition of a corner was found, and the count on a course's own map is a
// convention; a course file corrects what this gets wrong. The rule is what a driver has to do: brake, turn, release.
// An imagined car goes round the line as fast as grip, brakes and engine let it. A bend is a stretch of one hand. It is
// a corner where that car needs some of its grip and turns by some angle; two bends of one hand are one corner unless
// the car gains speed between them or goes straight for a while, and one bend is two corners where it opens and the car
// gains speed. TestCountsHoldWhenTheYardstickChanges shows what each figure matters.
type yardstick struct {
	grip  float64 // m/s² to the side: a car on slicks with a little downforce; common practice
	brake float64 // m/s²
	drive float64 // m/s², as far as there is power
	power float64 // W/kg: 400 kW and 1300 kg
	top   float64 // m/s

	off   float64 // 1/m: a bend ends where the road is straighter than this; a car needs 7 m/s² there at 70 m/s
	load  float64 // of the grip: a car that never needs as much has nothing to do
	angle float64 // rad: turning by less than 20° is a kink
	pause float64 // s of straight road that part two bends of one hand, whatever the speed does
	rise  float64 // of the speed: what the car must gain between two corners, a fifth of the load to the side
	dip   float64 // of the tightness of both: so far a bend must open between two corners, or the wheel is held
}

var usual = yardstick{grip: 15, brake: 12, drive: 6, power: 300, top: 75, off: 1 / 700., load: 0.5, angle: 0.35,
	pause: 0.8, rise: 0.1, dip: 1 / 3.}

// blurred is for lines from scattered positions, in which the speed between two near bends cannot be seen: bends less
// than the pause apart are one, and what turns little is no corner.
var blurred = yardstick{grip: 15, brake: 12, drive: 6, power: 300, top: 75, off: 1 / 500., load: 0.5, angle: 0.4,
	pause: 0.8, rise: math.Inf(1)}

const (
	smoothing = 6.0   // m: standard deviation of the smoothing of the curvature
	minLength = 12.0  // m: shorter is no corner
	longTurn  = 2.3   // rad (132°), and
	ovalTight = 0.6   // of the tightest bend: what is wider is no corner of an oval
	longBend  = 500.0 // m: what turns and lasts longer than both counts as two at the ends of an oval, and only there
)

// speeds returns the speed of the imagined car at each point of a closed line of curvature k: a quasi-steady lap, in
// which brakes and drive have the grip that the friction circle leaves in a bend.
func (y *yardstick) speeds(k []float64, step float64) []float64 {
	n := len(k)
	v := make([]float64, n)
	for i := range v {
		v[i] = min(y.top, math.Sqrt(y.grip/max(math.Abs(k[i]), 1e-9)))
	}
	rest := func(i int) float64 { // of the grip
		side := min(1, v[i]*v[i]*math.Abs(k[i])/y.grip)
		return math.Sqrt(1 - side*side)
	}
	for i := range 2 * n {
		a, b := i%n, (i+1)%n
		v[b] = min(v[b], math.Sqrt(v[a]*v[a]+2*min(y.drive, y.power/v[a])*rest(a)*step))
	}
	for i := 2*n - 1; i >= 0; i-- {
		a, b := i%n, (i+1)%n
		v[a] = min(v[a], math.Sqrt(v[b]*v[b]+2*y.brake*rest(b)*step))
	}
	return v
}

// A run is a stretch of points from..to, both included, with from in [0, n) and to < from+n.
type run struct{ from, to int }

// A road is a closed line in which corners are found.
type road struct {
	k, v []float64 // curvature, and the speed of the imagined car
	step float64
	y    *yardstick
}

// findCorners returns the corners of a closed line of curvature k, without names and learned points,
// in the order of their apexes from point 0.
func findCorners(k []float64, step float64, y yardstick) []Corner {
	r := road{k: k, v: y.speeds(k, step), step: step, y: &y}
	var runs []run
	for _, bend := range r.merge(r.bends()) {
		if r.counts(bend) {
			runs = append(runs, r.split(bend)...)
		}
	}
	if r.oval(runs) {
		runs = r.ends(runs)
	}
	cs := make([]Corner, 0, len(runs))
	for _, bend := range runs {
		cs = append(cs, cornerOf(bend, k, step))
	}
	number(cs)
	return cs
}

// ends returns the corners of an oval: each long end is two, and a much wider bend, such as that of a tri-oval, is
// none.
func (r *road) ends(runs []run) []run {
	tightest := 0.0
	for _, k := range r.k {
		tightest = max(tightest, math.Abs(k))
	}
	var out []run
	for _, bend := range runs {
		if c := cornerOf(bend, r.k, r.step); 1/c.Radius >= ovalTight*tightest {
			out = append(out, splitLong(bend, r.k, r.step)...)
		}
	}
	return out
}

// oval is true where all corners are of one hand and one of them turns like the end of an oval.
func (r *road) oval(runs []run) bool {
	long := false
	for _, bend := range runs {
		if r.k[bend.from]*r.k[runs[0].from] < 0 {
			return false
		}
		long = long || isLong(bend, r.k, r.step)
	}
	return long
}

func isLong(bend run, k []float64, step float64) bool {
	points := bend.to - bend.from + 1
	return turning(bend, k, step) >= longTurn && float64(points)*step >= longBend && points < len(k)
}

func number(cs []Corner) {
	slices.SortFunc(cs, func(a, b Corner) int {
		if a.Apex < b.Apex {
			return -1
		}
		return 1
	})
	for i := range cs {
		cs[i].Number = i + 1
	}
}

// bends returns the stretches of one hand.
func (r *road) bends() []run {
	n := len(r.k)
	side := func(i int) int {
		v := r.k[i%n]
		switch {
		case v > r.y.off:
			return 1
		case v < -r.y.off:
			return -1
		}
		return 0
	}
	start := 0 // a place where no bend goes through
	for start < n && side(start) == side(start+n-1) && side(start) != 0 {
		start++
	}
	if start == n {
		return []run{{0, n - 1}} // a circle
	}
	var runs []run
	for i := start; i < start+n; {
		s, j := side(i), i
		for j < start+n && side(j) == s {
			j++
		}
		if s != 0 {
			runs = append(runs, run{i % n, i%n + j - 1 - i})
		}
		i = j
	}
	return runs
}

// merge joins neighbours of one hand that are close together and between which the car gains no speed.
func (r *road) merge(runs []run) []run {
	n := len(r.k)
	for i := 0; len(runs) > 1 && i < len(runs); {
		a, b := runs[i], runs[(i+1)%len(runs)]
		gap := ((b.from-a.to)%n + n) % n
		between := run{a.to, a.to + gap}
		if r.k[a.from]*r.k[b.from] > 0 && r.seconds(between) < r.y.pause &&
			r.fastest(between) < (1+r.y.rise)*max(r.slowest(a), r.slowest(b)) {
			runs[i].to = a.to + gap + b.to - b.from
			runs = slices.Delete(runs, (i+1)%len(runs), (i+1)%len(runs)+1)
			i = 0
			continue
		}
		i++
	}
	return runs
}

// seconds is how long the car takes from the first point of a stretch to the last.
func (r *road) seconds(way run) float64 {
	t := 0.0
	for i := way.from; i < way.to; i++ {
		t += r.step / r.v[i%len(r.v)]
	}
	return t
}

func (r *road) slowest(bend run) float64 {
	v := math.Inf(1)
	for i := bend.from; i <= bend.to; i++ {
		v = min(v, r.v[i%len(r.v)])
	}
	return v
}

func (r *road) fastest(bend run) float64 {
	v := 0.0
	for i := bend.from; i <= bend.to; i++ {
		v = max(v, r.v[i%len(r.v)])
	}
	return v
}

// split cuts a bend where it opens between two tight places and the car gains speed, if both parts are corners.
func (r *road) split(bend run) []run {
	n := len(r.k)
	m := bend.to - bend.from + 1
	tight, slow := make([]float64, m+1), make([]float64, m+1) // the tightest and the slowest place from there on
	slow[m] = math.Inf(1)
	for i := m - 1; i >= 0; i-- {
		j := (bend.from + i) % n
		tight[i], slow[i] = max(tight[i+1], math.Abs(r.k[j])), min(slow[i+1], r.v[j])
	}
	best, at, tightest, slowest := r.y.dip, -1, 0.0, math.Inf(1)
	for i := range m {
		j := (bend.from + i) % n
		k, v := math.Abs(r.k[j]), r.v[j]
		if open := k / min(tightest, tight[i+1]); open < best && v > (1+r.y.rise)*max(slowest, slow[i+1]) &&
			r.counts(run{bend.from, bend.from + i}) && r.counts(run{bend.from + i + 1, bend.to}) {
			best, at = open, i
		}
		tightest, slowest = max(tightest, k), min(slowest, v)
	}
	if at < 0 {
		return []run{bend}
	}
	second := (bend.from + at + 1) % n
	return append(r.split(run{bend.from, bend.from + at}), r.split(run{second, second + m - at - 2})...)
}

// counts tells whether a bend is long, sharp and tight enough to be a corner.
func (r *road) counts(bend run) bool {
	if float64(bend.to-bend.from+1)*r.step < minLength || turning(bend, r.k, r.step) < r.y.angle {
		return false
	}
	for i := bend.from; i <= bend.to; i++ {
		if j := i % len(r.k); r.v[j]*r.v[j]*math.Abs(r.k[j]) >= r.y.load*r.y.grip {
			return true
		}
	}
	return false
}

// splitLong halves, by angle, a bend that turns like the end of an oval.
func splitLong(r run, k []float64, step float64) []run {
	if !isLong(r, k, step) {
		return []run{r}
	}
	n, half, total := len(k), 0.0, turning(r, k, step)
	for i := r.from; i < r.to; i++ {
		half += math.Abs(k[i%n]) * step
		if half >= total/2 {
			return []run{{r.from, i}, {(i + 1) % n, (i+1)%n + r.to - i - 1}}
		}
	}
	return []run{r}
}

func turning(r run, k []float64, step float64) float64 {
	s := 0.0
	for i := r.from; i <= r.to; i++ {
		s += k[i%len(k)] * step
	}
	return math.Abs(s)
}

// cornerOf measures a run. It begins and ends half a step outside its points.
func cornerOf(r run, k []float64, step float64) Corner {
	n := len(k)
	apex := r.from
	for i := r.from; i <= r.to; i++ {
		if math.Abs(k[i%n]) > math.Abs(k[apex%n]) {
			apex = i
		}
	}
	length := float64(n) * step
	wrap := func(d float64) float64 { return math.Mod(d+length, length) }
	c := Corner{
		Hand:   Left,
		Entry:  wrap((float64(r.from) - 0.5) * step),
		Apex:   wrap(float64(apex) * step),
		Exit:   wrap((float64(r.to) + 0.5) * step),
		Radius: 1 / math.Abs(k[apex%n]),
		Angle:  turning(r, k, step),
	}
	if r.to-r.from+1 == n {
		c.Entry, c.Exit = 0, math.Nextafter(length, 0)
	}
	if k[apex%n] < 0 {
		c.Hand = Right
	}
	return unlearned(c)
}

func unlearned(c Corner) Corner {
	nan := math.NaN()
	c.Braking, c.TurnIn, c.Slowest, c.MinSpeed = nan, nan, nan, nan
	return c
}

// correct applies what the course file says about corners.
func correct(cs []Corner, f *File, k []float64, step float64) []Corner {
	if f == nil {
		return cs
	}
	at := func(d float64) int { return int(math.Round(d/step)) % len(k) }
	span := func(entry, exit float64) run {
		from, to := at(entry+0.5*step), at(exit-0.5*step+float64(len(k))*step)
		if to < from {
			to += len(k)
		}
		return run{from, to}
	}
	out, gone := []Corner{}, map[int]bool{}
	for _, g := range f.Join {
		if first, last := g[0], g[len(g)-1]; last <= len(cs) {
			c := cornerOf(span(cs[first-1].Entry, cs[last-1].Exit), k, step)
			out = append(out, c)
			for _, n := range g {
				gone[n] = true
			}
		}
	}
	for _, s := range f.Split {
		if s.Corner > len(cs) {
			continue
		}
		r := span(cs[s.Corner-1].Entry, cs[s.Corner-1].Exit)
		cut := widest(r, k)
		if !math.IsNaN(s.At) {
			cut = at(s.At)
			if cut < r.from {
				cut += len(k)
			}
		}
		if cut <= r.from || cut >= r.to {
			continue
		}
		gone[s.Corner] = true
		out = append(out, cornerOf(run{r.from, cut}, k, step), cornerOf(run{cut + 1, r.to}, k, step))
	}
	for _, c := range cs {
		if !gone[c.Number] {
			out = append(out, c)
		}
	}
	number(out)
	for i := range out {
		out[i].Name = f.Names[out[i].Number]
	}
	return out
}

// widest returns the place in r where the bend is widest in comparison with the tighter places on both sides.
func widest(r run, k []float64) int {
	n := len(k)
	m := r.to - r.from + 1
	right := make([]float64, m+1)
	for i := m - 1; i >= 0; i-- {
		right[i] = max(right[i+1], math.Abs(k[(r.from+i)%n]))
	}
	best, at, left := 1.0, r.from+m/2, 0.0
	for i := range m {
		v := math.Abs(k[(r.from+i)%n])
		if ratio := v / min(left, right[i+1]); left > 0 && ratio < best {
			best, at = ratio, r.from+i
		}
		left = max(left, v)
	}
	return at
}
