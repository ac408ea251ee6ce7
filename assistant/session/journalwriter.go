package session

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"earshot/assistant/journal"
)

// Twice a second keeps an event's age on arrival at the disk well under one second.
const journalEvery = 500 * time.Millisecond

// journalQueue bounds what waits for a disk that takes nothing: hours of events.
const journalQueue = 32 << 20

// What writers return: ErrClosed after Close, ErrFull for what found no room and is lost.
var (
	ErrClosed = errors.New("the session is closed")
	ErrFull   = errors.New("the disk has taken nothing for too long: what comes now is lost")
)

// JournalWriter appends events to a journal file. What is older than one second is
// on disk; a mark goes there at once. Its methods may be called from any goroutine.
type JournalWriter struct {
	mu     sync.Mutex
	queue  []byte
	room   int
	lost   int
	closed bool

	wake chan struct{} // capacity 1: a mark waits
	stop chan struct{}
	done chan error
	sink sink
}

// NewJournalWriter creates the file at path, which must not exist, and starts
// writing. report may be nil.
func NewJournalWriter(path string, report Report) (*JournalWriter, error) {
	f, err := create(path)
	if err != nil {
		return nil, fmt.Errorf("creating the journal: %w", err)
	}
	return startJournal(f, journalQueue, report), nil
}

func startJournal(f file, room int, report Report) *JournalWriter {
	w := &JournalWriter{
		room: room,
		wake: make(chan struct{}, 1),
		stop: make(chan struct{}),
		done: make(chan error, 1),
		sink: sink{part: JournalPart, f: f, report: report},
	}
	go w.run()
	return w
}

// Append takes the event in and returns at once. It fails with ErrClosed, for an event that cannot be written as JSON,
// and with ErrFull where the disk has taken nothing for so long that there is no room left; other trouble with the
// disk goes to the Report.
func (w *JournalWriter) Append(e journal.Event) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.closed {
		return ErrClosed
	}
	before := len(w.queue)
	q, err := e.Append(w.queue)
	if err != nil {
		return err
	}
	if len(q) > w.room {
		w.lost++
		w.queue = q[:before]
		return ErrFull
	}
	w.queue = q
	if _, mark := e.Body.(*journal.Mark); mark {
		select {
		case w.wake <- struct{}{}:
		default: // it is awake already
		}
	}
	return nil
}

// Lost counts the events that were given up because the disk took nothing for too long.
func (w *JournalWriter) Lost() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.lost
}

// Close writes what is left and closes the file. A second Close returns ErrClosed.
func (w *JournalWriter) Close() error {
	w.mu.Lock()
	if w.closed {
		w.mu.Unlock()
		return ErrClosed
	}
	w.closed = true
	w.mu.Unlock()
	close(w.stop)
	return <-w.done
}

func (w *JournalWriter) run() {
	tick := time.NewTicker(journalEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			_ = w.put() // told through the Report
		case <-w.wake:
			_ = w.put()
		case <-w.stop:
			err := w.put()
			if err != nil {
				err = fmt.Errorf("the end of the journal is not on disk (%d bytes): %w", len(w.sink.pending), err)
			}
			if n := w.Lost(); n > 0 {
				err = errors.Join(err, fmt.Errorf("the journal lacks %d events: the disk took nothing for too long", n))
			}
			w.done <- errors.Join(err, w.sink.f.Close())
			return
		}
	}
}

// put moves the queue to the sink and the sink to the disk. While the disk refuses,
// the queue stays where it is bounded.
func (w *JournalWriter) put() error {
	if w.sink.ill {
		if err := w.sink.flush(); err != nil {
			return err
		}
	}
	w.mu.Lock()
	w.sink.pending = append(w.sink.pending, w.queue...)
	w.queue = w.queue[:0]
	w.mu.Unlock()
	return w.sink.flush()
}
