// Package channel names everything that Earshot can know about a car at one
// moment: what the feed measures and what Earshot computes from it.
//
// A channel has a name in the words of the trade, a quantity, a plausible range
// and a time after which an old reading no longer counts. The readings of one
// moment are a Row, a slice of float64 indexed by channel ID. Absent is NaN; stale
// becomes NaN; neither is ever zero.
//
// Inside the program values are SI, except temperature in degrees Celsius,
// pressure in kilopascals (gauge) and fuel volume in litres. Axes and signs
// follow ISO 8855: x forward, y left, z up; steering, yaw rate and lateral
// acceleration are positive in a left-hand bend.
//
// The package is pure: it never touches files, clocks, goroutines or the network.
package channel
