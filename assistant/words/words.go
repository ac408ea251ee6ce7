// Package words holds what people read and hear, one table a language, selected by its name. Everywhere else the same
// things are codes, so that a second language is one more table here.
//
// The package is pure, and a Language is never changed once it is made.
package words

import (
	"fmt"
	"strings"

	"earshot/assistant/cue"
	"earshot/assistant/health"
	"earshot/assistant/journal"
	"earshot/audio/spoken"
)

// A Language is the words of one language.
type Language struct {
	Name   string           // as a configuration selects it
	Spoken *spoken.Language // numbers, and the names of wheels, axles and sides
	Calls  Calls

	findings map[journal.Finding]string
	void     map[string]string     // why a lap does not count, by code
	reasons  map[cue.Reason]string // why a cue was said or not
	atCorner string                // after it, where that was
	atPlace  string
	learned  map[string][2]string // what has to be learned, and what cannot be told without it
	never    string               // sentence about it: what, what cannot be told, what was lacking
}

// Calls are what the driver hears of the core's own accord, besides the rules.
type Calls struct {
	Marked         string
	MarkedCorner   string // with the number of the corner in words
	NothingSaid    string // there is nothing to repeat
	Muted, Unmuted string
	NoAnswer       string // with the question
	NewStint       string
	Cleared        string // latched rules are let go
	NothingToClear string
	Health         map[health.Words]string // of parts that fall ill; the feed's silence under way is a rule's business
}

var languages = []*Language{English}

// Named finds a language; empty is English.
func Named(name string) (*Language, error) {
	var names []string
	for _, l := range languages {
		if l.Name == name || name == "" && l == English {
			return l, nil
		}
		names = append(names, l.Name)
	}
	return nil, fmt.Errorf("there is no language %q: use %s", name, strings.Join(names, ", "))
}

// Finding words a finding for a reader: "mid-corner understeer". One that this language does not know is shown as its
// code.
func (l *Language) Finding(f journal.Finding) string {
	if text, ok := l.findings[f]; ok {
		return text
	}
	return strings.ReplaceAll(f.String(), "_", " ")
}

// NeverLearned says that something that has to be learned from the driving never was; lacks is what it lacked.
func (l *Language) NeverLearned(what, lacks string) string {
	w, ok := l.learned[what]
	if !ok {
		w = [2]string{strings.ReplaceAll(what, "_", " "), l.learned[""][1]}
	}
	if lacks == "" {
		lacks = l.learned[""][0]
	}
	return fmt.Sprintf(l.never, w[0], w[1], lacks)
}

// Void says why a lap does not count and where that was. The words of journals written before there were codes stand as
// they are.
func (l *Language) Void(lap *journal.Lap) string {
	why, ok := l.void[lap.WhyInvalid]
	switch {
	case !ok:
		return lap.WhyInvalid
	case lap.InvalidCorner > 0:
		return why + fmt.Sprintf(l.atCorner, lap.InvalidCorner)
	case !lap.InvalidDistance.IsZero():
		return why + fmt.Sprintf(l.atPlace, float64(lap.InvalidDistance))
	}
	return why
}

// Reason says why a cue was said or not, without figures, so that many calls can be counted by it; of journals written
// before there were codes it is what they say.
func (l *Language) Reason(c *journal.Cue) string {
	if text, ok := l.reasons[cue.Reason(c.Reason)]; ok {
		return text
	}
	return c.Why
}
