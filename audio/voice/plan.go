package voice

import (
	"slices"
	"strings"
)

// A plan is which units are played where.
type plan struct {
	pieces      []piece
	length      int // samples
	missing     []string
	words       int
	short, long int // pauses
}

type piece struct {
	unit Unit
	at   int // sample
}

// A word missing weighs more than any number of joints.
const missingCost = 1000

// plan covers a normal text with as few missing words as possible, then as few
// units as possible, and of these with the longest first.
func (v *Voice) plan(normal string) plan {
	var p plan
	at, joint := 0, 0
	overlap := int(overlapSeconds * float64(v.index.Rate))
	for part := range strings.SplitSeq(normal, " "+longPause) {
		for fragment := range strings.SplitSeq(part, " "+shortPause) {
			if at > 0 && joint == 0 {
				joint = int(shortPauseSeconds * float64(v.index.Rate))
				p.short++
			}
			for _, text := range v.cover(strings.TrimPrefix(fragment, " ")) {
				p.words += strings.Count(text, " ") + 1
				u, ok := v.units[text]
				if !ok {
					if !slices.Contains(p.missing, text) {
						p.missing = append(p.missing, text)
					}
					continue
				}
				start := max(0, at+joint)
				p.pieces = append(p.pieces, piece{u, start})
				at = max(at, start+u.Length)
				joint = -min(overlap, u.Length)
			}
			joint = 0
		}
		if at > 0 {
			joint = int(longPauseSeconds * float64(v.index.Rate))
			p.long++
		}
	}
	if p.long > 0 {
		p.long-- // none after the last word
	}
	p.length = at
	return p
}

// cover splits a fragment without pauses into the texts of units and missing words.
func (v *Voice) cover(fragment string) []string {
	if fragment == "" {
		return nil
	}
	if _, ok := v.units[fragment]; ok {
		return []string{fragment}
	}
	ends := make([]int, 0, 16) // where each word ends
	for i := range len(fragment) {
		if fragment[i] == ' ' {
			ends = append(ends, i)
		}
	}
	ends = append(ends, len(fragment))
	n := len(ends)
	start := func(i int) int {
		if i == 0 {
			return 0
		}
		return ends[i-1] + 1
	}
	cost, take := make([]int, n+1), make([]int, n)
	for i := n - 1; i >= 0; i-- {
		cost[i], take[i] = cost[i+1]+missingCost, 1
		for k := min(v.most, n-i); k >= 1; k-- {
			if _, ok := v.units[fragment[start(i):ends[i+k-1]]]; ok && cost[i+k]+1 < cost[i] {
				cost[i], take[i] = cost[i+k]+1, k
			}
		}
	}
	var out []string
	for i := 0; i < n; i += take[i] {
		out = append(out, fragment[start(i):ends[i+take[i]-1]])
	}
	return out
}
