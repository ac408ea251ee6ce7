package hand

import "earshot/assistant/health"

// KeysPart is the source of the driver's presses.
var KeysPart = health.Part{Name: "keys", About: "the program that watches the keys does not work", Lost: "keys-lost"}

// A Request is something asked of the assistant, by a key, a button, a spoken command or a person elsewhere. What it
// carries besides its name depends on the name. It is recorded as it is.
type Request struct {
	Name     Command `json:"command"`
	Source   string  `json:"source,omitempty"`   // where it comes from: "key F9"
	Pressed  float64 `json:"pressed,omitempty"`  // s on the feed's clock: the moment that is meant; 0: when it was taken in
	Tag      string  `json:"tag,omitempty"`      // of a mark: what kind of thing it marks
	Memo     string  `json:"memo,omitempty"`     // of a mark: the words spoken with it
	Text     string  `json:"text,omitempty"`     // of a message: what it says
	Priority string  `json:"priority,omitempty"` // of a message: how urgent it is
	Number   int     `json:"number,omitempty"`   // of an edit: the mark that is meant
}
