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
//   - An answer to the driver's own question starts within Config.AnswerWithin outside
//     braking and turn-in, whatever the room.
//   - A cue has a short form for where the long one does not fit: at once where the
//     course has no room for the long one at all, else after a while.
//   - Then by right of way: answers, cautions, advisories; among equals what is
//     important, then the older. A shorter cue may use room that is too small for
//     the one before it, unless that is an answer.
//   - Cues of one group that wait together are said as one.
//   - The words are made anew at the moment of speaking.
//   - Two cues are at least half a second apart, except where a warning interrupts.
//   - What tells of a state waits until it was said or the state has cleared. What tells
//     of an event is dropped when it has expired. An interrupted cue starts again from its
//     beginning if it is still true, never in mid-sentence.
//   - At most so many advisories a lap, and fewer of low importance where there were many
//     calls. Mute shelves all but warnings and answers, and ends by itself.
//
// Nothing is stuck for ever: an event has an expiry, an unbelievable corner flag is
// no longer believed after Config.CornerPatience, a merged cue that finds no room is
// taken apart, a caution that is too long for the course is said where there is most
// room, and the advisory budget renews itself where no line is crossed.
//
// Every cue offered gets exactly one final Ruling with a reason in words.
//
// The package is pure: it has no clock, goroutine, lock, file or log, plays no sound
// and knows no rule, car or course. Equal calls give equal results.
package cue
