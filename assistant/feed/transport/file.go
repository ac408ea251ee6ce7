package transport

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/klauspost/compress/zstd"
)

const chunk = 64 << 10

type file struct {
	path  string
	f     *os.File
	r     io.Reader
	buf   []byte
	close func()
}

var (
	gzipMagic = []byte{0x1f, 0x8b}             // RFC 1952, 2.3.1
	zstdMagic = []byte{0x28, 0xb5, 0x2f, 0xfd} // RFC 8878, 3.1.1
)

func openFile(path string) (Source, error) {
	what := "file " + path
	if path == "" {
		return nil, &Error{What: "file", Msg: "no path is given", Hint: "write transport: {kind: file, path: drive.csv}"}
	}
	f, err := os.Open(path)
	if err != nil {
		e := &Error{What: what, Msg: cause(err), Err: err}
		switch {
		case errors.Is(err, fs.ErrNotExist):
			wd, _ := os.Getwd()
			e.Msg, e.Hint = "there is no such file", fmt.Sprintf("relative paths start at %s", wd)
		case errors.Is(err, fs.ErrPermission):
			e.Msg, e.Hint = "this user may not read it", "change its permissions or copy it"
		}
		return nil, e
	}
	info, err := f.Stat()
	if err == nil && info.IsDir() {
		_ = f.Close()
		return nil, &Error{What: what, Msg: "this is a directory", Hint: "name one file in it"}
	}
	b := bufio.NewReaderSize(f, chunk)
	s := &file{path: path, f: f, r: b, buf: make([]byte, chunk), close: func() {}}
	magic, _ := b.Peek(4)
	switch {
	case bytes.HasPrefix(magic, gzipMagic):
		z, err := gzip.NewReader(b)
		if err != nil {
			_ = f.Close()
			return nil, &Error{What: what, Msg: "begins like gzip and is not: " + err.Error(), Err: err}
		}
		s.r = z
	case bytes.HasPrefix(magic, zstdMagic):
		z, err := zstd.NewReader(b, zstd.WithDecoderConcurrency(1))
		if err != nil {
			_ = f.Close()
			return nil, &Error{What: what, Msg: "begins like zstd and is not: " + err.Error(), Err: err}
		}
		s.r, s.close = z, z.Close
	}
	return s, nil
}

func (s *file) Next(ctx context.Context) ([]byte, float64, error) {
	if err := context.Cause(ctx); err != nil {
		return nil, unknown, err
	}
	for {
		n, err := s.r.Read(s.buf)
		if n > 0 {
			return s.buf[:n], unknown, nil // an error comes again with the next read
		}
		switch {
		case err == nil:
		case err == io.EOF:
			return nil, unknown, io.EOF
		case errors.Is(err, io.ErrUnexpectedEOF):
			return nil, unknown, fmt.Errorf("file %s: the compressed data end early; what came before was read: %w", s.path, err)
		default:
			return nil, unknown, fmt.Errorf("file %s: %w", s.path, err)
		}
	}
}

// Stats has nothing to tell of a file that is complete.
func (s *file) Stats() Stats { return Stats{} }

func (s *file) Close() error {
	s.close()
	return s.f.Close()
}
