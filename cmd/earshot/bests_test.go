package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/course/store"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/journal"
	"earshot/assistant/session"
	"earshot/assistant/timing"
)

const saucer = "name: Saucer\nline: {lap_number: true}\nsectors: [400 m]\n"

// drives writes two drives of the demo car on one course; the second is a little quicker.
func drives(t *testing.T) (dir string, best [2]demo.Lap) {
	t.Helper()
	dir = t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", dir)
	t.Setenv("XDG_STATE_HOME", filepath.Join(dir, "state"))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "saucer.yaml"), []byte(saucer), 0o644))
	for i, seed := range []int{2, 1} {
		out := filepath.Join(dir, fmt.Sprint(i))
		ran(t, "demo", "--write", out, "--seed", fmt.Sprint(seed), "--laps", "2", "--course", "saucer", "--rate", "30")
		var truth demo.Truth
		data, err := os.ReadFile(filepath.Join(out, "truth.json"))
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(data, &truth))
		best[i] = demo.Lap{Time: math.Inf(1)}
		for _, l := range truth.Done {
			if l.Class == "flying" && l.Time < best[i].Time {
				best[i] = l
			}
		}
	}
	require.Less(t, best[1].Time, best[0].Time)
	return dir, best
}

func ran(t *testing.T, args ...string) string {
	t.Helper()
	var stdout, stderr bytes.Buffer
	require.Equal(t, 0, Main(args, nil, &stdout, &stderr), stderr.String())
	return stdout.String()
}

func logArgs(dir string, i int, more ...string) []string {
	one := filepath.Join(dir, fmt.Sprint(i))
	return append([]string{"replay", filepath.Join(one, "samples.csv"), "--feed", filepath.Join(one, "feed.yaml"), "--course", filepath.Join(dir, "saucer.yaml")}, more...)
}

// The bests of one session are what the next one has to beat; a replay changes them only when asked; a recording holds
// those that were in force, so it replays to the same bytes whatever has been driven since.
func TestBestsOverSessions(t *testing.T) {
	dir, best := drives(t)
	kept := filepath.Join(dir, "state", "earshot", "bests")

	ran(t, logArgs(dir, 0)...)
	require.NoDirExists(t, kept, "a replay writes nothing unless asked")
	ran(t, logArgs(dir, 0, "--keep-bests", "--bests", "none")...)
	require.NoDirExists(t, kept)

	first := ran(t, logArgs(dir, 0, "--keep-bests")...)
	require.NotContains(t, first, `"record":true`)
	entries, err := os.ReadDir(kept)
	require.NoError(t, err)
	require.Len(t, entries, 1)
	file := filepath.Join(kept, entries[0].Name())
	old, err := os.ReadFile(file)
	require.NoError(t, err)
	b, err := timing.ParseBests(old)
	require.NoError(t, err)
	require.Equal(t, "Saucer", b.Course)
	hard := b.Compounds["hard"]
	require.NotNil(t, hard, "%s", old)
	require.InDelta(t, best[0].Time, hard.Lap, 0.01)
	require.Equal(t, best[0].Number, hard.Number)
	require.Len(t, hard.Sectors, 2)

	// The second session, recorded as run does.
	cfg := Config{Feed: filepath.Join(dir, "1", "feed.yaml"), Car: "demo", Course: filepath.Join(dir, "saucer.yaml"), Voice: "clear"}
	l, err := load(cfg)
	require.NoError(t, err)
	recording := filepath.Join(dir, "second.mcap")
	recorder, err := session.NewRecorder(recording, session.Head{Session: "second", Channels: l.channels.Names(), Files: l.in.files()}, session.Options{Wait: true})
	require.NoError(t, err)
	source, err := feed.Open(t.Context(), l.feed, l.channels, feed.Options{Paths: map[string]string{"": filepath.Join(dir, "1", "samples.csv")}})
	require.NoError(t, err)
	defer source.Close()
	var live bytes.Buffer
	keep, wait := keepBests(l, nil, func(err error) { t.Error(err) })
	a := &assistant.Assistant{
		Core: l.core(), Session: journal.Session{ID: "second", Feed: "x", Started: "2026-05-12T09:00:00Z"},
		Record: assistant.RecordInto(recorder), Journal: journalTo(&live), Bests: keep,
	}
	require.NoError(t, a.Replay(t.Context(), assistant.NewFeedTape(source, nil), 0))
	require.NoError(t, recorder.Close())
	wait()
	require.Equal(t, 1, strings.Count(live.String(), `"record":true`))
	now, err := os.ReadFile(file)
	require.NoError(t, err)
	b, err = timing.ParseBests(now)
	require.NoError(t, err)
	require.InDelta(t, best[1].Time, b.Compounds["hard"].Lap, 0.01)
	require.Equal(t, "second", b.Compounds["hard"].Session)
	require.Equal(t, "2026-05-12T09:00:00Z", b.Compounds["hard"].Set)

	again := ran(t, "replay", recording)
	require.Equal(t, live.String(), again, "the record is still one: the bests of that day travel with the recording")
	log := ran(t, logArgs(dir, 1)...)
	require.NotContains(t, log, `"record":true`, "with those of today it is none any more")
}

