package feed

import (
	"math"
	"slices"

	"earshot/assistant/channel"
	"earshot/assistant/feed/feedfile"
	"earshot/rules/expression"
)

// oneMoment is how near, in seconds, the times of two files' records are for one and the same moment: twice the
// resolution of a Unix time in a float64, and no way for a car to go.
const oneMoment = 1e-6

// absoluteFrom is the least time, in seconds, that is taken as a Unix time: the year 1973. What counts less began with
// a session, a day or the power.
const absoluteFrom = 1e8

// longestPause is how far ahead, in seconds, the clock of a file may step in a join: all the others tell what passed
// meanwhile, so a pause of one is no reason to move it against them.
const longestPause = 3600.0

// A joiner settles what the samples of several sources give together: which of two sources a channel is taken from, and
// the channels that are derived across sources. It is pure.
type joiner struct {
	rivals  []rival
	derived []feedfile.Derived
	work    expression.Workspace
	limits  []channelLimit
	stale   []float64

	held        channel.Row // what derived channels are made from: the last plausible readings
	since       []float64
	implausible int64 // of derived channels
}

// A rival is a channel that several sources give.
type rival struct {
	id    channel.ID
	order []int     // sources, the best first
	seen  []float64 // when each gave its last plausible reading
}

func newJoiner(f *feedfile.File, set *channel.Set) *joiner {
	j := &joiner{derived: f.Derived, held: set.NewRow(), since: make([]float64, set.Len()), limits: limitsOf(set)}
	for id := range channel.ID(set.Len()) {
		j.stale = append(j.stale, set.At(id).Stale)
		if order := f.Prefer[id]; order != nil {
			seen := slices.Repeat([]float64{math.Inf(-1)}, len(order))
			j.rivals = append(j.rivals, rival{id, order, seen})
		}
	}
	return j
}

func (j *joiner) plausible(id channel.ID, v float64) bool {
	return v >= j.limits[id].lo && v <= j.limits[id].hi
}

// yield takes away what a better source has given lately.
func (j *joiner) yield(source int, at float64, row channel.Row) {
	for i := range j.rivals {
		r := &j.rivals[i]
		v := row[r.id]
		if math.IsNaN(v) {
			continue
		}
		for k, s := range r.order {
			if s == source {
				if j.plausible(r.id, v) {
					r.seen[k] = at
				}
				break
			}
			if at-r.seen[k] <= j.stale[r.id] {
				row[r.id] = math.NaN()
				break
			}
		}
	}
}

// derive adds the derived channels of which an operand has come with row, from operands that are not stale.
func (j *joiner) derive(at float64, row channel.Row) {
	if len(j.derived) == 0 {
		return
	}
	for i, v := range row {
		if !math.IsNaN(v) {
			j.hold(channel.ID(i), at, v)
		}
	}
	for i := range j.derived {
		x := &j.derived[i]
		fresh, whole := false, true
		for _, id := range x.Needs {
			fresh = fresh || !math.IsNaN(row[id])
			whole = whole && !math.IsNaN(j.held[id]) && at-j.since[id] <= j.stale[id]
		}
		if !fresh || !whole {
			continue
		}
		v := x.Is.Value(j.held, &j.work)
		if math.IsInf(v, 0) {
			v = math.NaN()
		}
		if l := j.limits[x.ID]; v < l.lo || v > l.hi {
			j.implausible++
		}
		row[x.ID] = v
		j.hold(x.ID, at, v)
	}
}

func (j *joiner) hold(id channel.ID, at, v float64) {
	if !j.plausible(id, v) {
		v = math.NaN()
	}
	j.held[id], j.since[id] = v, at
}

// A queue holds decoded samples of one file until those of the others have been read as far.
type queue struct {
	list  []channel.Sample
	next  int
	shift float64 // s, added to the source's time
	first float64 // its first time, where that is absolute; else NaN
	any   bool
	ended bool
}

func (q *queue) empty() bool { return q.next == len(q.list) }

