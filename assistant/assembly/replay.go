package assembly

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"earshot/assistant"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/health"
	"earshot/assistant/journal"
	"earshot/assistant/session"
	"earshot/audio/device"
	"earshot/audio/speaker"
)

// A CallError is a call that makes no sense, such as two files for one source.
type CallError struct{ text string }

func (e *CallError) Error() string { return e.text }

func badCall(format string, args ...any) error { return &CallError{fmt.Sprintf(format, args...)} }

// A Drive is what is replayed: the inputs, and the parts to replay them with. Close it.
type Drive struct {
	*Parts
	Inputs assistant.Inputs
	Head   journal.Session
	Close  func() error

	what  string            // the files that are replayed
	stats func() feed.Stats // nil: it is no log
}

// Open opens a recording (.mcap), or the log of each source of a feed: FILE where there is one source, NAME=FILE where
// there are several, and none for a source that is a file with a path. Request.Recorded is taken from the recording.
func Open(ctx context.Context, r Request, files []string) (*Drive, error) {
	if len(files) > 0 && strings.HasSuffix(files[0], ".mcap") {
		if len(files) > 1 {
			return nil, badCall("a recording is replayed alone")
		}
		return openRecording(r, files[0])
	}
	p, err := Build(r)
	if err != nil {
		return nil, err
	}
	paths, err := p.Paths(files)
	if err != nil {
		return nil, err
	}
	stream, err := feed.Open(ctx, p.Feed, p.Channels, feed.Options{Paths: paths})
	if err != nil {
		return nil, err
	}
	return &Drive{
		Parts: p, Inputs: assistant.NewFeedReplay(stream, nil), Head: p.Head("replay"), Close: stream.Close,
		what: strings.Join(append([]string{p.FeedName()}, files...), ", "), stats: stream.Stats,
	}, nil
}

// Unread says why a log that has been read gave no sample; nil where it gave some.
func (d *Drive) Unread() error {
	if d.stats == nil {
		return nil
	}
	s := d.stats()
	why := s.LastBad
	switch {
	case s.Samples > 0:
		return nil
	case s.Records == 0:
		return fmt.Errorf("%s: nothing is in it", d.what)
	case len(s.Missing) > 0:
		why = "not in the header: " + strings.Join(s.Missing, ", ")
	case why == "":
		why = "none has a reading of a channel in the feed file"
	}
	return fmt.Errorf("%s: the feed file takes none of %d %ss: %s", d.what, s.Records, s.Record, why)
}

// openRecording opens a recording, with its own files but those in r.Over.
func openRecording(r Request, path string) (*Drive, error) {
	recording, err := session.OpenRecording(path)
	if err != nil {
		return nil, err
	}
	r.Recorded = recording.Head.Files
	if r.Recorded == nil {
		r.Recorded = []session.File{}
	}
	p, err := Build(r)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", path, err), recording.Close())
	}
	if unknown := recording.Bind(p.Channels); len(unknown) > 0 {
		p.tell("channels of the recording that are not known any more: " + strings.Join(unknown, ", "))
	}
	head := p.Head(recording.Head.Session)
	head.Started = recording.Head.Started
	return &Drive{Parts: p, Inputs: assistant.NewRecordingReplay(recording), Head: head, what: path,
		Close: func() error {
			if text := recording.Loss().String(); text != "" {
				p.tell(path + ": " + text)
			}
			return recording.Close()
		}}, nil
}

// Paths tells which source each argument is the file of: FILE where there is one source, NAME=FILE where there are
// several. All others must be files that the feed file itself names.
func (p *Parts) Paths(args []string) (map[string]string, error) {
	sources := p.Feed.Sources()
	paths := map[string]string{}
	if len(sources) == 1 && sources[0].Name == "" {
		if len(args) > 1 {
			return nil, badCall("the feed has one source, and %d files are given", len(args))
		}
		if len(args) == 1 {
			paths[""], args = args[0], nil
		}
	}
	for _, arg := range args {
		name, path, ok := strings.Cut(arg, "=")
		if !ok {
			return nil, badCall("%s: the feed has several sources: write NAME=FILE", arg)
		}
		paths[name] = path
		if !slices.ContainsFunc(sources, func(s feedfile.Named) bool { return s.Name == name }) {
			return paths, nil // opening tells which there are
		}
	}
	for _, s := range sources {
		if _, given := paths[s.Name]; given || s.Transport.Path != "" && !s.Transport.Live() {
			continue
		}
		if s.Name == "" {
			return nil, badCall("name the FILE to read in the place of %s (%s)", p.Source(), p.FeedName())
		}
		return nil, badCall("the feed's source %s has no file of its own: name one, %s=FILE", s.Name, s.Name)
	}
	return paths, nil
}

// A Playback says how a drive is replayed.
type Playback struct {
	Speed     float64          // times the feed's clock; 0: as fast as it goes
	Sinks     []assistant.Sink // they get every step
	Audio     string           // WAV file for what the driver would have heard
	Device    bool             // let it be heard through the sound device of the configuration
	KeepBests bool             // keep laps that are better than those of all sessions before
}

// Replay carries the drive to its end or until ctx is done and returns the core as it is then. Where Request.Saved is
// set, courses that are learned are saved.
func (d *Drive) Replay(ctx context.Context, how Playback) (core *assistant.Core, err error) {
	a := &assistant.Assistant{Core: d.Core(), Session: d.Head, Sinks: slices.Clip(how.Sinks)}
	if how.Device {
		out, problem := device.Open(ctx, d.Config.Device, d.tell)
		if problem != nil {
			return nil, problem
		}
		s := speaker.New(d.voice, out, func(err error) { d.tell("speech: " + err.Error()) })
		defer s.Close()
		a.Sinks = append(a.Sinks, assistant.SpeakTo(deviceSpeaker{s}))
	}
	if how.Audio != "" {
		track, problem := newTrackSpeaker(d.voice, how.Audio)
		if problem != nil {
			return nil, problem
		}
		defer func() { err = errors.Join(err, track.close(a.Core.Now())) }()
		a.Sinks = append(a.Sinks, assistant.SpeakTo(track))
	}
	kept := d.keep(a, how.KeepBests, func(_ health.Part, err error) {
		if err != nil {
			d.tell(err.Error())
		}
	})
	err = a.Replay(ctx, d.Inputs, how.Speed)
	kept()
	if err == nil && ctx.Err() == nil {
		err = d.Unread()
	}
	return a.Core, err
}

// JournalTo writes events as they come.
func JournalTo(w io.Writer) assistant.Sink {
	var line []byte
	return assistant.JournalTo(func(e journal.Event) (err error) {
		if line, err = e.Append(line[:0]); err != nil {
			return err
		}
		_, err = w.Write(line)
		return err
	})
}
