package assembly

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/course"
	"earshot/assistant/course/store"
	"earshot/assistant/health"
	"earshot/assistant/timing"
)

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
	cfg := Defaults()
	cfg.Bests = filepath.Join(t.TempDir(), "bests")
	p, err := Build(Request{Config: cfg})
	require.NoError(t, err)
	require.NotNil(t, p.Bests)
	keep := func(course string) {
		var a assistant.Assistant
		end := p.keep(&a, true, func(_ health.Part, err error) { require.NoError(t, err) })
		fast := &timing.Bests{Version: timing.BestsVersion, Course: course, Compounds: map[string]*timing.Best{"hard": {Lap: 60}}}
		require.NoError(t, a.Sinks[0].Take(assistant.Step{Out: &assistant.Output{Bests: fast}}))
		end()
	}
	keep("")
	require.NoDirExists(t, cfg.Bests, "a course without a name has no bests")
	keep("Mill")
	b, err := readBests(bestsPath(cfg.Bests, "Mill", p.Car.Name), "Mill", p.Car.Name)
	require.NoError(t, err)
	require.InDelta(t, 60, b.Compounds["hard"].Lap, 1e-9)

	cfg.Bests = None
	p, err = Build(Request{Config: cfg})
	require.NoError(t, err)
	require.Nil(t, p.Bests)
}

// Of more courses than a recording has room for, those that were driven last are looked for.
func TestNewestCoursesAreLookedFor(t *testing.T) {
	dir := t.TempDir()
	text := []byte(`{"version":1}`)
	var all []store.Entry
	for i, name := range []string{"oldest", "newest", "middle"} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, text, 0o644))
		at := time.Now().Add(-[]time.Duration{3, 1, 2}[i] * time.Hour)
		require.NoError(t, os.Chtimes(path, at, at))
		all = append(all, store.Entry{Known: &course.Known{Name: name}, Path: path})
	}
	list, left := newest(all, 2)
	require.Equal(t, 1, left)
	require.Equal(t, []string{"newest", "middle"}, []string{list[0].Name, list[1].Name})
}
