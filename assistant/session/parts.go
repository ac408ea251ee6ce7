package session

import "earshot/assistant/health"

// What of a session may fall ill.
var (
	JournalPart   = health.Part{Name: "journal", About: "events cannot be written to the journal", Lost: "journal-lost"}
	RecordingPart = health.Part{Name: "recording", About: "inputs cannot be recorded: full, too slow or no disk",
		Lost: "recording-lost"}
)
