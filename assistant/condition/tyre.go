package condition

import (
	"math"

	"earshot/assistant/car"
	"earshot/assistant/channel"
)

// Common practice, no source.
const (
	carcassTau  = 2.0  // s: a carcass sensor is nearly as slow as the tyre
	treadTau    = 15.0 // s: a tread swings tens of degrees within a corner
	slopeTaus   = 4.0  // times as slow is the lag with which calm is compared for its slope
	slowTau     = 30.0 // s: what is about the mean of a lap, known at any time
	readyBand   = 5.0  // K outside the window that a ready tyre may swing
	trendLaps   = 12   // lap means kept for the trend
	longestStep = 0.5  // s: a longer gap between samples counts as this much in a mean
)

// tyres judges the four tyres.
type tyres struct {
	car    *car.Car
	low    [4]float64
	high   [4]float64
	core   [4]float64 // this moment
	calm   [4]lag     // core without its swing
	calmer [4]lag     // for the slope
	slow   [4]lag     // about its mean over a lap
	slope  [4]float64 // K/s
	edge   [4]mean    // inner less outer band, of the lap in progress
	rise   [4]float64 // K of the lap mean over the lap mean before
	swell  [4]float64 // kPa, likewise
	bands  [4]float64 // the edge of the lap completed last
	leaks  leaks

	inside  float64 // when all tyres came to be inside, NaN while one is not
	outside float64 // when one came to be well outside, NaN while none is
	ready   float64 // 1, 0 or NaN

	carcass                [4]bool // the core is the carcass
	shown                  bool    // the row has what a lap leaves
	coreLap, pressureLap   [4]mean // of the lap in progress
	coreMean, pressureMean [4]float64
	trend                  [4]trend
	laps                   int // completed in this stint
	toReady, never         float64
}

func (t *tyres) init(c *car.Car) {
	*t = tyres{car: c}
	for w := range 4 {
		t.low[w] = c.At("tyre_low", channel.Wheel(w))
		t.high[w] = c.At("tyre_high", channel.Wheel(w))
		t.trend[w].b = nan
	}
	t.stint()
}

func (t *tyres) stint() {
	for w := range 4 {
		t.core[w], t.slope[w], t.coreMean[w], t.pressureMean[w] = nan, nan, nan, nan
		t.calm[w], t.calmer[w], t.slow[w] = newLag(byTread), newLag(byTreadSlope), newLag(bySlow)
		t.edge[w], t.rise[w], t.swell[w], t.bands[w] = mean{}, nan, nan, nan
		t.coreLap[w], t.pressureLap[w] = mean{}, mean{}
		t.trend[w].n = 0 // how fast these tyres warm up is kept
	}
	t.laps = 0
	t.leaks.stint()
	t.inside, t.outside, t.ready, t.toReady, t.never = nan, nan, nan, nan, nan
	t.shown = false
}

// core returns what the window is judged on, and whether it is the carcass.
func core(w int, row channel.Row) (float64, bool) {
	if id := channel.TyreCarcass + channel.ID(w); row.Has(id) {
		return row[id], true
	}
	sum, n := 0.0, 0.0
	for _, band := range [3]channel.ID{channel.TyreTempInner, channel.TyreTempMiddle, channel.TyreTempOuter} {
		if x := row[band+channel.ID(w)]; !math.IsNaN(x) {
			sum += x
			n++
		}
	}
	if n > 0 {
		return sum / n, false
	}
	return row[channel.TyreTemperature+channel.ID(w)], false
}

