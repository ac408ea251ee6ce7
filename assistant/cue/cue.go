package cue

import (
	"errors"
	"fmt"
	"math"
)

// A Priority is the right of way of a cue.
type Priority int

// The priorities in rising order of right of way: know it, act this lap, the reply to the driver's
// own question, act at once.
const (
	Advisory Priority = iota
	Caution
	Answer
	Warning
)

var priorityNames = [...]string{"advisory", "caution", "answer", "warning"}

// String returns advisory, caution, answer or warning.
func (p Priority) String() string {
	if p < Advisory || p > Warning {
		return fmt.Sprintf("priority(%d)", int(p))
	}
	return priorityNames[p]
}

// Where tells on which part of the course a cue may start. A warning may start anywhere, and so may
// every cue while the car stands.
type Where int

// The places: wherever there is room; not in a corner; soon after the line.
const (
	Anywhere Where = iota
	Straight
	Line
)

var whereNames = [...]string{"anywhere", "straight", "line"}

// String returns anywhere, straight or line.
func (w Where) String() string {
	if w < Anywhere || w > Line {
		return fmt.Sprintf("where(%d)", int(w))
	}
	return whereNames[w]
}

// A Phrase is a text with the length of its clip. The zero Phrase says nothing.
type Phrase struct {
	Text    string
	Seconds float64
}

func (p Phrase) usable() bool { return p.Text != "" && p.Seconds > 0 && !math.IsInf(p.Seconds, 0) }

// shorter returns short where it is of use beside long.
func shorter(short, long Phrase) Phrase {
	if !short.usable() || short.Seconds >= long.Seconds {
		return Phrase{}
	}
	return short
}

// An Importance is the order among cues of one priority: who goes first, and who is left out when there is too much to say.
type Importance int

// The importances.
const (
	Low    Importance = iota - 1 // leaves the last places of the budget to others
	Normal                       // the zero value
	High                         // is said where the budget is just used up
)

// A Cue is something worth saying. Times are seconds on the feed's clock.
type Cue struct {
	Rule       string
	Instance   int    // which wheel, axle … of the rule; 0 where there is but one
	Wheel      string // for people and the journal; empty for a cue merged from several wheels
	Group      string // cues of one group that wait together are said as one; empty: never merged
	Members    uint64 // bit i: instance i of the group; 0 in an Offer stands for the cue's own instance
	Text       string
	Short      Phrase // the same in fewer words, for where Text does not fit; the zero value: there is none
	Priority   Priority
	Importance Importance
	Where      Where
	Live       bool    // the words are made anew when it is said, by Wording
	Holds      bool    // it tells of a state: it waits until it was said or is withdrawn, and has no expiry
	Queued     float64 // set by Offer
	Apart      float64 // s that have to pass between two cues of its rule
	Expires    float64 // the moment from which it must not start; 0, NaN or infinite: Config.Life after Queued
	Duration   float64 // s, of the clip of Text
}

// A Situation is what the scheduler must know about the car at one moment.
type Situation struct {
	Room      float64 // s until the next braking or turn-in point; NaN: not known
	MostRoom  float64 // s, the largest Room anywhere on the course; 0 or NaN: not known
	Corner    bool    // in a corner, or braking for one
	Busy      bool    // the driver brakes or turns in: not even an answer may start
	SinceLine float64 // s since the car crossed the line; NaN: not known
	Standing  bool    // the car stands or is in the pits: there is always room
}

// A Verdict is what became of a cue.
type Verdict string

// The verdicts. Interrupted is final only where Ruling.Final says so, the others always are.
const (
	Said        Verdict = "said"
	Merged      Verdict = "merged"      // its content was said within another cue, or a newer text took its place
	Expired     Verdict = "expired"     // there was no chance to say it while it mattered
	Suppressed  Verdict = "suppressed"  // held back on purpose
	Interrupted Verdict = "interrupted" // cut off before its end
	Muted       Verdict = "muted"       // the driver wanted quiet
)

