package feed

import (
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

// decoder puts the clock, the plausibility count and the derived channels behind a codec.
type decoder struct {
	inner   codec.Decoder
	record  string
	clock   clock
	bounds  []bound
	derived []derivation
	limits  []channelLimit // by ID, for the operands of derived channels

	arrived     float64
	emit        func(channel.Sample)
	onRecord    func(*codec.Record)
	implausible int64
}

// A bound is the plausible range of a channel that the feed supplies.
type bound struct {
	id     channel.ID
	lo, hi float64
}

type channelLimit struct{ lo, hi float64 }

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
			v = x.eval(row)
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

func (d *decoder) usable(row channel.Row, needs []channel.ID) bool {
	for _, id := range needs {
		l := d.limits[id]
		if v := row[id]; !(v >= l.lo && v <= l.hi) {
			return false
		}
	}
	return true
}
