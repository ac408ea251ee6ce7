package transport

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"io"
	"math"
	"net"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/klauspost/compress/zstd"
	"github.com/stretchr/testify/require"
)

func readAll(t *testing.T, s Source) ([]byte, error) {
	t.Helper()
	var all []byte
	for {
		p, _, err := s.Next(t.Context())
		if err == io.EOF {
			return all, nil
		}
		if err != nil {
			return all, err
		}
		require.NotEmpty(t, p)
		all = append(all, p...)
	}
}

// Plain, gzip and zstd are told apart by what is in them, under names that say something else.
func TestFiles(t *testing.T) {
	dir := t.TempDir()
	want := bytes.Repeat([]byte("0.1,2,3\n"), 50_000)
	var gz, zst bytes.Buffer
	g := gzip.NewWriter(&gz)
	_, err := g.Write(want)
	require.NoError(t, err)
	require.NoError(t, g.Close())
	z, err := zstd.NewWriter(&zst)
	require.NoError(t, err)
	_, err = z.Write(want)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	for name, data := range map[string][]byte{"plain.gz": want, "gzip.csv": gz.Bytes(), "zstd.txt": zst.Bytes(), "empty": {}} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, data, 0o600))
		s, err := Open(t.Context(), Spec{Kind: File, Path: path})
		require.NoError(t, err)
		got, err := readAll(t, s)
		require.NoError(t, err)
		if name == "empty" {
			require.Empty(t, got)
		} else {
			require.True(t, bytes.Equal(want, got), name)
		}
		require.NoError(t, s.Close())
	}
	// What is cut off is read as far as it goes, and the end is told.
	for name, data := range map[string][]byte{"cut.gz": gz.Bytes()[:gz.Len()-20], "cut.zst": zst.Bytes()[:zst.Len()-5]} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, data, 0o600))
		s, err := Open(t.Context(), Spec{Kind: File, Path: path})
		require.NoError(t, err)
		got, err := readAll(t, s)
		require.ErrorIs(t, err, io.ErrUnexpectedEOF)
		require.ErrorContains(t, err, "end early")
		require.True(t, bytes.HasPrefix(want, got))
		require.NoError(t, s.Close())
	}
	s, err := Open(t.Context(), Spec{Kind: File, Path: filepath.Join(dir, "plain.gz")})
	require.NoError(t, err)
	_, arrived, err := s.Next(t.Context())
	require.NoError(t, err)
	require.True(t, math.IsNaN(arrived), "nobody saw a file's records arrive")
	ctx, cancel := context.WithCancelCause(t.Context())
	cause := errors.New("enough")
	cancel(cause)
	_, _, err = s.Next(ctx)
	require.ErrorIs(t, err, cause)
	require.NoError(t, s.Close())
}

func TestErrorsOfOpen(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "bad"), []byte{0x1f, 0x8b, 0, 0, 0, 0, 0, 0, 0, 0, 0}, 0o600))
	busy, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	defer busy.Close()
	tests := []struct {
		spec Spec
		msg  string
		hint bool
		is   error
	}{
		{Spec{Kind: File, Path: filepath.Join(dir, "none")}, "there is no such file", true, os.ErrNotExist},
		{Spec{Kind: File, Path: dir}, "this is a directory", true, nil},
		{Spec{Kind: File}, "no path is given", true, nil},
		{Spec{Kind: File, Path: filepath.Join(dir, "bad")}, "begins like gzip and is not", false, nil},
		{Spec{Kind: UDP, Listen: busy.LocalAddr().String()}, "the port is in use by another program", true, syscall.EADDRINUSE},
		{Spec{Kind: UDP, Listen: "192.0.2.1:0"}, "this machine does not have that address", true, syscall.EADDRNOTAVAIL}, // TEST-NET-1 of RFC 5737
		{Spec{Kind: UDP, Listen: "x"}, "is not an address", false, nil},
		{Spec{Kind: "pigeon"}, `unknown kind "pigeon"`, true, nil},
	}
	for _, tt := range tests {
		_, err := Open(t.Context(), tt.spec)
		require.ErrorIs(t, err, ErrUnavailable)
		var e *Error
		require.ErrorAs(t, err, &e)
		require.Contains(t, e.Msg, tt.msg)
		require.Equal(t, tt.hint, e.Hint != "")
		require.Contains(t, err.Error(), e.What)
		if tt.is != nil {
			require.ErrorIs(t, err, tt.is)
		}
	}
}