// keep copies a sample in. The memory of samples that have been taken is used again.
func (q *queue) keep(s channel.Sample) {
	q.any = true
	if n := len(q.list); n < cap(q.list) {
		q.list = q.list[:n+1]
	} else {
		q.list = append(q.list, channel.Sample{})
	}
	last := &q.list[len(q.list)-1]
	if len(last.Row) != len(s.Row) {
		last.Row = make(channel.Row, len(s.Row))
	}
	last.At = s.At
	copy(last.Row, s.Row)
}

// keeper returns a keep that notes where the clock c of the source begins.
func (q *queue) keeper(c *clock) func(channel.Sample) {
	return func(s channel.Sample) {
		if !q.any {
			q.first = math.NaN()
			if c.begun && c.base >= absoluteFrom {
				q.first = c.base
			}
		}
		q.keep(s)
	}
}

// fold forgets what has been taken.
func (q *queue) fold() {
	if q.empty() {
		q.list, q.next = q.list[:0], 0
	}
}

func (q *queue) at() float64 { return q.list[q.next].At + q.shift }

// anchor finds how the clocks of files lie to each other, once each has given its first sample or ended.
// Those with absolute times lie as these say; each of the others begins with the session.
func anchor(queues []queue, offsets []float64) {
	absolute, start := math.Inf(1), math.Inf(1)
	for i := range queues {
		if q := &queues[i]; q.any && q.first < absolute {
			absolute = q.first
		}
	}
	for i := range queues {
		q := &queues[i]
		q.shift = -offsets[i]
		if q.first >= absoluteFrom {
			q.shift += q.first - absolute
		}
		if q.any {
			start = min(start, q.shift+q.list[q.next].At)
		}
	}
	for i := range queues {
		queues[i].shift -= start
	}
}

// merge takes the earliest moment out of the queues, none of which is empty unless it has ended, and writes it
// into row. Sources that speak of one moment give one sample; sources gets all of them. At the end it stays empty.
func (j *joiner) merge(queues []queue, row channel.Row, sources []int) (float64, []int) {
	at := math.Inf(1)
	for i := range queues {
		if q := &queues[i]; !q.empty() {
			at = min(at, q.at())
		}
	}
	row.Clear()
	for i := range queues {
		q := &queues[i]
		if q.empty() || q.at() > at+oneMoment {
			continue
		}
		from := q.list[q.next].Row
		q.next++
		sources = append(sources, i)
		j.yield(i, at, from)
		for id, v := range from {
			if !math.IsNaN(v) {
				row[id] = v
			}
		}
	}
	j.derive(at, row)
	return at, sources
}

// How the difference between the arrival and a source's own clock is followed.
const (
	driftBuckets = 10
	driftBucket  = 3.0 // s
)

// A drift is the least of arrival − own time over the last half minute. Delays on the way only add to the
// difference, so its least value is the clocks' own, and a difference that grows slowly is followed as old values leave
// the window. (The minimum filter of network time: Mills, RFC 5905, section 10, takes the sample of least delay.)
type drift struct {
	least [driftBuckets]float64
	index int64 // of the newest bucket
	begun bool
}

func (d *drift) add(arrived, difference float64) float64 {
	index := int64(math.Floor(arrived / driftBucket))
	if !d.begun || index-d.index >= driftBuckets {
		for i := range d.least {
			d.least[i] = math.Inf(1)
		}
		d.begun, d.index = true, index
	}
	for d.index < index {
		d.index++
		d.least[d.index%driftBuckets] = math.Inf(1)
	}
	k := d.index % driftBuckets
	d.least[k] = min(d.least[k], difference)
	return slices.Min(d.least[:])
}

// A laneClock puts the samples of a live source on the clock of the session.
type laneClock struct {
	drift drift
	jumps int64 // of the source's clock so far
}

// stamp gives the moment of a sample on the clock of the arrivals.
func (l *laneClock) stamp(c *clock, own, arrived float64) float64 {
	if !c.Own && c.Period == 0 {
		return arrived
	}
	if n := c.jumps + c.rebased; n != l.jumps {
		l.jumps, l.drift.begun = n, false
	}
	return own + l.drift.add(arrived, arrived-own)
}