func TestBrokenBestsAreToldAndLeftAlone(t *testing.T) {
	dir, _ := drives(t)
	ran(t, logArgs(dir, 0, "--keep-bests")...)
	files, err := filepath.Glob(filepath.Join(dir, "state", "earshot", "bests", "*.json"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	require.NoError(t, os.WriteFile(files[0], []byte("{"), 0o644))
	var stdout, stderr bytes.Buffer
	require.Equal(t, 1, Main(logArgs(dir, 1, "--keep-bests"), nil, &stdout, &stderr))
	require.Contains(t, stderr.String(), files[0])
	require.Contains(t, stderr.String(), "bests: none")
	ran(t, logArgs(dir, 1, "--keep-bests", "--bests", "none")...)
	left, err := os.ReadFile(files[0])
	require.NoError(t, err)
	require.Equal(t, "{", string(left))
}

// A lap of an earlier session is driven again from its recording and compared with at equal distance.
func TestReferenceLap(t *testing.T) {
	dir, best := drives(t)
	cfg := Config{Feed: filepath.Join(dir, "0", "feed.yaml"), Car: "demo", Course: filepath.Join(dir, "saucer.yaml"), Voice: "clear"}
	l, err := load(cfg)
	require.NoError(t, err)
	recording := filepath.Join(dir, "first.mcap")
	recorder, err := session.NewRecorder(recording, session.Head{Session: "first", Channels: l.channels.Names(), Files: l.in.files()}, session.Options{Wait: true})
	require.NoError(t, err)
	source, err := feed.Open(t.Context(), l.feed, l.channels, feed.Options{Paths: map[string]string{"": filepath.Join(dir, "0", "samples.csv")}})
	require.NoError(t, err)
	defer source.Close()
	a := &assistant.Assistant{Core: l.core(), Session: journal.Session{ID: "first", Feed: "x"}, Record: assistant.RecordInto(recorder)}
	require.NoError(t, a.Replay(t.Context(), assistant.NewFeedTape(source, nil), 0))
	require.NoError(t, recorder.Close())

	cfg.Reference = recording
	l, err = load(cfg)
	require.NoError(t, err)
	require.InDelta(t, best[0].Time, l.bests.Reference.Time, 0.01, "the best lap, where none is named")
	cfg.Reference = recording + ":1"
	l, err = load(cfg)
	require.NoError(t, err)
	require.Greater(t, l.bests.Reference.Time, best[0].Time+0.5)
	found := false
	for _, f := range l.in.files() {
		found = found || f.Kind == session.BestsFile && strings.Contains(string(f.Data), `"reference"`)
	}
	require.True(t, found, "it travels with the recording")
	for _, wrong := range []string{recording + ":99", filepath.Join(dir, "nowhere.mcap")} {
		var stdout, stderr bytes.Buffer
		require.Equal(t, 1, Main(logArgs(dir, 1, "--reference", wrong), nil, &stdout, &stderr))
		require.Contains(t, stderr.String(), "the lap to compare with")
	}
	// A replay of the recording may be compared with another lap than its own.
	require.Contains(t, ran(t, "replay", recording, "--reference", recording+":2"), `"kind":"lap"`)
}

func TestBestsAreNotWrittenOverWhatCannotBeRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.json")
	require.NoError(t, os.WriteFile(path, []byte("{"), 0o644))
	require.ErrorContains(t, writeBests(path, "Mill", "Demo", &timing.Bests{Course: "Mill", Car: "Demo"}), path)
	left, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, "{", string(left))

	// Of another car it is no less foreign.
	require.NoError(t, os.WriteFile(path, []byte(`{"version":1,"course":"Mill","car":"Other","compounds":{}}`), 0o644))
	require.ErrorContains(t, writeBests(path, "Mill", "Demo", &timing.Bests{}), "Other on Mill")
}

