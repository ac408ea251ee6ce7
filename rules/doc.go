// Package rules is the language in which a driver writes what is worth saying:
// a condition, how long it must hold, when it clears, and the words.
//
//	rule files ──▶ document ──▶ expression ──▶ closures ──▶ Set
//	                                ▲                         │
//	             names, units (Vocabulary)         env ──▶ Memory.Step ──▶ Transitions
//
// Compile reads files into an immutable Set and reports every mistake of every
// file at once, each with its place. A Memory holds what changes: which instances are
// active and since when. One Memory belongs to one caller; a Set may be shared.
//
// States work as in alarm management (IEC 62682, ANSI/ISA-18.2): deadband, on-delay, off-delay, latching and
// suppression by design. A condition that needs an absent reading is unknown, and an unknown condition neither fires
// nor clears.
//
// The package knows names and numbers only. It has no goroutine, clock, file,
// network, lock or log, and it does not decide when there is room to speak.
//
// # Values
//
// env is a slice of float64 indexed by Name.Index, in the units used inside the
// program; NaN is unknown. Three-valued logic is Kleene's: false and unknown is false, true
// or unknown is true, all else with unknown is unknown.
//
// # Functions
//
//	between(x, lo, hi)   lo <= x and x <= hi
//	abs(x)               magnitude
//	min, max, mean(...)  of several arguments or of a wheel glob such as tyre_core_*
//	changed(x)           true at the step at which x differs from its last known value
//	changed(x, by)       true at the step at which x has moved by at least that much since it was last
//	                     true, or since x was first known
//	rate(x)              change of x per second, smoothed (see below)
//	known(x)             true where x has a value; x need not be supplied by the feed
//
// A glob stands for the four wheels; in a rule with each: axle or each: side for the two
// wheels of that axle or side.
//
// rate(x) smooths the slope between successive known values exponentially with a
// time constant of one second: r' = m + (r-m)·exp(-dt/1s). The weight depends on elapsed
// time and not on the number of steps, so a feed at 60 Hz and one at 360 Hz agree. It is
// unknown for the first second, then starts from the mean slope of that second, and
// starts again after a gap of more than a second.
package rules