// A Reason is the code of why a verdict was given.
type Reason string

// The reasons. Those of cues that waited say what was in their way last.
const (
	NoWords        Reason = "no_words"     // there was nothing to say, or nothing that could be said
	AlreadyExpired Reason = "late"         // it had expired when it was offered
	MutedByDriver  Reason = "mute"         // the driver wanted quiet
	BeingSaid      Reason = "being_said"   // the same sounded at that moment
	NewerText      Reason = "newer_text"   // a newer text of the same call took its place
	SaidWithin     Reason = "said_within"  // another cue had its content
	NoLongerTrue   Reason = "cleared"      // what it tells had passed
	SessionEnded   Reason = "session_end"  // it waited or sounded when the session ended
	LapFull        Reason = "lap_full"     // enough advisories in this lap
	WindowFull     Reason = "calls_full"   // enough calls in ten minutes
	TooSoon        Reason = "too_soon"     // its rule spoke up a short time ago
	ByWarning      Reason = "warning"      // a warning waits for nothing, and interrupts
	Standing       Reason = "standing"     // the car stands or is in the pits
	RoomEnough     Reason = "room"         // there was room
	RoomUnknown    Reason = "room_unknown" // room not known, but not in a corner
	Waited         Reason = "waited"       // an answer had waited long enough
	OtherSounded   Reason = "other_sounds" // another cue was being said
	OthersFirst    Reason = "others_first" // others went first
	KeptBack       Reason = "kept_back"    // it was not the time for it
	InCorner       Reason = "in_corner"    // in a corner, and the room not known
	NotStraight    Reason = "not_straight" // it wants a straight
	NotAtLine      Reason = "not_at_line"  // it wants to be near the line
	NoRoom         Reason = "no_room"      // too little room before the next braking or turn-in point
	NoMoment       Reason = "no_moment"    // no moment came to say it
)

// A Ruling is a verdict with its reason, for the journal.
type Ruling struct {
	Cue        Cue
	Verdict    Verdict
	Reason     Reason // what Why says, without its figures
	Why        string
	Start, End float64 // s on the feed's clock; NaN where it was never begun
	Final      bool    // no other Ruling follows for this cue
}

// A Wording finds the words for what waits, as they are at this moment. Calls at one moment with equal arguments must
// give equal results.
type Wording interface {
	// Quiet tells whether a cue must be kept back now, such as in the pits, or while what it tells is not the case at
	// this moment. It is asked often and must be quick.
	Quiet(c *Cue) bool
	// Words words the members of the cue's group; one bit stands for the cue alone. ok is false where there are no words:
	// several cues then stay apart, and a single one waits.
	Words(c *Cue, members uint64) (long, short Phrase, ok bool)
}

