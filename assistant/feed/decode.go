package feed

import (
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/rules/expression"
)

// decoder puts the clock, the plausibility count and the derived channels behind a codec.
type decoder struct {
	inner   codec.Decoder
	record  string
	clock   clock
	bounds  []bound
	derived []derivation
	work    expression.Workspace
	limits  []channelLimit // by ID, for the operands of derived channels
	changes []change
	moved   []bool // by group of changes

	arrived     float64
	emit        func(channel.Sample)
	onRecord    func(*codec.Record)
	implausible int64
}

// A bound is the plausible range of a channel that the feed supplies.
type bound struct {
	id channel.ID
	channelLimit
}

// A channelLimit is what is plausible of a channel.
type channelLimit struct{ lo, hi float64 }

func limitsOf(set *channel.Set) (list []channelLimit) {
	for id := range channel.ID(set.Len()) {
		c := set.At(id)
		list = append(list, channelLimit{c.Min, c.Max})
	}
	return list
}

// Decode implements Decoder.
func (d *decoder) Decode(p []byte, arrived float64, emit func(channel.Sample)) {
	d.arrived, d.emit = arrived, emit
	d.inner.Decode(p, d.onRecord)
	d.emit = nil
}

// End implements Decoder.
func (d *decoder) End(emit func(channel.Sample)) {
	d.emit = emit
	d.inner.End(d.onRecord)
	d.emit = nil
}

// Gap tells that the stream was torn: what is unfinished of it is not joined to what comes next.
func (d *decoder) Gap() {
	if inner, ok := d.inner.(interface{ Gap() }); ok {
		inner.Gap()
	}
}

// Stats implements Decoder.
func (d *decoder) Stats() Stats {
	s := statsOf(d.inner.Counts(), d.record)
	s.Implausible, s.ClockBack, s.ClockJumps = d.implausible, d.clock.back, d.clock.jumps
	s.Untimed = d.clock.untimed
	return s
}

// take finishes a record. An implausible reading stays in the Row, so that a recording has what the
// source sent, and channel.Hold makes the channel absent; only an infinity is taken away.
func (d *decoder) take(r *codec.Record) {
	row := r.Row
	at := d.clock.stamp(r.Time(), d.arrived)
	d.dropRepeats(row)
	for i := range d.bounds {
		b := &d.bounds[i]
		if v := row[b.id]; v < b.lo || v > b.hi {
			d.implausible++
			if math.IsInf(v, 0) {
				row[b.id] = math.NaN()
			}
		}
	}
	for i := range d.derived {
		x := &d.derived[i]
		v := math.NaN()
		if d.usable(row, x.needs) {
			v = x.is.Value(row, &d.work)
		}
		if math.IsInf(v, 0) {
			v = math.NaN()
		}
		if l := d.limits[x.id]; v < l.lo || v > l.hi {
			d.implausible++
		}
		row[x.id] = v
	}
	d.emit(channel.Sample{At: at, Row: row})
}

// A change is a channel of which a repeated value is no new reading, as when a receiver's last position stands in
// every line of a faster table.
type change struct {
	id    channel.ID
	group string // channels with the same one are read together: when one changes all are new
	index int    // of the group
	last  float64
}

// watchChanges prepares the channels for a decoder.
func (d *decoder) watchChanges(list []change) {
	index := map[string]int{}
	for _, c := range list {
		if _, ok := index[c.group]; !ok {
			index[c.group] = len(index)
		}
		c.index, c.last = index[c.group], math.NaN()
		d.changes = append(d.changes, c)
	}
	d.moved = make([]bool, len(index))
}

func (d *decoder) dropRepeats(row channel.Row) {
	for i := range d.changes {
		c := &d.changes[i]
		if v := row[c.id]; v != c.last && !math.IsNaN(v) {
			d.moved[c.index] = true
			c.last = v
		}
	}
	for i := range d.changes {
		if c := &d.changes[i]; !d.moved[c.index] {
			row[c.id] = math.NaN()
		}
	}
	clear(d.moved)
}

func (d *decoder) usable(row channel.Row, needs []channel.ID) bool {
	for _, id := range needs {
		if l, v := d.limits[id], row[id]; !(v >= l.lo && v <= l.hi) {
			return false
		}
	}
	return true
}
