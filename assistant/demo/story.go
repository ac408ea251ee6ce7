package demo

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
)

// A cue is a press of the driver at a place.
type cue struct {
	lap     int
	d       float64
	command string
	memo    string
	done    bool
}

// An event is a fault that happens at one place once.
type event struct {
	fault Fault
	id    channel.ID // of Frozen
	d     float64
	done  bool
}

// storyCorners picks the corners of the story by their part of the lap, so that it can be told on every course: the one
// that washes out, the one with the excursion, the one after which the driver sets the ABS.
func storyCorners(c *Course) (washed, wide, setting Corner) {
	n := len(c.Corners)
	return c.Corners[min(2, n-1)], c.Corners[n*7/10], c.Corners[n/2]
}

// storyFaults is what goes wrong in the demo, and what the driver does about it. The rest of the story needs no fault:
// cold brakes and tyres come from the start, the want of fuel from the load.
func storyFaults(c *Course) []Fault {
	washed, wide, setting := storyCorners(c)
	return []Fault{
		{Kind: BlockedDuct, FromLap: 0, ToLap: 10000, Wheel: channel.FR, Amount: 0.25},
		{Kind: SetABS, FromLap: 2, Corner: setting.Number, Amount: 0},
		{Kind: SetABS, FromLap: 3, Corner: setting.Number, Amount: 4},
		{Kind: Understeer, FromLap: washFrom, ToLap: washTo, Corner: washed.Number, Amount: 0.35},
		{Kind: RunWide, FromLap: voidLap, Corner: wide.Number, Amount: 1.5},
		{Kind: Save, FromLap: saveFrom, ToLap: saveTo, Amount: 60},
		{Kind: Yellow, FromLap: yellowLap, Corner: 2, Amount: 0.25},
	}
}

// The laps of the story that have a name.
const (
	washFrom  = 4 // not before the tyres are ready: what a cold car does is no finding
	washTo    = 6
	voidLap   = 4
	saveFrom  = 6
	saveTo    = 8
	yellowLap = 9
)

// storyCues is what the driver presses: marks where the car washed out, with the words he speaks, and questions on
// straights.
func storyCues(c *Course) []cue {
	washed, _, _ := storyCorners(c)
	return []cue{
		{lap: 2, d: 720, command: "tyres"},
		{lap: washFrom, d: washed.Exit + 15, command: "mark", memo: "washes out from the apex, more steering does nothing"},
		{lap: washFrom + 1, d: washed.Exit + 15, command: "mark", memo: "the same again"},
		{lap: 7, d: 40, command: "fuel"},
	}
}

// A Scene is what a newcomer is told about the story when a lap begins: what the driver does, and nothing that he could
// not know.
type Scene struct {
	Lap  int
	Text string
}

// Scenes lists them for a course, in order.
func Scenes(c *Course) []Scene {
	washed, wide, _ := storyCorners(c)
	return []Scene{
		{0, "The car leaves the pits. Brakes, tyres and road are cold."},
		{1, "The race begins. Hard tyres need about three laps."},
		{2, "Still cold. In this lap the driver knocks the ABS off and does not notice."},
		{washFrom, fmt.Sprintf("The tyres are there. Now the car washes out of turn %d, %s, and the driver marks it; in "+
			"turn %d he runs wide.", washed.Number, washed.Name, wide.Number)},
		{saveFrom, "Fuel is short, so the driver lifts early before the brakes for three laps."},
		{saveTo + 1, "There is enough again: back to full pace. A car is off at turn 2."},
		{StoryLaps, "The last lap."},
	}
}

// arm prepares everything that is bound to a place.
func (s *Sim) arm(set *channel.Set) {
	c := s.course
	for _, f := range s.o.Faults {
		for lap := f.FromLap; lap <= min(f.last(), s.inLap()); lap++ {
			for _, t := range c.Corners {
				if !f.at(lap, t.Number) {
					continue
				}
				outward := -math.Copysign(1, t.Turn)
				from := float64(lap) * c.Length
				switch f.Kind {
				case RunWide:
					s.swerves = append(s.swerves, swerve{from + t.Exit + 10, max(60, min(110, (t.Exit-t.Entry)/2+50)),
						outward * (c.Width/2 + f.Amount)})
				case Understeer:
					s.swerves = append(s.swerves, swerve{from + t.Exit, 70, outward * min(1.5, 4*f.Amount)})
				}
			}
		}
		switch f.Kind {
		case SetABS, SetTC, Silence, Frozen, Caution:
			id, _ := set.Lookup(f.Channel)
			s.events = append(s.events, event{fault: f, id: id, d: c.Corners[f.Corner-1].Exit})
		}
	}
	if s.o.Story {
		s.cues = storyCues(c)
	}
	s.due = make([]Press, 0, len(s.cues))
	s.pressed = make([]Press, 0, len(s.cues))
	s.frozen = make([]freeze, 0, len(s.events))
}

// happen does what is due at the place that the car has reached.
func (s *Sim) happen() {
	for i := range s.cues {
		q := &s.cues[i]
		if q.done || s.lap < q.lap || s.lap == q.lap && s.d < q.d {
			continue
		}
		q.done = true
		p := Press{At: s.t, Command: q.command, Memo: q.memo}
		s.due = append(s.due, p)
		s.pressed = append(s.pressed, p)
	}
	for i := range s.events {
		e := &s.events[i]
		if e.done || s.lap < e.fault.FromLap || s.lap == e.fault.FromLap && s.d < e.d {
			continue
		}
		e.done = true
		switch e.fault.Kind {
		case SetABS:
			s.abs = e.fault.Amount
		case SetTC:
			s.tc = e.fault.Amount
		case Silence:
			s.silent = s.t + e.fault.Amount
		case Caution:
			s.caution, s.driver.planned = s.t+e.fault.Amount, false
		case Frozen:
			s.frozen = append(s.frozen, freeze{e.id, math.NaN(), e.fault.last()})
		}
	}
}
