package assistant

import (
	"earshot/assistant/course"
	"earshot/assistant/health"
	"earshot/assistant/journal"
	"earshot/assistant/session"
	"earshot/assistant/timing"
)

// A Sink is where something of what happens goes: the journal, the recording, the ear.
//
// Take is called after each step, in the order of the steps, by the goroutine that has the core. It returns at once:
// slow work waits in a bounded queue of the sink's own, whose comment says what happens when it is full. It may keep
// what the pointers in Output point to, since nobody changes that; it copies the row of a sample and the slice of
// events.
//
// An error means that the sink did not do its work for this step. A live run tells it once as health of the sink's part
// and goes on; a replay ends with it.
type Sink interface {
	Part() health.Part
	Take(s Step) error
}

// A Step is one input with what followed from it.
type Step struct {
	In  Input
	Out *Output
	Now float64 // the core's time after it
}

// The health parts of the sinks. Those of journal and recording are in package session.
var (
	SoundPart   = health.Part{Name: "sound", About: "what is said does not reach the sound device", Back: "sound-back"}
	CoursesPart = health.Part{Name: "courses", About: "a course that was learned cannot be saved"}
	BestsPart   = health.Part{Name: "bests", About: "the best laps of all sessions cannot be saved"}
)

type sink struct {
	part health.Part
	take func(Step) error
}

func (s *sink) Part() health.Part { return s.part }
func (s *sink) Take(x Step) error { return s.take(x) }

// JournalTo gives every event to keep, such as session.JournalWriter.Append. No event is left out without an error.
func JournalTo(keep func(journal.Event) error) Sink {
	var broken error // until an event is kept again
	return &sink{session.JournalPart, func(x Step) error {
		for i := range x.Out.Events {
			if err := keep(x.Out.Events[i]); i == 0 || err != nil {
				broken = err
			}
		}
		return broken
	}}
}

// InputsTo gives every input to keep, which copies the row of a sample.
func InputsTo(keep func(Input) error) Sink {
	return &sink{session.RecordingPart, func(x Step) error { return keep(x.In) }}
}

// RecordTo records every input into r, with the events that followed. A full queue drops the newest and tells so: the
// recording is whole up to there.
func RecordTo(r *session.Recorder) Sink {
	return &sink{session.RecordingPart, func(x Step) error {
		err := Record(r, x.In)
		for i := range x.Out.Events {
			if e := r.Event(x.Out.Events[i]); err == nil {
				err = e
			}
		}
		return err
	}}
}

// Record records one input.
func Record(r *session.Recorder, in Input) error {
	if in.Kind == KindSample {
		return r.Sample(in.At, in.Row)
	}
	data, err := in.Encode()
	if err != nil {
		return err
	}
	return r.Input(in.At, string(in.Kind), data)
}

// A Speaker says utterances. Its methods return at once. Where too much waits, the oldest is dropped.
type Speaker interface {
	Say(u Utterance)
	Hush(at float64) // cuts what is sounding and what waits
}

// SpeakTo gives utterances to s.
func SpeakTo(s Speaker) Sink {
	return &sink{SoundPart, func(x Step) error {
		if x.Out.Hush {
			s.Hush(x.Now)
		}
		if x.Out.Say != nil {
			s.Say(*x.Out.Say)
		}
		return nil
	}}
}

// CoursesTo gives each better course to keep. keep returns at once; a newer course replaces one that waits.
func CoursesTo(keep func(*course.Map)) Sink {
	return &sink{CoursesPart, func(x Step) error {
		if x.Out.Course != nil {
			keep(x.Out.Course)
		}
		return nil
	}}
}

// BestsTo gives the best laps of all sessions to keep, in the same way, when a lap has bettered them.
func BestsTo(keep func(*timing.Bests)) Sink {
	return &sink{BestsPart, func(x Step) error {
		if x.Out.Bests != nil {
			keep(x.Out.Bests)
		}
		return nil
	}}
}
