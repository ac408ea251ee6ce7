// Package session keeps what happened on disk: a folder per session with the
// journal, the recording of every input and copies of the files that were in
// force, so that the session can be replayed on any machine without anything else.
//
//	              ┌─ Append ─▶ JournalWriter ─▶ journal.jsonl   (one goroutine)
//	the loop ─────┤
//	              └─ Sample, Input ─▶ Recorder ─▶ recording.mcap (one goroutine)
//	later:         Recording ◀─ recording.mcap, journal.Read ◀─ journal.jsonl
//
// The caller of Append, Sample and Input never waits for the disk: what it hands over is copied
// into a bounded queue, and a goroutine owned by the writer puts it on disk
// within a second. A disk that is full or gone is told once through the Report
// function and tried again for as long as the queue has room; what had to be given up is
// counted. Whoever opens a writer closes it; Close ends its goroutine.
//
// The package never decides anything about the car and never reads the clock on
// behalf of the core: the times in events and entries are those of the caller.
package session
