// Package assistant carries telemetry to the rules, what the rules say to the speaker, and
// everything that happened to the journal and the recording.
//
//	feed ──samples──▶ ┌──────┐ ──utterance──▶ speaker
//	keys ──commands─▶ │ loop │ ──events─────▶ journal
//	time ────ticks──▶ └──────┘ ──inputs─────▶ recorder
//
// One goroutine, the loop, owns every piece of state; the others only wait for the
// world. What happens to an input is decided by Core, a pure function of the inputs:
// it has no clock, goroutine, file, lock or log, so the recorded inputs of a live run give the
// same journal again, byte for byte, at any speed.
//
// Who sends and who may block: the feed's goroutine decodes and hands samples on through a
// bounded queue; when the loop is late the oldest sample is dropped and counted, and a
// health event tells how many. A replay blocks instead. The speaker, the journal and the recorder take
// what they are given without blocking and each tell about their own losses.
//
// The package decides nothing about cars: that is the work of the packages below it.
package assistant
