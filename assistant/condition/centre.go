package condition

// A centre keeps the median, or another quantile, of all numbers added to it, exact to a part of its cell width, in constant
// memory and, but for the odd step to a neighbour, constant time; numbers beyond its
// cells do not count. A median, because a fifth of
// odd readings (kerbs, slides, gear changes) must not move what is learned.
type centre struct {
	cells []uint32
	lo    float64
	width float64
	share float64 // of the numbers that lie below what is kept
	n     int
	below int // numbers in cells before at
	at    int // the cell that holds it
}

func newCentre(lo, hi float64, cells int) centre { return newQuantile(0.5, lo, hi, cells) }

func newQuantile(share, lo, hi float64, cells int) centre {
	return centre{cells: make([]uint32, cells), lo: lo, width: (hi - lo) / float64(cells), share: share}
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
	rank := c.share * float64(c.n)
	for float64(c.below) > rank {
		c.at--
		c.below -= int(c.cells[c.at])
	}
	for float64(c.below+int(c.cells[c.at])) < rank {
		c.below += int(c.cells[c.at])
		c.at++
	}
}

// value is NaN before the first number. Within a cell the numbers are taken to lie evenly.
func (c *centre) value() float64 {
	if c.n == 0 {
		return nan
	}
	part := 0.5
	if k := c.cells[c.at]; k > 0 {
		part = (c.share*float64(c.n) - float64(c.below)) / float64(k)
	}
	return c.lo + (float64(c.at)+part)*c.width
}
