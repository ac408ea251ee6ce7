package timing

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/course"
)

// Positions that scatter do not make the way longer: two straights of 400 m and two half circles, of radius 50 m or 20
// m, over 20 laps of analytic length at 10 Hz. Without scatter the chords of a metre and more are all that is lost.
func TestOdometerUnderScatter(t *testing.T) {
	for _, radius := range []float64{50, 20} {
		half := math.Pi * radius
		lap := 800 + 2*half
		place := func(s float64) course.Point {
			switch s = math.Mod(s, lap); {
			case s < 400:
				return course.Point{X: s}
			case s < 400+half:
				a := (s - 400) / radius
				return course.Point{X: 400 + radius*math.Sin(a), Y: radius - radius*math.Cos(a)}
			case s < 800+half:
				return course.Point{X: 400 - (s - 400 - half), Y: 2 * radius}
			}
			a := (s - 800 - half) / radius
			return course.Point{X: -radius * math.Sin(a), Y: radius + radius*math.Cos(a)}
		}
		for _, tt := range []struct{ white, within float64 }{{0, 0.002}, {0.1, 0.003}, {0.3, 0.01}, {1, 0.02}} {
			t.Run(fmt.Sprintf("radius %g m, scatter %g m", radius, tt.white), func(t *testing.T) {
				rng := rand.New(rand.NewPCG(3, uint64(10*tt.white)))
				var o odometer
				s, begun := 0.0, 0.0
				for i := 0; s < 20*lap; i++ {
					v := 40.0
					if m := math.Mod(s, lap); m > 300 && m < 400+half || m > 700+half {
						v = 15 // around each bend
					}
					s += v * 0.1
					p := place(s)
					p.X, p.Y = p.X+tt.white*rng.NormFloat64(), p.Y+tt.white*rng.NormFloat64()
					o.step(float64(i)*0.1, 0.1, v, v, p, true, true, false)
					if i == 50 { // the scatter is known
						begun = s - o.total
					}
				}
				require.InEpsilon(t, s-begun, o.total, tt.within)
			})
		}
	}
}
