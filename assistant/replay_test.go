package assistant_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/hand"
	"earshot/assistant/journal"
	"earshot/assistant/session"
	"earshot/configs"
	"earshot/rules"
)

// A bench is a feed file compiled with the shipped rules and the demo car, ready to make cores.
type bench struct {
	file   *feedfile.File
	set    *channel.Set
	car    *car.Car
	course *course.File // nil: learned
	rules  *rules.Set
	files  []session.File // feed, what it names, course
}

// newBench compiles a feed file with the files that belong to it: those that it names, and a course.
func newBench(t testing.TB, text string, more ...session.File) *bench {
	t.Helper()
	b := &bench{set: channel.NewSet(), files: append([]session.File{{Kind: session.FeedFile, Name: "feed.yaml", Data: []byte(text)}},
		more...)}
	var err error
	b.file, err = feedfile.ParseWith("feed.yaml", []byte(text), b.set, func(name string) ([]byte, error) {
		for _, f := range more {
			if f.Kind == session.IncludedFile && f.Name == name {
				return f.Data, nil
			}
		}
		return nil, os.ErrNotExist
	})
	require.NoError(t, err)
	for _, f := range more {
		if f.Kind == session.CourseFile {
			b.course, err = course.ParseFile(f.Name, f.Data)
			require.NoError(t, err)
		}
	}
	b.car, err = car.Parse("demo.yaml", []byte(shipped("cars/demo.yaml")))
	require.NoError(t, err)
	entries, err := configs.Files.ReadDir("rules")
	require.NoError(t, err)
	var sources []rules.Source
	for _, e := range entries {
		if strings.HasSuffix(e.Name(), ".yaml") {
			sources = append(sources, rules.Source{Name: e.Name(), Data: []byte(shipped("rules/" + e.Name()))})
		}
	}
	b.rules, err = rules.Compile(sources, assistant.NewVocabulary(b.set, b.file.Covers, b.car, b.course, nil))
	require.NoError(t, err)
	return b
}

func (b *bench) assistant(into *[]byte) *assistant.Assistant {
	return &assistant.Assistant{
		Core:    assistant.NewCore(assistant.Setup{Channels: b.set, Car: b.car, Course: b.course, Rules: b.rules, Voice: wordy{}}),
		Session: journal.Session{ID: "x", Feed: "x"},
		Sinks:   []assistant.Sink{assistant.JournalTo(func(e journal.Event) (err error) { *into, err = e.Append(*into); return err })},
	}
}

// A delivery is bytes and how long they are in coming after those before.
type delivery struct {
	bytes []byte
	after time.Duration
}

// deliveries are a Feed: a Read is one of them.
type deliveries struct {
	decoder feed.Decoder
	list    []delivery
	live    bool // wait, and tell when it arrived
	begin   time.Time
	ended   bool
	after   func(channel.Sample) // sees every sample; nil: nobody looks
}

