// Package spoken turns numbers and written text into the words that a voice says.
//
// Cardinals follow the British use of the Unicode CLDR number spelling rules for
// English (cardinal-verbose: "one hundred and twelve"), without their comma after
// the thousands, which a voice would take for a pause. Digits after the point are
// read one by one. Lap times and gaps are read as people in a pit lane read them
// (common practice, no source).
//
// The package is pure: the same input always gives the same words, and it never
// touches a file, a clock or a goroutine. Words lists every word it can put in,
// so that a recorded voice can be checked for completeness.
package spoken
