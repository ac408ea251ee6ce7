// Package assistant carries telemetry to the rules, what the rules say to the speaker, and
// everything that happened to the journal and the recording.
//
//	feed ──samples──▶ ┌──────┐ ──utterance──▶ speaker
//	keys ──commands─▶ │ loop │ ──events─────▶ journal
//	time ────ticks──▶ └──────┘ ──inputs─────▶ recorder
//
// The loop is whoever has the turn: the goroutine of the feed, which carries each sample through by itself, or the one
// that attends to the driver and the clock in between. What happens to an input is decided by Core, a pure function of
// the inputs: it has no clock, goroutine, file, lock or log, so the recorded inputs of a live run give the same journal
// again, byte for byte, at any speed.
//
// Who may block: nobody who has the turn. The speaker, the journal and the recorder take what they are given without
// blocking and each tell about their own losses. Where the loop is late all the same, samples wait with their source or
// with the system, and the counters of the feed tell if some were lost there.
//
// The package decides nothing about cars: that is the work of the packages below it.
package assistant
