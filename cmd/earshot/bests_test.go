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
	"earshot/assistant/assembly"
	"earshot/assistant/course/store"
	"earshot/assistant/demo"
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

func logConfig(dir string, i int) assembly.Config {
	return assembly.Config{Feed: filepath.Join(dir, fmt.Sprint(i), "feed.yaml"), Car: "demo", Course: filepath.Join(dir, "saucer.yaml"),
		Voice: "clear"}
}

// recordingInputs records what it gives, as a live run does.
type recordingInputs struct {
	assistant.Inputs
	record func(assistant.Input) error
}

func (r recordingInputs) Next() (assistant.Input, error) {
	in, err := r.Inputs.Next()
	if err == nil {
		err = r.record(in)
	}
	return in, err
}

// recordLog replays the log of a drive into a recording and returns the journal.
func recordLog(t *testing.T, dir string, i int, recording string, head journal.Session, keep bool) string {
	t.Helper()
	d, err := assembly.Open(t.Context(), assembly.Request{Config: logConfig(dir, i)},
		[]string{filepath.Join(dir, fmt.Sprint(i), "samples.csv")})
	require.NoError(t, err)
	recorder, err := session.NewRecorder(recording, d.Recorded(head.ID), session.Options{Wait: true})
	require.NoError(t, err)
	record := func(in assistant.Input) error { return assistant.Record(recorder, in) }
	require.NoError(t, record(assistant.Input{Kind: assistant.KindStart, Session: &head}))
	d.Head, d.Inputs = head, recordingInputs{d.Inputs, record}
	var b bytes.Buffer
	_, err = d.Replay(t.Context(), assembly.Playback{Sinks: []assistant.Sink{assembly.JournalTo(&b)}, KeepBests: keep})
	require.NoError(t, err)
	require.NoError(t, d.Close())
	require.NoError(t, recorder.Close())
	return b.String()
}

func logArgs(dir string, i int, more ...string) []string {
	one := filepath.Join(dir, fmt.Sprint(i))
	return append([]string{"replay", filepath.Join(one, "samples.csv"), "--feed", filepath.Join(one, "feed.yaml"), "--course",
		filepath.Join(dir, "saucer.yaml")}, more...)
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
	recording := filepath.Join(dir, "second.mcap")
	live := recordLog(t, dir, 1, recording, journal.Session{ID: "second", Feed: "x", Started: "2026-05-12T09:00:00Z"}, true)
	require.Equal(t, 1, strings.Count(live, `"record":true`))
	now, err := os.ReadFile(file)
	require.NoError(t, err)
	b, err = timing.ParseBests(now)
	require.NoError(t, err)
	require.InDelta(t, best[1].Time, b.Compounds["hard"].Lap, 0.01)
	require.Equal(t, "second", b.Compounds["hard"].Session)
	require.Equal(t, "2026-05-12T09:00:00Z", b.Compounds["hard"].Set)

	again := ran(t, "replay", recording)
	require.Equal(t, live, again, "the record is still one: the bests of that day travel with the recording")
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
	require.Equal(t, 0, Main(logArgs(dir, 1, "--keep-bests"), nil, &stdout, &stderr), "no reason not to drive")
	require.Contains(t, stderr.String(), files[0])
	require.Contains(t, stderr.String(), "mend or remove the file")
	require.Contains(t, stdout.String(), `"kind":"lap"`)
	left, err := os.ReadFile(files[0])
	require.NoError(t, err)
	require.Equal(t, "{", string(left))
}

// A lap of an earlier session is driven again from its recording and compared with at equal distance.
func TestReferenceLap(t *testing.T) {
	dir, best := drives(t)
	recording := filepath.Join(dir, "first.mcap")
	recordLog(t, dir, 0, recording, journal.Session{ID: "first", Feed: "x"}, false)

	cfg := logConfig(dir, 0)
	cfg.Reference = recording
	l, err := assembly.Build(assembly.Request{Config: cfg})
	require.NoError(t, err)
	require.InDelta(t, best[0].Time, l.Bests.Reference.Time, 0.01, "the best lap, where none is named")
	cfg.Reference = recording + ":1"
	l, err = assembly.Build(assembly.Request{Config: cfg})
	require.NoError(t, err)
	require.Greater(t, l.Bests.Reference.Time, best[0].Time+0.5)
	found := false
	for _, f := range l.Recorded("").Files {
		found = found || f.Kind == session.BestsFile && strings.Contains(string(f.Data), `"reference"`)
	}
	require.True(t, found, "it travels with the recording")
	for _, wrong := range []string{recording + ":99", filepath.Join(dir, "nowhere.mcap")} {
		var stdout, stderr bytes.Buffer
		require.Equal(t, 1, Main(logArgs(dir, 1, "--reference", wrong), nil, &stdout, &stderr))
		require.Contains(t, stderr.String(), "the lap to compare with, "+wrong+": ")
	}
	// A replay of the recording may be compared with another lap than its own.
	require.Contains(t, ran(t, "replay", recording, "--reference", recording+":2"), `"kind":"lap"`)
}

// Without a course file the best laps go with the saved course: kept under its name in the session that learns it,
// beaten in the next, which recognises it, and found again after it has been given another name.
func TestBestsOfARecognisedCourse(t *testing.T) {
	dir, best := drives(t)
	kept, courses := filepath.Join(dir, "state", "earshot", "bests"), filepath.Join(dir, "courses")
	drive := func(i int) string {
		one := filepath.Join(dir, fmt.Sprint(i))
		return ran(t, "replay", filepath.Join(one, "samples.csv"), "--feed", filepath.Join(one, "feed.yaml"), "--courses", courses,
			"--keep-bests")
	}
	of := func(name string) *timing.Best {
		files, err := filepath.Glob(filepath.Join(kept, "*.json"))
		require.NoError(t, err)
		for _, path := range files {
			data, err := os.ReadFile(path)
			require.NoError(t, err)
			b, err := timing.ParseBests(data)
			require.NoError(t, err)
			if b.Course == name {
				require.NotNil(t, b.Compounds["hard"], name)
				return b.Compounds["hard"]
			}
		}
		t.Fatalf("no best laps are kept of %s", name)
		return nil
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

// However many courses are saved and whatever is broken among the best laps, a run starts: the courses that were driven
// last are looked for, as many as a recording has room for.
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
	_, wrong = store.List(courses)
	require.Empty(t, wrong)
	files, err := filepath.Glob(filepath.Join(dir, "state", "earshot", "bests", "*.json"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	require.NoError(t, os.WriteFile(files[0], []byte("{"), 0o644))
	cfg := logConfig(dir, 0)
	cfg.Course, cfg.Courses = "", courses
	var told []string
	_, err = assembly.Build(assembly.Request{Config: cfg, Saved: true, Tell: func(s string) { told = append(told, s) }})
	require.NoError(t, err)
	require.Len(t, told, 1)
	require.Contains(t, told[0], "the best laps so far: "+files[0])
	kept, err := os.ReadFile(files[0])
	require.NoError(t, err)
	require.Equal(t, "{", string(kept))
}
