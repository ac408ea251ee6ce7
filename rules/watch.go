package rules

import (
	"maps"
	"math"
	"slices"
)

// A Step judges only the instances that can have changed: those whose readings have changed in a way that matters to
// their condition, those with a running delay, and those with a repeat that is due. Most conditions compare readings
// with constants, so a reading matters only when it passes one of these.

// A watch is a reading and the instances that look at it, as bits.
type watch struct {
	index  int
	limits []float64 // sorted; nil: any change counts
	cells  []uint64
}

// between is the memory of a watch with limits: the instances need not be judged while the reading stays between lo and
// hi, or as it was.
type between struct {
	index  int
	lo, hi float64
	seen   uint64 // bits of the reading
}

// changes is the memory of a watch of which any change counts.
type changes struct {
	index int
	seen  uint64 // bits of the reading
}

func words64(n int) int { return (n + 63) / 64 }

// watchesOf lists the watches for the instances. Where a reading is only compared with constants, passing one of them
// counts; elsewhere any change does.
func watchesOf(instances []compiled) (list []watch) {
	at := map[[2]int]int{}
	for i := range instances {
		for _, index := range slices.Sorted(maps.Keys(instances[i].uses)) {
			u := instances[i].uses[index]
			key := [2]int{index, min(u.Exact, 1)}
			k, ok := at[key]
			if !ok {
				k, at[key] = len(list), len(list)
				list = append(list, watch{index: index, cells: make([]uint64, words64(len(instances)))})
			}
			list[k].cells[i>>6] |= 1 << (i & 63)
			if u.Exact == 0 {
				list[k].limits = append(list[k].limits, u.Limits...)
			}
		}
	}
	for k := range list {
		slices.Sort(list[k].limits)
	}
	slices.SortStableFunc(list, func(a, b watch) int { return min(len(b.limits), 1) - min(len(a.limits), 1) })
	return list
}

// watch makes the memory of the watches; no reading has been seen.
func (m *Memory) watch() {
	for _, w := range m.set.watches {
		if w.limits != nil {
			m.between = append(m.between, between{index: w.index, lo: math.NaN(), hi: math.NaN(), seen: ^uint64(0)})
		} else {
			m.changes = append(m.changes, changes{index: w.index, seen: ^uint64(0)})
		}
	}
}

// look marks the instances whose readings have changed since the last Step. The two kinds of watches are apart because
// one seldom marks and the other often does: the processor predicts each loop well.
func (m *Memory) look(env []float64) {
	near, other := m.between, m.changes
	for k := range near {
		w := &near[k]
		x := env[w.index]
		if x > w.lo && x < w.hi {
			continue
		}
		if b := math.Float64bits(x); b != w.seen {
			w.seen = b
			m.passed(k)
			w.lo, w.hi = m.set.watches[k].around(x)
		}
	}
	for k := range other {
		w := &other[k]
		if b := math.Float64bits(env[w.index]); b != w.seen {
			w.seen = b
			m.passed(len(near) + k)
		}
	}
}

// passed marks the instances of a watch.
func (m *Memory) passed(k int) {
	cells := m.set.watches[k].cells
	dirty := m.dirty[:len(cells)]
	for i, c := range cells {
		dirty[i] |= c
	}
}

// around returns the limits between which a reading lies, NaN where it is on one or unknown.
func (w *watch) around(x float64) (lo, hi float64) {
	i, exact := slices.BinarySearch(w.limits, x)
	if exact || math.IsNaN(x) {
		return math.NaN(), math.NaN()
	}
	lo, hi = math.Inf(-1), math.Inf(1)
	if i > 0 {
		lo = w.limits[i-1]
	}
	if i < len(w.limits) {
		hi = w.limits[i]
	}
	return lo, hi
}

func (m *Memory) touch(i int) { m.dirty[i>>6] |= 1 << (i & 63) }

func (m *Memory) touched(i int) bool { return m.dirty[i>>6]>>(i&63)&1 == 1 }

func (m *Memory) touchAll() {
	for i := range m.cells {
		m.touch(i)
	}
}
