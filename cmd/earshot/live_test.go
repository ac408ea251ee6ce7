package main

import (
	"bytes"
	"fmt"
	"math"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant/assembly"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/journal"
	"earshot/audio"
	"earshot/audio/device/soundtest"
	"earshot/audio/voice"
	"earshot/cmd/internal/keytest"
	"earshot/configs"
)

// A lineLog collects the output of a process while it runs.
type lineLog struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *lineLog) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *lineLog) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// freePort is a UDP port of the loopback that nobody uses now.
func freePort(t testing.TB) int {
	t.Helper()
	c, err := net.ListenPacket("udp", "127.0.0.1:0")
	require.NoError(t, err)
	defer c.Close()
	return c.LocalAddr().(*net.UDPAddr).Port
}

// demoFeedOn writes the feed of the demo car with another port.
func demoFeedOn(t testing.TB, port int) string {
	t.Helper()
	data, err := configs.Files.ReadFile("feeds/demo.yaml")
	require.NoError(t, err)
	const listen = "listen: 127.0.0.1:47119"
	require.Contains(t, string(data), listen)
	path := filepath.Join(t.TempDir(), "feed.yaml")
	text := strings.Replace(string(data), listen, fmt.Sprintf("listen: 127.0.0.1:%d", port), 1)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// A live is earshot run as a process, with a sender of the demo's feed as another.
type live struct {
	t        testing.TB
	bin      string
	env      []string
	sessions string
	port     int
	run      *exec.Cmd
	sender   *exec.Cmd
	out, err *lineLog
}

func startLive(t testing.TB, bin string, env ...string) *live {
	t.Helper()
	return startLiveOn(t, bin, demoFeedOn, env...)
}

// startLiveOn is startLive with another feed file, which feedOn writes for a port.
func startLiveOn(t testing.TB, bin string, feedOn func(testing.TB, int) string, env ...string) *live {
	t.Helper()
	l := &live{t: t, bin: bin, sessions: t.TempDir(), port: freePort(t), out: &lineLog{}, err: &lineLog{}}
	home := t.TempDir()
	l.env = append(os.Environ(), append([]string{"XDG_CONFIG_HOME=" + home, "XDG_DATA_HOME=" + home}, env...)...)
	l.run = exec.Command(built(bin, "earshot"), "run", "--feed", feedOn(t, l.port), "--sessions", l.sessions)
	l.run.Env, l.run.Stdout, l.run.Stderr = l.env, l.out, l.err
	require.NoError(t, l.run.Start())
	t.Cleanup(func() { _ = l.run.Process.Kill(); _ = l.run.Wait() })
	l.waitFor("earshot run listens", func() bool { return strings.Contains(l.err.String(), "listening:") })
	return l
}

func (l *live) send() {
	l.t.Helper()
	l.sender = exec.Command(built(l.bin, "earshot"), "demo", "--send", fmt.Sprintf("127.0.0.1:%d", l.port))
	l.sender.Env = l.env
	require.NoError(l.t, l.sender.Start())
	l.t.Cleanup(func() { _ = l.sender.Process.Kill(); _ = l.sender.Wait() })
}

func (l *live) stopSending() {
	_ = l.sender.Process.Kill()
	_ = l.sender.Wait()
}

// waitFor waits for what another process does; it fails after a minute and a half.
func (l *live) waitFor(what string, ok func() bool) {
	l.t.Helper()
	require.Eventually(l.t, ok, 90*time.Second, 50*time.Millisecond, "waiting until %s\nsaid: %s\nerrors: %s", what, stringer{l.out},
		stringer{l.err})
}

// stringer delays String until the message is needed.
type stringer struct{ s fmt.Stringer }

func (s stringer) String() string { return s.s.String() }

func (l *live) journal() []journal.Event {
	l.t.Helper()
	found, err := filepath.Glob(filepath.Join(l.sessions, "*", "journal.jsonl"))
	require.NoError(l.t, err)
	require.Len(l.t, found, 1)
	events, err := assembly.ReadJournal(found[0])
	if err != nil {
		require.ErrorIs(l.t, err, journal.ErrTorn)
	}
	return events
}

func (l *live) has(match func(journal.Event) bool) bool {
	found, _ := filepath.Glob(filepath.Join(l.sessions, "*", "journal.jsonl"))
	if len(found) != 1 {
		return false
	}
	events, _ := assembly.ReadJournal(found[0])
	for _, e := range events {
		if match(e) {
			return true
		}
	}
	return false
}

func said(rule string) func(journal.Event) bool {
	return func(e journal.Event) bool {
		c, ok := e.Body.(*journal.Cue)
		return ok && c.Rule == rule && c.Verdict == "said"
	}
}

func marked(e journal.Event) bool { return e.Body.Kind() == "mark" }

// The whole chain as a driver has it: datagrams from another process, words out of a sound card, heard by a
// recogniser; a real key press on a real (virtual) display, found in the journal at its lap and distance; the
// recording replayed to the same journal.
func TestLiveEndToEnd(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a minute of real driving; run without -short")
	}
	card := soundtest.Start(t)
	display := keytest.StartX(t)
	bin := buildPrograms(t)
	if _, err := os.Stat(built(bin, "earshot-keys")); err != nil {
		t.Fatal("the helper program for keys was not built")
	}
	twice(t, func() bool { return liveEndToEnd(t, card, display, bin) })
}

