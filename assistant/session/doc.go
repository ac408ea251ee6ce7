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
// The recording is an MCAP file in chunks, one complete in the file at least once a second and safe from a loss of
// power every four; the journal, which has the marks, is so twice a second. Beside the inputs it holds the journal's
// events, which a replay passes over. A file that was cut off or damaged anywhere gives every chunk that is whole, and
// Loss tells what is missing. Before the disk is full the recording stops and leaves the last megabytes to the journal;
// with room again it goes on, first with the 16 MiB that waited in memory. What did not fit there is a gap in the
// numbers of the inputs.
//
// The package never decides anything about the car and never reads the clock on
// behalf of the core: the times in events and entries are those of the caller.
package session
