// Package probe tells what a source of telemetry sends, before anyone trusts it.
//
// For a source that a feed file describes, a Meter takes the decoded samples and says how often each channel
// comes, within what bounds, how much of it is absent, implausible or frozen, and which units, signs and mountings
// cannot be right. The last are hypotheses: quantities that physics ties together (speed, wheel speeds and the way
// from position to position; yaw rate, heading, lateral acceleration and the way's curvature) are held against each
// other, and one is accused only when the others agree, the disagreement is steady, and a unit or a sign explains it.
//
//	samples ──▶ Meter ──windows of 0.25 s──▶ Findings: "speed ÷ way from position = 3.60: it fits km/h"
//
// For a source that nothing describes, a Sniffer takes the bytes and says what they look like: text of a known
// kind, or binary datagrams of so many sizes, and in each the fields that vary as measured things do.
//
//	bytes ──▶ Sniffer ──▶ JSON, CSV, NMEA 0183, candump, or Layout: fields, counters, constants, flags, text
//
// The package is pure: no goroutine, clock, file, network, lock or log. Memory is bounded however long it
// listens: what exceeds the bound is thinned evenly, so that what is kept spans the whole time.
package probe
