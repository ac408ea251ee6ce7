package assistant

import (
	"fmt"
	"math"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/journal"
)

// lessons are the facts that the stages have to learn from the driving, for the journal.
type lessons []lesson

type lesson struct {
	code string
	ids  []channel.ID // the channels that it makes known
	told bool
}

func newLessons() lessons {
	var list lessons
	for _, d := range declarations() {
		if d.Lesson == nil || d.Seldom {
			continue
		}
		at := -1
		for i := range list {
			if list[i].code == d.Lesson.Code {
				at = i
			}
		}
		if at < 0 {
			at, list = len(list), append(list, lesson{code: d.Lesson.Code})
		}
		list[at].ids = append(list[at].ids, d.Channels...)
	}
	return list
}

// tellLearned journals what has become known with this sample, each once a session.
func (c *Core) tellLearned(out *Output) {
	row := c.hold.Row
	for i := range c.lessons {
		l := &c.lessons[i]
		if l.told {
			continue
		}
		for _, id := range l.ids {
			if row.Has(id) {
				l.told = true
			}
		}
		if l.told {
			c.event(out, &journal.Learned{What: l.code, At: journal.Num(c.now), Detail: c.figures(l.code)})
		}
	}
}

// figures gives the numbers of what was learned, where it has any.
func (c *Core) figures(code string) string {
	const perG = channel.StandardGravity / channel.Degree
	switch code {
	case "slip_front", "slip_rear":
		radius, rear := c.condition.RollingRadius()
		if code == "slip_rear" {
			radius = rear
		}
		return fmt.Sprintf("rolling radius %.4f of what the feed assumes", radius)
	case "balance":
		s := c.condition.Steering()
		told := fmt.Sprintf("steering offset %.2f deg, understeer gradient %.2f deg/g, from %.0f s",
			s.Offset/channel.Degree, s.Gradient*perG, s.Seconds)
		switch {
		case s.Measured && math.IsNaN(s.Ratio):
			told += fmt.Sprintf("; wheelbase %.2f m, measured", s.Wheelbase)
		case s.Measured:
			told += fmt.Sprintf("; wheelbase %.2f m and steering ratio %.1f, their product measured", s.Wheelbase,
				s.Ratio)
		}
		return told
	case "course":
		if c.course != nil {
			return fmt.Sprintf("%.0f m, %d corners", c.course.Length, len(c.course.Corners))
		}
	case "fuel_per_lap":
		return fmt.Sprintf("%.2f l", c.hold.Row[channel.FuelPerLap])
	}
	return ""
}

// tellNeverLearned journals at the end of a session what never became known, and what that lacked.
func (c *Core) tellNeverLearned(out *Output) {
	var seen []channel.ID
	for id := range channel.ID(c.setup.Channels.Len()) {
		if c.hold.Seen(id) {
			seen = append(seen, id)
		}
	}
	if len(seen) == 0 {
		return
	}
	k := knowledge(c.setup.Channels, seen, c.setup.Car, c.setup.Course)
	before := ""
	for _, l := range c.lessons {
		if l.told {
			continue
		}
		lacks := k.Lacks(l.ids[0])
		for i := range lacks {
			lacks[i] = "no " + lacks[i]
		}
		if len(lacks) == 0 {
			lacks = []string{c.progress(l.code)}
		}
		text := strings.Join(lacks, ", ")
		if text == before {
			continue // the same cause is told once
		}
		before = text
		c.event(out, &journal.Learned{What: l.code, At: journal.Unknown, Lacks: text})
	}
}

// progress says how far the learning came of something that was never learned.
func (c *Core) progress(code string) string {
	if text := c.condition.Progress(code); text != "" {
		return text
	}
	switch n := c.fuel.FlyingLaps(); code {
	case "fuel_per_lap":
		return "no flying lap with its fuel"
	case "fuel_spread":
		return fmt.Sprintf("%d of 3 flying laps", n)
	}
	return "no whole lap that closes"
}
