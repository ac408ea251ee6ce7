package folder

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestFoldersFollowThePlatform(t *testing.T) {
	home := func() (string, error) { return filepath.FromSlash("/home/x"), nil }
	env := func(set map[string]string) func(string) string { return func(k string) string { return set[k] } }
	for _, tt := range []struct {
		goos, want string
		env        map[string]string
	}{
		{"linux", "/home/x/.local/state/earshot", nil},
		{"linux", "/s/earshot", map[string]string{"XDG_STATE_HOME": "/s", "XDG_DATA_HOME": "/d"}},
		{"linux", "/home/x/.local/state/earshot", map[string]string{"XDG_STATE_HOME": "not/absolute"}},
		{"darwin", "/home/x/Library/Application Support/earshot", map[string]string{"XDG_STATE_HOME": "/s"}},
		{"windows", "/local/earshot", map[string]string{"LocalAppData": "/local"}},
		{"windows", "/home/x/AppData/Local/earshot", nil},
	} {
		got, err := of(tt.goos, env(tt.env), home, "XDG_STATE_HOME", ".local/state")
		require.NoError(t, err)
		require.Equal(t, tt.want, filepath.ToSlash(got))
	}
	_, err := of("linux", env(nil), func() (string, error) { return "", errors.New("no home") }, "XDG_STATE_HOME", ".local/state")
	require.ErrorContains(t, err, "no home")
}

func TestDataAndStateAreApart(t *testing.T) {
	if os.PathSeparator != '/' {
		t.Skip("the variables are those of XDG")
	}
	t.Setenv("XDG_DATA_HOME", "/d")
	t.Setenv("XDG_STATE_HOME", "/s")
	t.Setenv("HOME", "/home/x")
	data, err := Data()
	require.NoError(t, err)
	state, err := State()
	require.NoError(t, err)
	if data != "/d/earshot" { // macOS has one place for both
		require.Equal(t, "/home/x/Library/Application Support/earshot", data)
		require.Equal(t, data, state)
		return
	}
	require.Equal(t, "/s/earshot", state)
}

func TestPlain(t *testing.T) {
	require.Equal(t, "mill-course-3-2", Plain("Mill Course 3.2!"))
	require.Empty(t, Plain("§§"))
}

func TestReplaceLeavesTheOldOrTheNew(t *testing.T) {
	path := filepath.Join(t.TempDir(), "deep", "bests.json")
	require.NoError(t, Replace(path, []byte("one")))
	require.NoError(t, Replace(path, []byte("two")))
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, "two", string(got))
	entries, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	require.Len(t, entries, 1, "nothing is left beside it")

	// What cannot be put in place leaves the old one and no litter.
	busy := filepath.Join(t.TempDir(), "busy")
	require.NoError(t, os.MkdirAll(filepath.Join(busy, "inside"), 0o755))
	require.ErrorContains(t, Replace(busy, []byte("x")), busy)
	entries, err = os.ReadDir(filepath.Dir(busy))
	require.NoError(t, err)
	require.Len(t, entries, 1)
}

func TestArgument(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the quotes are those of a POSIX shell")
	}
	for path, want := range map[string]string{
		"a/b-1.yaml": "a/b-1.yaml", "my drive/x": "'my drive/x'", "it's": `'it'\''s'`, "$HOME": "'$HOME'", "": "''", "Kurs Ä": "'Kurs Ä'",
	} {
		require.Equal(t, want, Argument(path))
	}
}
