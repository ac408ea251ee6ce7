package rules

import (
	"errors"
	"fmt"
)

// ErrInvalid is what every error of Compile and ParseExpression wraps.
var ErrInvalid = errors.New("invalid rule")

// An Error is one mistake: where, what, and the way out. Line and Col count from 1,
// Col in characters. Rule is the name of the rule or `answer "ask"`, empty where the mistake is in none.
type Error struct {
	File      string
	Line, Col int
	Rule      string
	Msg, Hint string
}

func (e *Error) Error() string {
	s := fmt.Sprintf("%s:%d:%d: ", e.File, e.Line, e.Col)
	if e.Rule != "" {
		s += e.Rule + ": "
	}
	s += e.Msg
	if e.Hint != "" {
		s += "\n\thint: " + e.Hint
	}
	return s
}

// Unwrap makes errors.Is(err, ErrInvalid) true.
func (e *Error) Unwrap() error { return ErrInvalid }
