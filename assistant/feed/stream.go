package feed

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"

	"earshot/assistant/channel"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/feed/transport"
	"earshot/configs/document"
)

// Options say what is other than in the feed file.
type Options struct {
	// Paths replaces the transports of sources, by name, with files to read: a replay. The name of the only
	// source of a file is "".
	Paths map[string]string
	// Piece is shown every datagram or piece of a stream before it is decoded, with the name of its source; nil: nobody
	// looks. It keeps nothing of p.
	Piece func(source string, p []byte)
}

// A Stream is a feed with all its sources open: bytes in, samples of one clock out. It belongs to one goroutine.
//
// Sources that are files are read by that goroutine itself, each as far as the others have got. Of live sources each
// has a goroutine that waits for its transport and hands pieces over; it owns its buffer until the piece is taken,
// sends on one channel that nobody closes, and ends with the Stream's context. Close waits for all of them.
type Stream struct {
	lanes []*lane
	join  *joiner // nil with one source
	watch *watch
	told  *reports
	piece func(source string, p []byte) // of the Options
	files bool

	queues   []queue // of files
	offsets  []float64
	anchored bool
	row      channel.Row
	from     []int                // sources that brought the row
	emit     func(channel.Sample) // of the Read under way
	take     func(channel.Sample) // what becomes of a decoded sample; made once, as are those of the lanes

	begin   time.Time
	pieces  chan piece
	brought piece // under way
	stop    context.CancelFunc
	group   sync.WaitGroup
	done    <-chan struct{}
	open    int // live sources that have not ended
	errs    []error
	start   float64 // s of arrival, of the first sample
	begun   bool
	at      float64
}

// A lane is one source of a Stream.
type lane struct {
	name    string
	offset  float64
	source  transport.Source
	decoder *decoder
	clock   laneClock
	keep    func(channel.Sample) // into the queue of a file
	given   chan struct{}        // a token: the buffer is the goroutine's
	ended   bool
}

// A piece is what a live source brought.
type piece struct {
	lane    int
	p       []byte
	arrived float64
	err     error
}

// Open opens all sources of f for Rows of set, which is the one given to feedfile.Parse and may have grown since. Nothing
// stays open after an error. What ctx ends, ends the Stream.
func Open(ctx context.Context, f *feedfile.File, set *channel.Set, o Options) (*Stream, error) {
	files, err := withPaths(f, o.Paths)
	if err != nil {
		return nil, err
	}
	var sources []transport.Source
	told := &reports{changed: make(chan struct{}, 1)}
	closeAll := func() {
		for _, s := range sources {
			_ = s.Close() // the error that is told is the one of opening
		}
	}
	for i, g := range files {
		spec := g.Transport
		spec.Report = func(x transport.State) { told.add(i, x) }
		source, err := transport.Open(ctx, spec)
		if err != nil {
			closeAll()
			if f.Parts != nil {
				err = fmt.Errorf("source %s: %w", f.Parts[i].Name, err)
			}
			return nil, err
		}
		sources = append(sources, source)
	}
	s, err := newStream(ctx, f, files, set, sources, told)
	if err != nil {
		closeAll()
		return nil, err
	}
	s.piece = o.Piece
	return s, nil
}

// withPaths gives the File of each source with its transport.
func withPaths(f *feedfile.File, paths map[string]string) ([]*feedfile.File, error) {
	var names []string
	for _, s := range f.Sources() {
		names = append(names, s.Name)
	}
	for name := range paths {
		if !slices.Contains(names, name) {
			e := &document.Error{File: f.Path, Msg: fmt.Sprintf("the feed has no source %q", name), Hint: document.Meant(name, names, "its sources are "+strings.Join(names, ", "))}
			if f.Parts != nil && name == "" {
				e.Msg, e.Hint = "the feed has several sources", "name a file for each, such as "+names[0]+"=drive.csv"
			}
			return nil, e
		}
	}
	list := []*feedfile.File{f}
	if f.Parts != nil {
		list = nil
		for _, s := range f.Parts {
			list = append(list, s.File)
		}
	}
	live := 0
	for i, name := range names {
		if path, ok := paths[name]; ok {
			g := *list[i]
			g.Transport = transport.Spec{Kind: transport.File, Path: path}
			list[i] = &g
		}
		if list[i].Transport.Live() {
			live++
		}
	}
	if live > 0 && live < len(list) {
		return nil, &document.Error{File: f.Path, Msg: "files and live sources do not join", Hint: fmt.Sprintf("name a file for every source of %v", names)}
	}
	return list, nil
}