// liveEndToEnd drives once; it tells whether the machine was too busy to hear it.
func liveEndToEnd(t *testing.T, card *soundtest.Card, display *keytest.X, bin string) bool {
	l := startLive(t, bin, append(card.Env(), "DISPLAY="+display.Display)...)
	l.waitFor("the keys are heard", func() bool { return strings.Contains(l.err.String(), "keys: ok") })
	stopCapture := card.Capture(t, soundtest.Speaker, 16000)
	l.send()
	l.waitFor("the cold rear brakes are called", func() bool { return l.has(said("brakes-cold")) })
	display.Press(t, "F9")
	l.waitFor("the mark is in the journal", func() bool { return l.has(marked) })
	l.waitFor("the mark is confirmed", func() bool { return l.has(said("mark")) })
	l.stopSending()
	l.waitFor("the silence of the feed is told", func() bool { return l.has(said("feed-silent")) })
	require.NoError(t, l.run.Process.Signal(syscall.SIGTERM))
	require.NoError(t, l.run.Wait(), l.err.String())
	heard := audio.Clip{Rate: 16000, Samples: stopCapture()}

	events := l.journal()
	l.checkMark(events)
	l.checkReplay()
	l.checkDebrief()
	return l.checkHeard(card, events, heard)
}

// twice runs a test again whose sound the machine tore.
func twice(t *testing.T, run func() (torn bool)) {
	t.Helper()
	if torn := run(); !torn {
		return
	}
	if torn := run(); torn {
		t.Skip("the machine is too busy to listen: all but the hearing was right")
	}
}

// heardAs wants a recogniser to hear the texts in the clips. Where it hears another, the sound server's own player says
// it into the same output: if that is not understood either, or the clip has holes that the voice has not, the machine
// tore it, which is told.
func heardAs(t *testing.T, card *soundtest.Card, clips []audio.Clip, texts, phrases []string) (torn bool) {
	t.Helper()
	v, err := assembly.OpenVoice(demoConfig().Voice)
	require.NoError(t, err)
	for i, got := range recogniseAll(t, clips, phrases) {
		if got == voice.Normal(texts[i]) {
			continue
		}
		clip, _, err := v.Say(t.Context(), texts[i])
		require.NoError(t, err)
		_, lost := soundtest.Holes(clips[i].Samples, clips[i].Rate)
		_, silent := soundtest.Holes(clip.Resample(clips[i].Rate).Samples, clips[i].Rate)
		control := recognise(t, card.Control(t, clip.Samples, clip.Rate, 16000), 16000, phrases)
		t.Logf("%q was heard as %q, with %.0f ms of holes, %.0f ms in the voice; from the sound server's own player as %q", texts[i], got,
			1000*lost, 1000*silent, control)
		if control == voice.Normal(texts[i]) && lost < silent+0.01 {
			t.Fatal("the sound server's own player was understood, and nothing tore the sound")
		}
		torn = true
	}
	return torn
}

