package timing

import (
	"earshot/assistant/channel"
	"earshot/assistant/journal"
)

// A Kind is what an Event is about.
type Kind string

// The kinds of events.
const (
	StintStart Kind = "stint start"
	StintEnd   Kind = "stint end"
	LapBegun   Kind = "lap begun"
	LapDone    Kind = "lap done"
	LapVoid    Kind = "lap void"
	Doubted    Kind = "doubted" // a reading that was not believed, told once a channel
)

// A Class is the kind of a lap.
type Class string

// The classes of laps.
const (
	Out    Class = "out"    // contains the way out of the pits
	Flying Class = "flying" // everything else
	In     Class = "in"     // ends in the pit lane
	Slow   Class = "slow"   // much slower than the best, or with a stop on the course

	// Caution is a lap in which a full-course caution was shown, or a yellow flag from the line to the line: neither
	// its time nor its burn is that of a flying lap. An out- or in-lap under caution is an out- or in-lap.
	Caution Class = "caution"
)

// An Event is something that happened in time.
type Event struct {
	Kind   Kind
	At     float64 // s on the feed's clock, interpolated between samples where it is at the line
	Number int     // of the lap or of the stint
	Lap    Lap     // of LapDone; of LapVoid only number, stint and reason
	Doubt  Doubt
}

// A Doubt is a reading that was not believed, and why.
type Doubt struct {
	Channel channel.ID
	Why     string
}

// A Void is why a lap does not count, and where that was.
type Void struct {
	Code     string  // a code of the journal; empty: the lap counts
	Corner   int     // that the car was in or had left last, 0: not known
	Distance float64 // m from the line, NaN: not known
}

// The reasons.
const (
	OffCourse = "off_course"
	Moved     = "moved" // the car was moved by hand
	FeedSays  = "feed"  // the feed tells no reason
)

// A Lap is a completed lap.
type Lap struct {
	Number     int
	Stint      int
	Begun      float64 // s
	Time       float64 // s: the feed's own where it has one, else Computed
	Computed   float64 // s, between the interpolated crossings
	FeedTime   float64 // s, as the feed told; NaN where it did not
	Whole      bool    // seen without a gap or a jump, so that others are compared with it
	Exact      bool    // timed between samples that were close together
	WhyInexact string  // where not Exact
	Valid      bool    // nothing against it was seen
	Void       Void    // where not Valid: the first reason
	Class      Class
	Sectors    []float64 // s, computed, their sum is Computed; NaN where a boundary was missed; nil without boundaries
	Length     float64   // m driven
	Best       bool      // the best valid flying lap so far, and not the only one
	Potential  float64   // s, sum of the best sectors of valid flying laps, this one included; NaN without sectors
	Record     bool      // better than all earlier sessions with this course, car and compound
}

// Journal returns the lap for the journal. The caller fills in fuel, tyres and brakes.
func (l *Lap) Journal() *journal.Lap {
	j := journal.NewLap()
	j.Number, j.Time, j.Valid = l.Number, journal.Num(l.Time), l.Valid
	if !l.Valid {
		j.WhyInvalid, j.InvalidCorner, j.InvalidDistance = l.Void.Code, l.Void.Corner, journal.Num(l.Void.Distance)
	}
	j.Class, j.Stint, j.Length, j.FeedTime = string(l.Class), l.Stint, journal.Num(l.Length), journal.Num(l.FeedTime)
	j.Potential, j.Record, j.Inexact = journal.Num(l.Potential), l.Record, l.WhyInexact
	for _, s := range l.Sectors {
		j.Sectors = append(j.Sectors, journal.Num(s))
	}
	return j
}