func newStream(ctx context.Context, f *feedfile.File, files []*feedfile.File, set *channel.Set, sources []transport.Source, told *reports) (*Stream, error) {
	s := &Stream{told: told, begin: time.Now(), row: set.NewRow(), from: []int{0}, files: true}
	for i, g := range files {
		d, err := NewDecoder(g, set)
		if err != nil {
			return nil, err
		}
		l := &lane{source: sources[i], decoder: d.(*decoder), given: make(chan struct{}, 1)}
		s.files = s.files && !g.Transport.Live()
		if f.Parts != nil {
			l.name, l.offset = f.Parts[i].Name, f.Parts[i].Offset
		}
		s.lanes = append(s.lanes, l)
		s.offsets = append(s.offsets, l.offset)
	}
	s.open = len(s.lanes)
	s.watch = newWatch(f, set, s.lanes)
	ctx, s.stop = context.WithCancel(ctx)
	s.done = ctx.Done()
	s.take = s.give
	if f.Parts != nil {
		s.join, s.take = newJoiner(f, set), s.joinLive
	}
	switch k := files[0].Transport.Kind; {
	case s.join == nil && (s.files || k == transport.UDP || k == transport.Stdin):
		return s, nil // nothing to report while it waits, so it needs no goroutine
	case s.files:
		s.queues = make([]queue, len(s.lanes))
		for i, l := range s.lanes {
			l.decoder.clock.Jump = max(l.decoder.clock.Jump, longestPause)
			l.keep = s.queues[i].keeper(&l.decoder.clock)
		}
		return s, nil
	}
	s.pieces = make(chan piece)
	for i := range s.lanes {
		s.group.Go(func() { s.listen(ctx, i) })
	}
	return s, nil
}

// listen is the goroutine of a live source.
func (s *Stream) listen(ctx context.Context, i int) {
	l := s.lanes[i]
	for {
		p, arrived, err := l.source.Next(ctx)
		if s.join != nil {
			arrived = time.Since(s.begin).Seconds() // on one clock for all of them
		}
		select {
		case s.pieces <- piece{i, p, arrived, err}:
		case <-ctx.Done():
			return
		}
		if err != nil && !errors.Is(err, transport.ErrGap) {
			return
		}
		select {
		case <-l.given:
		case <-ctx.Done():
			return
		}
	}
}

// Read waits for the next bytes of any source and calls emit for the samples that follow from them; a row is good until
// emit returns. The error is io.EOF once all sources have ended, and that of ctx when that is done.
func (s *Stream) Read(ctx context.Context, emit func(channel.Sample)) error {
	s.emit = emit
	switch {
	case s.pieces != nil:
		return s.readLive(ctx)
	case s.join == nil:
		return s.readOne(ctx)
	}
	return s.readFiles(ctx)
}

func (s *Stream) readOne(ctx context.Context) error {
	l := s.lanes[0]
	p, arrived, err := l.source.Next(ctx)
	if len(p) > 0 {
		s.decode(l, p, arrived, s.take)
	}
	switch {
	case errors.Is(err, transport.ErrGap):
		l.decoder.Gap()
		return nil
	case errors.Is(err, io.EOF) && !l.ended:
		l.ended = true
		l.decoder.End(s.take)
	}
	return err
}

func (s *Stream) decode(l *lane, p []byte, arrived float64, take func(channel.Sample)) {
	if s.piece != nil && len(p) > 0 {
		s.piece(l.name, p)
	}
	l.decoder.Decode(p, arrived, take)
}

// readFiles reads from each file that the join waits for and gives what is ready.
func (s *Stream) readFiles(ctx context.Context) error {
	for i, l := range s.lanes {
		q := &s.queues[i]
		q.fold()
		for q.empty() && !q.ended {
			p, arrived, err := l.source.Next(ctx)
			s.decode(l, p, arrived, l.keep)
			switch {
			case errors.Is(err, io.EOF):
				q.ended = true
				l.decoder.End(l.keep)
			case err != nil:
				return fmt.Errorf("source %s: %w", l.name, err)
			}
		}
	}
	if !s.anchored {
		s.anchored = true
		anchor(s.queues, s.offsets)
	}
	for s.ready() {
		at, from := s.join.merge(s.queues, s.row, s.from[:0])
		if s.from = from; len(from) == 0 {
			return io.EOF
		}
		s.give(channel.Sample{At: at, Row: s.row})
	}
	return nil
}

// ready tells whether the next moment of the join is known.
func (s *Stream) ready() bool {
	for i := range s.queues {
		if q := &s.queues[i]; q.empty() && !q.ended {
			return false
		}
	}
	return true
}

func (s *Stream) readLive(ctx context.Context) error {
	if s.open == 0 {
		if len(s.errs) < len(s.lanes) {
			return io.EOF // what broke was told when it did
		}
		return errors.Join(s.errs...)
	}
	select {
	case s.brought = <-s.pieces:
	case <-s.told.changed:
		return nil // so that Notices is asked
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-s.done:
		return context.Canceled
	}
	select {
	case <-s.done:
		return context.Canceled // what the sources say now is only that
	default:
	}
	p := &s.brought
	l := s.lanes[p.lane]
	s.from[0] = p.lane
	s.decode(l, p.p, p.arrived, s.take)
	switch {
	case p.err == nil:
		l.given <- struct{}{}
		return nil
	case errors.Is(p.err, transport.ErrGap):
		l.decoder.Gap()
		l.given <- struct{}{}
		return nil
	}
	s.open--
	l.decoder.End(s.take)
	if !errors.Is(p.err, io.EOF) {
		err := p.err
		if s.join != nil {
			err = fmt.Errorf("source %s: %w", l.name, err)
		}
		s.errs = append(s.errs, err)
	}
	if s.join != nil {
		s.watch.ended(p.lane, p.err)
	}
	return nil
}

