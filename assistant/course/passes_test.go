package course_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// round drives from s to end (m from the line of the first lap) at that speed with a sample every 0.02 s, aside metres
// to the left of the line that the first lap drew.
func (c *car) round(s, end, speed float64, aside func(s float64) float64) float64 {
	for ; s < end; s += speed * 0.02 {
		x, y, _ := stadium(s)
		x1, y1, _ := stadium(s + 0.1)
		h := math.Atan2(y1-y, x1-x)
		c.row[channel.PositionX], c.row[channel.PositionY] = x-aside(s)*math.Sin(h), y+aside(s)*math.Cos(h)
		c.row[channel.Speed], c.row[channel.LapDistance] = speed, math.Mod(s, stadiumLength)
		c.step(0.02)
	}
	return s
}

// A corner driven at known speeds: time lost is against the best pass before, and a void lap is no measure. How far
// beside the learned line the car was is what it was driven.
func TestPassAgainstTheBestAndBesideTheLine(t *testing.T) {
	c := newCar(nil)
	straight := func(float64) float64 { return 0 }
	s := c.round(0.9*stadiumLength, 2.02*stadiumLength, 40, straight)
	require.NotNil(t, c.learner.Map())
	corner := c.learner.Map().Corners[0]
	length := corner.Exit - corner.Entry
	var lost, most, apex []float64
	for lap, v := range []float64{40, 50, 45, 60, 45} {
		c.row[channel.LapValid] = 1
		if lap == 3 {
			c.row[channel.LapValid] = 0
		}
		beside := float64(lap) // left, most at the apex
		begin := float64(lap+2) * stadiumLength
		c.seen = c.seen[:0]
		s = c.round(s, begin+0.5*stadiumLength, v, func(s float64) float64 {
			x := math.Mod(s, stadiumLength) - corner.Apex
			return beside * math.Exp(-x*x/8000) // so gentle that the apex stays where it is
		})
		require.Len(t, c.seen, 1)
		p := c.seen[0].Corner
		require.InDelta(t, length/v, float64(p.Time), 1e-3)
		lost, most, apex = append(lost, float64(p.Lost)), append(most, float64(p.LineMost)), append(apex, float64(p.LineApex))
		sum := 0.0
		require.Len(t, p.PhaseTimes, 4)
		for _, x := range p.PhaseTimes[1:] {
			sum += float64(x)
		}
		require.InDelta(t, length/v, sum, 0.35, "turn-in begins near the entry, exit ends at the exit")
		s = c.round(s, begin+1.02*stadiumLength, v, straight)
	}
	require.True(t, math.IsNaN(lost[0]), "the first pass has none before it")
	// The line is the mean of the laps so far, the first one included and the void one not.
	line := []float64{0, 0, 1. / 3, 3. / 4, 3. / 4}
	for i, want := range []float64{0, length/50 - length/40, length/45 - length/50, length/60 - length/50, length/45 - length/50} {
		if i > 0 {
			require.InDelta(t, want, lost[i], 2e-3, "pass %d", i)
		}
		require.InDelta(t, float64(i)-line[i], apex[i], 0.15, "pass %d", i)
		require.InDelta(t, float64(i)-line[i], most[i], 0.15, "pass %d", i)
	}
}

// Without a position nobody knows how far beside the line the car was.
func TestPassWithoutPositionHasNoLine(t *testing.T) {
	c := newCar(nil)
	driveStadium(c, senses{yaw: true, pedal: true}, 2.5)
	require.NotEmpty(t, c.seen)
	for _, p := range c.seen {
		require.True(t, p.Corner.LineApex.IsZero())
		require.True(t, p.Corner.LineMost.IsZero())
		require.False(t, p.Corner.Time.IsZero())
	}
}
