package demo

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// bicycle is a car of which only mass, axle distances and cornering stiffness matter.
func bicycle(mass, a, b, cf, cr float64) (*limits, *grip) {
	c := Baseline()
	c.Wheelbase, c.FrontShare = a+b, b/(a+b)
	c.Stiffness = [2]float64{cf, cr}
	c.StiffnessFall, c.Bend, c.LiftArea, c.DragArea = 0, 0, 0, 0
	l := &limits{car: &c}
	l.lift, l.drag = c.aero()
	return l, &grip{mass: mass, density: 1.2, mu: [2]float64{1.4, 1.4}}
}

// Worked values of the steady bicycle model: REFERENCES.md 3.2, cases 3c, 3e, 3f, 3h (Wong, Theory of Ground Vehicles, Example 5.1,
// print from memory; the others computed there by closed form and by a matrix solve).
func TestBicycleModel(t *testing.T) {
	const g = 9.81 // of those examples
	one := [2]float64{1, 1}

	l, gr := bicycle(1400, 1.25, 1.35, 90e3, 100e3) // 3f
	require.InDelta(t, 0.0132058, l.car.Gradient(1400)*g, 1e-6)
	p := l.take(gr, one, 30, 0.01, 0)
	require.InDelta(t, 0.0381154, p.delta, 1e-6)
	require.InDelta(t, -0.0470769, p.beta, 1e-6)
	require.InDelta(t, 43.948, math.Sqrt(l.car.Wheelbase/l.car.Gradient(1400)), 1e-2, "characteristic speed")

	l, gr = bicycle(1008, 1.2, 1.0, 117e3, 145e3) // 3e
	require.InDelta(t, 1.24234e-4, l.car.Gradient(1008), 1e-8)
	p = l.take(gr, one, 10, 1/20.387, 0)
	require.InEpsilon(t, 0.108519, p.delta, 1e-4)
	require.InDelta(t, 0.03045, p.beta, 1e-4)

	w := 20105 / g // 3c: 53.5 % front, two tyres an axle
	l, _ = bicycle(w, 2.8*(1-0.535), 2.8*0.535, 2*38.92e3, 2*38.25e3)
	require.InDelta(t, 41.5, math.Sqrt(2.8/l.car.Gradient(w)), 0.1)

	l, _ = bicycle(1400, 1.25, 1.35, 110e3, 90e3) // 3h: oversteer, critical speed
	require.InDelta(t, 54.660, math.Sqrt(-2.6/l.car.Gradient(1400)), 1e-2)
}

// REFERENCES.md 3.4: total lateral load transfer m ay h / t.
func TestLoadTransfer(t *testing.T) {
	l, g := bicycle(1300, 1.3, 1.3, 1e5, 1e5)
	l.car.CGHeight, l.car.Track = 0.48, [2]float64{1.6, 1.6}
	p := l.take(g, [2]float64{1, 1}, 20, gravity/400, 0)
	moved := (p.load[channel.FR]-p.load[channel.FL])/2 + (p.load[channel.RR]-p.load[channel.RL])/2
	require.InDelta(t, 3824.59, moved, 0.01)
	require.InDelta(t, 1300*gravity, p.load[0]+p.load[1]+p.load[2]+p.load[3], 1e-6)
	p = l.take(g, [2]float64{1, 1}, 20, 0, -gravity) // braking: m ax h / L onto the front
	require.InDelta(t, 1300*gravity/2+1300*gravity*0.48/2.6, p.load[channel.FL]+p.load[channel.FR], 1e-6)
}

// The understeer gradient that goes in comes out of the readings: delta - L r/v against the lateral acceleration, by
// least squares over the arcs of a whole stint, as ISO 4138 (from memory) has it for a constant radius.
func TestUndersteerGradientFromReadings(t *testing.T) {
	t.Parallel()
	for _, stiff := range [][2]float64{{92e3, 124e3}, {80e3, 120e3}, {110e3, 115e3}} {
		car := Baseline()
		car.Stiffness, car.StiffnessFall, car.Bend = stiff, 0, 0
		car.LiftArea, car.DragArea = 0, 0
		s, err := New(channel.NewSet(), Options{Seed: 3, Car: &car, Laps: 2, Rate: 60})
		require.NoError(t, err)
		var n, sx, sy, sxx, sxy float64
		for {
			x, ok := s.Next()
			if !ok || s.lap > 1 {
				break
			}
			r := x.Row
			v, d := r[channel.Speed], r[channel.LapDistance]
			i := s.course.CornerAt(d)
			if i == 0 || r[channel.InPitLane] == 1 {
				continue
			}
			if q := s.course.Corners[i-1]; d < q.BeginArc+0.5*v || d > q.EndArc {
				continue // let the yaw settle
			}
			ay := r[channel.AccelerationLat]
			us := r[channel.SteeringWheelAngle]/car.Steering - car.Wheelbase*r[channel.YawRate]/v
			n, sx, sy, sxx, sxy = n+1, sx+ay, sy+us, sxx+ay*ay, sxy+ay*us
		}
		slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
		want := car.Gradient(car.Mass + s.fuel)
		t.Logf("want %.6f rad per m/s², got %.6f from %.0f samples", want, slope, n)
		require.Greater(t, n, 200.0)
		require.InDelta(t, want, slope, 0.03*math.Abs(want)+1e-5)
	}
}
