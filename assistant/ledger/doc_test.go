// Package ledger drives hundreds of seeded drives of the simulated car through the core and keeps the account of what was said: what
// happened and was told, what was missed, what was told and had not happened, which numbers were wrong, and how the voice behaved. What
// really happened is taken from the simulation, before anything was done to the readings.
//
// `make calls` prints the table; testdata/calls.txt is the one that is held.
package ledger
