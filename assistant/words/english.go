package words

import (
	"earshot/assistant/cue"
	"earshot/assistant/health"
	"earshot/assistant/journal"
	"earshot/audio/spoken"
)

// English is the language of the documents, and the one where none is selected.
var English = &Language{
	Name: "english", Spoken: spoken.English,
	Calls: Calls{
		Marked: "Marked.", MarkedCorner: "Marked, turn %s.", NothingSaid: "Nothing said yet.",
		Muted: "Muted.", Unmuted: "Talking again.", NoAnswer: "No %s data.", NewStint: "New stint.",
		Cleared: "Clear.", NothingToClear: "Nothing to clear.",
		Health: map[health.Words]string{
			"feed-lost": "No telemetry.", "keys-lost": "Keys lost.", "recording-lost": "Recording stopped.",
			"journal-lost": "Journal stopped.", "sound-back": "Sound back.",
		},
	},
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
	reasons: map[cue.Reason]string{
		cue.NoWords:        "nothing to say, or a value in its words was not known",
		cue.AlreadyExpired: "it had expired when it was offered", cue.MutedByDriver: "muted by the driver",
		cue.BeingSaid: "the same was being said", cue.NewerText: "a newer text of the same call took its place",
		cue.SaidWithin: "said within another call", cue.NoLongerTrue: "no longer true",
		cue.SessionEnded: "the session ended", cue.LapFull: "enough advisories in the lap",
		cue.WindowFull: "enough calls in ten minutes",
		cue.TooSoon:    "said a short time ago", cue.ByWarning: "a warning waits for nothing",
		cue.Standing: "the car stood or was in the pits", cue.RoomEnough: "there was room",
		cue.RoomUnknown: "room not known, but not in a corner", cue.Waited: "the driver had waited for his answer",
		cue.OtherSounded: "another call was being said", cue.OthersFirst: "others went first",
		cue.KeptBack: "it was not the time for it", cue.InCorner: "in a corner, and the room not known",
		cue.NotStraight: "not on a straight", cue.NotAtLine: "not near the line",
		cue.NoRoom: "no room before the next braking or turn-in point", cue.NoMoment: "no moment came to say it",
	},
	void: map[string]string{"off_course": "off the course", "moved": "the car was moved",
		"feed": "by the feed's word"},
	atCorner: ", turn %d",
	atPlace:  " at %.0f m",
	never:    "%s was never learned in this session, so %s: %s.",
	learned: map[string][2]string{
		"slip_front":   {"Slip of the front wheels", "their locking and spinning cannot show"},
		"slip_rear":    {"Slip of the rear wheels", "their locking and spinning cannot show"},
		"balance":      {"The balance", "understeer and oversteer cannot show"},
		"course":       {"The course", "no corner is known"},
		"fuel_per_lap": {"The burn of a lap", "no laps of fuel can be told"},
		"fuel_spread":  {"The spread of the burn", "the doubt of the fuel cannot be told"},
		// the words where nothing better is known
		"": {"not driven long enough", "what rests on it cannot be told"},
	},
}
