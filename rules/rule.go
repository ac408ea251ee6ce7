package rules

import "earshot/rules/expression"

// A Priority is how much a call matters, in the sense of flight-deck alerting.
type Priority string

// The priorities.
const (
	Warning  Priority = "warning"  // act at once
	Caution  Priority = "caution"  // act this lap
	Advisory Priority = "advisory" // know it
)

// An Importance is the order among calls of one priority.
type Importance string

// The importances.
const (
	LowImportance    Importance = "low"    // leaves the last places to others
	NormalImportance Importance = "normal" // the default
	HighImportance   Importance = "high"   // is said where there were just enough calls
)

// A Where is the part of the course on which a call may be said.
type Where string

// The places.
const (
	Anywhere Where = "anywhere"
	Straight Where = "straight" // only where it can end before the next braking point
	Line     Where = "line"     // at the start and finish line
)

// A Rule is one rule as compiled. It does not change.
type Rule struct {
	Name     string
	Group    string // the file's base name without its ending, such as "tyres"
	File     string
	Line     int
	Priority Priority // of say and merge
	Clear    Priority // of say_clear
	EndOnly  bool     // it has say_clear and no say: only the end of the state is told
	Each     expression.Each
	Where    Where
	// Importance is the order among advisories: which comes first, and which gives way when there is too much to say.
	Importance Importance
	// Expires is how long what is said of an event may wait, in seconds, and say_clear from the clearing of a state.
	// What is said of a state waits as long as the state lasts.
	Expires float64
	// Apart is how long a call is not told after another one of the same rule, in seconds; 0: there is no such time.
	Apart float64
	// Momentary: the condition speaks of an event, by changed or a Name that is Momentary, so the
	// instance clears at the next step although what it says still holds.
	Momentary bool
	// Placed: its words name the corner where the car was when the state began, and so are not made anew later.
	Placed bool
	Merge  bool // there is one text for several instances: see Set.Merged

	onDelay, offDelay   float64 // seconds
	repeat, repeatLater float64 // seconds to the second time, and between later ones; 0 is never
	latch               bool
	suppress            uint64
	merged, mergedShort *template
	cells               [4]int // where each instance stands in Set.instances, -1 where it is off
	why, learned        []string
	fingerprint         string // what the state depends on, for Adopt
}

// RuleInfo tells a person about a rule.
type RuleInfo struct {
	Name      string
	Group     string
	File      string
	Line      int
	Priority  Priority
	Active    bool     // at least one instance is being watched
	Why       []string // why it, an instance or a sentence of it is off
	Instances []string // suffixes of the instances being watched; "" alone for a rule without each
	Learned   []string // what has to be learned while driving before its condition can be judged
}

// A State is the state of an instance.
type State uint8

// The states. An instance begins unknown. An active one stays active while its condition
// is unknown.
const (
	Unknown State = iota
	Normal
	Active
)

// String returns unknown, normal or active.
func (s State) String() string {
	switch s {
	case Normal:
		return "normal"
	case Active:
		return "active"
	}
	return "unknown"
}

// A Transition is a change of an instance's state, or a repeat (From and To both Active).
type Transition struct {
	Rule     *Rule
	Instance int    // 0 to 3 in the order fl fr rl rr, front rear, left right; 0 without each
	Wheel    string // the instance's suffix, or ""
	From, To State
	At       float64 // seconds, as given to Step
	// Value and Limit are both sides of the deciding comparison, the limit with the deadband in force; NaN where there
	// is none.
	Value, Limit float64
	Say          bool // there is a Text to be said
	Text         string
	Short        string // the same in fewer words, for where Text does not fit; "" where the rule has none
	Why          string // why there is nothing to be said although the rule has words, else ""
}

// The types of the language of conditions: see package expression.
type (
	Name       = expression.Name
	Unit       = expression.Unit
	Vocabulary = expression.Vocabulary
	Each       = expression.Each
)

// The kinds of instance.
const (
	Once      = expression.Once
	EachWheel = expression.EachWheel
	EachAxle  = expression.EachAxle
	EachSide  = expression.EachSide
)
