// Package cue decides when to talk. Others decide what is worth saying; the
// Scheduler holds it until the driver has room to listen, or lets it go.
//
//	rules, answers ──Offer──▶ ┌───────────┐ ──say, stop──▶ sound
//	states cleared ─Withdraw▶ │ Scheduler │
//	where the car is ──Step─▶ └───────────┘ ──rulings────▶ journal
//
// The manners:
//
//   - A warning starts at once and interrupts everything but a warning. It waits
//     for nothing but another warning.
//   - Anything else starts only where it can also end before the next braking or
//     turn-in point. Where that point is not known it starts outside corners.
//   - Then by right of way: answers to the driver's own question, cautions,
//     advisories; among equals the older first. A shorter cue may use room that is
//     too small for the one before it.
//   - Cues of one group that wait together are said as one.
//   - Two cues are at least half a second apart, except where a warning interrupts.
//   - A cue that has expired or is no longer true is dropped. An interrupted cue
//     starts again from its beginning if it is still true, never in mid-sentence.
//   - At most so many advisories a lap. Mute shelves all but warnings and answers,
//     and ends by itself.
//
// Nothing waits for ever: every cue has an expiry, an unbelievable corner flag is
// no longer believed after Config.CornerPatience, a merged cue that finds no room is
// taken apart after half its life, and the advisory budget renews itself where
// no line is crossed.
//
// Every cue offered gets exactly one final Ruling with a reason in words.
//
// The package is pure: it has no clock, goroutine, lock, file or log, plays no sound
// and knows no rule, car or course. Equal calls give equal results.
package cue
