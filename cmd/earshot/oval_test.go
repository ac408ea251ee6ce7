package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/journal"
	"earshot/assistant/opendata"
	"earshot/audio"
	"earshot/audio/spoken"
	"earshot/audio/voice"
)

// replayOval replays the measured log of a race car on an oval (open-data, SOURCES.md) as a user would.
func replayOval(t *testing.T) (events []journal.Event, heard audio.Clip) {
	t.Helper()
	log := filepath.Join(opendata.Path(t, ""), "racecar-oval-25hz", "LVMS_23_01_04_B.csv.gz")
	dir := t.TempDir()
	own := filepath.Join(projectRoot(t), "testdata")
	var stdout, stderr bytes.Buffer
	code := Main([]string{"replay", log,
		"--feed", filepath.Join(own, "feeds", "racecar-oval.yaml"),
		"--course", filepath.Join(own, "courses", "racecar-oval.yaml"),
		"--car", filepath.Join(own, "cars", "racecar-oval.yaml"),
		"--journal", filepath.Join(dir, "j.jsonl"), "--audio", filepath.Join(dir, "w.wav"),
	}, nil, &stdout, &stderr)
	require.Equal(t, 0, code, stderr.String())
	f, err := os.Open(filepath.Join(dir, "j.jsonl"))
	require.NoError(t, err)
	defer f.Close()
	events, err = journal.Read(f)
	require.NoError(t, err)
	heard, err = readWAV(filepath.Join(dir, "w.wav"))
	require.NoError(t, err)
	return events, heard
}

func bodies[B journal.Body](events []journal.Event) (found []B) {
	for _, e := range events {
		if b, ok := e.Body.(B); ok {
			found = append(found, b)
		}
	}
	return found
}

// The truth is that of the data's own description: two full laps of 133.634 s and 137.420 s over 2442.9 m and
// 2443.3 m, a stop on the course inside a lap, a steering offset that is no understeer.
func TestReplayOfMeasuredOval(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	events, heard := replayOval(t)

	laps := bodies[*journal.Lap](events)
	var full []*journal.Lap
	for _, l := range laps {
		if l.Number >= 1 {
			full = append(full, l)
		}
	}
	require.Len(t, full, 2, "the gate is crossed three times, so there are two full laps")
	for i, want := range []struct{ time, length float64 }{{133.634, 2442.9}, {137.420, 2443.3}} {
		require.InDelta(t, want.time, float64(full[i].Time), 0.02)
		require.InEpsilon(t, want.length, float64(full[i].Length), 0.003)
	}

	var starts, ends int
	var stopped float64
	for _, e := range events {
		if s, ok := e.Body.(*journal.Stint); ok {
			if s.Event == "start" {
				starts++
			} else {
				ends++
				stopped = e.T
			}
		}
	}
	require.Equal(t, 1, starts, "the stop on the course is no new stint")
	require.Equal(t, 1, ends)
	require.Greater(t, stopped, 600.0, "the stint ends with the log, not with the stop at 430 s")

	for _, h := range bodies[*journal.Health](events) {
		require.NotEqual(t, "course", h.Part, "the log is driven as its course file says")
	}
	for _, c := range bodies[*journal.Corner](events) {
		for _, f := range c.Repeated {
			require.NotEqual(t, journal.Understeer, f.Kind, "the offset of the steering is no understeer")
		}
	}
	for _, c := range bodies[*journal.Cue](events) {
		require.NotContains(t, strings.ToLower(c.Text), "understeer")
	}

	// The lap times are heard, by a recogniser that knows nothing of the journal: each cue's stretch of the sound is
	// matched against the time that was driven among near misses.
	var clips []audio.Clip
	var want []string
	for _, c := range bodies[*journal.Cue](events) {
		if c.Verdict == "said" && (c.Rule == "lap-time" || c.Rule == "personal-best") {
			clips = append(clips, cut(heard, float64(c.Start)-0.1, float64(c.End)+0.3))
			want = append(want, voice.Normal(c.Text))
			require.Greater(t, clips[len(clips)-1].RMS(), 1e-3, "the cue %q is silent", c.Text)
		}
	}
	require.NotEmpty(t, want, "no lap time was said")
	spokenTimes := strings.Join(want, " / ")
	require.Contains(t, spokenTimes, voice.Normal(spoken.LapBrief(133.634)))
	require.Contains(t, spokenTimes, voice.Normal(spoken.LapBrief(137.420)))
	phrases := append([]string{}, want...)
	for _, near := range []float64{133.2, 133.9, 134.6, 137.9, 137.1, 136.4, 143.6, 123.6, 147.4, 127.4} {
		phrases = append(phrases, voice.Normal(spoken.LapBrief(near)))
	}
	require.Equal(t, want, recogniseAll(t, clips, phrases))
}
