package condition

// A centre keeps the median of all numbers added to it, exact to a part of its cell width, in constant
// memory and, but for the odd step to a neighbour, constant time; numbers beyond its
// cells do not count. A median, because a fifth of
// odd readings (kerbs, slides, gear changes) must not move what is learned.
type centre struct {
	cells []uint32
	lo    float64
	width float64
	n     int
	below int // numbers in cells before at
	at    int // the cell that holds the median
}

func newCentre(lo, hi float64, cells int) centre {
	return centre{cells: make([]uint32, cells), lo: lo, width: (hi - lo) / float64(cells)}
}

func (c *centre) reset() {
	clear(c.cells)
	c.n, c.below, c.at = 0, 0, 0
}

func (c *centre) add(x float64) {
	f := (x - c.lo) / c.width
	if !(f >= 0 && f < float64(len(c.cells))) {
		return
	}
	i := int(f)
	c.cells[i]++
	c.n++
	if i < c.at {
		c.below++
	}
	for 2*c.below > c.n {
		c.at--
		c.below -= int(c.cells[c.at])
	}
	for 2*(c.below+int(c.cells[c.at])) < c.n {
		c.below += int(c.cells[c.at])
		c.at++
	}
}

// median is NaN before the first number. Within a cell the numbers are taken to lie evenly.
func (c *centre) median() float64 {
	if c.n == 0 {
		return nan
	}
	part := 0.5
	if k := c.cells[c.at]; k > 0 {
		part = (float64(c.n)/2 - float64(c.below)) / float64(k)
	}
	return c.lo + (float64(c.at)+part)*c.width
}
