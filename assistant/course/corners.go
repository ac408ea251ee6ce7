package course

import (
	"math"
	"slices"
)

// How bends become corners. No citable definition of a corner was found, and the count on a course's own
// map is a convention: these are common practice, no source; a course file corrects what they get wrong.
const (
	smoothing = 6.0   // m: standard deviation of the smoothing of the curvature
	minLength = 12.0  // m: shorter is no corner
	longTurn  = 2.3   // rad (132°), and
	longBend  = 500.0 // m: turning and lasting longer than both counts as two, as at the ends of an oval
)

// limits are what else a bend must be to count.
type limits struct {
	on    float64 // 1/m: a corner is at least this tight somewhere
	off   float64 // 1/m: a corner ends where the road is straighter than this
	angle float64 // rad: turning less is no corner
	gap   float64 // m: bends of one hand with less between them are one
	dip   float64 // of the less tight of two apexes: a bend as wide as this between them makes two corners; 0: it does not
}

// Both were picked from coarse grids on twelve surveyed centre lines: sharp by how near the counts come to the official ones, for lines that
// are drawn clearly; blurred, for lines from positions that scatter, by counts that stay the same under that scatter
// while they come within two of the official ones. To cut a bend where it opens does not come out twice in the same way under noise.
var (
	sharp   = limits{on: 1 / 250., off: 1 / 700., angle: 0.35, gap: 30, dip: 0.2}
	blurred = limits{on: 1 / 350., off: 1 / 600., angle: 0.4, gap: 25}
)

// A run is a stretch of points from..to, both included, with from in [0, n) and to < from+n.
type run struct{ from, to int }

// findCorners returns the corners of a closed line of curvature k, without names and learned points,
// in the order of their apexes from point 0.
func findCorners(k []float64, step float64, l limits) []Corner {
	var runs []run
	for _, r := range l.mergeRuns(l.bends(k), k, step) {
		for _, part := range l.splitDips(r, k, step) {
			if l.counts(part, k, step) {
				runs = append(runs, splitLong(part, k, step)...)
			}
		}
	}
	cs := make([]Corner, 0, len(runs))
	for _, r := range runs {
		cs = append(cs, cornerOf(r, k, step))
	}
	number(cs)
	return cs
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

// bends returns the runs of one sign beyond off that reach on.
func (l limits) bends(k []float64) []run {
	n := len(k)
	side := func(i int) int {
		v := k[i%n]
		switch {
		case v > l.off:
			return 1
		case v < -l.off:
			return -1
		}
		return 0
	}
	start := 0 // a place where no run goes through
	for start < n && side(start) == side(start+n-1) && side(start) != 0 {
		start++
	}
	if start == n {
		return []run{{0, n - 1}} // a circle
	}
	var runs []run
	for i := start; i < start+n; {
		s, j, peak := side(i), i, 0.0
		for j < start+n && side(j) == s {
			peak = max(peak, math.Abs(k[j%n]))
			j++
		}
		if s != 0 && peak >= l.on {
			runs = append(runs, run{i % n, i%n + j - 1 - i})
		}
		i = j
	}
	return runs
}

// mergeRuns joins neighbours of one hand that are close together.
func (l limits) mergeRuns(runs []run, k []float64, step float64) []run {
	n := len(k)
	for i := 0; len(runs) > 1 && i < len(runs); {
		a, b := runs[i], runs[(i+1)%len(runs)]
		gap := ((b.from-a.to)%n + n) % n
		if k[a.from]*k[b.from] > 0 && float64(gap)*step < l.gap {
			runs[i].to = a.to + gap + b.to - b.from
			runs = slices.Delete(runs, (i+1)%len(runs), (i+1)%len(runs)+1)
			i = 0
			continue
		}
		i++
	}
	return runs
}

// splitDips cuts a run where the bend opens between two tight places, if both parts are corners.
func (l limits) splitDips(r run, k []float64, step float64) []run {
	n := len(k)
	abs := func(i int) float64 { return math.Abs(k[i%n]) }
	// left[i] and right[i]: the tightest place before and after.
	m := r.to - r.from + 1
	right := make([]float64, m+1)
	for i := m - 1; i >= 0; i-- {
		right[i] = max(right[i+1], abs(r.from+i))
	}
	best, at, left := l.dip, -1, 0.0
	for i := range m {
		v := abs(r.from + i)
		if ratio := v / min(left, right[i+1]); ratio < best && l.counts(run{r.from, r.from + i}, k, step) && l.counts(run{r.from + i + 1, r.to}, k, step) {
			best, at = ratio, i
		}
		left = max(left, v)
	}
	if at < 0 {
		return []run{r}
	}
	return append(l.splitDips(run{r.from, r.from + at}, k, step), l.splitDips(run{(r.from + at + 1) % n, (r.from+at+1)%n + r.to - r.from - at - 1}, k, step)...)
}

// splitLong halves, by angle, what turns like the end of an oval.
func splitLong(r run, k []float64, step float64) []run {
	n := len(k)
	total := turning(r, k, step)
	if total < longTurn || float64(r.to-r.from+1)*step < longBend || r.to-r.from+1 == n {
		return []run{r}
	}
	half := 0.0
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

// counts tells whether a run is long, sharp and tight enough to be a corner.
func (l limits) counts(r run, k []float64, step float64) bool {
	if float64(r.to-r.from+1)*step < minLength || turning(r, k, step) < l.angle {
		return false
	}
	for i := r.from; i <= r.to; i++ {
		if math.Abs(k[i%len(k)]) >= l.on {
			return true
		}
	}
	return false
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

// widest returns the place in r where the bend is least compared with the tighter places on both
// sides of it.
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
