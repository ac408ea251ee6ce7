package document

import (
	"slices"
	"strings"
)

// most is how many words a suggestion names.
const most = 5

// Meant is the way out for a word that is none of known: those that it is like, or the otherwise given.
func Meant(word string, known []string, otherwise string) string {
	if near := Nearest(word, known); len(near) > 0 {
		return "did you mean " + strings.Join(near, " or ") + "?"
	}
	return otherwise
}

// OneOf is Meant that otherwise lists all that are known.
func OneOf(word string, known []string) string {
	return Meant(word, known, "use one of "+strings.Join(known, ", "))
}

// Nearest lists those of known that word may have been meant to be: they differ from it by the fewest letters, at most
// one in five and one more. Small and capital letters are alike here. A name
// of which the word is the beginning counts as near.
func Nearest(word string, known []string) (near []string) {
	limit := len(word)/5 + 1
	if len(word) < 3 {
		limit = 0 // one letter in two is another word
	}
	for _, k := range known {
		d := edits(word, k, limit)
		if limit > 0 && strings.HasPrefix(k, word+"_") {
			d = limit // tyre_core is short for tyre_core_fl
		}
		switch {
		case d > limit || slices.Contains(near, k):
		case d < limit:
			near, limit = append(near[:0], k), d
		case len(near) < most:
			near = append(near, k)
		}
	}
	return near
}

// edits counts the letters to change, add, drop or swap with a neighbour to make b of a, but no further than limit+1
// (optimal string alignment: Damerau 1964, Levenshtein 1966).
func edits(a, b string, limit int) int {
	x, y := []rune(strings.ToLower(a)), []rune(strings.ToLower(b))
	if len(x)-len(y) > limit || len(y)-len(x) > limit || len(x) > 100 {
		return limit + 1
	}
	before, last, row := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		before, last, row = last, row, before
		row[0] = i + 1
		for j := range y {
			cost := 1
			if x[i] == y[j] {
				cost = 0
			}
			row[j+1] = min(last[j]+cost, last[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && x[i] == y[j-1] && x[i-1] == y[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
	}
	return row[len(y)]
}
