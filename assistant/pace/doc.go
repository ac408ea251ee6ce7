// Package pace follows the lap times of a stint: whether they fall off as the tyres age, with the fuel taken out, and how
// evenly the driver laps.
//
//	valid flying laps ──▶ less what fuel costs ──▶ slope over tyre age (Theil and Sen) ──▶ scatter about that line
//
// It works at the line. The package is pure: it never touches files, clocks, goroutines or the network, and Step does not
// allocate. A Pace belongs to one goroutine.
package pace
