// Package assistant carries telemetry to the rules, the words of the rules to the speaker, and everything that happens
// to the journal and the recording.
//
//	feed ──samples──▶ ┌──────┐ ──utterance──▶ speaker
//	keys ──commands─▶ │ loop │ ──events─────▶ journal
//	time ────ticks──▶ └──────┘ ──inputs─────▶ recorder
//
// The loop is run in turns by two goroutines: that of the feed, with each sample, and that of the door and the clock in
// between. Core decides what happens to an input. It is a pure function of the inputs and has no clock, goroutine,
// file, lock or log. So the recorded inputs of a live run give the same journal again, byte for byte, at any speed.
//
// Nobody who has the turn may block. The speaker, the journal and the recorder return at once, and each tells its own
// losses. When the loop is late all the same, samples wait in the operating system or at their source, and the counters
// of the feed show whether some were lost there.
//
// The package decides nothing about cars: that is the work of the packages below it.
package assistant