// joinLive puts a sample on the clock of the session and settles it with the other sources.
func (s *Stream) joinLive(x channel.Sample) {
	lane := s.brought.lane
	l := s.lanes[lane]
	t := l.clock.stamp(&l.decoder.clock, x.At, s.brought.arrived) - l.offset
	if !s.begun {
		s.begun, s.start = true, t
	}
	s.at = max(s.at, t-s.start)
	copy(s.row, x.Row) // the decoder clears its own channels only
	s.join.yield(lane, s.at, s.row)
	s.join.derive(s.at, s.row)
	s.give(channel.Sample{At: s.at, Row: s.row})
}

// give hands a sample of s.from to the caller of Read.
func (s *Stream) give(x channel.Sample) {
	s.emit(x)
	s.watch.sample(s.from, x)
}

// Notices returns what fell ill or recovered since the last call, in order. The list is good until the next Read.
func (s *Stream) Notices() []Notice {
	for _, r := range s.told.take() {
		s.watch.transport(r.lane, r.state)
	}
	return s.watch.take()
}

// Stats is what was counted so far in all sources together. Of several, Missing, Twice and LastBad tell the name.
func (s *Stream) Stats() Stats {
	if s.join == nil {
		return s.lanes[0].stats()
	}
	sum := Stats{Record: "record", Reasons: map[string]int64{}, Implausible: s.join.implausible}
	for _, l := range s.lanes {
		sum.add(l.name, l.stats())
	}
	return sum
}

// Troubles is Stats().Troubles() at little cost.
func (s *Stream) Troubles() (n int64) {
	for _, l := range s.lanes {
		c, t := l.decoder.inner.Counts(), l.source.Stats()
		n += c.Bad + c.BadReadings + c.Lost + c.Reordered + c.Duplicate + int64(len(c.Missing)+len(c.Twice)) + l.decoder.clock.back + l.decoder.clock.jumps + t.Foreign + t.Oversized
	}
	return n
}

// Foreign is how much came from senders that the feed file does not name. Any goroutine may ask.
func (s *Stream) Foreign() (n int64) {
	for _, l := range s.lanes {
		n += l.source.Stats().Foreign
	}
	return n
}

// stats adds what the transport has counted.
func (l *lane) stats() Stats {
	s, t := l.decoder.Stats(), l.source.Stats()
	s.Foreign, s.Oversized, s.Reconnects = t.Foreign, t.Oversized, t.Reconnects
	return s
}

func (s *Stats) add(name string, x Stats) {
	s.Records += x.Records
	s.Bytes += x.Bytes
	s.Samples += x.Samples
	s.Ignored += x.Ignored
	s.Bad += x.Bad
	s.BadReadings += x.BadReadings
	s.Short += x.Short
	s.Lost += x.Lost
	s.Reordered += x.Reordered
	s.Duplicate += x.Duplicate
	s.Restarts += x.Restarts
	s.Implausible += x.Implausible
	s.ClockBack += x.ClockBack
	s.ClockJumps += x.ClockJumps
	s.Untimed += x.Untimed
	s.Skipped += x.Skipped
	s.Foreign += x.Foreign
	s.Oversized += x.Oversized
	s.Reconnects += x.Reconnects
	for why, n := range x.Reasons {
		s.Reasons[why] += n
	}
	for _, m := range x.Missing {
		s.Missing = append(s.Missing, name+": "+m)
	}
	for _, m := range x.Twice {
		s.Twice = append(s.Twice, name+": "+m)
	}
	if x.LastBad != "" {
		if s.LastBad != "" {
			s.LastBad += "; "
		}
		s.LastBad += name + ": " + x.LastBad
	}
}

// Close closes all sources and waits for their goroutines.
func (s *Stream) Close() error {
	s.stop()
	s.group.Wait()
	var errs []error
	for _, l := range s.lanes {
		errs = append(errs, l.source.Close())
	}
	return errors.Join(errs...)
}

// reports are what the transports have told of themselves. They come from any goroutine.
type reports struct {
	mu      sync.Mutex
	list    []report
	changed chan struct{}
}

type report struct {
	lane  int
	state transport.State
}

func (r *reports) add(lane int, state transport.State) {
	r.mu.Lock()
	r.list = append(r.list, report{lane, state})
	r.mu.Unlock()
	select {
	case r.changed <- struct{}{}:
	default: // it is known already that there is something
	}
}

func (r *reports) take() []report {
	r.mu.Lock()
	defer r.mu.Unlock()
	list := r.list
	r.list = nil
	return list
}