func (d *deliveries) Read(ctx context.Context, emit func(channel.Sample)) error {
	if d.begin.IsZero() {
		d.begin = time.Now()
	}
	if d.after != nil {
		inner := emit
		emit = func(s channel.Sample) { d.after(s); inner(s) }
	}
	if len(d.list) == 0 {
		if !d.ended {
			d.ended = true
			d.decoder.End(emit)
		}
		return io.EOF
	}
	next := d.list[0]
	d.list = d.list[1:]
	arrived := math.NaN()
	if d.live {
		if next.after > 0 {
			select {
			case <-time.After(next.after):
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		arrived = time.Since(d.begin).Seconds()
	}
	p := bytes.Clone(next.bytes)
	d.decoder.Decode(p, arrived, emit)
	for i := range p {
		p[i] = 0xA5 // the bytes belong to the caller again
	}
	return nil
}

func (d *deliveries) Stats() feed.Stats { return d.decoder.Stats() }

// cut makes deliveries of pieces. Datagrams stay whole; a stream is cut anywhere into at least so many bytes.
func cut(t *rapid.T, pieces [][]byte, datagrams bool, least int, wait func() time.Duration) (list []delivery) {
	if datagrams {
		for _, p := range pieces {
			list = append(list, delivery{p, wait()})
		}
		return list
	}
	// A cut for each would be slow to draw: the lengths come in turn from a few that were drawn, some of them longer
	// than a line.
	lengths := rapid.SliceOfN(rapid.IntRange(least, 700), 5, 40).Draw(t, "lengths")
	rest := bytes.Join(pieces, nil)
	for i := 0; len(rest) > 0; i++ {
		n := min(lengths[i%len(lengths)], len(rest))
		list = append(list, delivery{rest[:n], wait()})
		rest = rest[n:]
	}
	return list
}

// check tries a property n times unless the command line says how often: each try here is minutes of driving.
func check(t *testing.T, n int, property func(*rapid.T)) {
	t.Helper()
	f := flag.Lookup("rapid.checks")
	require.NotNil(t, f)
	if before := f.Value.String(); before == f.DefValue {
		require.NoError(t, f.Value.Set(strconv.Itoa(n)))
		defer func() { _ = f.Value.Set(before) }()
	}
	rapid.Check(t, property)
}

// longDrive has two laps of the demo car, in seconds.
const longDrive = 250

// aDrive is some time of the demo car, from a place of its story where rules speak.
func aDrive(t testing.TB, set *channel.Set, seed uint64, seconds float64) (drive []channel.Sample) {
	t.Helper()
	sim, err := demo.New(set, demo.Options{Seed: seed, Story: true, Rate: 10})
	require.NoError(t, err)
	for s, ok := sim.Next(); ok && s.At <= seconds; s, ok = sim.Next() {
		drive = append(drive, channel.Sample{At: s.At, Row: append(channel.Row(nil), s.Row...)})
	}
	return drive
}

// spoil puts between the pieces what no source should send.
func spoil(t *rapid.T, pieces [][]byte, datagrams bool) (list [][]byte) {
	bad := [][]byte{[]byte("{\"speed\":\n"), []byte("\"\n"), []byte("1,2,x\n"), {0xff, 0, 7, '\n'}, []byte("\n"),
		bytes.Repeat([]byte("9"), 3000),
		[]byte("$GPRMC,120000,A,1000.0,S,02000.0,W,20,90,230394,,,A*00\n"), []byte("(1700000001) can0 120#FF\n"),
		[]byte("(1700000001) can0 120#GG\n")}
	at := rapid.SliceOfN(rapid.IntRange(1, max(1, len(pieces)-1)), 0, 6).Draw(t, "bad at")
	for i, p := range pieces {
		for k, a := range at {
			if a == i {
				list = append(list, append(bytes.Clone(bad[(a+k)%len(bad)]), '\n'))
			}
		}
		list = append(list, p)
		if datagrams && i%97 == 5 {
			list = append(list, p, p[:len(p)/2]) // twice, and in pieces
		}
	}
	return list
}

// A live run over any codec, its bytes coming cut anywhere and at any time, with presses, bad bytes and a
// silent feed between, gives a recording on the disk that tells the same story, byte for byte.
func TestReplayEqualsLiveInEveryCodec(t *testing.T) {
	for _, w := range wires {
		t.Run(w.name, func(t *testing.T) {
			b := newBench(t, w.file, w.more...)
			datagrams := b.file.Transport.Datagrams()
			dir := t.TempDir()
			run, laps := 0, 0
			try := func(rt *rapid.T, seconds float64, least, shortest, longest int) {
				drive := aDrive(t, b.set, rapid.Uint64Range(1, 50).Draw(rt, "seed"), seconds)
				waits := rapid.SliceOfN(rapid.IntRange(shortest, longest), 3, 30).Draw(rt, "waits, ms")
				silence, n := rapid.IntRange(0, 4000).Draw(rt, "silence, ms"), 0
				list := cut(rt, spoil(rt, w.write(t, b.file, b.set, drive), datagrams), datagrams, least, func() time.Duration {
					n++
					if n == 300 {
						return time.Duration(silence) * time.Millisecond
					}
					return time.Duration(waits[n%len(waits)]) * time.Millisecond
				})
				presses := rapid.SliceOfN(rapid.IntRange(1, 20000), 0, 8).Draw(rt, "presses, ms apart")
				run++
				path := filepath.Join(dir, fmt.Sprint(run)+".mcap")
				var lived []byte
				synctest.Test(t, func(t *testing.T) { lived = b.live(t, list, presses, path) })
				require.Equal(rt, string(lived), string(replay(t, path)))
				laps += bytes.Count(lived, []byte(`"kind":"lap"`))
				require.NoError(rt, os.Remove(path))
			}
			// Any pace, so that samples come at once or minutes late; then about that of the car, so that laps are
			// timed.
			check(t, 5, func(rt *rapid.T) { try(rt, rapid.Float64Range(5, 60).Draw(rt, "seconds"), 1, 0, 120) })
			check(t, 1, func(rt *rapid.T) { try(rt, longDrive, 60, 1, 40) })
			require.Positive(t, laps, "no lap was driven in any of the runs: they prove little")
		})
	}
}

// live runs the deliveries with presses into a recording and returns the journal.
func (b *bench) live(t testing.TB, list []delivery, presses []int, path string) (lived []byte) {
	recorder, err := session.NewRecorder(path, session.Head{Session: "x", Channels: b.set.Names(), Files: b.files}, session.Options{})
	require.NoError(t, err)
	decoder, err := feed.NewDecoder(b.file, b.set)
	require.NoError(t, err)
	a := b.assistant(&lived)
	a.Feed = &deliveries{decoder: decoder, list: list, live: true}
	a.Sinks = append(a.Sinks, assistant.RecordTo(recorder))
	a.Door = assistant.NewDoor()
	ctx, done := context.WithCancel(t.Context())
	var hands sync.WaitGroup
	hands.Go(func() {
		all := []hand.Command{hand.Mark, hand.Fuel, hand.Mute, hand.Repeat, hand.Brakes, hand.Mute, hand.Tyres, hand.Mark}
		for i, ms := range presses {
			select {
			case <-time.After(time.Duration(ms) * time.Millisecond):
			case <-ctx.Done():
				return
			}
			if a.Door.Ask(hand.Request{Name: all[i%len(all)], Source: "test"}, time.Time{}) != nil {
				return
			}
		}
	})
	require.NoError(t, a.Run(t.Context()))
	done()
	hands.Wait()
	require.NoError(t, recorder.Close())
	return lived
}

// replay plays a recording into a new core, with the feed, the files that it names and the course of the recording
// alone, and returns the journal.
func replay(t testing.TB, path string) (text []byte) {
	r, err := session.OpenRecording(path)
	require.NoError(t, err)
	defer r.Close()
	b := newBench(t, string(r.Head.Files[0].Data), r.Head.Files[1:]...)
	require.Empty(t, r.Bind(b.set))
	a := b.assistant(&text)
	require.NoError(t, a.Replay(context.Background(), assistant.NewRecordingReplay(r), 0))
	return text
}

// replayed replays deliveries as a file and returns the journal.
func (b *bench) replayed(t require.TestingT, list []delivery, see func(channel.Sample)) (text []byte) {
	decoder, err := feed.NewDecoder(b.file, b.set)
	require.NoError(t, err)
	a := b.assistant(&text)
	f := &deliveries{decoder: decoder, list: list, after: see}
	require.NoError(t, a.Replay(context.Background(), assistant.NewFeedReplay(f, nil), 0))
	return text
}

// Where the source tells the time, it makes no difference how its bytes were cut and when they came: a replay of the
// log cut another way, and a live run that is never silent for as long as a tick, tell the same story as a replay in
// one piece.
func TestEveryCuttingTellsOneStory(t *testing.T) {
	for _, w := range wires {
		t.Run(w.name, func(t *testing.T) {
			b := newBench(t, w.file, w.more...)
			require.True(t, b.file.Clock.Own, "this test is about feeds with a clock of their own")
			datagrams := b.file.Transport.Datagrams()
			dir := t.TempDir()
			run := 0
			try := func(rt *rapid.T, seconds float64) {
				drive := aDrive(t, b.set, rapid.Uint64Range(1, 50).Draw(rt, "seed"), seconds)
				pieces := w.write(t, b.file, b.set, drive)
				whole := []delivery{{bytes.Join(pieces, nil), 0}}
				if datagrams {
					whole = cut(rt, pieces, true, 1, func() time.Duration { return 0 })
				}
				samples := 0
				want := b.replayed(rt, whole, func(channel.Sample) { samples++ })
				require.GreaterOrEqual(rt, samples, len(drive))

				none := func() time.Duration { return 0 }
				require.Equal(rt, string(want), string(b.replayed(rt, cut(rt, pieces, datagrams, 1, none), nil)), "another cutting")

				// A live run: a piece at a time, or two, each within 90 ms, so that no tick of 100 ms falls between.
				waits := rapid.SliceOfN(rapid.IntRange(1, 90), 3, 30).Draw(rt, "waits, ms")
				var list []delivery
				for i, p := range pieces {
					wait := time.Duration(waits[i%len(waits)]) * time.Millisecond
					if n := len(p) / 3; !datagrams && i%2 == 0 {
						list = append(list, delivery{p[:n], wait}, delivery{p[n:], 0})
						continue
					}
					list = append(list, delivery{p, wait})
				}
				run++
				var lived []byte
				path := filepath.Join(dir, fmt.Sprint(run)+".mcap")
				synctest.Test(t, func(t *testing.T) { lived = b.live(t, list, nil, path) })
				require.Equal(rt, string(want), string(lived), "live")
				require.NoError(rt, os.Remove(path))
			}
			check(t, 5, func(rt *rapid.T) { try(rt, rapid.Float64Range(5, 60).Draw(rt, "seconds")) })
			check(t, 1, func(rt *rapid.T) { try(rt, longDrive) })
		})
	}
}
