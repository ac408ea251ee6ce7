package main

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/journal"
	"earshot/assistant/opendata"
)

// splitOval writes the measured log of a race car as two tables: positions at 12.5 Hz with a clock that begins at 1000
// s, and all the rest at 25 Hz in Unix time. From hush seconds on the positions are missing for ten.
func splitOval(t *testing.T, hush float64) (positions, rest string) {
	t.Helper()
	f, err := os.Open(filepath.Join(opendata.Path(t, ""), "racecar-oval-25hz", "LVMS_23_01_04_B.csv.gz"))
	require.NoError(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	var a, b bytes.Buffer
	a.WriteString("clock,x,y,phi\n")
	lines, first := bufio.NewScanner(z), 0.0
	for i := 0; lines.Scan(); i++ {
		cells := strings.Split(strings.TrimPrefix(lines.Text(), "# "), ",")
		fmt.Fprintln(&b, strings.Join(append([]string{cells[0]}, append(cells[3:5:5], cells[6:]...)...), ","))
		if i%2 == 0 {
			continue
		}
		at, err := strconv.ParseFloat(cells[0], 64)
		require.NoError(t, err)
		if i == 1 {
			first = at
		}
		if at -= first; hush == 0 || at < hush || at >= hush+10 {
			fmt.Fprintf(&a, "%.9f,%s,%s,%s\n", at+1000, cells[1], cells[2], cells[5])
		}
	}
	require.NoError(t, lines.Err())
	dir := t.TempDir()
	positions, rest = filepath.Join(dir, "positions.csv"), filepath.Join(dir, "rest.csv")
	require.NoError(t, os.WriteFile(positions, a.Bytes(), 0o600))
	require.NoError(t, os.WriteFile(rest, b.Bytes(), 0o600))
	return positions, rest
}

func replaySplit(t *testing.T, hush float64) []journal.Event {
	t.Helper()
	positions, rest := splitOval(t, hush)
	own := filepath.Join(projectRoot(t), "testdata")
	var stdout, stderr bytes.Buffer
	code := Main([]string{"replay", "gps=" + positions, "car=" + rest,
		"--feed", filepath.Join(own, "feeds", "racecar-oval-split.yaml"),
		"--course", filepath.Join(own, "courses", "racecar-oval.yaml"),
		"--car", filepath.Join(own, "cars", "racecar-oval.yaml"),
	}, nil, &stdout, &stderr)
	require.Equal(t, 0, code, stderr.String())
	events, err := journal.Read(&stdout)
	require.NoError(t, err)
	return events
}

// The truth is that of the data's own description (open-data, SOURCES.md): two full laps of 133.634 s and 137.420 s.
// The line is crossed between positions that come half as often as everything else.
func TestTwoSourcesGiveTheSameLaps(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	events := replaySplit(t, 0)
	var full []*journal.Lap
	for _, l := range bodies[*journal.Lap](events) {
		if l.Number >= 1 {
			full = append(full, l)
		}
	}
	require.Len(t, full, 2)
	for i, want := range []float64{133.634, 137.420} {
		t.Logf("lap %d: %.3f s, published %.3f s", i+1, float64(full[i].Time), want)
		require.InDelta(t, want, float64(full[i].Time), 0.02)
	}
	require.Empty(t, bodies[*journal.Health](events), "nothing is wrong with the log")
}

// One source falls silent while the other goes on: told once by name, and once when it is back.
func TestASilentSourceIsToldByName(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	var told []string
	for _, e := range replaySplit(t, 200) {
		if h, ok := e.Body.(*journal.Health); ok {
			told = append(told, fmt.Sprintf("%.0f %s %s", e.T, h.Part, h.State))
		}
	}
	require.Equal(t, []string{"202 source gps lost", "210 source gps ok"}, told)
}

func TestReplayNeedsAFileForEverySource(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	split := filepath.Join(projectRoot(t), "testdata", "feeds", "racecar-oval-split.yaml")
	for _, tt := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"x.csv", "--feed", split}, 2, "x.csv: the feed has several sources: write NAME=FILE"},
		{[]string{"gps=x.csv", "radar=x.csv", "--feed", split}, 1, `the feed has no source "radar"`},
		{[]string{"gps=nowhere.csv", "car=nowhere.csv", "--feed", split}, 1, "source gps: file nowhere.csv: there is no such file"},
		{[]string{"gps=x.csv", "--feed", split}, 2, "the feed's source car has no file of its own: name one, car=FILE"},
		{[]string{"a.csv", "b.csv"}, 2, "the feed has one source, and 2 files are given"},
		{[]string{"a.mcap", "b.csv"}, 2, "a recording is replayed alone"},
	} {
		var stdout, stderr bytes.Buffer
		require.Equal(t, tt.code, Main(append([]string{"replay"}, tt.args...), nil, &stdout, &stderr), tt.args)
		require.Contains(t, stderr.String(), tt.want)
	}
}
