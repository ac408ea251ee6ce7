package assembly

import (
	"cmp"
	"context"
	"errors"
	"io"
	"slices"
	"strings"
	"time"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/feed/probe"
)

// A Listened is what a source that a feed file describes has sent, as `earshot probe --json` writes it.
type Listened struct {
	Feed      string       `json:"feed"`
	Source    string       `json:"source"`
	Listened  float64      `json:"listened"` // s of waiting; 0 for a file
	Sizes     []Datagrams  `json:"datagrams,omitempty"`
	Counts    feed.Stats   `json:"counts"`
	Measured  probe.Report `json:"measured"`
	Rules     Checked      `json:"rules"`
	NeverCame []string     `json:"never_came,omitempty"` // covered by the feed file
}

// Datagrams are those of one size, which usually are of one kind.
type Datagrams struct {
	Source   string   `json:"source,omitempty"` // where there are several
	Size     int      `json:"size"`             // bytes; -1: of further sizes
	Count    int      `json:"count"`
	Rate     float64  `json:"rate"`    // per second
	Samples  int      `json:"samples"` // those that the feed file took
	Channels []string `json:"channels,omitempty"`

	first, last float64
	has         []bool // of the channels that the feed covers
}

// Live tells whether the feed has a source whose bytes come as they are made.
func (p *Parts) Live() bool {
	return slices.ContainsFunc(p.Feed.Sources(), func(s feedfile.Named) bool { return s.Transport.Live() })
}

// Listen measures the feed, for so long where it is live and to its end where it is not. files are read in the place of
// the sources, as by Open. heard is called after each reading with how many samples have come.
func (p *Parts) Listen(ctx context.Context, files []string, long time.Duration, heard func(samples int64)) (
	Listened, error,
) {
	found, meter := p.newListened()
	var paths map[string]string
	var err error
	if len(files) > 0 {
		if paths, err = p.Paths(files); err != nil {
			return found, err
		}
		found.Source = "file " + strings.Join(files, ", ")
	} else if p.Live() {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, long)
		defer stop()
		found.Listened = long.Seconds()
	}
	by := sizes{covers: p.Feed.Covers}
	datagrams := map[string]bool{}
	for _, s := range p.Feed.Sources() {
		datagrams[s.Name] = s.Transport.Datagrams() && paths[s.Name] == ""
	}
	var under *Datagrams // that the samples come in; nil: in no datagram
	begin := time.Now()
	stream, err := feed.Open(ctx, p.Feed, p.Channels, feed.Options{Paths: paths, Piece: func(source string, b []byte) {
		if under = nil; datagrams[source] {
			under = by.of(source, len(b), time.Since(begin).Seconds())
		}
	}})
	if err != nil {
		return found, err
	}
	defer stream.Close()
	samples := int64(0)
	for err == nil {
		err = stream.Read(ctx, func(s channel.Sample) {
			samples++
			if under != nil {
				under.Samples++
				for k, id := range by.covers {
					under.has[k] = under.has[k] || s.Row.Has(id)
				}
			}
			meter.Add(s)
		})
		heard(samples)
	}
	found.Counts, found.Sizes = stream.Stats(), by.done(p.Channels)
	found.measured(meter)
	if errors.Is(err, io.EOF) || ctx.Err() != nil {
		err = nil
	}
	return found, err
}

// Listen measures what a recording holds.
func (d *Drive) Listen() (Listened, error) {
	found, meter := d.newListened()
	found.Source, found.Counts.Record = "recording "+d.what, "sample"
	for {
		in, err := d.Inputs.Next()
		if errors.Is(err, io.EOF) {
			found.measured(meter)
			return found, nil
		}
		if err != nil {
			return found, err
		}
		if in.Kind == assistant.KindSample {
			found.Counts.Records++
			found.Counts.Samples++
			meter.Add(channel.Sample{At: in.At, Row: in.Row})
		}
	}
}

func (p *Parts) newListened() (Listened, *probe.Meter) {
	meter := probe.NewMeter(p.Channels, p.Feed.Covers, probe.Mappings(p.in.feed.Data, p.Channels))
	meter.Wheelbase, meter.SteeringRatio = p.Car.Wheelbase, p.Car.SteeringRatio
	return Listened{Feed: p.FeedName(), Source: p.Source(), Rules: p.Check()}, meter
}

func (l *Listened) measured(meter *probe.Meter) {
	l.Measured = meter.Report()
	for _, ch := range l.Measured.Channels {
		if ch.Count == 0 {
			l.NeverCame = append(l.NeverCame, ch.Name)
		}
	}
}

const mostSizes = 64

// sizes counts datagrams by size, within bounds.
type sizes struct {
	covers []channel.ID
	list   []*Datagrams
	other  int
}

func (s *sizes) of(source string, n int, arrived float64) *Datagrams {
	i := slices.IndexFunc(s.list, func(d *Datagrams) bool { return d.Size == n && d.Source == source })
	if i < 0 {
		d := &Datagrams{Source: source, Size: n, first: arrived, has: make([]bool, len(s.covers))}
		if len(s.list) == mostSizes {
			s.other++
			return d
		}
		i, s.list = len(s.list), append(s.list, d)
	}
	d := s.list[i]
	d.Count++
	d.last = arrived
	return d
}

func (s *sizes) done(set *channel.Set) (list []Datagrams) {
	for _, d := range s.list {
		if d.last > d.first {
			d.Rate = float64(d.Count-1) / (d.last - d.first)
		}
		for k, id := range s.covers {
			if d.has[k] {
				d.Channels = append(d.Channels, set.At(id).Name)
			}
		}
		list = append(list, *d)
	}
	slices.SortFunc(list, func(a, b Datagrams) int {
		return cmp.Or(strings.Compare(a.Source, b.Source), a.Size-b.Size)
	})
	if s.other > 0 {
		list = append(list, Datagrams{Size: -1, Count: s.other})
	}
	return list
}