func TestAddresses(t *testing.T) {
	for in, want := range map[string]string{"47119": "127.0.0.1:47119", ":47119": "127.0.0.1:47119", "0.0.0.0:1": "0.0.0.0:1", "[::1]:5": "[::1]:5", "localhost:5": "localhost:5"} {
		got, err := Addr(in)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	for _, in := range []string{"", "x", "a.example:1", "127.0.0.1:70000", "127.0.0.1:http", "70000"} {
		_, err := Addr(in)
		require.Error(t, err, in)
	}
}

func TestUDP(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	s, err := Open(ctx, Spec{Kind: UDP, Listen: "0"})
	require.NoError(t, err)
	addr := s.(interface{ LocalAddr() net.Addr }).LocalAddr()
	require.True(t, addr.(*net.UDPAddr).IP.IsLoopback(), "without a host nothing is open to the network")
	to, err := net.Dial("udp", addr.String())
	require.NoError(t, err)
	defer to.Close()
	before := 0.0
	for _, want := range [][]byte{[]byte("one"), {}, bytes.Repeat([]byte("x"), 60_000)} {
		_, err := to.Write(want)
		require.NoError(t, err)
		got, arrived, err := s.Next(ctx)
		require.NoError(t, err)
		require.Equal(t, len(want), len(got))
		require.True(t, bytes.Equal(want, got))
		require.GreaterOrEqual(t, arrived, before)
		before = arrived
	}
	// The end of the context of one call ends that call only.
	one, end := context.WithCancel(ctx)
	go end()
	_, _, err = s.Next(one)
	require.ErrorIs(t, err, context.Canceled)
	_, err = to.Write([]byte("again"))
	require.NoError(t, err)
	got, _, err := s.Next(ctx)
	require.NoError(t, err)
	require.Equal(t, "again", string(got))
	// The end of the context of Open ends the source, even while it waits with another.
	go cancel()
	_, _, err = s.Next(t.Context())
	require.ErrorIs(t, err, context.Canceled)
	require.NoError(t, s.Close())
	require.NoError(t, s.Close())
}

func TestUDPDoesNotAllocate(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context()) // one that can end
	defer cancel()
	s, err := Open(ctx, Spec{Kind: UDP, Listen: "0"})
	require.NoError(t, err)
	defer s.Close()
	to, err := net.Dial("udp", s.(*udp).LocalAddr().String())
	require.NoError(t, err)
	defer to.Close()
	p := make([]byte, 400)
	require.Zero(t, testing.AllocsPerRun(200, func() {
		if _, err := to.Write(p); err != nil {
			t.Fatal(err)
		}
		if _, _, err := s.Next(ctx); err != nil {
			t.Fatal(err)
		}
	}))
}

func TestStream(t *testing.T) {
	r, w := io.Pipe()
	s := newStream(r)
	go func() {
		for _, p := range []string{"abc", "defg", "h"} {
			_, _ = w.Write([]byte(p))
		}
		_ = w.Close()
	}()
	got, err := readAll(t, s)
	require.NoError(t, err)
	require.Equal(t, "abcdefgh", string(got))
	_, _, err = s.Next(t.Context())
	require.Equal(t, io.EOF, err, "the end stays the end")
	require.NoError(t, s.Close())

	r, _ = io.Pipe()
	s = newStream(r)
	ctx, cancel := context.WithCancel(t.Context())
	go cancel()
	_, _, err = s.Next(ctx)
	require.ErrorIs(t, err, context.Canceled)
	require.NoError(t, s.Close())
	_, _, err = s.Next(t.Context())
	require.Error(t, err)
	_ = r.Close() // lets the reading goroutine go
}