func (t *tyres) step(at, dt float64, m *motion, row channel.Row) {
	known, in, out := true, true, false
	for w := range 4 {
		x, carcass := core(w, row)
		if t.carcass[w] = t.carcass[w] || carcass; !carcass && t.carcass[w] {
			x = nan // the tread is no stand-in for a carcass that has failed: other wheels are judged by theirs
		}
		tau, slopeTau := byTread, byTreadSlope
		if carcass {
			tau, slopeTau = byCarcass, byCarcassSlope
		}
		if t.calm[w].tau != tau {
			t.calm[w], t.calmer[w] = newLag(tau), newLag(slopeTau)
		}
		t.core[w] = x
		t.calm[w].step(m.gains, x)
		t.slow[w].step(m.gains, x)
		// The difference of two lags of a ramp is the ramp times the difference of their times; noise is gone from both.
		t.calmer[w].step(m.gains, x)
		t.slope[w] = (t.calm[w].y - t.calmer[w].y) / (taus[slopeTau] - taus[tau])
		if m.moving() {
			share := min(dt, longestStep)
			t.coreLap[w].add(share, x)
			t.pressureLap[w].add(share, row[channel.TyrePressure+channel.ID(w)])
			t.edge[w].add(share, row[channel.TyreTempInner+channel.ID(w)]-row[channel.TyreTempOuter+channel.ID(w)])
		}
		calm, slow := t.calm[w].y, t.slow[w].y
		if math.IsNaN(calm) || math.IsNaN(t.low[w]) {
			known = false
			continue
		}
		// An upper end that the car file does not give is never passed.
		in = in && min(calm, slow) >= t.low[w] && !(slow > t.high[w]) && math.Abs(t.slope[w])*t.car.ReadyHold <= t.car.ReadyDrift
		out = out || slow < t.low[w]-readyBand || slow > t.high[w]+readyBand
	}
	t.leaks.step(at, dt, m, t, row)
	if !known {
		t.inside, t.outside, t.ready = nan, nan, nan
		return
	}
	t.inside = since(t.inside, in, at)
	t.outside = since(t.outside, out, at)
	switch {
	case at-t.inside >= t.car.ReadyHold:
		t.ready = 1
	case at-t.outside >= t.car.ReadyHold, math.IsNaN(t.ready):
		t.ready = 0
	}
}

// since keeps the time at which a condition came to hold, NaN while it does not.
func since(t float64, holds bool, at float64) float64 {
	if !holds {
		return nan
	}
	if math.IsNaN(t) {
		return at
	}
	return t
}

func (t *tyres) lapDone(slow bool) {
	t.laps++
	t.toReady, t.never, t.shown = 0, 0, false
	before, beforeP := t.coreMean, t.pressureMean
	t.coreMean, t.pressureMean, t.bands = alike(&t.coreLap), alike(&t.pressureLap), alike(&t.edge)
	for w := range 4 {
		t.coreLap[w], t.pressureLap[w], t.edge[w] = mean{}, mean{}, mean{}
		t.rise[w], t.swell[w] = t.coreMean[w]-before[w], t.pressureMean[w]-beforeP[w]
		if slow {
			t.trend[w].n = 0
		} else {
			t.trend[w].add(t.coreMean[w])
		}
		laps, never := t.trend[w].lapsTo(t.low[w])
		if never {
			t.never = 1
		} else if math.IsNaN(laps) && t.never == 0 {
			t.never = nan
		}
		t.toReady = math.Max(t.toReady, laps) // NaN wins
	}
	if t.never == 1 {
		t.toReady = nan
	}
}

func (t *tyres) write(row channel.Row) {
	for w := range channel.ID(4) {
		row[channel.TyreCore+w], row[channel.TyreCoreCalm+w], row[channel.TyreLoss+w] = t.core[w], t.slow[w].y, t.leaks.rate[w]
	}
	row[channel.TyresReady] = t.ready
	row[channel.TyreLapsToReady] = t.toReady
	if t.ready == 1 && t.laps > 0 {
		row[channel.TyreLapsToReady] = 0
	}
	row[channel.TyreShortFront] = t.short(channel.FL, channel.FR)
	row[channel.TyreShortRear] = t.short(channel.RL, channel.RR)
	if !t.shown {
		t.shown = true
		t.writeLap(row)
	}
}

// writeLap writes what changes with a lap or a stint.
func (t *tyres) writeLap(row channel.Row) {
	for w := range channel.ID(4) {
		row[channel.TyreCoreMean+w], row[channel.TyreCoreRise+w], row[channel.TyrePressureMean+w] = t.coreMean[w], t.rise[w], t.pressureMean[w]
		row[channel.TyrePressureRise+w] = t.swell[w]
		side := nan
		switch {
		case t.bands[w] < 0:
			side = 1
		case t.bands[w] >= 0:
			side = 0
		}
		row[channel.TyreEdge+w], row[channel.TyreEdgeSide+w] = math.Abs(t.bands[w]), side
	}
	row[channel.TyreSpreadFront] = t.coreMean[channel.FR] - t.coreMean[channel.FL]
	row[channel.TyreSpreadRear] = t.coreMean[channel.RR] - t.coreMean[channel.RL]
	row[channel.TyresNeverReady] = t.never
}

// short is how far the worse of two tyres is below its window: 0 where neither is, NaN where that is not known.
func (t *tyres) short(a, b channel.Wheel) float64 {
	return max(0, t.low[a]-t.calm[a].y, t.low[b]-t.calm[b].y)
}
