package session

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestStateDir(t *testing.T) {
	home := func() (string, error) { return "/home/d", nil }
	env := func(set map[string]string) func(string) string { return func(k string) string { return set[k] } }
	for _, tt := range []struct {
		goos string
		env  map[string]string
		want string
	}{
		{"linux", nil, "/home/d/.local/state/earshot"},
		{"linux", map[string]string{"XDG_STATE_HOME": "/s"}, "/s/earshot"},
		{"linux", map[string]string{"XDG_STATE_HOME": "s"}, "/home/d/.local/state/earshot"},
		{"darwin", nil, "/home/d/Library/Application Support/earshot"},
	} {
		got, err := stateDir(tt.goos, env(tt.env), home)
		require.NoError(t, err)
		require.Equal(t, filepath.FromSlash(tt.want), got)
	}
	_, err := stateDir("linux", env(nil), func() (string, error) { return "", errors.New("no home") })
	require.ErrorContains(t, err, "no home")
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
