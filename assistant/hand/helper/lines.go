package helper

import (
	"bytes"
	"io"
	"maps"
	"slices"
	"sync"

	"earshot/assistant/hand"
)

// A splitter takes the bytes of a source and hands on the lines that are of the protocol and about bound keys.
type splitter struct {
	mu    sync.Mutex // guards all: a process that left its pipe open may still write while its end is told
	done  bool
	bound map[string]bool
	down  map[string]bool
	part  []byte // a line of which the end has not come yet
	long  bool   // that line is too long to count
	bad   int
	to    func(hand.Line)
	onBad func(n int)
}

func newSplitter(keys []string, to func(hand.Line), onBad func(int)) *splitter {
	s := &splitter{bound: map[string]bool{}, down: map[string]bool{}, to: to, onBad: onBad}
	for _, k := range keys {
		if name, err := hand.ParseKey(k); err == nil {
			s.bound[name] = true
		}
	}
	return s
}

func (s *splitter) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.done {
		return 0, io.ErrClosedPipe
	}
	n := len(p)
	for {
		i := bytes.IndexByte(p, '\n')
		if i < 0 {
			s.keep(p)
			return n, nil
		}
		s.keep(p[:i])
		s.line()
		p = p[i+1:]
	}
}

func (s *splitter) keep(p []byte) {
	if s.long || len(s.part)+len(p) > hand.MaxLine {
		s.part, s.long = s.part[:0], true
		return
	}
	s.part = append(s.part, p...)
}

func (s *splitter) line() {
	text, long := string(s.part), s.long
	s.part, s.long = s.part[:0], false
	if text == "" && !long {
		return
	}
	l, err := hand.ParseLine(text)
	if err != nil || long {
		s.bad++
		s.onBad(s.bad)
		return
	}
	if p, ok := l.Press(); ok {
		if !s.bound[p.Key] || p.Down == s.down[p.Key] {
			return // not asked for, or the repeat of a key that is held
		}
		s.down[p.Key] = p.Down
	}
	s.to(l)
}

// end takes no more bytes and lets go of every key that is down: who holds a key to talk must not talk for ever
// because its source has died.
func (s *splitter) end() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.done {
		return
	}
	s.done = true
	for _, k := range slices.Sorted(maps.Keys(s.down)) {
		if s.down[k] {
			s.to(hand.Line{Kind: hand.Released, Key: k})
		}
	}
}
