// Package model makes one value of a session from the events of its journal: stints, laps, passes of corners, marks,
// calls, fuel accounts, health, in numbers and codes.
//
//	events ──Add, one by one──▶ Session ──▶ debrief, and whatever else wants to know what a session was
//
// What was journalled stands in it as journalled, with its units: times are seconds, speeds m/s, temperatures °C,
// pressures kPa (gauge), fuel litres, angles rad. The model adds which stint and lap each thing belongs to, and pairs
// what belongs together. It makes no sentence and judges nothing: words and judgement are for its readers.
//
// A Session marshals to JSON; what is not known is left out, never written as zero. Events may come one by one from a
// running session or all at once: the result is the same. Of a torn journal there is what it had. The package is pure.
package model

import (
	"math"
	"slices"

	"earshot/assistant/journal"
)

// A Session is what the events so far say.
type Session struct {
	journal.Session           // the last one told
	From            Num       `json:"from,omitzero"` // s on the feed's clock, of the earliest event
	To              Num       `json:"to,omitzero"`   // of the latest
	Events          int       `json:"events"`        // taken in
	Stints          []Stint   `json:"stints,omitempty"`
	Laps            []Lap     `json:"laps,omitempty"` // completed, in that order
	Passes          []Pass    `json:"passes,omitempty"`
	Marks           []Mark    `json:"marks,omitempty"`
	Cues            []Cue     `json:"cues,omitempty"` // each verdict on a call
	States          []State   `json:"states,omitempty"`
	Commands        []Command `json:"commands,omitempty"`
	Fuel            []Account `json:"fuel,omitempty"` // at each line
	Health          []Episode `json:"health,omitempty"`
	Learned         []Learned `json:"learned,omitempty"` // one for each thing that has to be learned, if the journal tells

	openPass, openMark int // the first of which it is not known in which completed lap they fall
}

// Num is a number that may be unknown.
type Num = journal.Num

// A Place says when and where in the session something happened.
type Place struct {
	T Num `json:"t,omitzero"` // s on the feed's clock
	// as counted: 0 before the first lap begun at the line, negative where not known
	LapNumber int `json:"lap"`
	Distance  Num `json:"distance,omitzero"` // m from the line
	Stint     int `json:"stint_index"`       // in Stints, -1: before the first
}

// A Stint is the time from leaving the pits to coming back.
type Stint struct {
	Number int           `json:"number"`
	Start  Num           `json:"start,omitzero"` // s; unknown where the journal has no start
	End    Num           `json:"end,omitzero"`   // s; unknown while under way, or where the journal is torn
	Begun  journal.Stint `json:"begun"`          // as it began: the cold pressures, the air, fuel, compound
	Ended  journal.Stint `json:"ended"`          // as it ended
}

// A Lap is a completed lap. Its numbers may start again within a journal; its index never does.
type Lap struct {
	journal.Lap
	T       Num `json:"t,omitzero"` // s, of its end
	InStint int `json:"stint_index"`
}

// Flying tells whether the lap is of the class of laps that can be compared with each other.
func (l *Lap) Flying() bool { return l.Class == "flying" }

// Counts tells whether the lap is a valid flying lap with a time that is exact.
func (l *Lap) Counts() bool { return l.Valid && l.Flying() && l.Inexact == "" }

// A Pass is one drive through a corner, with what it showed itself.
type Pass struct {
	Place
	journal.Corner
	Lap int `json:"lap_index"` // in Laps, -1: that lap was not completed
}

// A Mark is the driver's button.
type Mark struct {
	Place
	journal.Mark
	Lap int `json:"lap_index"` // in Laps, -1: that lap was not completed
}

// A Cue is a call and what became of it.
type Cue struct {
	Place
	journal.Cue
}

// Spoken tells whether the driver heard at least its beginning.
func (c *Cue) Spoken() bool { return c.Verdict == "said" || c.Verdict == "interrupted" }

// A State is a rule that changed its mind.
type State struct {
	Place
	journal.State
}

// A Command is something the driver asked for.
type Command struct {
	Place
	journal.Command
}

// An Account is the fuel at the line.
type Account struct {
	Place
	journal.Fuel
}

// An Episode is a stretch in which a part of the program was not well.
type Episode struct {
	Part  string `json:"part"`
	State string `json:"state"` // degraded or lost
	Text  string `json:"text,omitempty"`
	From  Num    `json:"from,omitzero"` // s
	To    Num    `json:"to,omitzero"`   // s; unknown where it lasts
}

// Learned is something that has to be learned from the driving.
type Learned struct {
	Place
	journal.Learned // At is unknown where it never was learned
}

// New returns the model of a session of which nothing is known yet.
func New() *Session { return &Session{From: journal.Unknown, To: journal.Unknown} }

// Of returns the model of these events.
func Of(events []journal.Event) *Session {
	s := New()
	for _, e := range events {
		s.Add(e)
	}
	return s
}

