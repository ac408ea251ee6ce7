// Package fuel keeps the account of the tank: what a lap burns, what is left, whether it reaches the
// flag, and what to save or add.
//
// A lap's burn is the fall of the tank between two crossings of the line, or the integral of the flow where
// the feed has no tank. Laps of different kinds have accounts apart: only flying laps make the
// per-lap figure. A reading that steps up is a refuel and starts a new account for the lap in progress.
//
// What is not known is NaN, never zero: without a flying lap there is no burn, without laps or
// time left there is no margin.
//
// The package is pure: it never touches files, clocks, goroutines or the network, and Step does not
// allocate. A Fuel belongs to one goroutine.
package fuel
