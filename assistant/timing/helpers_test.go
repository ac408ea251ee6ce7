package timing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/journal"
)

var set = channel.NewSet()

// a feed gives samples to a Timing through a Hold, as the core does.
type feed struct {
	t      *testing.T
	timing *Timing
	hold   *channel.Hold
	sample channel.Row
	events []Event
}

func newFeed(t *testing.T, cfg Config) *feed {
	return &feed{t: t, timing: New(cfg), hold: channel.NewHold(set), sample: set.NewRow()}
}

// give gives a sample of channel, value pairs.
func (f *feed) give(at float64, pairs ...any) []Event {
	f.t.Helper()
	f.sample.Clear()
	for i := 0; i < len(pairs); i += 2 {
		v, ok := pairs[i+1].(float64)
		if !ok {
			v = float64(pairs[i+1].(int))
		}
		f.sample[pairs[i].(channel.ID)] = v
	}
	require.Zero(f.t, f.hold.Update(channel.Sample{At: at, Row: f.sample}))
	n := len(f.events)
	f.events = f.timing.Step(at, f.hold.Row, f.events)
	return f.events[n:]
}

func (f *feed) of(kinds ...Kind) []Event {
	var list []Event
	for _, e := range f.events {
		for _, k := range kinds {
			if e.Kind == k {
				list = append(list, e)
			}
		}
	}
	return list
}

func (f *feed) get(id channel.ID) float64 { return f.hold.Row[id] }

// gateFile is a course whose line lies across x = 0 and is driven towards positive x.
func gateFile() *course.File {
	return &course.File{Name: "test", Line: course.Line{Source: course.ByGate, Gate: course.Gate{
		A: course.Point{X: 0, Y: -10}, B: course.Point{X: 0, Y: 10}, Toward: course.Point{X: 10, Y: 0}, Directed: true,
	}}}
}

// stadium returns the place after s metres on a stadium of two straights of 400 m and two half circles of
// radius 50 m, driven anticlockwise; the line is in the middle of the lower straight.
func stadium(s float64) (x, y, heading, k float64) {
	const straight, r = 400.0, 50.0
	bend := math.Pi * r
	s = math.Mod(s, 2*straight+2*bend)
	switch {
	case s < straight/2:
		return s, -r, 0, 0
	case s < straight/2+bend:
		a := (s - straight/2) / r
		return straight/2 + r*math.Sin(a), -r * math.Cos(a), a, 1 / r
	case s < straight*1.5+bend:
		return straight/2 - (s - straight/2 - bend), r, math.Pi, 0
	case s < straight*1.5+2*bend:
		a := (s - straight*1.5 - bend) / r
		return -straight/2 - r*math.Sin(a), r * math.Cos(a), math.Pi + a, 1 / r
	}
	return -straight/2 + (s - straight*1.5 - 2*bend), -r, 2 * math.Pi, 0
}

const stadiumLength = 800 + 100*math.Pi

func stadiumFile() *course.File {
	f := gateFile()
	f.Line.Gate.A.Y, f.Line.Gate.B.Y, f.Line.Gate.Toward.Y = -60, -40, -50
	return f
}

func nums(list ...journal.Num) []journal.Num { return list }
