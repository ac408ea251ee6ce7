package session

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func write(t *testing.T, d *Dir, journal string) {
	t.Helper()
	require.NoError(t, os.WriteFile(d.Journal(), []byte(journal), 0o644))
}

func TestCreateListFind(t *testing.T) {
	root := filepath.Join(t.TempDir(), "sessions")
	list, err := List(root)
	require.NoError(t, err)
	require.Empty(t, list)
	_, err = Find(root, "last")
	require.ErrorIs(t, err, ErrNoSession)

	files := []File{{FeedFile, "bench.yaml", []byte("transport: udp\n")}, {RulesFile, "a.yaml", []byte("rules: []\n")}, {RulesFile, "b.yaml", nil}}
	start := time.Date(2026, 5, 12, 14, 30, 12, 0, time.FixedZone("", 7200))
	first, err := Create(root, Manifest{Started: start.Format(time.RFC3339), Feed: "bench", Car: "Tern"}, files)
	require.NoError(t, err)
	require.Equal(t, "20260512-143012", first.Manifest.ID)
	write(t, first, `{"t":0,"kind":"session","id":"x"}
{"t":100,"kind":"lap","lap":1,"number":1}
{"t":150,"kind":"mark","lap":2,"number":1,"memo":"says \",\"kind\":\"lap\" to fool a counter"}
{"t":200,"kind":"lap","lap":2,"number":2}
`)
	again, err := Create(root, Manifest{Started: start.Format(time.RFC3339)}, nil)
	require.NoError(t, err)
	require.Equal(t, "20260512-143012-2", again.Manifest.ID, "two starts in one second are two sessions")
	later, err := Create(root, Manifest{ID: "wet-day", Started: "2026-05-13T09:00:00Z"}, nil)
	require.NoError(t, err)
	_, err = Create(root, Manifest{ID: "wet-day"}, nil)
	require.ErrorIs(t, err, ErrExists)
	require.NoError(t, os.MkdirAll(filepath.Join(root, "holiday pictures"), 0o755)) // not a session
	require.NoError(t, os.WriteFile(filepath.Join(root, "notes.txt"), nil, 0o644))

	list, err = List(root)
	require.NoError(t, err)
	require.Len(t, list, 3)
	require.Equal(t, []string{"wet-day", "20260512-143012-2", "20260512-143012"}, []string{list[0].Dir.Manifest.ID, list[1].Dir.Manifest.ID, list[2].Dir.Manifest.ID})
	require.Equal(t, 2, list[2].Laps)
	require.True(t, start.Equal(list[2].Started))
	require.Equal(t, "bench", list[2].Dir.Manifest.Feed)
	require.Equal(t, "Tern", list[2].Dir.Manifest.Car)

	for ref, want := range map[string]*Dir{"last": later, "wet": later, "20260512-143012": first, "20260512-143012-2": again, first.Path + "/": first} {
		got, err := Find(root, ref)
		require.NoError(t, err, ref)
		require.Equal(t, want.Manifest.ID, got.Manifest.ID, ref)
	}
	_, err = Find(root, "2026")
	require.ErrorContains(t, err, `"2026" is the beginning of 2 sessions: 20260512-143012-2, 20260512-143012`)
	_, err = Find(root, "1999")
	require.ErrorContains(t, err, `"1999"; the newest is wet-day`)
	_, err = Find(root, "")
	require.ErrorIs(t, err, ErrNoSession)
	_, err = Find(root, "./elsewhere")
	require.ErrorIs(t, err, ErrNoSession)

	got, err := Find(root, "20260512-143012")
	require.NoError(t, err)
	kept, err := got.Files()
	require.NoError(t, err)
	require.Len(t, kept, 3)
	for i, f := range kept {
		require.Equal(t, files[i].Kind+"/"+files[i].Name+string(files[i].Data), f.Kind+"/"+f.Name+string(f.Data))
	}
}

// A folder whose manifest was lost is still listed, because its journal is worth reading.
func TestManifestLost(t *testing.T) {
	root := t.TempDir()
	d, err := Create(root, Manifest{ID: "a", Started: "2026-05-12T14:30:12Z"}, nil)
	require.NoError(t, err)
	write(t, d, `{"t":100,"kind":"lap","lap":1,"number":1}`)
	require.NoError(t, os.WriteFile(filepath.Join(d.Path, manifestName), []byte(`{"id":`), 0o644))
	list, err := List(root)
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.Contains(t, list[0].Problem, "manifest")
	require.Equal(t, 1, list[0].Laps)
}

// A manifest from elsewhere must not make the program read files outside the session.
func TestFilesStayInside(t *testing.T) {
	root := t.TempDir()
	d, err := Create(root, Manifest{ID: "a"}, nil)
	require.NoError(t, err)
	d.Manifest.Files = []string{"inputs/feed/../../../secret", "../secret", "inputs/feed/..", "inputs/keys/id", "inputs/feed/gone.yaml"}
	files, err := d.Files()
	require.Empty(t, files)
	require.ErrorContains(t, err, "../secret")
	require.ErrorIs(t, err, os.ErrNotExist)
}

func TestCreateRefuses(t *testing.T) {
	root := t.TempDir()
	for _, id := range []string{"../up", ".hidden", "a b", "last", "con\n", "-flag", "dot."} {
		_, err := Create(root, Manifest{ID: id}, nil)
		require.ErrorContains(t, err, "session id", id)
	}
	_, err := Create(root, Manifest{}, nil)
	require.ErrorContains(t, err, "neither an id nor a start")
	_, err = Create(root, Manifest{ID: "a"}, []File{{"keys", "x", nil}, {FeedFile, "../x", nil}, {CarFile, "t.yaml", nil}, {CarFile, "T.yaml", nil}})
	require.ErrorContains(t, err, `"keys" is not`)
	require.ErrorContains(t, err, "not a plain file name")
	require.ErrorContains(t, err, `two are called "T.yaml"`)
	entries, err := os.ReadDir(root)
	require.NoError(t, err)
	require.Empty(t, entries, "what is refused leaves nothing behind")
}
