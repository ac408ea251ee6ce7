package fuel

import "math"

// Common practice, no source.
const (
	leastSpread = 0.01  // share of the burn: three laps that happen to agree are no certainty
	otherStyle  = 0.025 // share of the burn: two laps running that differ by more are driven otherwise
	sameStyle   = 0.015 // share of the burn: a style that comes so near to the full one is the full one
)

// driving holds the burn of the flying laps, apart by how hard the car is driven. A driver who begins to save does so from one lap to
// the next, and a mean over both styles is true of neither.
type driving struct {
	now  laps // since the driver last changed his style, in L
	full laps // of the thirstiest style that he has left; empty while there was but one
	odd  [2]float64
	odds int // laps at the end that do not fit: one is an odd lap, two running are another style

	burn    float64 // of a lap as the car is driven now, in L
	flatOut float64 // of a lap at full pace: that of the thirstiest style
	scatter float64 // standard deviation of a lap, in L, never less than leastSpread of the burn; NaN for too few laps
}

func newDriving() driving { return driving{burn: nan, flatOut: nan, scatter: nan} }

func (d *driving) add(used float64) {
	if math.IsNaN(used) || math.IsInf(used, 0) {
		return
	}
	d.sort(used)
	d.burn = d.now.centre()
	d.flatOut = d.burn
	if full := d.full.centre(); full > d.burn {
		d.flatOut = full
	}
	d.scatter = d.now.spread()
	if math.IsNaN(d.scatter) { // a style that has just begun scatters as the one before did
		d.scatter = d.full.spread()
	}
	if !math.IsNaN(d.scatter) {
		d.scatter = math.Max(d.scatter, leastSpread*d.burn)
	}
}

// sort puts a lap into the account where it belongs.
func (d *driving) sort(used float64) {
	off := used - d.burn
	first := d.full.n == 0 && d.now.n < enough
	if first || math.Abs(off) <= math.Max(otherStyle*d.burn, confidence*d.scatter) {
		for _, x := range d.odd[:d.odds] {
			d.now.add(x)
		}
		d.odds = 0
		d.now.add(used)
		return
	}
	if d.odds == 1 && (d.odd[0] > d.burn) != (off > 0) {
		d.now.add(d.odd[0])
		d.odds = 0
	}
	d.odd[d.odds] = used
	if d.odds++; d.odds == len(d.odd) {
		d.change()
	}
}

// change begins another style with the laps that did not fit.
func (d *driving) change() {
	if d.full.n == 0 || d.burn > d.full.centre() {
		d.full = d.now
	}
	d.now = laps{}
	level := (d.odd[0] + d.odd[1]) / 2
	if full := d.full.centre(); math.Abs(level-full) <= sameStyle*full {
		d.now = d.full
	}
	for _, x := range d.odd {
		d.now.add(x)
	}
	d.odds = 0
}