// checkMark: the mark stands where the car was by the feed's own clock. The sender is seeded, so the car's place at a
// time is known from the demo itself.
func (l *live) checkMark(events []journal.Event) {
	t := l.t
	var mark journal.Event
	for _, e := range events {
		if marked(e) {
			mark = e
		}
	}
	require.NotNil(t, mark.Body)
	lap, distance := demoPlace(t, mark.T)
	require.Equal(t, lap, mark.Lap)
	// The feed comes at 60 Hz and the press is stamped between two samples: at 80 m/s one sample is 1.3 m.
	require.InDelta(t, distance, float64(mark.Distance), 5)
	require.Equal(t, "key F9", bodies[*journal.Command](events)[0].Source)
}

// checkHeard: every cue of the journal comes out of the sound card, at its time, in its words.
func (l *live) checkHeard(card *soundtest.Card, events []journal.Event, heard audio.Clip) (torn bool) {
	t := l.t
	var cues []*journal.Cue
	for _, c := range bodies[*journal.Cue](events) {
		if c.Verdict == "said" {
			cues = append(cues, c)
		}
	}
	require.GreaterOrEqual(t, len(cues), 3)
	first := onset(heard, 0.02)
	require.GreaterOrEqual(t, first, 0.0, "nothing came out of the sound card")
	var clips []audio.Clip
	var texts, want []string
	for _, c := range cues {
		// The capture's clock starts elsewhere: the first cue lines them up.
		from := first + float64(c.Start-cues[0].Start)
		clip := cut(heard, from-0.15, from+float64(c.End-c.Start)+0.25)
		require.Greater(t, clip.RMS(), 0.01, "the cue %q has no energy at its time", c.Text)
		clips = append(clips, clip)
		texts, want = append(texts, c.Text), append(want, voice.Normal(c.Text))
	}
	phrases := append([]string{
		"front brakes cold", "rear brakes hot", "brakes ready", "tyres ready", "telemetry back", "front left hot", "lap void", "fuel good",
		"marked turn ten", "marked turn one", "marked", "muted", "talking again", "nothing said yet", "rear tyres cold", "yellow flag",
	}, want...)
	return heardAs(t.(*testing.T), card, clips, texts, phrases)
}

// checkReplay: the recording gives the same journal, byte for byte.
func (l *live) checkReplay() {
	t := l.t
	found, err := filepath.Glob(filepath.Join(l.sessions, "*"))
	require.NoError(t, err)
	require.Len(t, found, 1)
	wantBytes, err := os.ReadFile(filepath.Join(found[0], "journal.jsonl"))
	require.NoError(t, err)
	again := filepath.Join(t.TempDir(), "again.jsonl")
	cmd := exec.Command(built(l.bin, "earshot"), "replay", filepath.Join(found[0], "recording.mcap"), "--journal", again)
	cmd.Env = l.env
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	got, err := os.ReadFile(again)
	require.NoError(t, err)
	require.Equal(t, lines(string(wantBytes)), lines(string(got)), "the replay tells another story than the live run")
}

func (l *live) checkDebrief() {
	t := l.t
	cmd := exec.Command(built(l.bin, "earshot"), "debrief", "--sessions", l.sessions)
	cmd.Env = l.env
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	require.Contains(t, string(out), "debrief.html")
	found, err := filepath.Glob(filepath.Join(l.sessions, "*", "debrief.html"))
	require.NoError(t, err)
	require.Len(t, found, 1)
}

// The demo in (hastened) real time comes out of the sound card.
func TestDemoLiveIsHeard(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds of real sound; run without -short")
	}
	card := soundtest.Start(t)
	bin := buildPrograms(t)
	twice(t, func() bool { return demoLive(t, card, bin) })
}

