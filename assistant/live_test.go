package assistant_test

import (
	"context"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/hand"
	"earshot/assistant/health"
	"earshot/assistant/journal"
	"earshot/configs"
	"earshot/rules"
)

// wordy is a phrasebook without a voice: a word takes 0.4 s, about 150 a minute.
type wordy struct{}

func (wordy) Duration(text string) (float64, bool) {
	return 0.4 * float64(len(strings.Fields(text))), true
}

// newCore returns a core for the demo car with the rules that ship, and the set that it works with.
func newCore(t testing.TB) (*assistant.Core, *channel.Set) {
	t.Helper()
	return newCoreKnowing(t, nil)
}

// newCoreKnowing is newCore with courses of earlier sessions.
func newCoreKnowing(t testing.TB, known []*course.Known) (*assistant.Core, *channel.Set) {
	t.Helper()
	set := channel.NewSet()
	read := func(name string) []byte {
		data, err := configs.Files.ReadFile(name)
		require.NoError(t, err)
		return data
	}
	f, err := feedfile.Parse("demo.yaml", read("feeds/demo.yaml"), set)
	require.NoError(t, err)
	k, err := car.Parse("demo.yaml", read("cars/demo.yaml"))
	require.NoError(t, err)
	entries, err := configs.Files.ReadDir("rules")
	require.NoError(t, err)
	var sources []rules.Source
	for _, e := range entries {
		if strings.HasSuffix(e.Name(), ".yaml") {
			sources = append(sources, rules.Source{Name: e.Name(), Data: read("rules/" + e.Name())})
		}
	}
	names := assistant.NewVocabulary(set, f.Covers, k, nil, nil)
	shipped, err := rules.Compile(sources, names)
	require.NoError(t, err)
	return assistant.NewCore(assistant.Setup{Channels: set, Car: k, Known: known, Rules: shipped, Names: names, Voice: wordy{}}), set
}

// drive is the demo car as a live feed: its samples come when they are due on the local clock.
type drive struct {
	sim   *demo.Sim
	until float64 // s: the source falls silent then
	hush  float64 // s of silence in the middle
	at    float64
}

func (d *drive) Read(ctx context.Context, emit func(channel.Sample)) error {
	s, ok := d.sim.Next()
	if !ok || s.At > d.until {
		return io.EOF
	}
	wait := s.At - d.at
	if d.at < d.until/2 && s.At >= d.until/2 {
		wait += d.hush
	}
	d.at = s.At
	select {
	case <-time.After(time.Duration(wait * float64(time.Second))):
	case <-ctx.Done():
		return ctx.Err()
	}
	emit(s)
	return nil
}

func (d *drive) Stats() feed.Stats { return feed.Stats{Record: "sample"} }

// keepAll are sinks that keep every input and every event.
func keepAll(inputs *[]assistant.Input, lived *[]journal.Event) []assistant.Sink {
	return []assistant.Sink{
		assistant.InputsTo(func(in assistant.Input) error {
			in.Row = slices.Clone(in.Row)
			*inputs = append(*inputs, in)
			return nil
		}),
		assistant.JournalTo(func(e journal.Event) error { *lived = append(*lived, e); return nil }),
	}
}

// recorded are the inputs as a recording gives them back.
func recorded(t *testing.T, inputs []assistant.Input) (again []assistant.Input) {
	t.Helper()
	for _, in := range inputs {
		if in.Kind != assistant.KindSample {
			data, err := in.Encode()
			require.NoError(t, err)
			in, err = assistant.DecodeInput(string(in.Kind), in.At, data)
			require.NoError(t, err)
		}
		again = append(again, in)
	}
	return again
}

func journalText(t testing.TB, events []journal.Event) string {
	t.Helper()
	var b []byte
	for _, e := range events {
		var err error
		b, err = e.Append(b)
		require.NoError(t, err)
	}
	return string(b)
}