// Config tunes the manners. A field left zero takes its default.
type Config struct {
	// Margin is how long before the braking point a cue must have ended, s. Default 0.5 s
	// (common practice, no source).
	Margin float64
	// Gap is the pause between two cues, s; never less than 0.5 s, since two signals interfere within
	// about 500 ms (IVBSS, DOT HS 810 905). Default 0.6 s.
	Gap float64
	// MaxAdvisoriesPerLap holds the load down; negative: no limit. Default 3, from ISA-18.2-2016: at
	// most 10 alarms in any 10 minutes. A lap of 100 s is a sixth of that: 10/6, rounded up to 2. One more is for the lap time at the
	// line, which by the standard's meaning of the word is no alarm, as it asks for no response.
	MaxAdvisoriesPerLap int
	// LapAtMost renews the budget of advisories where no lap begins for so long, s: in the pits, without
	// a line, on a very long course. Default 180 s (common practice, no source).
	LapAtMost float64
	// MaxCalls is how many calls there may have been in the last ten minutes where an advisory is said that is not of high importance,
	// two fewer for low; negative: no limit. Default 8, so that with a caution or two there are no more than the 10 of ISA-18.2-2016.
	// Answers, warnings and what belongs to the line are not counted: a lap time asks for no response and so is no alarm.
	MaxCalls int
	// LineWindow is how long after the line a cue for the line may start, s. Default 12 s: a lap time is old in the
	// next corner but one (common practice, no source).
	LineWindow float64
	// Patience is how long a cue waits for room for its long form, and a merged one for room for all its parts, before it
	// makes do with less, s. Default 25 s (common practice, no source). An answer waits no longer than half of AnswerWithin,
	// a cue for the line not at all.
	Patience float64
	// AnswerWithin is how long the answer to the driver's question may wait outside braking and turn-in, s. Then it starts
	// although there may be too little room. Default 4.5 s: half a second less than common practice, for feeds of a few samples a second.
	AnswerWithin float64
	// CornerPatience is after how long without a break Situation.Corner is no longer believed, s: no corner
	// of a course lasts so long, a broken channel does. A known Room holds all the same. Default 15 s
	// (common practice, no source).
	CornerPatience float64
	// Life is how long a cue without an expiry of its own may wait, s. Default 20 s (common practice, no source).
	Life float64
	// MuteFor is how long Mute lasts when it is not told, s. Default 120 s (common practice, no source).
	MuteFor float64
}

// minGap is the least pause between two cues, s (IVBSS, DOT HS 810 905: signals interfere within 500 ms).
const minGap = 0.5

// lowLeaves is how many of MaxCalls something of low importance leaves to others. Common practice, no source.
const lowLeaves = 2

// callWindow is the time that MaxCalls speaks of, s.
const callWindow = 600

var defaults = Config{
	Margin: 0.5, Gap: 0.6, MaxAdvisoriesPerLap: 3, MaxCalls: 8, LapAtMost: 180, LineWindow: 12, Patience: 25, AnswerWithin: 4.5,
	CornerPatience: 15, Life: 20, MuteFor: 120,
}

// Validate reports every field that makes no sense, each with the way out. Zero fields are fine: they take
// their defaults.
func (c Config) Validate() error {
	var errs []error
	for _, f := range c.seconds() {
		v := *f.value
		if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
			errs = append(errs, fmt.Errorf("%s is %v: it must be a number of seconds, or 0 for the default of %v", f.name, v, f.fallback))
		} else if f.name == "gap" && v != 0 && v < minGap {
			errs = append(errs, fmt.Errorf("gap is %v: it must be at least %v s, as cues closer than that mask each other", v, minGap))
		}
	}
	return errors.Join(errs...)
}

type field struct {
	name     string
	value    *float64
	fallback float64
}

func (c *Config) seconds() []field {
	return []field{
		{"margin", &c.Margin, defaults.Margin},
		{"gap", &c.Gap, defaults.Gap},
		{"lap_at_most", &c.LapAtMost, defaults.LapAtMost},
		{"line_window", &c.LineWindow, defaults.LineWindow},
		{"patience", &c.Patience, defaults.Patience},
		{"answer_within", &c.AnswerWithin, defaults.AnswerWithin},
		{"corner_patience", &c.CornerPatience, defaults.CornerPatience},
		{"life", &c.Life, defaults.Life},
		{"mute_for", &c.MuteFor, defaults.MuteFor},
	}
}

// filled returns c with defaults in place of what is zero or makes no sense.
func (c Config) filled() Config {
	for _, f := range c.seconds() {
		if !(*f.value > 0) || math.IsInf(*f.value, 0) {
			*f.value = f.fallback
		}
	}
	c.Gap = max(c.Gap, minGap)
	if c.MaxAdvisoriesPerLap == 0 {
		c.MaxAdvisoriesPerLap = defaults.MaxAdvisoriesPerLap
	}
	if c.MaxCalls == 0 {
		c.MaxCalls = defaults.MaxCalls
	}
	return c
}