func demoLive(t *testing.T, card *soundtest.Card, bin string) (torn bool) {
	stopCapture := card.Capture(t, soundtest.Speaker, 16000)
	out := &lineLog{}
	demo := exec.Command(built(bin, "earshot"), "demo", "--live", "--speed", "10", "--out", t.TempDir())
	demo.Env, demo.Stdout, demo.Stderr = append(append(os.Environ(), card.Env()...), "XDG_CONFIG_HOME="+t.TempDir()), out, out
	require.NoError(t, demo.Start())
	t.Cleanup(func() { _ = demo.Process.Kill(); _ = demo.Wait() })
	require.Eventually(t, func() bool { return strings.Contains(out.String(), "Brakes ready") }, 3*time.Minute, 50*time.Millisecond,
		"said: %s", stringer{out})
	require.NoError(t, demo.Process.Signal(syscall.SIGTERM))
	require.NoError(t, demo.Wait(), out.String())
	heard := audio.Clip{Rate: 16000, Samples: stopCapture()}
	from := onset(heard, 0.02)
	require.GreaterOrEqual(t, from, 0.0, "nothing came out of the sound card")
	first := cut(heard, from-0.15, from+1.2)
	return heardAs(t, card, []audio.Clip{first}, []string{"Brakes cold."}, []string{
		"green flag", "red flag", "blue flag", "brakes cold", "rear brakes cold", "brakes hot", "tyres ready push", "lap void",
		"telemetry lost", "fuel good",
	})
}

// Killed without warning, with the sound server and the keys gone too: what was known a second before is on disk.
func TestKilledRunKeepsJournalAndMarks(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds of real driving; run without -short")
	}
	display := keytest.StartX(t)
	bin := buildPrograms(t)
	l := startLive(t, bin, "PULSE_SERVER=", "DISPLAY="+display.Display, "EARSHOT_DEVICE=silent")
	l.waitFor("the keys are heard", func() bool { return strings.Contains(l.err.String(), "keys: ok") })
	l.send()
	display.Press(t, "F9")
	l.waitFor("the command is taken", func() bool { return l.has(marked) })
	// The promise is about time: what is older than a second survives. So the test lets it grow older than that.
	time.Sleep(3 * time.Second)
	require.NoError(t, l.run.Process.Kill())
	_ = l.run.Wait()
	l.stopSending()

	events := l.journal()
	require.NotEmpty(t, bodies[*journal.Mark](events))
	found, err := filepath.Glob(filepath.Join(l.sessions, "*", "recording.mcap"))
	require.NoError(t, err)
	require.Len(t, found, 1)
	again := filepath.Join(t.TempDir(), "again.jsonl")
	cmd := exec.Command(built(bin, "earshot"), "replay", found[0], "--journal", again)
	cmd.Env = l.env
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	replayed, err := assembly.ReadJournal(again)
	require.NoError(t, err)
	require.Equal(t, markLines(t, events), markLines(t, replayed), "the press was older than a second: it must be in the recording too")
	l.checkDebrief()
}

func markLines(t testing.TB, events []journal.Event) (text string) {
	t.Helper()
	for _, e := range events {
		if marked(e) {
			line, err := e.Append(nil)
			require.NoError(t, err)
			text += string(line)
		}
	}
	require.NotEmpty(t, text)
	return text
}

// demoPlace drives the demo that `earshot demo --send` sends to a time and tells where the car is.
func demoPlace(t testing.TB, at float64) (lap int, distance float64) {
	t.Helper()
	set := channel.NewSet()
	sim, err := demo.New(set, demo.Options{Seed: 1, Story: true})
	require.NoError(t, err)
	first := math.NaN()
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		if math.IsNaN(first) {
			first = s.At
		}
		if s.At-first > at {
			break
		}
		lap, distance = int(s.Row[channel.LapNumber]), s.Row[channel.LapDistance]
	}
	return lap, distance
}
