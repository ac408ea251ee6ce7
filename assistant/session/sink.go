package session

import (
	"io"
	"os"

	"earshot/assistant/health"
)

// Report is told when a part of the session falls ill (err says why) and when it
// has recovered (err is nil), once each. It is called on the goroutine of
// the writer and must not call back into it.
type Report func(part health.Part, err error)

// file is what a sink needs of an *os.File.
type file interface {
	io.WriterAt
	Sync() error
	Truncate(size int64) error
	Close() error
}

// create makes a new file. It never touches one that exists.
func create(path string) (file, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return nil, err // not f: a nil *os.File in the interface would not be nil
	}
	return dataFile{f}, nil
}

// A dataFile waits at Sync for its data and its length, where the system tells these from times and the like.
type dataFile struct{ *os.File }

func (f dataFile) Sync() error { return syncData(f.File) }

// sink appends to a file and keeps what the disk did not take, so that a write
// that failed half way is continued, not repeated. Its goroutine owns it.
type sink struct {
	part    health.Part
	f       file
	report  Report
	off     int64  // bytes that are in the file
	pending []byte // bytes that follow them
	dirty   bool   // written since the last good Sync
	ill     bool
	err     error // why it is ill
}

// Write takes p in. It cannot fail: the disk is met in flush.
func (s *sink) Write(p []byte) (int, error) {
	s.pending = append(s.pending, p...)
	return len(p), nil
}

// flush writes what is pending and waits until it is on the medium.
func (s *sink) flush() error {
	err := s.write()
	if err == nil && s.dirty {
		if err = s.f.Sync(); err == nil {
			s.dirty = false
		}
	}
	s.tell(err)
	return err
}

// hand gives what is pending to the system, so that it outlives this program but not a loss of power.
func (s *sink) hand() { s.tell(s.write()) }

// tell reports a change from well to ill and back.
func (s *sink) tell(err error) {
	s.err = err
	if (err != nil) == s.ill {
		return
	}
	s.ill = err != nil
	if s.report != nil {
		s.report(s.part, err)
	}
}

func (s *sink) write() error {
	if len(s.pending) == 0 {
		return nil
	}
	n, err := s.f.WriteAt(s.pending, s.off)
	s.off += int64(n)
	s.dirty = s.dirty || n > 0
	s.pending = append(s.pending[:0], s.pending[n:]...)
	return err
}
