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

// watched is the memory of a watch: the instances need not be judged while the reading stays between lo and hi, or as
// it was.
type watched struct {
	index  int
	lo, hi float64
	seen   uint64 // bits of the reading
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
	return list
}

// look marks the instances whose readings have changed since the last Step.
func (m *Memory) look(env []float64) {
	for k := range m.watched {
		w := &m.watched[k]
		x := env[w.index]
		if x > w.lo && x < w.hi {
			continue
		}
		if b := math.Float64bits(x); b != w.seen {
			w.seen = b
			m.passed(k, x)
		}
	}
}

// passed marks the instances of a watch and finds the limits between which its reading x now lies.
func (m *Memory) passed(k int, x float64) {
	w, now := &m.set.watches[k], &m.watched[k]
	for i, cells := range w.cells {
		m.dirty[i] |= cells
	}
	if w.limits == nil {
		return
	}
	now.lo, now.hi = math.NaN(), math.NaN()
	i, exact := slices.BinarySearch(w.limits, x)
	if exact || math.IsNaN(x) {
		return
	}
	now.lo, now.hi = math.Inf(-1), math.Inf(1)
	if i > 0 {
		now.lo = w.limits[i-1]
	}
	if i < len(w.limits) {
		now.hi = w.limits[i]
	}
}

func (m *Memory) touch(i int) { m.dirty[i>>6] |= 1 << (i & 63) }

func (m *Memory) touched(i int) bool { return m.dirty[i>>6]>>(i&63)&1 == 1 }

func (m *Memory) touchAll() {
	for i := range m.cells {
		m.touch(i)
	}
}
