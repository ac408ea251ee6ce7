// Package health describes the parts of Earshot that may fail, and their states.
//
// A part is declared as a value by the package in which it arises; assistant.Parts lists them all, for the voice and
// for documents.
package health

import (
	"strings"

	"earshot/assistant/journal"
)

// A State is the state of a part, as the journal writes it.
type State string

// The states.
const (
	OK       State = "ok"
	Degraded State = "degraded" // it works in part
	Lost     State = "lost"     // it does not work
)

// Words is the code of a text that the driver hears; package assistant has the text.
type Words string

// A Part is something that may fail.
type Part struct {
	Name  string // as the journal writes it
	Many  bool   // there are several, each with its own name behind this one: "channel speed"
	About string // for documents: when it fails
	Lost  Words  // said once when it is lost; empty: the driver need not know at once
	Back  Words  // said when it works again after a loss; empty: nothing is said
}

// Of is the part of one name among many.
func (p Part) Of(name string) Part {
	p.Name, p.Many = p.Name+" "+name, false
	return p
}

// Is makes the event of a state of the part. text is for people.
func (p Part) Is(s State, text string) *journal.Health {
	return &journal.Health{Part: p.Name, State: string(s), Text: text}
}

// Named finds the part with a name in the journal. A name that no part has makes a part about which nothing is said.
func Named(list []Part, name string) Part {
	for _, p := range list {
		if p.Name == name && !p.Many || p.Many && strings.HasPrefix(name, p.Name+" ") {
			return p
		}
	}
	return Part{Name: name}
}
