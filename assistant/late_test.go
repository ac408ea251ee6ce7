package assistant_test

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/hand"
	"earshot/assistant/journal"
)

// Samples that come all at once, faster than they can be carried through, are all taken in, in order, and a press among
// them is too.
func TestLateLoopLosesNothing(t *testing.T) {
	core, set := newCore(t)
	const n = 20000
	f := &lumps{size: n}
	for i := range n {
		f.samples = append(f.samples, channel.Sample{At: float64(i) * 0.01, Row: set.NewRow()})
	}
	door := assistant.NewDoor()
	var samples []float64
	pressed := 0
	a := &assistant.Assistant{
		Core: core, Session: journal.Session{ID: "late"}, Feed: f, Door: door,
		Sinks: []assistant.Sink{assistant.InputsTo(func(in assistant.Input) error {
			switch in.Kind {
			case assistant.KindSample:
				if samples = append(samples, in.At); len(samples) == n/2 {
					return door.Ask(hand.Request{Name: hand.Mark, Source: "test"}, time.Time{})
				}
			case assistant.KindCommand:
				pressed++
			}
			return nil
		})},
	}
	require.NoError(t, a.Run(t.Context()))
	require.Equal(t, n, len(samples))
	for i, at := range samples {
		require.Equal(t, float64(i)*0.01, at)
	}
	require.Equal(t, 1, pressed)
}

// burst brings one sample with many refusals around it, where bad is positive, and then nothing more.
type burst struct {
	row     channel.Row
	bad     int64
	foreign int64
	read    int64
}

func (b *burst) Read(ctx context.Context, emit func(channel.Sample)) error {
	if b.read < b.bad {
		if b.read++; b.read == 1 {
			emit(channel.Sample{Row: b.row})
		}
		return nil
	}
	<-ctx.Done()
	return ctx.Err()
}

func (b *burst) Stats() feed.Stats {
	return feed.Stats{Record: "datagram", Records: b.read, Bad: b.read}
}
func (b *burst) Notices() []feed.Notice { return nil }
func (b *burst) Troubles() int64        { return b.read }
func (b *burst) Foreign() int64         { return b.foreign }

func toldOf(t *testing.T, b *burst, wait time.Duration) (told []string) {
	synctest.Test(t, func(t *testing.T) {
		core, set := newCore(t)
		b.row = set.NewRow()
		ctx, stop := context.WithTimeout(t.Context(), wait)
		defer stop()
		a := &assistant.Assistant{Core: core, Session: journal.Session{ID: "burst"}, Feed: b,
			Sinks: []assistant.Sink{assistant.JournalTo(func(e journal.Event) error {
				if h, ok := e.Body.(*journal.Health); ok && h.Part == "feed" && ctx.Err() == nil {
					told = append(told, h.Text)
				}
				return nil
			})}}
		require.NoError(t, a.Run(ctx))
	})
	return told
}

// Refusals are told although nothing comes after them, and a flood of them in a few lines.
func TestABurstIsToldInTheSilenceAfterIt(t *testing.T) {
	told := toldOf(t, &burst{bad: 1}, 3*time.Second)
	require.Equal(t, []string{"of 1 datagrams, 1 refused"}, told)
	told = toldOf(t, &burst{bad: 1000}, 20*time.Second)
	require.NotEmpty(t, told)
	require.LessOrEqual(t, len(told), 4)
	require.Equal(t, "of 512 datagrams, 512 refused", told[len(told)-1], "at least half of them")
}

// While only strangers send, the complaint that nothing comes says so.
func TestStrangersAreTold(t *testing.T) {
	require.Contains(t, toldOf(t, &burst{foreign: 3}, 30*time.Second), "no sample has come yet: 3 came from senders that the feed file "+
		"does not name")
}
