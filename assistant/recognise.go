package assistant

import (
	"fmt"

	"earshot/assistant/course"
	"earshot/assistant/health"
	"earshot/assistant/timing"
)

// learned puts a map in force that a lap has made or bettered, and hands it out to be saved. The first whole lap also
// shows whether the course is a saved one that was not recognised earlier.
func (c *Core) learned(m *course.Map, out *Output) {
	if c.course == nil {
		c.checkDirection(m, out)
		if saved := c.recogniser.Whole(m); saved != nil {
			m = c.learner.Adopt(saved)
			c.tellRecognised(m, "by a whole lap", out)
			c.useBests(m.Name)
		}
	}
	c.useCourse(m)
	out.Course = m
}

// recognise asks which of the saved courses the car is on.
func (c *Core) recognise(out *Output) {
	if c.course != nil && !c.recogniser.Follows() {
		return // learned in this session: no saved course has its line
	}
	found, left := c.recogniser.Step(c.now, c.hold.Row)
	if err := c.recogniser.Trouble(); err != nil {
		c.event(out, coursePart.Is(health.Degraded, err.Error()))
	}
	switch {
	case left != "":
		c.event(out, coursePart.Is(health.Degraded, fmt.Sprintf("this is not %s: %s; the course is learned anew",
			c.course.Name, left)))
		c.learner.Forget()
		c.useBests("")
		c.useCourse(nil)
	case found.Map != nil:
		m := c.learner.Adopt(found.Map)
		c.checkDirection(m, out)
		c.tellRecognised(m, found.How, out)
		c.useBests(m.Name)
		c.useCourse(m)
	}
}

func (c *Core) tellRecognised(m *course.Map, how string, out *Output) {
	c.event(out, coursePart.Is(health.OK, fmt.Sprintf("recognised %s %s: %d corners, braking points of %d laps", m.Name,
		how, len(m.Corners), m.Laps)))
}

// useBests uses the best laps of earlier sessions on a recognised course. A course without a name has none.
func (c *Core) useBests(name string) {
	if c.setup.BestsOf == nil {
		return
	}
	b := c.setup.BestsOf[name]
	if b == nil {
		b = &timing.Bests{Version: timing.BestsVersion, Course: name}
	}
	c.timing.UseBests(b)
}

func (c *Core) useCourse(m *course.Map) {
	c.course = m
	c.timing.UseMap(m)
	c.passes.UseMap(m)
}
