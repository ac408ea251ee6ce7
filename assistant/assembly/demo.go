package assembly

import (
	"context"
	"io"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/hand"
)

// ForDemo is the request of the demo: the same for everyone, whatever the user has set for the own car.
func (r Request) ForDemo() Request {
	r.Feed, r.Car, r.Course, r.Rules = "demo", "demo", "demo", nil
	r.Reference, r.Bests = "", None
	return r
}

// A DemoWatcher is called while the demo is driven. Either field may be nil.
type DemoWatcher struct {
	Sample func(s channel.Sample)
	Press  func(p demo.Press, last channel.Row)
}

// NewDemoDrive returns the drive of the simulated car, whose samples are encoded as datagrams and decoded again.
func NewDemoDrive(p *Parts, sim *demo.Sim, watch DemoWatcher) (*Drive, error) {
	f := &demoFeed{sim: sim, watch: watch}
	var err error
	if f.encoder, err = feed.NewEncoder(p.Feed, p.Channels); err != nil {
		return nil, err
	}
	if f.decoder, err = feed.NewDecoder(p.Feed, p.Channels); err != nil {
		return nil, err
	}
	return &Drive{Parts: p, Inputs: assistant.NewFeedReplay(f, f.presses), Head: p.Head("demo"),
		Close: func() error { return nil }}, nil
}

type demoFeed struct {
	sim     *demo.Sim
	encoder *feed.Encoder
	decoder feed.Decoder
	watch   DemoWatcher
	last    channel.Row
}

func (f *demoFeed) Read(_ context.Context, emit func(channel.Sample)) error {
	s, ok := f.sim.Next()
	if !ok {
		f.decoder.End(emit)
		return io.EOF
	}
	f.last = append(f.last[:0], s.Row...)
	if f.watch.Sample != nil {
		f.watch.Sample(s)
	}
	return f.encoder.Encode(s, func(p []byte) { f.decoder.Decode(p, s.At, emit) })
}

func (f *demoFeed) Stats() feed.Stats { return f.decoder.Stats() }

// presses gives the commands of the story's driver that have become due.
func (f *demoFeed) presses() []assistant.Input {
	var due []assistant.Input
	for _, p := range f.sim.Presses() {
		if f.watch.Press != nil {
			f.watch.Press(p, f.last)
		}
		due = append(due, assistant.Input{Kind: assistant.KindCommand, At: p.At,
			Request: &hand.Request{Name: hand.Command(p.Command), Memo: p.Memo, Source: "demo"}})
	}
	return due
}
