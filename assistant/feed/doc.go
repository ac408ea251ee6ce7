// Package feed turns the bytes of any source that a driver can describe into
// samples in the units used inside. The description is a feed file (YAML): where the
// bytes come from, how they are laid out, and which field is which channel in which
// unit.
//
//	transport ──bytes──▶ codec ──Record──▶ clock ▶ range ▶ derived ──Sample──▶
//	                       ▲                 ▲                ▲
//	feed file ── Parse ────┴─────────────────┴────────────────┘
//
// Nothing is lost: what cannot be used is counted with its reason and place. Nothing
// is invented: a value that is missing, marked as absent, not understood or not
// mapped is absent (NaN), never zero; a unit that is not written is an error of
// the file, not a guess.
//
// # The clock
//
// Sample.At counts seconds from the first sample and never goes backwards. It follows
// the field mapped to time, whatever that counts from. A step back of at most
// `clock: {jump: …}` (5 s if not set) holds At until the source's clock has caught up; a larger one, as
// when a session begins anew, makes At go on from where it is. A step ahead by more than
// that advances At by the time that passed between the arrivals, or where these are
// unknown by the limit, so that old readings grow stale. Both are counted. A record
// without a time has the time of the one before. A counter that wraps around at the
// width of its field is followed. Without a field for time, `clock: {period: …}` spaces the records
// evenly; without that, the time of arrival counts.
//
// # Derived channels
//
// An expression is arithmetic over other channels of the same record: + - * / and
// parentheses, sqrt, abs, hypot, atan2, min, max, and numbers with a unit. Values are in the
// units used inside. If any channel that it names has no plausible reading in the
// record, or the result is not finite, the derived channel is absent. Sums and comparisons of
// different quantities are errors of the file; products and quotients are not followed
// further than by numbers and ratios. The parser is the package's own: the language is a page long
// and errors point at the character.
//
// # Adding a codec
//
// A codec is a package under codec/ with a layout made of plain values and a
// codec.Decoder for it; here it gets a file parse_NAME.go that fills the layout from
// YAML, and a line in the table of codecs.
//
// The package reads no file and no clock itself; only the transport does.
package feed
