package assistant

import (
	"encoding/json"
	"fmt"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/hand"
	"earshot/assistant/journal"
	"earshot/assistant/timing"
	"earshot/rules"
)

// A Kind says what an Input is.
type Kind string

// The kinds of inputs.
const (
	KindStart   Kind = "start"
	KindSample  Kind = "sample"
	KindTick    Kind = "tick"    // time has passed without a sample
	KindCommand Kind = "command" // somebody asks for something
	KindHealth  Kind = "health"
	KindRules   Kind = "rules" // the user has changed his rules
	KindEnd     Kind = "end"
)

// An Input is one thing that happened outside. Whoever makes it stamps it with the feed's clock; the core looks at no
// clock.
type Input struct {
	Kind    Kind
	At      float64          // s on the feed's clock
	Row     channel.Row      // of a sample, NaN where it has no reading; the owner may reuse it after Step
	Request *hand.Request    // of a command
	Session *journal.Session // of the start
	Health  *journal.Health  // of a health input
	Rules   []rules.Source   // of a rules input: all files that are to be in force
}

// wire is the form in a recording of an Input that is not a sample. The fields of a request stand beside the others.
type wire struct {
	*hand.Request
	Session *journal.Session `json:"session,omitempty"`
	Health  *journal.Health  `json:"health,omitempty"`
	Rules   []rules.Source   `json:"rules,omitempty"`
}

// Encode returns what a recording keeps of an input besides kind and time. A sample's row is recorded apart from it.
func (in Input) Encode() ([]byte, error) {
	return json.Marshal(wire{in.Request, in.Session, in.Health, in.Rules})
}

// DecodeInput is the reverse of Encode.
func DecodeInput(kind string, at float64, data []byte) (Input, error) {
	in := Input{Kind: Kind(kind), At: at}
	switch in.Kind {
	case KindStart, KindTick, KindCommand, KindHealth, KindRules, KindEnd:
	default:
		return in, fmt.Errorf("a recorded input of kind %q is not known to this version", kind)
	}
	var w wire
	if len(data) > 0 {
		if err := json.Unmarshal(data, &w); err != nil {
			return in, fmt.Errorf("a recorded %s input: %w", kind, err)
		}
	}
	in.Session, in.Health, in.Rules = w.Session, w.Health, w.Rules
	if w.Request != nil && w.Name != "" {
		in.Request = w.Request
	}
	switch {
	case in.Kind == KindStart && in.Session == nil, in.Kind == KindHealth && in.Health == nil,
		in.Kind == KindCommand && in.Request == nil, in.Kind == KindRules && len(in.Rules) == 0:
		return in, fmt.Errorf("a recorded %s input has no content", kind)
	}
	return in, nil
}

// An Output is what one Step decided. Step appends to Events; the caller empties it.
type Output struct {
	Events []journal.Event
	Hush   bool          // cut what is sounding, before Say
	Say    *Utterance    // to be said now, or nil
	Bests  *timing.Bests // of all sessions, a copy, where this step has bettered them; else nil
	Course *course.Map   // learned or bettered by the lap that has just ended: worth saving; or nil
}

// Reset empties the output and keeps its memory.
func (o *Output) Reset() { *o = Output{Events: o.Events[:0]} }

// An Utterance is a cue that begins now.
type Utterance struct {
	At       float64 // s on the feed's clock
	Text     string
	Rule     string
	Priority string
	Lap      int     // -1 where not known
	Place    float64 // m from the line, NaN where not known
	Corner   int     // the corner the car is in or has left last, 0 where not known
}
