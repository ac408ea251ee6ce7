//go:build unix

package folder

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// What never begins or never ends is refused, as is what is too long; each by its name.
func TestReadOnlyPlainFiles(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "a.yaml"), []byte("four"), 0o600))
	require.NoError(t, syscall.Mkfifo(filepath.Join(dir, "pipe.yaml"), 0o600))
	require.NoError(t, os.Symlink("/dev/zero", filepath.Join(dir, "zero.yaml")))
	data, err := Read(os.DirFS(dir), "a.yaml", 4)
	require.NoError(t, err)
	require.Equal(t, "four", string(data))
	_, err = Read(os.DirFS(dir), "a.yaml", 3)
	require.ErrorContains(t, err, "a.yaml has more than")
	for _, name := range []string{"pipe.yaml", "zero.yaml"} {
		_, err = Read(os.DirFS(dir), name, 4)
		require.ErrorContains(t, err, name+" is no plain file")
	}
	_, err = Read(os.DirFS(dir), "none.yaml", 4)
	require.ErrorIs(t, err, os.ErrNotExist)
}
