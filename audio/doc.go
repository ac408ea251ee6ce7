// Package audio holds sound between its source and the ear: clips, the mixer that
// a sound device reads from, loudness, and the track of what a driver would have
// heard.
//
//	voice ──Clip──▶ device.Play ──▶ ┌───────┐ ◀──Read── goroutine of the device
//	                device.Stop ──▶ │ Mixer │
//	                                └───────┘
//	session log ──Place, Cut──▶ Track ──▶ WAV file
//
// The goroutine of the device owns the mixer's state; the others only put clips
// into its channel. A clip belongs to whoever plays it from then on: its samples
// are read and never written. The package knows nothing of cues, rules or cars,
// opens no device and keeps no clock.
package audio