func TestNoBestsMeansNone(t *testing.T) {
	dir, _ := drives(t)
	cfg := Config{Feed: filepath.Join(dir, "0", "feed.yaml"), Car: "demo", Course: filepath.Join(dir, "saucer.yaml"), Voice: "clear"}
	l, err := load(cfg)
	require.NoError(t, err)
	require.NotNil(t, l.bests)
	cfg.Bests = noBests
	l, err = load(cfg)
	require.NoError(t, err)
	require.Nil(t, l.bests)
	cfg.Bests, cfg.Course = "", ""
	l, err = load(cfg)
	require.NoError(t, err)
	kept := filepath.Join(dir, "state", "earshot", "bests")
	keep, wait := keepBests(l, nil, func(err error) { t.Error(err) })
	keep(&timing.Bests{Version: timing.BestsVersion, Compounds: map[string]*timing.Best{"hard": {Lap: 60}}})
	wait()
	require.NoDirExists(t, kept, "a course without a name has no bests")
	keep, wait = keepBests(l, func() string { return "learned" }, func(err error) { t.Error(err) })
	keep(&timing.Bests{Version: timing.BestsVersion, Compounds: map[string]*timing.Best{"hard": {Lap: 60}}})
	wait()
	b, err := readBests(bestsPath(kept, "learned", l.car.Name), "learned", l.car.Name)
	require.NoError(t, err)
	require.InDelta(t, 60, b.Compounds["hard"].Lap, 1e-9)
}

// Without a course file the best laps go with the saved course: kept under its name in the session that learns it, beaten in the next, which
// recognises it, and found again after it has been given another name.
func TestBestsOfARecognisedCourse(t *testing.T) {
	dir, best := drives(t)
	kept, courses := filepath.Join(dir, "state", "earshot", "bests"), filepath.Join(dir, "courses")
	drive := func(i int) string {
		one := filepath.Join(dir, fmt.Sprint(i))
		return ran(t, "replay", filepath.Join(one, "samples.csv"), "--feed", filepath.Join(one, "feed.yaml"), "--courses", courses, "--keep-bests")
	}
	of := func(name string) *timing.Best {
		b, err := readBests(bestsPath(kept, name, "Demo GT"), name, "Demo GT")
		require.NoError(t, err)
		require.NotNil(t, b.Compounds["hard"], name)
		return b.Compounds["hard"]
	}
	first := drive(0)
	require.NotContains(t, first, `"record":true`)
	var list []struct{ Name string }
	require.NoError(t, json.Unmarshal([]byte(ran(t, "course", "list", "--courses", courses, "--json")), &list))
	require.Len(t, list, 1)
	require.InDelta(t, best[0].Time, of(list[0].Name).Lap, 0.02)

	ran(t, "course", "name", list[0].Name, "The Saucer", "--courses", courses)
	require.InDelta(t, best[0].Time, of("The Saucer").Lap, 0.02)

	second := drive(1)
	require.Contains(t, second, "recognised The Saucer")
	require.Equal(t, 1, strings.Count(second, `"record":true`))
	require.InDelta(t, best[1].Time, of("The Saucer").Lap, 0.02)
}

// However many courses are saved and whatever is broken among the best laps, a run starts: the courses that were driven last are looked for, as
// many as a recording has room for.
func TestManyCoursesAndBrokenBestsDoNotKeepTheDriverHome(t *testing.T) {
	dir, _ := drives(t)
	courses := filepath.Join(dir, "courses")
	log := filepath.Join(dir, "0")
	ran(t, "replay", filepath.Join(log, "samples.csv"), "--feed", filepath.Join(log, "feed.yaml"), "--courses", courses, "--keep-bests")
	all, wrong := store.List(courses)
	require.Empty(t, wrong)
	require.Len(t, all, 1)
	text, err := os.ReadFile(all[0].Path)
	require.NoError(t, err)
	for i := range 3 {
		path := filepath.Join(courses, fmt.Sprintf("more-%d.json", i))
		require.NoError(t, os.WriteFile(path, bytes.Replace(text, []byte(all[0].Name), []byte(fmt.Sprintf("More %d", i)), 1), 0o644))
		old := time.Now().Add(-time.Duration(i+1) * time.Hour)
		require.NoError(t, os.Chtimes(path, old, old))
	}
	all, wrong = store.List(courses)
	require.Empty(t, wrong)
	list, left := newest(all, 3*(len(text)+10))
	require.Equal(t, 1, left)
	var names []string
	for _, k := range list {
		names = append(names, k.Name)
	}
	require.NotContains(t, names, "More 2", "the one that was not driven for longest")
	require.Contains(t, names, "More 0")

	files, err := filepath.Glob(filepath.Join(dir, "state", "earshot", "bests", "*.json"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	require.NoError(t, os.WriteFile(files[0], []byte("{"), 0o644))
	l, err := load(Config{Feed: filepath.Join(log, "feed.yaml"), Car: "demo", Voice: "clear"})
	require.NoError(t, err)
	var told []string
	_, err = withCourses(Config{Courses: courses}, l, func(s string) { told = append(told, s) })
	require.NoError(t, err)
	require.Len(t, told, 1)
	require.Contains(t, told[0], "the best laps so far: "+files[0])
	kept, err := os.ReadFile(files[0])
	require.NoError(t, err)
	require.Equal(t, "{", string(kept))
}
