package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"math"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/assembly"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/journal"
	"earshot/assistant/session"
	"earshot/configs"
)

// demoLoaded is what `earshot run` loads for the demo's feed.
func demoLoaded(t testing.TB) *assembly.Parts {
	t.Helper()
	cfg, err := loadConfig(newReplay())
	require.NoError(t, err)
	l, err := assembly.Build(assembly.Request{Config: cfg})
	require.NoError(t, err)
	return l
}

// demoDatagrams are so many seconds of the demo car, as `earshot demo --send` would send them at this rate.
func demoDatagrams(t testing.TB, l *assembly.Parts, seconds float64, rate float64) (list [][]byte) {
	t.Helper()
	sim, err := demo.New(l.Channels, demo.Options{Seed: 1, Story: true, Rate: rate})
	require.NoError(t, err)
	e, err := feed.NewEncoder(l.Feed, l.Channels)
	require.NoError(t, err)
	for s, ok := sim.Next(); ok && s.At <= seconds; s, ok = sim.Next() {
		require.NoError(t, e.Encode(s, func(p []byte) { list = append(list, bytes.Clone(p)) }))
	}
	return list
}

// fuzzSeeds are all texts and bytes that the fuzz targets of the codecs begin with, read from their source, and what
// fuzzing has left in their testdata.
func fuzzSeeds(t testing.TB) (seeds [][]byte) {
	t.Helper()
	root := filepath.Join(projectRoot(t), "assistant", "feed", "codec")
	files, err := filepath.Glob(filepath.Join(root, "*", "*_test.go"))
	require.NoError(t, err)
	for _, file := range files {
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		require.NoError(t, err)
		for _, d := range f.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && strings.HasPrefix(fn.Name.Name, "Fuzz") {
				seeds = append(seeds, literals(fn)...)
			}
		}
	}
	require.GreaterOrEqual(t, len(seeds), 10, "no seeds were found: do the fuzz targets look different now?")
	kept, err := filepath.Glob(filepath.Join(root, "*", "testdata", "fuzz", "*", "*"))
	require.NoError(t, err)
	for _, file := range kept {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		seeds = append(seeds, data)
	}
	return seeds
}

// literals are the texts in a function, and its lists of bytes as far as they are plain numbers.
func literals(fn *ast.FuncDecl) (found [][]byte) {
	ast.Inspect(fn, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BasicLit:
			if n.Kind == token.STRING {
				if s, err := strconv.Unquote(n.Value); err == nil && len(s) < 60000 {
					found = append(found, []byte(s))
				}
			}
		case *ast.CompositeLit:
			list := []byte{}
			for _, e := range n.Elts {
				if b, ok := e.(*ast.BasicLit); ok && b.Kind == token.INT {
					x, _ := strconv.ParseUint(b.Value, 0, 8)
					list = append(list, byte(x))
				}
			}
			if len(list) == len(n.Elts) {
				found = append(found, list)
			}
		}
		return true
	})
	return found
}

// summed puts the checksum of the demo's feed behind a datagram's contents, so that nothing but the contents is wrong
// with it.
func summed(p []byte) []byte {
	crc := uint16(0xFFFF) // CRC-16/CCITT-FALSE as in the catalogue of parametrised CRC algorithms
	for _, b := range p[:len(p)-2] {
		crc ^= uint16(b) << 8
		for range 8 {
			if crc&0x8000 != 0 {
				crc = crc<<1 ^ 0x1021
			} else {
				crc <<= 1
			}
		}
	}
	binary.LittleEndian.PutUint16(p[len(p)-2:], crc)
	return p
}

// absurd is a datagram of the motion of the car with numbers that no car has, and its checksum right.
func absurd(p []byte, r *rand.Rand) []byte {
	q := bytes.Clone(p)
	for _, at := range []int{12, 40, 44, 48} { // speed, position and distance of the demo's feed: see below
		x := []float32{float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1)), 3e38, -1e30}[r.IntN(5)]
		binary.LittleEndian.PutUint32(q[at:], math.Float32bits(x))
	}
	return summed(q)
}

// An abuser draws datagrams that must not become samples.
type abuser struct {
	r     *rand.Rand
	seeds [][]byte
	old   int // how many good ones had been sent when an old one was sent again
}

