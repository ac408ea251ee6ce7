package feed

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/assistant/feed/codec/can"
	"earshot/assistant/feed/codec/csv"
	"earshot/assistant/feed/codec/json"
	"earshot/assistant/feed/codec/nmea"
	"earshot/assistant/feed/codec/packet"
	"earshot/assistant/feed/feedfile"
	"earshot/configs/document"
	"earshot/rules/expression"
)

// decoder puts the clock, the plausibility count and the derived channels behind a codec.
type decoder struct {
	inner   codec.Decoder
	record  string
	clock   clock
	bounds  []bound
	derived []feedfile.Derived
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

// NewDecoder makes a decoder for the Transport of f and Rows of set, which is the one given to feedfile.Parse and may
// have grown since. The error is a *document.Error.
func NewDecoder(f *feedfile.File, set *channel.Set) (Decoder, error) {
	if f.Parts != nil {
		return nil, &document.Error{File: f.Path, Msg: "the feed has several sources", Hint: "Open joins them"}
	}
	if msg, hint := f.Unready(); msg != "" {
		return nil, &document.Error{File: f.Path, Msg: msg, Hint: hint}
	}
	n := set.Len()
	d := &decoder{clock: clock{Clock: f.Clock}, derived: f.Derived, record: "line", limits: limitsOf(set)}
	d.onRecord = d.take
	d.watchChanges(f.Changes)
	derived := map[channel.ID]bool{}
	for _, x := range f.Derived {
		derived[x.ID] = true
	}
	for _, id := range f.Covers {
		if int(id) >= n {
			return nil, &document.Error{File: f.Path, Msg: "the set of channels is another than the one that Parse was given"}
		}
		if !derived[id] {
			d.bounds = append(d.bounds, bound{id, d.limits[id]})
		}
	}
	datagrams := f.Transport.Datagrams()
	if datagrams && (f.Codec == "packet" || f.Codec == "json") {
		d.record = "datagram"
	}
	var err error
	switch l := f.Layout.(type) {
	case *packet.Layout:
		if datagrams {
			d.inner, err = packet.NewDecoder(*l, n)
		} else {
			d.record = "packet"
			d.inner, err = packet.NewFramer(*l, *f.Frame, n)
		}
	case *json.Layout:
		own := *l
		own.Lines = !datagrams
		d.inner, err = json.NewDecoder(own, n)
	case *csv.Layout:
		own := *l
		own.Datagrams = datagrams
		d.inner = csv.NewDecoder(own, n)
	case *nmea.Layout:
		own := *l
		own.Datagrams = datagrams
		d.inner = nmea.NewDecoder(own, n)
	case *can.Layout:
		own := *l
		own.Datagrams = datagrams
		d.inner, err = can.NewDecoder(own, n)
	default:
		err = fmt.Errorf("codec %q is unknown", f.Codec)
	}
	if err != nil {
		return nil, &document.Error{File: f.Path, Msg: err.Error()}
	}
	return d, nil
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
		if d.usable(row, x.Needs) {
			v = x.Is.Value(row, &d.work)
		}
		if math.IsInf(v, 0) {
			v = math.NaN()
		}
		if l := d.limits[x.ID]; v < l.lo || v > l.hi {
			d.implausible++
		}
		row[x.ID] = v
	}
	d.emit(channel.Sample{At: at, Row: row})
}

// A change is a channel of which a repeated value is no new reading.
type change struct {
	feedfile.Change
	index int // of its group
	last  float64
}

// watchChanges prepares the channels for a decoder.
func (d *decoder) watchChanges(list []feedfile.Change) {
	index := map[string]int{}
	for _, c := range list {
		if _, ok := index[c.Group]; !ok {
			index[c.Group] = len(index)
		}
		d.changes = append(d.changes, change{c, index[c.Group], math.NaN()})
	}
	d.moved = make([]bool, len(index))
}

func (d *decoder) dropRepeats(row channel.Row) {
	for i := range d.changes {
		c := &d.changes[i]
		if v := row[c.ID]; v != c.last && !math.IsNaN(v) {
			d.moved[c.index] = true
			c.last = v
		}
	}
	for i := range d.changes {
		if c := &d.changes[i]; !d.moved[c.index] {
			row[c.ID] = math.NaN()
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
