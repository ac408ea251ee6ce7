package feed

import (
	"fmt"
	"slices"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/can"
	"earshot/assistant/feed/codec/csv"
	"earshot/assistant/feed/codec/json"
	"earshot/assistant/feed/codec/nmea"
	"earshot/assistant/feed/codec/packet"
	"earshot/configs/document"
)

// Covers lists the channels that the feed supplies, the derived ones included, in the order of a Row.
func (f *File) Covers(*channel.Set) []channel.ID { return slices.Clone(f.covers) }

// OwnClock tells whether the source sends its own time.
func (f *File) OwnClock() bool { return f.clock.own }

// NewDecoder makes a decoder for the File's Transport and Rows of set, which is the one
// given to Parse and may have grown since. The error is a *document.Error.
func (f *File) NewDecoder(set *channel.Set) (Decoder, error) {
	if f.parts != nil {
		return nil, &document.Error{File: f.file, Msg: "the feed has several sources", Hint: "Open joins them"}
	}
	if msg, hint := f.unready(); msg != "" {
		return nil, &document.Error{File: f.file, Msg: msg, Hint: hint}
	}
	n := set.Len()
	d := &decoder{clock: f.clock, derived: f.derived, record: "line", limits: limitsOf(set)}
	d.onRecord = d.take
	d.watchChanges(f.changes)
	derived := map[channel.ID]bool{}
	for _, x := range f.derived {
		derived[x.id] = true
	}
	for _, id := range f.covers {
		if int(id) >= n {
			return nil, &document.Error{File: f.file, Msg: "the set of channels is another than the one that Parse was given"}
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
	switch f.Codec {
	case "packet":
		if datagrams {
			d.inner, err = packet.NewDecoder(*f.packet, n)
		} else {
			d.record = "packet"
			d.inner, err = packet.NewFramer(*f.packet, *f.frame, n)
		}
	case "json":
		l := *f.json
		l.Lines = !datagrams
		d.inner, err = json.NewDecoder(l, n)
	case "csv":
		l := *f.csv
		l.Datagrams = datagrams
		d.inner = csv.NewDecoder(l, n)
	case "nmea":
		l := *f.nmea
		l.Datagrams = datagrams
		d.inner = nmea.NewDecoder(l, n)
	case "can":
		l := *f.can
		l.Datagrams = datagrams
		d.inner, err = can.NewDecoder(l, n)
	default:
		err = fmt.Errorf("codec %q is unknown", f.Codec)
	}
	if err != nil {
		return nil, &document.Error{File: f.file, Msg: err.Error()}
	}
	return d, nil
}
