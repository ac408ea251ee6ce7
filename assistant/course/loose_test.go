package course_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
)

// A course is learned though lap_distance begins again some samples before or after lap_number steps, or never, and at
// two samples a second. Where a distance that is a second and a half late does not fit speed and yaw rate, and there is
// no position, the reason is told once.
func TestLearnedThoughTheFeedIsLoose(t *testing.T) {
	t.Parallel()
	type sample struct {
		at, d float64
		row   channel.Row
	}
	sim, err := demo.New(set, demo.Options{Seed: 3, Rate: 60, Laps: 3})
	require.NoError(t, err)
	drawn, err := demo.LoadCourse(demo.Courses()[0])
	require.NoError(t, err)
	var all []sample
	laps, last := 0.0, 0.0
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		d := s.Row[channel.LapDistance]
		if d < last-1000 {
			laps++
		}
		last = d
		all = append(all, sample{s.At, laps*drawn.Length + d, append(channel.Row(nil), s.Row...)})
	}
	for _, every := range []int{1, 6, 30} { // of 60 Hz
		for name, shift := range map[string]int{"together": 0, "three samples later": 3, "three samples before": -3, "never": 1 << 20} {
			name = fmt.Sprintf("%s, %d Hz", name, 60/every)
			c := newCar(nil)
			var whys []string
			hold := channel.NewHold(set)
			c.row = hold.Row
			for i := 0; i < len(all); i += every {
				s := all[i]
				row := append(channel.Row(nil), s.row...)
				row[channel.PositionX], row[channel.PositionY] = math.NaN(), math.NaN()
				row[channel.LapDistance] = s.d
				if shift < 1<<20 {
					j := min(max(i-shift*every, 0), len(all)-1)
					row[channel.LapDistance] = math.Mod(all[j].d, drawn.Length)
				}
				hold.Update(channel.Sample{At: s.at, Row: row})
				c.at = s.at
				c.step(0)
				if why := c.learner.Trouble(); why != "" {
					whys = append(whys, why)
				}
			}
			m := c.learner.Map()
			if every == 30 && shift == 3 {
				require.Nil(t, m, name)
				require.Equal(t, []string{"there is no position, and speed and yaw rate, by the distance along the lap, do not draw a " +
					"closed line"}, whys)
				continue
			}
			require.Empty(t, whys, name)
			require.NotNil(t, m, name)
			require.InDelta(t, drawn.Length, m.Length, 0.01*drawn.Length, name)
			require.Len(t, m.Corners, 10, name)
		}
	}
}
