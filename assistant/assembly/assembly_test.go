package assembly

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
)

// write makes the files of a user in a folder of the test's own, which is also his configuration folder.
func write(t *testing.T, files map[string]string) (dir string) {
	t.Helper()
	dir = t.TempDir()
	for _, v := range []string{"XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"} {
		t.Setenv(v, filepath.Join(dir, v))
	}
	t.Setenv("DISPLAY", "")
	for name, text := range files {
		path := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	}
	return dir
}

const table = `name: table
%s
transport: {kind: file, path: %s}
codec: csv
channels:
  time: {column: t, unit: s}
  speed: {column: v, unit: m/s}
  tyre_carcass_temperature_fl: {column: a, unit: °C}
  tyre_carcass_temperature_fr: {column: a, unit: °C}
  tyre_carcass_temperature_rl: {column: a, unit: °C}
  tyre_carcass_temperature_rr: {column: a, unit: °C}
`

// A program that is no command line builds, runs and replays: what was recorded replays alone to the same bytes, also
// after the files are gone, and with what Over names in the place of its own.
func TestBuildRunReplay(t *testing.T) {
	samples := "t,v,a\n"
	for i := range 300 {
		samples += fmt.Sprintf("%.1f,40,130\n", float64(i)/10)
	}
	dir := write(t, map[string]string{"hot.csv": samples, "mine.yaml": "name: Mine\nbaseline: gt\n",
		"rules.yaml": "rules: [{name: too-hot, when: tyre_carcass_temperature_fl > tyre_overheat, say: Too hot.}]\n"})
	feed := filepath.Join(dir, "feed.yaml")
	require.NoError(t, os.WriteFile(feed, fmt.Appendf(nil, table, "car: ./mine.yaml", filepath.Join(dir, "hot.csv")), 0o644))
	cfg := Defaults()
	cfg.Feed, cfg.Device, cfg.DataDir, cfg.Rules = feed, "silent", filepath.Join(dir, "sessions"),
		[]string{filepath.Join(dir, "rules.yaml")}
	var told []string
	p, err := Build(Request{Config: cfg, Saved: true, Tell: func(s string) { told = append(told, s) }})
	require.NoError(t, err)
	require.Equal(t, "Mine", p.Car.Name, "the feed file names its car")
	require.Empty(t, p.CarNote())
	var live bytes.Buffer
	require.NoError(t, p.Run(t.Context(), JournalTo(&live)))
	require.Contains(t, live.String(), `"rule":"too-hot"`)
	require.Contains(t, strings.Join(told, "\n"), "has ended")

	found, err := cfg.FindJournal("last")
	require.NoError(t, err)
	kept, err := os.ReadFile(found.Journal)
	require.NoError(t, err)
	require.Equal(t, live.String(), string(kept))
	for _, name := range []string{feed, filepath.Join(dir, "mine.yaml"), filepath.Join(dir, "hot.csv")} {
		require.NoError(t, os.Remove(name))
	}
	replay := func(r Request) string {
		d, err := Open(t.Context(), r, []string{filepath.Join(filepath.Dir(found.Journal), "recording.mcap")})
		require.NoError(t, err)
		var b bytes.Buffer
		_, err = d.Replay(t.Context(), Playback{Sinks: []assistant.Sink{JournalTo(&b)}})
		require.NoError(t, err)
		require.NoError(t, d.Close())
		return b.String()
	}
	require.Equal(t, live.String(), replay(Request{Config: Defaults()}))
	cfg.Car = None
	require.NotContains(t, replay(Request{Config: cfg, Over: []string{"car"}}), "too-hot", "no limit is assumed")
}

// All mistakes are told at once: those of files that cannot be read, and those in files.
func TestBuildTellsEveryMistake(t *testing.T) {
	dir := write(t, map[string]string{"feed.yaml": "name: x\ncodec: csv\n", "car.yaml": "wheelbase: 3\n", "course.yaml": "line: 7\n"})
	cfg := Defaults()
	cfg.Feed, cfg.Car, cfg.Course = filepath.Join(dir, "feed.yaml"), filepath.Join(dir, "car.yaml"), filepath.Join(dir, "course.yaml")
	cfg.Voice = "tenor"
	_, err := Build(Request{Config: cfg})
	for _, want := range []string{"feed.yaml:1:1", "car.yaml:1:12", "course.yaml:1:7", `there is no voice "tenor"`} {
		require.ErrorContains(t, err, want)
	}
}
