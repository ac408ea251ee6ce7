package assistant

import (
	"context"
	"errors"
	"io"
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/health"
	"earshot/assistant/session"
)

// tickAfter is the silence, in seconds of the feed's clock, after which a replay ticks as a live run would.
const tickAfter = 0.1

// A FeedReplay replays a feed that can wait, such as a file: its samples, ticks where it was silent, and at the end
// what its decoder refused.
type FeedReplay struct {
	feed   Feed
	rows   []channel.Sample // decoded and not yet given
	next   int
	at     float64
	ended  bool
	told   bool
	teller troubleTeller
	more   func() []Input
	extra  []Input

	given   int64 // samples
	notices []feed.Notice
}

// NewFeedReplay returns a inputs of f. more, unless nil, is asked after each read for other inputs that have become due
// since.
func NewFeedReplay(f Feed, more func() []Input) *FeedReplay {
	return &FeedReplay{feed: f, at: math.NaN(), more: more}
}

// Next returns the next sample or tick.
func (t *FeedReplay) Next() (Input, error) {
	if len(t.notices) > 0 && t.notices[0].After <= t.given {
		// A notice has its place among the samples, however many were read at once.
		h := t.notices[0].Health
		t.notices = t.notices[1:]
		return Input{Kind: KindHealth, At: max(t.at, 0), Health: &h}, nil
	}
	if t.next == len(t.rows) && len(t.extra) > 0 {
		in := t.extra[0]
		t.extra = t.extra[1:]
		return in, nil
	}
	for t.next == len(t.rows) && !t.ended {
		t.rows, t.next = t.rows[:0], 0
		err := t.feed.Read(context.Background(), t.keep)
		switch {
		case errors.Is(err, io.EOF):
			t.ended = true
		case err != nil:
			return Input{}, err
		}
		t.notices = append(t.notices, noticesOf(t.feed)...)
		if t.more != nil {
			t.extra = t.more()
		}
	}
	if t.next == len(t.rows) {
		if len(t.notices) > 0 {
			t.given = t.notices[0].After
			return t.Next()
		}
		if !t.told {
			t.told = true
			if h := t.teller.compare(t.feed.Stats()); h != nil {
				return Input{Kind: KindHealth, At: max(t.at, 0), Health: h}, nil
			}
		}
		return Input{}, io.EOF
	}
	s := t.rows[t.next]
	if s.At-t.at > 2*tickAfter {
		t.at += tickAfter
		return Input{Kind: KindTick, At: t.at}, nil
	}
	t.next++
	t.given++
	t.at = s.At
	return Input{Kind: KindSample, At: s.At, Row: s.Row}, nil
}

// keep copies a sample into a row of an earlier read, where there is one.
func (t *FeedReplay) keep(s channel.Sample) {
	if n := len(t.rows); n < cap(t.rows) {
		t.rows = t.rows[:n+1]
		if len(t.rows[n].Row) != len(s.Row) {
			t.rows[n].Row = make(channel.Row, len(s.Row))
		}
	} else {
		t.rows = append(t.rows, channel.Sample{Row: make(channel.Row, len(s.Row))})
	}
	last := &t.rows[len(t.rows)-1]
	last.At = s.At
	copy(last.Row, s.Row)
}

// A RecordingReplay replays a recording, input for input.
type RecordingReplay struct {
	recording *session.Recording
	told      bool
	at        float64
}

// NewRecordingReplay returns a inputs of r, whose channels must have been bound to the set of the core.
func NewRecordingReplay(r *session.Recording) *RecordingReplay { return &RecordingReplay{recording: r} }

// Next returns the next recorded input. After the last one a recording that lacks something says so.
func (t *RecordingReplay) Next() (Input, error) {
	e, err := t.recording.Next()
	if errors.Is(err, io.EOF) && !t.told {
		t.told = true
		if text := t.recording.Loss().String(); text != "" {
			return Input{Kind: KindHealth, At: t.at, Health: session.RecordingPart.Is(health.Degraded, text)}, nil
		}
	}
	if err != nil {
		return Input{}, err
	}
	t.at = e.At
	if e.Kind == session.KindSample {
		return Input{Kind: KindSample, At: e.At, Row: e.Row}, nil
	}
	return DecodeInput(e.Kind, e.At, e.Data)
}
