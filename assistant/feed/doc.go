// Package feed turns the bytes of any source that a driver can describe into
// samples in the units used inside. Package feedfile reads the
// description, a feed file.
//
//	transport ──bytes──▶ codec ──Record──▶ clock ▶ range ▶ derived ──Sample──▶
//	                       ▲                 ▲                ▲
//	feedfile.File ─────────┴─────────────────┴────────────────┘
//
// Nothing is lost: what cannot be used is counted with its reason and place. Nothing
// is invented: a value that is missing, marked as absent, not understood or not
// mapped is absent (NaN), never zero.
//
// # The clock
//
// Sample.At counts seconds from the first sample and never goes backwards. It follows the field mapped to time, whatever
// that counts from.
//
//   - A step back of at most `clock: {jump: …}` (5 s if not set) holds At until the source's clock has caught up. After a
//     larger one, as when a session begins anew, At goes on from where it is.
//   - A step ahead by more than the limit advances At by the time between the two arrivals, or by the limit where these are
//     unknown, so that old readings grow stale. Where the arrivals lie as far apart, the source was merely silent.
//   - Both are counted. Where the clock returns within a few records to where it would have been, the step was an error of
//     the source, and At goes on without it.
//   - A record without a time has the time of the one before. A counter that wraps around at the width of its field is
//     followed. Without a field for time, `clock: {period: …}` spaces the records evenly; without that, the time of arrival
//     counts.
//
// # Derived channels
//
// An expression is arithmetic over other channels of the same record: + - * / and
// parentheses, sqrt, abs, hypot, atan2, min, max, and numbers with a unit. Values are in the
// units used inside. If any channel that it names has no plausible reading in the
// record, or the result is not finite, the derived channel is absent.
//
// # Several sources
//
// A feed file may list `sources:`, each with its name, transport, codec, channels and clock; Open joins them. A Stream
// gives the readings of each source as they are; a channel keeps its value until it is stale by its own time (a
// zero-order hold, in channel.Hold), whatever the other sources do. Nothing is interpolated: that would need the
// reading after, and live that means waiting for a source that may be silent. Laps are timed by the moments at which a
// position changed, so positions at 12.5 Hz beside the rest at 25 Hz give the same laps.
//
// Time begins with the first sample of any source. Files are joined by time, the same at every chunking; what they tell
// within a microsecond is one sample. Where the times of two files are absolute (from the year 1973 on they count as
// Unix time) these say how they lie to each other, pauses of up to an hour included; any other file begins with the
// session. Live sources are joined by arrival, and none is waited for. A live source with its own clock is anchored by
// its first arrival, and then by the least of arrival − own time over the last half minute, which follows a drift; a
// sample is never from the future and never before one that was given. `offset:` is by how much a source tells late:
// its moments lie so much earlier (live, only as far as the samples before allow).
//
// A channel of two sources needs `prefer:`; the better one wins until its reading is stale. Derived channels may
// combine sources: they come when an operand comes, from operands that are not stale.
//
// `changes: true` on a field means that a repeated value is no new reading, as with a receiver's last fix in each row
// of a faster table; a word in place of true makes a group that is new together. A value that stands still for long is
// then absent, even in a car that stands still.
//
// # Trouble
//
// Stream.Notices tells once what falls ill, by name, and once when it is over, at most five times for a part: a source
// that is silent while others send, or whose transport is lost; a clock that steps back by more than 0.1 s or jumps;
// sequence numbers that begin anew; a rate that is another by a factor of 1.5 for over 5 s; and readings that were
// implausible and are so no more. Package sensor judges whether a channel measures.
//
// # Adding a codec
//
// A codec is a package under codec/ with a layout made of plain values and a
// codec.Decoder for it; feedfile gets a file NAME.go that fills the layout from YAML and a
// line in its table of codecs, and NewDecoder here a case.
//
// Decoding, joining and watching read no file and no clock; the transports and Stream do.
package feed
