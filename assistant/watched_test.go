package assistant_test

import (
	"context"
	"io"
	"strings"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/journal"
)

// watchedDrive is a drive that falls ill after a thousand samples and recovers after two thousand.
type watchedDrive struct {
	drive
	given   int64
	notices []feed.Notice
}

func (d *watchedDrive) Read(ctx context.Context, emit func(channel.Sample)) error {
	return d.drive.Read(ctx, func(s channel.Sample) {
		emit(s)
		d.given++
		switch d.given {
		case 1000:
			d.notices = append(d.notices, feed.Notice{After: d.given,
				Health: journal.Health{Part: "source gps", State: "lost", Text: "nothing comes"}})
		case 2000:
			d.notices = append(d.notices, feed.Notice{After: d.given,
				Health: journal.Health{Part: "source gps", State: "ok", Text: "it is back"}})
		}
	})
}

func (d *watchedDrive) Notices() []feed.Notice {
	list := d.notices
	d.notices = nil
	return list
}

func (d *watchedDrive) Troubles() int64 { return 0 }
func (d *watchedDrive) Foreign() int64  { return 0 }

func partsTold(events []journal.Event) (told []string) {
	for _, h := range bodies[*journal.Health](events) {
		told = append(told, h.Part+" "+h.State)
	}
	return told
}

// What a feed tells of itself is an input like any other: it stands in the journal, and the recorded inputs tell the
// same story again.
func TestTroubleOfTheFeedReplays(t *testing.T) {
	var inputs []assistant.Input
	var lived []journal.Event
	synctest.Test(t, func(t *testing.T) {
		core, set := newCore(t)
		sim, err := demo.New(set, demo.Options{Seed: 7, Rate: 30})
		require.NoError(t, err)
		a := &assistant.Assistant{
			Core: core, Session: journal.Session{ID: "live", Feed: "demo"}, Feed: &watchedDrive{drive: drive{sim: sim, until: 90}},
			Sinks: keepAll(&inputs, &lived),
		}
		require.NoError(t, a.Run(t.Context()))
	})
	require.Equal(t, []string{"source gps lost", "source gps ok"}, partsTold(lived))
	core, _ := newCore(t)
	var out assistant.Output
	for _, in := range inputs {
		core.Step(in, &out)
	}
	require.Equal(t, journalText(t, lived), journalText(t, out.Events))
}

// lumps gives the samples of a drive so many at a time, with the notices of all of them together.
type lumps struct {
	samples []channel.Sample
	size    int
	given   int64
	notices []feed.Notice
}

func (l *lumps) Read(_ context.Context, emit func(channel.Sample)) error {
	for range l.size {
		if len(l.samples) == 0 {
			return io.EOF
		}
		emit(l.samples[0])
		l.samples = l.samples[1:]
		if l.given++; l.given%70 == 0 {
			l.notices = append(l.notices, feed.Notice{After: l.given, Health: journal.Health{Part: "source gps", State: "degraded"}})
		}
	}
	return nil
}

func (l *lumps) Stats() feed.Stats { return feed.Stats{Record: "sample"} }

func (l *lumps) Notices() []feed.Notice {
	list := l.notices
	l.notices = nil
	return list
}

func (l *lumps) Troubles() int64 { return 0 }
func (l *lumps) Foreign() int64  { return 0 }

// In a replay a notice stands after the sample that showed it, however much was read at once.
func TestNoticesStandWhereTheyBelong(t *testing.T) {
	set := channel.NewSet()
	play := func(size int) string {
		f := &lumps{size: size}
		for i := range 1000 {
			f.samples = append(f.samples, channel.Sample{At: float64(i) * 0.15, Row: set.NewRow()})
		}
		inputs, samples := assistant.NewFeedReplay(f, nil), 0
		var order strings.Builder
		for {
			in, err := inputs.Next()
			if err == io.EOF {
				return order.String()
			}
			require.NoError(t, err)
			order.WriteByte(in.Kind[0])
			switch in.Kind {
			case assistant.KindSample:
				samples++
			case assistant.KindHealth:
				require.Zero(t, samples%70)
				require.InDelta(t, float64(samples-1)*0.15, in.At, 1e-9)
			}
		}
	}
	one := play(1)
	require.Equal(t, 14, strings.Count(one, string(assistant.KindHealth[:1])))
	for _, size := range []int{3, 64, 69, 70, 71, 2000} {
		require.Equal(t, one, play(size))
	}
}
