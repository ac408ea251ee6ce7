// Package helper connects the sources of presses to the program: helper processes, which may die without taking the
// voice along.
//
//	Helper.Run ──starts, restarts──▶ helper process
//	    ▲ lines of its standard output │
//	    └──────────────────────────────┘
//
// A Helper owns its process and the goroutine that reads from it; Run returns only when both have
// ended. The callbacks are called one at a time. Only lines about keys that were asked for are
// handed on; nothing of what a source sends is kept or logged.
package helper
