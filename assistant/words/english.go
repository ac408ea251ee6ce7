package words

import "earshot/assistant/journal"

// English is the language of the documents, and the one where none is selected.
var English = &Language{
	Name: "english",
	findings: map[journal.Finding]string{
		{Kind: journal.Understeer, Phase: "braking"}:    "braking understeer",
		{Kind: journal.Understeer, Phase: "turn_in"}:    "turn-in understeer",
		{Kind: journal.Understeer, Phase: "mid_corner"}: "mid-corner understeer",
		{Kind: journal.Understeer, Phase: "exit"}:       "exit understeer",
		{Kind: journal.Oversteer, Phase: "braking"}:     "braking oversteer",
		{Kind: journal.Oversteer, Phase: "turn_in"}:     "turn-in oversteer",
		{Kind: journal.Oversteer, Phase: "mid_corner"}:  "mid-corner oversteer",
		{Kind: journal.Oversteer, Phase: "exit"}:        "exit oversteer",
		{Kind: journal.Locking, Place: "fl"}:            "front left locking",
		{Kind: journal.Locking, Place: "fr"}:            "front right locking",
		{Kind: journal.Locking, Place: "rl"}:            "rear left locking",
		{Kind: journal.Locking, Place: "rr"}:            "rear right locking",
		{Kind: journal.Wheelspin, Place: "front"}:       "front wheelspin",
		{Kind: journal.Wheelspin, Place: "rear"}:        "rear wheelspin",
	},
}
