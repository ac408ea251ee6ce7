// Package assembly turns files and configuration into a running assistant: it reads the files that the configuration
// names or that a recording holds, checks them all, adds the saved courses and best laps, opens feed, sound, keys and
// session folder, and runs or replays.
//
//	Request ──Build──▶ Parts ──Run────▶ a live session
//	   └──────Open───▶ Drive ──Replay─▶ a journal again
//
// It takes a typed Config and knows no flags; it prints nothing: what a person has to be told goes through
// Request.Tell.
package assembly