// bad draws one. sent are the good ones before it, next is the one after.
func (a *abuser) bad(sent [][]byte, next []byte) []byte {
	r := a.r
	random := func(n int) []byte {
		p := make([]byte, n)
		for i := range p {
			p[i] = byte(r.Uint32())
		}
		return p
	}
	last := sent[len(sent)-1]
	recent := sent[len(sent)-1-r.IntN(min(len(sent), 50))]
	switch r.IntN(12) {
	case 0:
		return next[:r.IntN(len(next))]
	case 1:
		p := append(bytes.Clone(next), random(1+r.IntN(100))...)
		if bytes.Equal(p, summed(bytes.Clone(p))) {
			p[len(p)-1]++ // of 65,536 random ends one has the right checksum
		}
		return p
	case 2: // another kind
		p := bytes.Clone(next)
		p[4] = byte(4 + r.IntN(250))
		return summed(p)
	case 3: // another version
		p := bytes.Clone(next)
		p[5]++
		return summed(p)
	case 4: // one bit
		p := bytes.Clone(next)
		p[r.IntN(len(p))] ^= 1 << r.IntN(8)
		return p
	case 5, 6: // again, and out of order
		return recent
	case 7: // again, from long ago; two with no good one between could be a source that begins anew
		if a.old == len(sent) {
			return recent
		}
		a.old = len(sent)
		return sent[r.IntN(len(sent))]
	case 8:
		if last[4] == 1 {
			return absurd(last, r) // its number has been used
		}
		return random(2)
	case 9:
		return a.seeds[r.IntN(len(a.seeds))]
	case 10:
		if r.IntN(60) == 0 {
			return random(60000 + r.IntN(65507-60000+1)) // as large as UDP over IPv4 carries (RFC 768, RFC 791)
		}
		return nil
	default:
		return random(r.IntN(600))
	}
}

// waiting is how many bytes wait in the socket's buffer and how many datagrams were dropped there.
func waiting(t testing.TB, port int) (queued, drops int) {
	t.Helper()
	data, err := os.ReadFile("/proc/net/udp")
	if err != nil {
		t.Skip("the system does not tell about sockets in /proc, and without that a sender cannot wait for the receiver")
	}
	want := fmt.Sprintf(":%04X", port)
	for _, line := range lines(string(data)) {
		f := strings.Fields(line)
		if len(f) > 12 && strings.HasSuffix(f[1], want) {
			_, rx, _ := strings.Cut(f[4], ":")
			n, err := strconv.ParseInt(rx, 16, 64)
			require.NoError(t, err)
			drops, err = strconv.Atoi(f[12])
			require.NoError(t, err)
			return int(n), drops
		}
	}
	t.Fatalf("nobody listens on port %d", port)
	return 0, 0
}

// A flood sends without overrunning the receiver.
type flood struct {
	t    testing.TB
	conn *net.UDPConn
	port int
	n    int
}

func newFlood(t testing.TB, port int) *flood {
	t.Helper()
	conn, err := net.DialUDP("udp", nil, &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1), Port: port})
	require.NoError(t, err)
	t.Cleanup(func() { conn.Close() })
	require.NoError(t, conn.SetWriteBuffer(1<<20))
	return &flood{t: t, conn: conn, port: port}
}

func (f *flood) send(p []byte) {
	_, err := f.conn.Write(p)
	require.NoError(f.t, err)
	if f.n++; f.n%32 == 0 || len(p) > 10000 {
		f.drain(48 << 10)
	}
}

// drain waits until no more than so many bytes wait in the receiver's socket.
func (f *flood) drain(most int) {
	for begun := time.Now(); ; {
		queued, drops := waiting(f.t, f.port)
		require.Zero(f.t, drops, "the system dropped datagrams, so the test cannot tell what Earshot did")
		if queued <= most {
			return
		}
		require.Less(f.t, time.Since(begun), 2*time.Minute, "Earshot does not read any more")
		time.Sleep(200 * time.Microsecond)
	}
}

// resident is the process's memory in MB.
func (l *live) resident() float64 {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", l.run.Process.Pid))
	require.NoError(l.t, err, "earshot run has ended: %s", stringer{l.err})
	for _, line := range lines(string(data)) {
		if kb, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			n, _ := strconv.ParseFloat(strings.Fields(kb)[0], 64)
			return n / 1024
		}
	}
	l.t.Fatal("no memory in /proc: has earshot run ended?")
	return 0
}

// told are the lines of the kinds that say what the car did.
func told(t testing.TB, events []journal.Event) (list []string) {
	t.Helper()
	for _, e := range events {
		switch e.Body.Kind() {
		case "lap", "corner", "state", "stint":
			line, err := e.Append(nil)
			require.NoError(t, err)
			list = append(list, string(line))
		}
	}
	return list
}

