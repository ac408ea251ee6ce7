// Package condition tells from samples and laps what state the car is in: tyre windows, brake peaks,
// wheel slip and handling balance.
//
//	row ──▶ Step ──▶ tyres   core, window, ready       ──▶ row (computed channels)
//	                 brakes  events and their peaks
//	                 slip    rolling radius learned
//	                 balance offset and gradient learned ──▶ Shown, Repeated (what a corner shows, and again and again)
//	line ─▶ LapDone  lap means, spreads, laps to ready ──▶ row, Means
//
// Nothing here is known before it has been measured: a value without its inputs is NaN, and what has to be
// learned from the car's own driving (rolling radius, steering offset, understeer gradient) is NaN until
// enough of it has been seen. Learning and means go by time, not by samples, so that the same
// driving at another rate gives the same result.
//
// The package is pure: it never touches files, clocks, goroutines or the network, and Step does not
// allocate. A Condition belongs to one goroutine.
package condition
