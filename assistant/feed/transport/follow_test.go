package transport

import (
	"bytes"
	"compress/gzip"
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func appendTo(t *testing.T, path, text string) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	require.NoError(t, err)
	write(t, f, text)
	require.NoError(t, f.Close())
}

// A file that another program writes, shortens and replaces, as loggers do.
func TestFollow(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.csv")
	h := listenTo(t, Spec{Kind: File, Path: path, Follow: true})
	h.state(false, "there is no file "+path+"; waiting for it")
	appendTo(t, path, "time,speed\n1,")
	h.wants("time,speed\n1,")
	h.state(true, "following")
	appendTo(t, path, "20\n")
	h.wants("20\n")
	big := bytes.Repeat([]byte("2,30\n"), 100_000) // more than a piece
	appendTo(t, path, string(big))
	h.wants(string(big))

	require.NoError(t, os.Truncate(path, 0))
	h.state(true, "was shortened; reading it from its beginning")
	appendTo(t, path, "new\n")
	h.wants("GAPnew\n")

	// Replaced in one step, with the last line of the old one not read yet.
	old, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	defer old.Close()
	next := path + ".next"
	appendTo(t, next, "replaced\n")
	write(t, old, "last\n")
	if err := os.Rename(next, path); err != nil {
		t.Skip("this system does not replace a file that is open:", err)
	}
	h.wants("last\nGAPreplaced\n")
	h.state(true, "was replaced; following the new file")

	// Away for a while; what is appended under the old name's file still comes.
	require.NoError(t, os.Rename(path, path+".1"))
	h.state(false, "waiting for it")
	appendTo(t, path+".1", "rest\n")
	h.wants("rest\n")
	require.NoError(t, os.Rename(path+".1", path))
	h.state(true, "is back")
	appendTo(t, path, "on\n")
	h.wants("on\n")
	require.EqualValues(t, 2, h.s.Stats().Reconnects)
}

// What stood there before was not seen arriving; what is appended was.
func TestArrivalOfWhatIsFollowed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.csv")
	appendTo(t, path, "old\n")
	s, err := Open(t.Context(), Spec{Kind: File, Path: path, Follow: true})
	require.NoError(t, err)
	defer s.Close()
	_, arrived, err := s.Next(t.Context())
	require.NoError(t, err)
	require.True(t, math.IsNaN(arrived))
	for !s.(*follower).caught { // its end has been seen
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Millisecond)
		_, _, err = s.Next(ctx)
		require.ErrorIs(t, err, context.DeadlineExceeded)
		cancel()
	}
	appendTo(t, path, "new\n")
	p, arrived, err := s.Next(t.Context())
	require.NoError(t, err)
	require.Equal(t, "new\n", string(p))
	require.GreaterOrEqual(t, arrived, 0.0)
}

func TestWhatCannotBeFollowed(t *testing.T) {
	dir := t.TempDir()
	var z bytes.Buffer
	g := gzip.NewWriter(&z)
	require.NoError(t, g.Close())
	require.NoError(t, os.WriteFile(filepath.Join(dir, "z"), z.Bytes(), 0o600))
	for path, msg := range map[string]string{dir: "this is a directory", filepath.Join(dir, "z"): "a compressed file cannot be followed", filepath.Join(dir, "none", "x"): "there is no such folder", "": "no path is given"} {
		_, err := Open(t.Context(), Spec{Kind: File, Path: path, Follow: true})
		require.ErrorIs(t, err, ErrUnavailable)
		require.ErrorContains(t, err, msg)
		require.ErrorContains(t, err, "hint:")
	}
	// One that turns out to be compressed later ends with an error, not with nonsense.
	path := filepath.Join(dir, "later")
	appendTo(t, path, "")
	s, err := Open(t.Context(), Spec{Kind: File, Path: path, Follow: true})
	require.NoError(t, err)
	defer s.Close()
	require.NoError(t, os.WriteFile(path, z.Bytes(), 0o600))
	_, _, err = s.Next(t.Context())
	require.ErrorIs(t, err, errCompressed)
}