// onlySamples gives the first n samples of other inputs.
type onlySamples struct {
	inputs assistant.Inputs
	n      int
	bits   []string
}

func (o *onlySamples) Next() (assistant.Input, error) {
	for {
		in, err := o.inputs.Next()
		if err == nil && in.Kind != assistant.KindSample {
			continue
		}
		if err == nil && len(o.bits) == o.n {
			return assistant.Input{}, io.EOF
		}
		if err == nil {
			o.bits = append(o.bits, sampleBits(in.At, in.Row))
		}
		return in, err
	}
}

// storyOf replays the samples of inputs and returns them with what they tell.
func storyOf(t testing.TB, l *assembly.Parts, inputs assistant.Inputs, n int) (bits, story []string) {
	t.Helper()
	var events []journal.Event
	o := &onlySamples{inputs: inputs, n: n}
	a := &assistant.Assistant{Core: l.Core(), Session: journal.Session{ID: "x"}, Sinks: []assistant.Sink{
		assistant.JournalTo(func(e journal.Event) error { events = append(events, e); return nil }),
	}}
	require.NoError(t, a.Replay(t.Context(), o, 0))
	return o.bits, told(t, events)
}

// Two laps of good datagrams among 100,000 that are random, cut, too long, of another kind, damaged, sent again, out
// of order or absurd, through a real socket into the real program: it takes the good ones and nothing else.
func TestAbuseOverUDP(t *testing.T) {
	if testing.Short() {
		t.Skip("sends a hundred thousand datagrams; run without -short")
	}
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	ref := demoLoaded(t)
	good := demoDatagrams(t, ref, 330, 20)
	const badOnes = 100_000
	l := startLive(t, buildPrograms(t), "PULSE_SERVER=", "DISPLAY=", "EARSHOT_DEVICE=silent")
	out := newFlood(t, l.port)
	r := rand.New(rand.NewPCG(3, 4))
	villain := &abuser{r: r, seeds: fuzzSeeds(t)}

	// The same bytes once more, here: what a decoder must say of them, to know that they are bad.
	shadow, err := feed.NewDecoder(ref.Feed, ref.Channels)
	require.NoError(t, err)
	taken := 0
	send := func(p []byte) {
		out.send(p)
		shadow.Decode(p, 0, func(channel.Sample) { taken++ })
	}
	early := 0.0
	sentBad := 0
	for i, p := range good {
		send(p)
		next := good[min(i+1, len(good)-1)]
		for sentBad < badOnes*(i+1)/len(good) {
			send(villain.bad(good[:i+1], next))
			sentBad++
		}
		require.Equal(t, i+1, taken, "datagram %d: a bad one was taken or a good one refused", i)
		if i == len(good)/4 {
			early = l.resident()
		}
	}
	late := l.resident()
	require.Equal(t, badOnes, sentBad)
	s := shadow.Stats()
	require.EqualValues(t, badOnes, s.Bad+s.Reordered+s.Duplicate+s.Ignored)
	require.Less(t, late-early, 12.0, "MB more after the flood: %.1f, then %.1f", early, late)
	t.Logf("%d good, %d bad; memory %.1f MB, then %.1f MB; %+v", len(good), badOnes, early, late, s)

	// A trickle over several seconds: what is counted anew each second is not told anew each second.
	for range 25 {
		out.send([]byte("no datagram of ours"))
		time.Sleep(100 * time.Millisecond)
	}

	// What is right in form and absurd in content is a sample, and its readings are absent.
	seq := binary.LittleEndian.Uint16(good[len(good)-1][6:])
	motion := good[slices.IndexFunc(good, func(p []byte) bool { return p[4] == 1 })]
	for i := range 300 {
		p := bytes.Clone(motion)
		seq++
		binary.LittleEndian.PutUint16(p[6:], seq)
		if i >= 200 {
			binary.LittleEndian.PutUint32(p[8:], r.Uint32()) // and its clock too
		}
		out.send(absurd(p, r))
	}
	out.drain(0)
	l.waitFor("absurd readings are told", func() bool {
		return l.has(func(e journal.Event) bool {
			h, ok := e.Body.(*journal.Health)
			return ok && strings.HasPrefix(h.Part, "channel ")
		})
	})
	require.NoError(t, l.run.Process.Signal(syscall.SIGTERM))
	require.NoError(t, l.run.Wait(), l.err.String())

	events := l.journal()
	l.checkFloodIsTold(events)
	l.checkReplay()

	// The undisturbed run: the good datagrams alone.
	decoder, err := feed.NewDecoder(ref.Feed, ref.Channels)
	require.NoError(t, err)
	wantBits, want := storyOf(t, ref, assistant.NewFeedReplay(&datagramList{decoder, good}, nil), len(good))
	require.Len(t, wantBits, len(good))
	require.GreaterOrEqual(t, strings.Count(strings.Join(want, ""), `"kind":"lap"`), 2)
	found, err := filepath.Glob(filepath.Join(l.sessions, "*", "recording.mcap"))
	require.NoError(t, err)
	require.Len(t, found, 1)
	rec, err := session.OpenRecording(found[0])
	require.NoError(t, err)
	defer rec.Close()
	require.Empty(t, rec.Bind(ref.Channels))
	// Ticks and health between samples depend on how busy this machine is: without them both must be one.
	gotBits, got := storyOf(t, ref, assistant.NewRecordingReplay(rec), len(good))
	require.Len(t, gotBits, len(wantBits), "samples")
	for i := range wantBits {
		require.Equal(t, wantBits[i], gotBits[i], "sample %d is another", i)
	}
	require.Equal(t, want, got)

	// The absurd ones neither end a lap nor pass a corner.
	laps := func(list []string) (n int) {
		for _, line := range list {
			if strings.Contains(line, `"kind":"lap"`) || strings.Contains(line, `"kind":"corner"`) {
				n++
			}
		}
		return n
	}
	require.Equal(t, laps(want), laps(told(t, events)))
}