// Add takes the next event in. It neither keeps nor changes it.
func (s *Session) Add(e journal.Event) {
	s.Events++
	at := Num(e.T)
	if !at.IsZero() {
		if !(s.From <= at) {
			s.From = at
		}
		if !(s.To >= at) {
			s.To = at
		}
	}
	place := Place{T: at, LapNumber: e.Lap, Distance: e.Distance, Stint: len(s.Stints) - 1}
	switch x := e.Body.(type) {
	case *journal.Session:
		s.Session = *x
	case *journal.Stint:
		s.stint(at, x)
	case *journal.Lap:
		s.lap(at, x)
	case *journal.Corner:
		c := *x
		c.Findings, c.Repeated, c.PhaseTimes = slices.Clone(x.Findings), slices.Clone(x.Repeated), slices.Clone(x.PhaseTimes)
		s.Passes = append(s.Passes, Pass{place, c, -1})
	case *journal.Mark:
		s.Marks = append(s.Marks, Mark{place, *x, -1})
	case *journal.Cue:
		s.Cues = append(s.Cues, Cue{place, *x})
	case *journal.State:
		s.States = append(s.States, State{place, *x})
	case *journal.Command:
		s.Commands = append(s.Commands, Command{place, *x})
	case *journal.Fuel:
		s.Fuel = append(s.Fuel, Account{place, *x})
	case *journal.Health:
		s.health(at, x)
	case *journal.Learned:
		s.learned(Learned{place, *x})
	}
}

func newStint(number int) Stint {
	none := *journal.NewStint()
	none.Number = number
	return Stint{Number: number, Start: journal.Unknown, End: journal.Unknown, Begun: none, Ended: none}
}

func (s *Session) stint(at Num, x *journal.Stint) {
	if x.Event == "end" {
		if i := s.numbered(x.Number); i >= 0 {
			s.Stints[i].End, s.Stints[i].Ended = at, *x
		}
		return
	}
	n := newStint(x.Number)
	n.Start, n.Begun = at, *x
	s.Stints = append(s.Stints, n)
}

// numbered is the latest stint of that number, -1 where there is none.
func (s *Session) numbered(number int) int {
	for i := len(s.Stints) - 1; i >= 0; i-- {
		if s.Stints[i].Number == number {
			return i
		}
	}
	return -1
}

// lap ends a lap. Lap numbers may start again within a journal, so the passes and marks of it are those of its number
// since the lap before.
func (s *Session) lap(at Num, x *journal.Lap) {
	l := Lap{Lap: *x, T: at}
	l.Sectors = slices.Clone(x.Sectors)
	if l.Stint == 0 {
		l.Stint = 1
		if n := len(s.Stints); n > 0 {
			l.Stint = s.Stints[n-1].Number
		}
	}
	if l.InStint = s.numbered(l.Stint); l.InStint < 0 { // its start is not in the journal
		l.InStint = len(s.Stints)
		s.Stints = append(s.Stints, newStint(l.Stint))
	}
	index := len(s.Laps)
	s.Laps = append(s.Laps, l)
	for i := s.openPass; i < len(s.Passes); i++ {
		if p := &s.Passes[i]; p.LapNumber == x.Number {
			p.Lap, p.Place.Stint = index, l.InStint
		}
	}
	for i := s.openMark; i < len(s.Marks); i++ {
		if m := &s.Marks[i]; m.LapNumber == x.Number {
			m.Lap, m.Place.Stint = index, l.InStint
		}
	}
	s.openPass, s.openMark = len(s.Passes), len(s.Marks)
}

// health pairs each fall with its recovery; a part that falls further begins another episode.
func (s *Session) health(at Num, x *journal.Health) {
	for i := len(s.Health) - 1; i >= 0; i-- {
		if h := &s.Health[i]; h.Part == x.Part {
			if h.To.IsZero() {
				h.To = at
			}
			break
		}
	}
	if x.State != "ok" {
		s.Health = append(s.Health, Episode{Part: x.Part, State: x.State, Text: x.Text, From: at, To: journal.Unknown})
	}
}

// learned keeps one for each thing: the latest word on it.
func (s *Session) learned(l Learned) {
	for i := range s.Learned {
		if s.Learned[i].What == l.What {
			s.Learned[i] = l
			return
		}
	}
	s.Learned = append(s.Learned, l)
}

// NeverLearned lists what the journal says was never learned.
func (s *Session) NeverLearned() []Learned {
	var list []Learned
	for _, l := range s.Learned {
		if l.At.IsZero() {
			list = append(list, l)
		}
	}
	return list
}

// markReach is how far, in seconds, a mark may be from the end of the pass that it means. A pass is told when the car
// leaves the corner; the next pass of that corner is a lap away.
const markReach = 30

// PassOf returns the index of the pass that a mark means: the one of its corner that ended closest to it; -1 where
// there is none. Of a mark in a corner the pass follows, so the answer may come later than the mark.
func (s *Session) PassOf(m *Mark) int {
	best := -1
	if m.Corner <= 0 {
		return best
	}
	off := func(i int) float64 { return math.Abs(float64(s.Passes[i].T - m.T)) }
	for i := range s.Passes {
		if s.Passes[i].Number == m.Corner && off(i) <= markReach && (best < 0 || off(i) < off(best)) {
			best = i
		}
	}
	return best
}
