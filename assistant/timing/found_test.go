package timing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

// A feed that tells positions and nothing of laps, from a place in the bend on: from the second time round there are
// laps, from a line on a straight. A line that the feed or a saved course tells comes first.
func TestLineThatNobodyTells(t *testing.T) {
	const speed, hz = 30.0, 10.0
	samples := int(math.Ceil(5 * stadiumLength / speed * hz))
	for name, tt := range map[string]struct {
		laps      bool // the feed counts
		saved     bool
		completed int // of five times round
		firstAt   float64
	}{
		"nobody": {completed: 3, firstAt: stadiumLength}, "the feed": {laps: true, completed: 4},
		"a saved course": {saved: true, completed: 4},
	} {
		t.Run(name, func(t *testing.T) {
			f := newFeed(t, Config{})
			if tt.saved {
				m := &course.Map{Length: stadiumLength, Step: stadiumLength / 800, Placed: true}
				for i := range 800 {
					x, y, _, _ := stadium(500 + float64(i)*m.Step)
					m.X, m.Y = append(m.X, x), append(m.Y, y)
				}
				f.timing.UseMap(m)
			}
			var crossed []float64 // m from the line of the stadium
			for i := range samples {
				at := float64(i) / hz
				d := 250 + speed*at
				x, y, _, _ := stadium(d)
				pairs := []any{channel.PositionX, x, channel.PositionY, y, channel.Speed, speed}
				if tt.laps {
					pairs = append(pairs, channel.LapNumber, 1+math.Floor(d/stadiumLength))
				}
				for _, e := range f.give(at, pairs...) {
					if e.Kind == LapBegun {
						crossed = append(crossed, d)
					}
				}
			}
			done := f.of(LapDone)
			require.Len(t, done, tt.completed)
			for _, e := range done {
				require.InDelta(t, stadiumLength/speed, e.Lap.Time, 0.11)
			}
			require.Greater(t, crossed[0], tt.firstAt)
			if tt.saved {
				require.InDelta(t, 500, math.Mod(crossed[0], stadiumLength), speed/hz)
			} else if !tt.laps {
				_, _, _, k := stadium(crossed[0])
				require.Zero(t, k, "on a straight")
			}
		})
	}
}
