package course_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// reckoned drives one lap with speed, yaw rate and a lap number alone. The yaw rate is off by bias (rad/s), the speed
// by a factor.
func (c *idealCar) reckoned(bias, scale float64) *car {
	got := newCar(nil)
	const dt = 0.02
	for s := c.line.length - 51; s < 2*c.line.length+20; {
		i := int(math.Mod(s, c.line.length)/c.metres) % len(c.v)
		s += c.v[i] * dt
		i = int(math.Mod(s, c.line.length)/c.metres) % len(c.v)
		got.row[channel.LapNumber] = math.Floor(s / c.line.length)
		got.row[channel.Speed], got.row[channel.YawRate] = scale*c.v[i], c.v[i]*c.k[i]+bias
		got.step(dt)
	}
	return got
}

// Speed and yaw rate alone, with a gyro that is off by 0.5°/s to either side and a speed that is off by 2 %, give the
// corners that they give without an error, on twelve surveyed centre lines (TUM racetrack-database): the same number,
// hands, and apexes within 10 m once the lengths are set to one scale (in corners of more than 120 m: in the same
// corner). A lap of 130 s at 0.5°/s turns by 65° too much.
func TestReckoningWithBias(t *testing.T) {
	truth, root := readTracks(t)
	const deg = math.Pi / 180
	for _, row := range truth {
		c := newIdealCar(surveyed(t, root, row[0]))
		free := c.reckoned(0, 1).learner.Map()
		require.NotNil(t, free, row[0])
		require.InEpsilon(t, c.line.length, free.Length, 0.001)
		for _, e := range []struct{ bias, scale float64 }{{0.2, 1}, {-0.2, 1.02}, {0.5, 1}, {-0.5, 0.98}, {0.5, 1.02}, {-1, 1}} {
			m := c.reckoned(e.bias*deg, e.scale).learner.Map()
			name := fmt.Sprint(row[0], e)
			require.NotNil(t, m, name)
			require.InEpsilon(t, e.scale, m.Length/free.Length, 1e-3, name)
			require.InDelta(t, free.Turning, m.Turning, 0.02, name)
			require.Len(t, m.Corners, len(free.Corners), name)
			for i, k := range m.Corners {
				require.Equal(t, free.Corners[i].Hand, k.Hand, name)
				w := free.Corners[i]
				require.LessOrEqual(t, free.Wrap(k.Apex/e.scale-w.Entry+10), free.Wrap(w.Exit-w.Entry)+20, name)
				if free.Wrap(w.Exit-w.Entry) < 120 { // a long one may have two places that are almost as tight
					require.InDelta(t, w.Apex, k.Apex/e.scale, 10, name)
				}
			}
		}
	}
}

// At a third of the speed a lap lasts six minutes, in which 1°/s turn by a whole circle too much: only one number of
// circles closes the line.
func TestReckoningOverALongLap(t *testing.T) {
	truth, root := readTracks(t)
	for _, row := range truth {
		c := newIdealCar(surveyed(t, root, row[0]))
		free := c.reckoned(0, 1).learner.Map()
		for i := range c.v {
			c.v[i] /= 3
		}
		for _, bias := range []float64{-1, 1} {
			m := c.reckoned(bias*math.Pi/180, 1).learner.Map()
			require.NotNil(t, m, row[0])
			require.InDelta(t, free.Turning, m.Turning, 0.02, row[0])
			require.Len(t, m.Corners, len(free.Corners), row[0])
		}
	}
}

// What is no closed lap makes no map: a yaw rate in degrees per second, one of a tenth of what it should be, none at
// all.
func TestReckoningRefuses(t *testing.T) {
	truth, root := readTracks(t)
	for _, row := range truth {
		line := surveyed(t, root, row[0])
		for _, factor := range []float64{180 / math.Pi, 0.1, 0} {
			c := newIdealCar(line)
			for i := range c.k {
				c.k[i] *= factor
			}
			require.True(t, c.reckoned(0, 1).learner.Map() == nil, "%s at %.1f times its yaw rate", row[0], factor)
		}
	}
}
