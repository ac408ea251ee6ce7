package document

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
)

// ErrInvalid is wrapped by every Error.
var ErrInvalid = errors.New("invalid configuration")

// An Error is one mistake in a file: the place, what is wrong, and the way out.
type Error struct {
	File      string
	Line, Col int    // from 1, Col in characters; 0 where the mistake has no place
	Part      string // what it is in, such as `rule "fuel-low"`, or ""
	Msg, Hint string
}

func (e *Error) Error() string {
	s := e.File
	if e.Line > 0 {
		s = fmt.Sprintf("%s:%d:%d", e.File, e.Line, e.Col)
	}
	if e.Part != "" {
		s += ": " + e.Part
	}
	s += ": " + e.Msg
	if e.Hint != "" {
		s += "\n\thint: " + e.Hint
	}
	return s
}

// Unwrap gives ErrInvalid.
func (e *Error) Unwrap() error { return ErrInvalid }

// Errors lists the mistakes that err joins or wraps.
func Errors(err error) (list []*Error) {
	switch e := err.(type) {
	case *Error:
		return []*Error{e}
	case interface{ Unwrap() []error }:
		for _, one := range e.Unwrap() {
			list = append(list, Errors(one)...)
		}
	case interface{ Unwrap() error }:
		return Errors(e.Unwrap())
	}
	return list
}

// joined is the mistakes as one error: those of the file itself in the order of their places, then those of others.
func joined(file string, list []*Error) error {
	place := func(e *Error) int64 {
		if e.File != file {
			return math.MaxInt64
		}
		return int64(e.Line)<<32 + int64(e.Col)
	}
	slices.SortStableFunc(list, func(a, b *Error) int { return cmp.Compare(place(a), place(b)) })
	all := make([]error, len(list))
	for i, e := range list {
		all[i] = e
	}
	return errors.Join(all...)
}
