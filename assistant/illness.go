package assistant

import (
	"fmt"
	"slices"

	"earshot/assistant/feed"
	"earshot/assistant/hand"
	"earshot/assistant/health"
	"earshot/assistant/journal"
	"earshot/assistant/session"
)

// The parts of the core itself.
var (
	coursePart = health.Part{Name: "course", About: "what is driven is not the course of the file, or of the saved one"}
	RulesPart  = health.Part{Name: "rules", About: "changed rules cannot be used: those before stay in force"}
)

// Parts lists every part that may fail.
func Parts() []health.Part {
	return []health.Part{
		feed.Whole, feed.Source, feed.Reading, hand.KeysPart, SoundPart, session.JournalPart,
		session.RecordingPart, CoursesPart, BestsPart, coursePart, RulesPart,
	}
}

var parts = Parts()

// A part that fails and recovers again and again is told changesTold times. After that it must keep its state for
// steadyAfter seconds before it is told again (common practice, no source: a loose plug changes a dozen times a
// minute).
const (
	changesTold = 6
	steadyAfter = 60.0
)

// An illness is what is known of a part.
type illness struct {
	part     health.Part
	state    journal.Health
	changed  float64 // when its state changed last
	changes  int     // since it was last steady
	spoken   bool    // its loss has been said since it was last steady
	unsteady bool    // it changes too often to be told
}

// ail journals the state of a part, and has it said once where the driver must know.
func (c *Core) ail(h *journal.Health, out *Output) {
	i := c.ill[h.Part]
	if i == nil {
		i = &illness{part: health.Named(parts, h.Part)}
		c.ill[h.Part] = i
	}
	was := i.state
	i.state = *h
	if was.State == h.State { // only its text may be new
		if was.Text != h.Text && !i.unsteady {
			c.event(out, h)
		}
		return
	}
	if c.now-i.changed >= steadyAfter {
		i.changes, i.spoken = 0, false
	}
	i.changed = c.now
	switch i.changes++; {
	case i.unsteady:
		return
	case i.changes == changesTold:
		i.unsteady = true
		c.unsteady = append(c.unsteady, i)
		told := *h
		told.Text += fmt.Sprintf("; it comes and goes: it is told again when it has kept its state for %.0f s",
			steadyAfter)
		h = &told
	}
	c.event(out, h)
	c.sayHealth(i, health.State(was.State), out)
}

// settle tells the state of unsteady parts that have become steady.
func (c *Core) settle(out *Output) {
	c.unsteady = slices.DeleteFunc(c.unsteady, func(i *illness) bool {
		if c.now-i.changed < steadyAfter {
			return false
		}
		i.changes, i.spoken, i.unsteady = 0, false, false
		state := i.state
		c.event(out, &state)
		c.sayHealth(i, health.Lost, out)
		return true
	})
}

func (c *Core) sayHealth(i *illness, was health.State, out *Output) {
	state := health.State(i.state.State)
	switch {
	case state == health.Lost && i.part.Lost != "" && !i.spoken:
		i.spoken = true
		c.callHealth(i.part.Name, i.part.Lost, out)
	case state == health.OK && was == health.Lost && i.part.Back != "":
		c.callHealth(i.part.Name, i.part.Back, out)
	}
}
