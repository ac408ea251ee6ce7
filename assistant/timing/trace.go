package timing

import "math"

const (
	traceStep   = 5.0  // m between two times of a trace
	tracePoints = 8001 // of a lap: 40 km, as much as package course learns
	traceHole   = 150. // m that may pass unseen; a wider gap spoils the trace
	traceSlack  = 0.03 // by which two measures of one course may differ: an odometer against the feed's distance
)

// A Trace is a lap's time by distance.
type Trace struct {
	Step   float64   `json:"step"`   // m between two times
	Length float64   `json:"length"` // m, of the lap as its distances were counted
	Time   float64   `json:"time"`   // s, of the lap between its crossings
	Times  []float64 `json:"times"`  // s since the line, at 0, Step, 2·Step … up to Length
}

// ok tells whether laps can be compared with a trace; one from a file may hold anything.
func (t *Trace) ok() bool {
	if t == nil || len(t.Times) < 2 || !(t.Step > 0) || !(t.Time > 0) {
		return false
	}
	last := float64(len(t.Times)-1) * t.Step
	return t.Length >= last && t.Length < last+2*t.Step && t.Time >= t.Times[len(t.Times)-1]
}

// at returns when the lap passed d metres, in s since the line, linear between the stored times.
func (t *Trace) at(d float64) float64 {
	if d <= 0 {
		return 0
	}
	i := int(d / t.Step)
	last := len(t.Times) - 1
	if i >= last {
		rest := t.Length - float64(last)*t.Step
		if rest <= 0 || d >= t.Length {
			return t.Time
		}
		return t.Times[last] + (t.Time-t.Times[last])*(d-float64(last)*t.Step)/rest
	}
	return t.Times[i] + (t.Times[i+1]-t.Times[i])*(d/t.Step-float64(i))
}

// copyOf returns a copy that shares no memory, rounded to a tenth of a millisecond, as it is kept.
func (t *Trace) copyOf() *Trace {
	const fine = 1e4
	c := *t
	c.Times = make([]float64, len(t.Times))
	for i, x := range t.Times {
		c.Times[i] = min(math.Round(x*fine)/fine, c.Time)
	}
	return &c
}

// A tracer records the lap in progress and keeps the last and the best one. It allocates once.
type tracer struct {
	now, last, best *Trace
	whole           bool    // the lap in progress has been seen from the line without a hole
	lastOK, bestOK  bool    // last and best hold a whole lap
	d, t            float64 // the last place, and s since the line there
}

func newTracer() tracer {
	empty := func() *Trace { return &Trace{Step: traceStep, Times: make([]float64, 0, tracePoints)} }
	return tracer{now: empty(), last: empty(), best: empty()}
}

// begin starts a lap on the line.
func (r *tracer) begin() {
	r.now.Times = append(r.now.Times[:0], 0)
	r.whole, r.d, r.t = true, 0, 0
}

// add adds that the car is d metres from the line, t seconds after it. Between two samples the speed is taken as
// constant. A car that rolls back adds nothing until it is where it was.
func (r *tracer) add(d, t float64) {
	if !r.whole || !(d > r.d) {
		return
	}
	if d-r.d > traceHole {
		// Just behind the line the feed's distance may still be that of the lap before.
		r.whole = t < graceValid
		return
	}
	for next := float64(len(r.now.Times)) * traceStep; next <= d; next += traceStep {
		if len(r.now.Times) == tracePoints {
			r.whole = false
			return
		}
		r.now.Times = append(r.now.Times, r.t+(t-r.t)*(next-r.d)/(d-r.d))
	}
	r.d, r.t = d, t
}

// end closes the lap with its time and length; it becomes the last one.
func (r *tracer) end(time, length float64) {
	if length > r.d {
		r.add(length, time)
	}
	for n := len(r.now.Times); n > 1 && (float64(n-1)*traceStep > length || r.now.Times[n-1] > time); n-- {
		r.now.Times = r.now.Times[:n-1] // the sample before lay behind the line by its own count
	}
	r.now.Length, r.now.Time = length, time
	r.now, r.last = r.last, r.now
	r.lastOK = r.whole && r.last.ok()
	r.whole = false
}

// keepBest makes the last lap the best one.
func (r *tracer) keepBest() {
	r.bestOK = r.lastOK
	r.best.Length, r.best.Time = r.last.Length, r.last.Time
	r.best.Times = append(r.best.Times[:0], r.last.Times...)
}

// delta is how far behind lap ref the car is (s), elapsed seconds after the line, at d metres of a course of that
// length (m, NaN where not known). Lengths that differ a little are scaled to be equal. NaN where there is no
// comparison.
func delta(ref *Trace, elapsed, d, length float64) float64 {
	if ref == nil || math.IsNaN(d) {
		return math.NaN()
	}
	if ratio := ref.Length / length; math.Abs(ratio-1) <= traceSlack {
		d *= ratio
	}
	return elapsed - ref.at(d)
}
