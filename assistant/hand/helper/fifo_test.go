//go:build unix

package helper

import (
	"context"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"earshot/assistant/hand"

	"github.com/stretchr/testify/require"
)

func TestFIFO(t *testing.T) {
	path := filepath.Join(t.TempDir(), "presses")
	require.NoError(t, syscall.Mkfifo(path, 0o600))
	lines, done := make(chan hand.Line, 10), make(chan error, 1)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	go func() { done <- ReadFIFO(ctx, path, []string{"button3"}, func(l hand.Line) { lines <- l }) }()
	get := func() hand.Line {
		t.Helper()
		select {
		case l := <-lines:
			return l
		case <-time.After(10 * time.Second):
			require.FailNow(t, "nothing came")
			return hand.Line{}
		}
	}
	for range 2 { // one writer after the other, as with echo in a shell
		w, err := os.OpenFile(path, os.O_WRONLY, 0)
		require.NoError(t, err)
		_, err = w.WriteString("press button3\nrelease button3\n")
		require.NoError(t, err)
		require.NoError(t, w.Close())
		require.Equal(t, hand.Line{Kind: hand.Pressed, Key: "button3"}, get())
		require.Equal(t, hand.Line{Kind: hand.Released, Key: "button3"}, get())
	}
	cancel()
	select {
	case err := <-done:
		require.NoError(t, err)
	case <-time.After(10 * time.Second):
		require.FailNow(t, "it does not end")
	}
}

func TestFIFORefuses(t *testing.T) {
	file := filepath.Join(t.TempDir(), "plain")
	require.ErrorContains(t, ReadFIFO(t.Context(), file, nil, nil), "make it with mkfifo")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	require.ErrorContains(t, ReadFIFO(t.Context(), file, nil, nil), "is no named pipe")
}