// Four minutes of live driving in a bubble of its own time, with presses of every kind, an illness, other rules and a
// silent feed; then the recorded inputs once more through a new core. Both tell the same story, byte for byte.
func TestReplayEqualsLive(t *testing.T) {
	var inputs []assistant.Input
	var lived []journal.Event
	synctest.Test(t, func(t *testing.T) {
		core, set := newCore(t)
		sim, err := demo.New(set, demo.Options{Seed: 7, Story: true, Rate: 30})
		require.NoError(t, err)
		door := assistant.NewDoor()
		a := &assistant.Assistant{
			Core: core, Session: journal.Session{ID: "live", Feed: "demo"},
			Feed: &drive{sim: sim, until: 240, hush: 5}, Door: door, Sinks: keepAll(&inputs, &lived),
		}
		go func() {
			for i, r := range []hand.Request{
				{Name: hand.Fuel}, {Name: hand.Mark, Tag: "car", Memo: "washes out"}, {Name: hand.Mute}, {Name: hand.Tyres},
				{Name: hand.Repeat},
				{Name: hand.Mark, Number: 3}, {Name: hand.Mute}, {Name: hand.Clear},
				{Name: "message", Text: "Box this lap.", Priority: "caution"},
			} {
				time.Sleep(time.Duration(20+i) * 1037 * time.Millisecond)
				r.Source = "test"
				require.NoError(t, door.Ask(r, time.Now().Add(-time.Duration(i)*777*time.Millisecond)))
			}
			require.NoError(t, door.Health(*hand.KeysPart.Is(health.Lost, "the test took them away")))
			require.NoError(t, door.Rules([]rules.Source{{Name: "own.yaml",
				Data: []byte("rules: [{name: own, when: speed > 10 km/h, say: Moving.}]")}}))
		}()
		require.NoError(t, a.Run(t.Context()))
		require.ErrorIs(t, door.Ask(hand.Request{Name: hand.Mark}, time.Time{}), assistant.ErrShut)
	})
	require.Len(t, bodies[*journal.Mark](lived), 2)
	require.NotEmpty(t, bodies[*journal.Lap](lived))
	require.True(t, slices.ContainsFunc(lived, func(e journal.Event) bool {
		c, ok := e.Body.(*journal.Cue)
		return ok && c.Rule == "feed-silent" && c.Verdict == "said"
	}), "five seconds of silence were not told")

	core, _ := newCore(t)
	var out assistant.Output
	for _, in := range recorded(t, inputs) {
		core.Step(in, &out)
	}
	require.Equal(t, journalText(t, lived), journalText(t, out.Events))

	// A journal that is always the same would pass the line above: another drive tells another story.
	core, _ = newCore(t)
	out.Reset()
	for _, in := range inputs[:len(inputs)/2] {
		core.Step(in, &out)
	}
	require.NotEqual(t, journalText(t, lived), journalText(t, out.Events))
}

func bodies[B journal.Body](events []journal.Event) (found []B) {
	for _, e := range events {
		if b, ok := e.Body.(B); ok {
			found = append(found, b)
		}
	}
	return found
}

