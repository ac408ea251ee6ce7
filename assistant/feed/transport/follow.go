package transport

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"
)

// followPause is how often a followed file is looked at when it has nothing new: a fiftieth of a second
// is not heard, and looking costs two system calls.
const followPause = 20 * time.Millisecond

// A follower reads a file that another program writes: from its beginning, for the names of the columns stand there,
// and then whatever is appended. It runs in the goroutine of Next.
type follower struct {
	spec    Spec
	open    context.Context
	begin   time.Time
	f       *os.File // nil while there is none
	at      int64    // how far it has been read
	checked bool     // its beginning is not that of a compressed file
	caught  bool     // its end was reached once, so what comes now is new
	away    bool     // it was told that the file is not there
	torn    bool     // ErrGap is due before the next bytes
	buf     []byte

	reconnects atomic.Int64
}

func openFollow(ctx context.Context, s Spec) (Source, error) {
	w := &follower{spec: s, open: ctx, begin: time.Now(), buf: make([]byte, chunk)}
	if s.Path == "" {
		_, err := openFile("")
		return nil, err
	}
	switch err := w.first(); {
	case errors.Is(err, fs.ErrNotExist):
		if info, err := os.Stat(filepath.Dir(s.Path)); err != nil || !info.IsDir() {
			return nil, &Error{What: s.String(), Msg: "there is no such folder", Hint: "make it, or mend the path", Err: fs.ErrNotExist}
		}
		w.miss()
	case err != nil:
		e := &Error{What: s.String(), Msg: cause(err), Err: err}
		switch {
		case errors.Is(err, errCompressed):
			e.Hint = "take follow out, or follow the file before it is compressed"
		case errors.Is(err, fs.ErrPermission):
			e.Msg, e.Hint = "this user may not read it", "change its permissions"
		case errors.Is(err, errDirectory):
			e.Hint = "name one file in it"
		}
		return nil, e
	}
	return w, nil
}

var (
	errCompressed = errors.New("a compressed file cannot be followed")
	errDirectory  = errors.New("this is a directory")
)

// first opens the file at its beginning.
func (w *follower) first() error {
	f, err := os.Open(w.spec.Path)
	if err != nil {
		return err
	}
	if info, err := f.Stat(); err == nil && info.IsDir() {
		_ = f.Close()
		return errDirectory
	}
	w.f, w.at, w.checked = f, 0, false
	if err := w.check(); err != nil {
		w.drop()
		return err
	}
	return nil
}

// check looks at the first bytes of the file, as soon as they are there.
func (w *follower) check() error {
	var head [4]byte
	n, _ := w.f.ReadAt(head[:], 0)
	if bytes.HasPrefix(head[:n], gzipMagic) || bytes.HasPrefix(head[:n], zstdMagic) {
		return errCompressed
	}
	w.checked = n == len(head)
	return nil
}

func (w *follower) drop() {
	if w.f != nil {
		_ = w.f.Close()
		w.f = nil
	}
}

func (w *follower) miss() {
	if !w.away {
		w.away = true
		w.spec.report(false, "there is no file %s; waiting for it", w.spec.Path)
	}
}

// restart notes that the bytes that come next do not go on from those before.
func (w *follower) restart(format string) {
	w.torn = w.torn || w.at > 0
	w.at = 0
	w.reconnects.Add(1)
	w.spec.report(true, format, w.spec.Path)
}

func (w *follower) Next(ctx context.Context) ([]byte, float64, error) {
	for {
		if err := cmp.Or(context.Cause(ctx), context.Cause(w.open)); err != nil {
			return nil, unknown, err
		}
		if w.f != nil {
			n, err := w.read()
			if err != nil {
				return nil, unknown, fmt.Errorf("%s: %w", w.spec, err)
			}
			if n > 0 {
				w.at += int64(n)
				arrived := unknown
				if w.caught {
					arrived = time.Since(w.begin).Seconds()
				}
				return w.buf[:n], arrived, nil
			}
			w.caught = true
		}
		if err := w.look(); err != nil {
			return nil, unknown, err
		}
		if w.torn {
			w.torn = false
			return nil, unknown, ErrGap
		}
		if w.f != nil && w.at == 0 && w.ready() {
			continue // there is something to read at once
		}
		sleep(ctx, followPause)
	}
}

// read reads on from where it was; nothing is no error.
func (w *follower) read() (int, error) {
	if !w.checked {
		if err := w.check(); err != nil {
			return 0, err
		}
	}
	n, err := w.f.ReadAt(w.buf, w.at)
	if err == io.EOF {
		err = nil
	}
	return n, err
}

func (w *follower) ready() bool {
	info, err := w.f.Stat()
	return err == nil && info.Size() > 0
}

// look finds out, at the end of what there is, whether the file is still the same.
func (w *follower) look() error {
	now, err := os.Stat(w.spec.Path)
	if err != nil {
		if w.f == nil || errors.Is(err, fs.ErrNotExist) {
			w.miss() // what is appended to the old one under another name still comes
			return nil
		}
		return fmt.Errorf("%s: %w", w.spec, err)
	}
	if w.f == nil {
		if err := w.first(); err != nil {
			if errors.Is(err, fs.ErrNotExist) {
				return nil // gone again
			}
			return fmt.Errorf("%s: %w", w.spec, err)
		}
		w.away = false
		w.spec.report(true, "following %s", w.spec.Path)
		return nil
	}
	was, err := w.f.Stat()
	if err != nil {
		return fmt.Errorf("%s: %w", w.spec, err)
	}
	switch {
	case !os.SameFile(was, now):
		if was.Size() > w.at {
			return nil // the rest of the old one first
		}
		old := w.at
		w.drop()
		if err := w.first(); err != nil {
			w.f = nil
			if errors.Is(err, fs.ErrNotExist) {
				return nil
			}
			return fmt.Errorf("%s: %w", w.spec, err)
		}
		w.at, w.away = old, false
		w.restart("%s was replaced; following the new file")
	case now.Size() < w.at:
		w.checked = false
		w.restart("%s was shortened; reading it from its beginning")
	case w.away:
		w.away = false
		w.spec.report(true, "%s is back", w.spec.Path)
	}
	return nil
}

func (w *follower) Stats() Stats { return Stats{Reconnects: w.reconnects.Load()} }

func (w *follower) Close() error {
	w.drop()
	return nil
}
