// Package hand turns what the driver's hand and mouth do into commands: keys of the keyboard,
// buttons of the wheel, spoken words.
//
//	helper process ──lines──▶ ParseLine ──Press──▶ Bindings ──Command──▶ the core
//	own hardware   ──lines──▶     │
//	recogniser     ──lines──▶     └──────Command──────────────────────▶ the core
//
// Every source speaks the same line protocol, which is also the way to connect hardware of one's own:
// one line of text each, ended by a newline,
//
//	ready            the source hears what the driver does from now on
//	press KEY        a bound key or button went down
//	release KEY      and came up again
//	command NAME     a command was spoken
//	error TEXT       what went wrong, for people
//
// A key has the same name everywhere: see Keys. A source names only keys that are bound; no other key
// is handed on, kept or logged.
//
// The package is pure: it starts no process, reads no file and has no clock. Package helper
// beside it watches over the processes.
package hand
