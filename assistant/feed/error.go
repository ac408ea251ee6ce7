package feed

import (
	"errors"
	"fmt"
	"slices"
)

// ErrInvalid is wrapped by every mistake in a feed file.
var ErrInvalid = errors.New("invalid feed file")

// An Error is one mistake in a feed file: the place, what is wrong, and how to mend it.
type Error struct {
	File      string
	Line, Col int // from 1; 0 when the mistake has no place
	Msg, Hint string
}

func (e *Error) Error() string {
	place := e.File
	if e.Line > 0 {
		place = fmt.Sprintf("%s:%d:%d", e.File, e.Line, e.Col)
	}
	if e.Hint == "" {
		return place + ": " + e.Msg
	}
	return place + ": " + e.Msg + "\n\thint: " + e.Hint
}

// Unwrap gives ErrInvalid.
func (e *Error) Unwrap() error { return ErrInvalid }

// Errors lists the mistakes in an error of Parse or NewDecoder.
func Errors(err error) []*Error {
	var list []*Error
	var walk func(error)
	walk = func(err error) {
		if e, ok := err.(*Error); ok {
			list = append(list, e)
			return
		}
		switch u := err.(type) {
		case interface{ Unwrap() []error }:
			for _, e := range u.Unwrap() {
				walk(e)
			}
		case interface{ Unwrap() error }:
			walk(u.Unwrap())
		}
	}
	if err != nil {
		walk(err)
	}
	return list
}

// nearest is the candidate that differs from word by the fewest letters, "" when none is near.
func nearest(word string, candidates []string) string {
	best, least := "", len(word)/3
	if least == 0 {
		return "" // one letter in two is another word
	}
	for _, c := range candidates {
		if d := distance(word, c, least); d <= least && (d < least || best == "") {
			best, least = c, d
		}
	}
	return best
}

// distance counts the letters to insert, delete or replace (Levenshtein 1966), up to limit+1.
func distance(a, b string, limit int) int {
	if len(a)-len(b) > limit || len(b)-len(a) > limit || len(a) > 100 {
		return limit + 1
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diag := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diag
			if a[i] != b[j] {
				cost++
			}
			diag, row[j+1] = row[j+1], min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// didYouMean is a hint for a name that is not known.
func didYouMean(word string, known []string, otherwise string) string {
	if n := nearest(word, known); n != "" && !slices.Contains(known, word) {
		return fmt.Sprintf("did you mean %s?", n)
	}
	return otherwise
}