// checkFloodIsTold: the refusals are in the journal, and are no flood there.
func (l *live) checkFloodIsTold(events []journal.Event) {
	told := map[string]int{}
	worst := 0
	for _, h := range bodies[*journal.Health](events) {
		told[h.Part]++
		if h.Part == "feed" {
			n := counted(h.Text)
			require.GreaterOrEqual(l.t, n, 10*worst, "told again before there were ten times as many: %s", h.Text)
			worst = n
		}
	}
	require.Greater(l.t, worst, badToldAtLeast, "the refusals are not told: %v", told)
	require.LessOrEqual(l.t, told["feed"], 8, "a line for each power of ten, not more")
	for part, n := range told {
		if strings.HasPrefix(part, "channel ") {
			require.Equal(l.t, 1, n, part)
		}
	}
}

// counted adds up what a line of health counts: "of 9 datagrams, 3 refused, 1 lost; last: …" is 4.
func counted(text string) (sum int) {
	text, _, _ = strings.Cut(text, "; ")
	for _, part := range strings.Split(text, ", ")[1:] {
		n, _ := strconv.Atoi(strings.Fields(part)[0])
		sum += n
	}
	return sum
}

// badToldAtLeast: of 100,000 the last line that tells of ten times as many as the one before tells of this many at the
// least.
const badToldAtLeast = 5000

// datagramList is a Feed of datagrams that can wait.
type datagramList struct {
	decoder feed.Decoder
	list    [][]byte
}

func (d *datagramList) Read(_ context.Context, emit func(channel.Sample)) error {
	if len(d.list) == 0 {
		return io.EOF
	}
	d.decoder.Decode(d.list[0], math.NaN(), emit)
	d.list = d.list[1:]
	return nil
}

func (d *datagramList) Stats() feed.Stats { return d.decoder.Stats() }

// The places that absurd writes to are those of the feed file.
func TestAbsurdHitsItsChannels(t *testing.T) {
	set := channel.NewSet()
	data, err := configs.Files.ReadFile("feeds/demo.yaml")
	require.NoError(t, err)
	f, err := feedfile.Parse("demo.yaml", data, set)
	require.NoError(t, err)
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	motion := demoDatagrams(t, demoLoaded(t), 0.5, 30)[0]
	require.Equal(t, byte(1), motion[4])
	d, err := feed.NewDecoder(f, set)
	require.NoError(t, err)
	n := 0
	d.Decode(absurd(motion, rand.New(rand.NewPCG(1, 2))), 0, func(s channel.Sample) {
		n++
		for _, id := range []channel.ID{channel.Speed, channel.PositionX, channel.PositionY, channel.LapDistance} {
			c := set.At(id)
			require.False(t, s.Row[id] >= c.Min && s.Row[id] <= c.Max, "%s is %g", c.Name, s.Row[id])
		}
	})
	require.Equal(t, 1, n, "the checksum is wrong: %v", d.Stats())
}