// An input that is not a sample comes back from a recording as it went in.
func TestInputsSurviveTheRecording(t *testing.T) {
	for _, in := range []assistant.Input{
		{Kind: assistant.KindStart, Session: &journal.Session{ID: "x", Feed: "f"}},
		{Kind: assistant.KindTick, At: 3.25},
		{Kind: assistant.KindCommand, At: 4, Request: &hand.Request{Name: hand.Mark, Source: "key F9", Pressed: 3.9, Tag: "car",
			Memo: "washes out"}},
		{Kind: assistant.KindCommand, At: 4, Request: &hand.Request{Name: "message", Source: "box", Text: "Rain.", Priority: "caution",
			Number: 2}},
		{Kind: assistant.KindRules, At: 5, Rules: []rules.Source{{Name: "a.yaml", Data: []byte("rules: []")}}},
		{Kind: assistant.KindHealth, At: 5, Health: &journal.Health{Part: "keys", State: "lost", Text: "gone"}},
		{Kind: assistant.KindEnd, At: 6},
	} {
		data, err := in.Encode()
		require.NoError(t, err)
		again, err := assistant.DecodeInput(string(in.Kind), in.At, data)
		require.NoError(t, err)
		require.Equal(t, in, again)
	}
	old, err := assistant.DecodeInput("command", 4, []byte(`{"command":"mark","source":"key F9","memo":"washes out"}`))
	require.NoError(t, err)
	require.Equal(t, &hand.Request{Name: hand.Mark, Source: "key F9", Memo: "washes out"}, old.Request, "a recording of an earlier version")
	_, err = assistant.DecodeInput("nonsense", 0, nil)
	require.ErrorContains(t, err, "nonsense")
	_, err = assistant.DecodeInput("command", 0, []byte("{}"))
	require.ErrorContains(t, err, "no content")
	_, err = assistant.DecodeInput("health", 0, []byte("{"))
	require.Error(t, err)
}

func FuzzDecodeInput(f *testing.F) {
	f.Add("command", []byte(`{"command":"mark"}`))
	f.Add("start", []byte(`{}`))
	f.Fuzz(func(t *testing.T, kind string, data []byte) {
		in, err := assistant.DecodeInput(kind, 1, data)
		if err != nil {
			return
		}
		b, err := in.Encode()
		require.NoError(t, err)
		again, err := assistant.DecodeInput(kind, 1, b)
		require.NoError(t, err)
		require.Equal(t, in, again)
	})
}

// One step on the channels of the demo's feed, with the shipped rules and without rules. A busy machine slows both alike, so each
// stretch of the drive counts with the quickest of several drives: share-of-rules is what the rules take of the whole.
func BenchmarkStep(b *testing.B) {
	core, set := newCore(b)
	sim, err := demo.New(set, demo.Options{Seed: 1, Story: true, Stint: 2})
	require.NoError(b, err)
	var inputs []assistant.Input
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		inputs = append(inputs, assistant.Input{Kind: assistant.KindSample, At: s.At, Row: slices.Clone(s.Row)})
	}
	data, err := configs.Files.ReadFile("cars/demo.yaml")
	require.NoError(b, err)
	k, err := car.Parse("demo.yaml", data)
	require.NoError(b, err)
	none, err := rules.Compile(nil, assistant.NewVocabulary(set, nil, k, nil, nil))
	require.NoError(b, err)
	const stretch = 200
	var out assistant.Output
	quickest := [2][]time.Duration{make([]time.Duration, len(inputs)/stretch), make([]time.Duration, len(inputs)/stretch)}
	for drive := range 5 {
		shipped, _ := newCore(b)
		bare := assistant.NewCore(assistant.Setup{Channels: set, Car: k, Rules: none, Voice: wordy{}})
		for n := range quickest[0] {
			for which, core := range []*assistant.Core{shipped, bare} {
				begin := time.Now()
				for _, in := range inputs[n*stretch : (n+1)*stretch] {
					out.Reset()
					core.Step(in, &out)
				}
				if took := time.Since(begin); drive == 0 || took < quickest[which][n] {
					quickest[which][n] = took
				}
			}
		}
	}
	last := inputs[len(inputs)-1].At + 1
	shift := 0.0
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		in := inputs[i]
		in.At += shift
		out.Reset()
		core.Step(in, &out)
		if i++; i == len(inputs) {
			i, shift = 0, shift+last
		}
	}
	sum := func(list []time.Duration) (ns float64) {
		for _, d := range list {
			ns += float64(d.Nanoseconds()) / float64(stretch*len(list))
		}
		return ns
	}
	b.ReportMetric(float64(set.Len()), "channels")
	b.ReportMetric(sum(quickest[0]), "ns/quickest")
	b.ReportMetric(1-sum(quickest[1])/sum(quickest[0]), "share-of-rules")
}
