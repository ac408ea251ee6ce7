package demo

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// plain is a car for closed forms: no air, no rolling resistance, tyres without slip or load effects, bias and load shares
// equal, constant power in every gear.
func plain() Car {
	c := Baseline()
	c.CGHeight, c.GripFall, c.StiffnessFall, c.Bend, c.Rolling = 0, 0, 0, 0, 0
	c.DragArea, c.LiftArea = 0, 0
	c.Stiffness = [2]float64{1e12, 1e12}
	c.BrakeBias, c.BrakeForce = c.FrontShare, 1e9
	c.PowerFall, c.RevLimit, c.Driveline = 0, 1e9, 1
	c.Power = 180e3
	return c
}

func closed(t *testing.T, pieces ...piece) *Course {
	t.Helper()
	p := plan{name: "test", pieces: pieces, width: 12}
	lengths := make([]float64, len(pieces))
	for i, q := range pieces {
		lengths[i] = q.straight
	}
	c, end, err := p.lay(lengths)
	require.NoError(t, err)
	require.Less(t, math.Hypot(end.x, end.y), 1e-6, "the course of the test closes")
	c.turn = 2 * math.Pi
	c.tabulate()
	return c
}

// A circle: the friction limit of a point mass, v = sqrt(mu g R), and with downforce v² = mu m g / (m/R - mu rho A / 2)
// (Milliken and Milliken, ch. 5 and 15, from memory; both follow from equilibrium).
func TestProfileOnCircle(t *testing.T) {
	for _, radius := range []float64{30, 80, 200} {
		c := closed(t, corner("Round", 360, radius, 0))
		car := plain()
		g := grip{mass: 1300, density: 1.2, mu: [2]float64{1.3, 1.3}}
		p := newLimits(c, &car).profile(&g)
		v := math.Sqrt(1.3 * gravity * radius)
		require.InEpsilon(t, 2*math.Pi*radius/v, p.time, 1e-6)

		car.LiftArea = 3
		car.AeroFront = car.FrontShare
		p = newLimits(c, &car).profile(&g)
		v = math.Sqrt(1.3 * 1300 * gravity / (1300/radius - 1.3*0.5*1.2*3))
		require.InEpsilon(t, 2*math.Pi*radius/v, p.time, 1e-6)
	}
}

// A stadium: two half circles and two straights. On a straight constant power gives v³ = v0³ + 3Px/m and t = m (v²-v0²)/2P; the
// brakes give v² = v0² + 2 mu g x. The two meet once; closed forms from energy, worked out here.
func TestProfileOnStadium(t *testing.T) {
	const radius, length, mu, mass = 60.0, 600.0, 1.3, 1300.0
	c := closed(t, straight(length), corner("A", 180, radius, 0), straight(length), corner("B", 180, radius, 0))
	car := plain()
	g := grip{mass: mass, density: 1.2, mu: [2]float64{mu, mu}}
	p := newLimits(c, &car).profile(&g)

	v0 := math.Sqrt(mu * gravity * radius)
	require.Less(t, car.Power/v0, mu*mass*gravity*(1-car.FrontShare), "power, not traction, bounds this car")
	lo, hi := 0.0, length
	for range 60 {
		x := (lo + hi) / 2
		if math.Cbrt(v0*v0*v0+3*car.Power*x/mass) < math.Sqrt(v0*v0+2*mu*gravity*(length-x)) {
			lo = x
		} else {
			hi = x
		}
	}
	top := math.Cbrt(v0*v0*v0 + 3*car.Power*lo/mass)
	along := mass*(top*top-v0*v0)/(2*car.Power) + (top-v0)/(mu*gravity)
	want := 2*math.Pi*radius/v0 + 2*along
	require.InEpsilon(t, want, p.time, 2e-3)
	fastest := 0.0
	for _, v2 := range p.v2 {
		fastest = max(fastest, math.Sqrt(v2))
	}
	require.InEpsilon(t, top, fastest, 5e-3)
}

// Two hairpins and the straights between them, with more power than the tyres bear: the quickest way of a point mass whose acceleration
// and deceleration are bounded is full acceleration up to one place and full braking from there (bang-bang, by Pontryagin's principle; Bryson and Ho,
// Applied Optimal Control, from memory). With a and b the two, v² = v0² + 2abL/(a+b) there, and t = (v-v0)(1/a + 1/b).
func TestProfileBetweenHairpins(t *testing.T) {
	const radius, mu, mass = 15.0, 1.3, 1300.0
	for _, length := range []float64{200, 600} {
		c := closed(t, straight(length), corner("A", 180, radius, 0), straight(length), corner("B", 180, radius, 0))
		car := plain()
		car.Power = 1e7
		p := newLimits(c, &car).profile(&grip{mass: mass, density: 1.2, mu: [2]float64{mu, mu}})
		a, b, v0 := mu*gravity*(1-car.FrontShare), mu*gravity, math.Sqrt(mu*gravity*radius)
		top := math.Sqrt(v0*v0 + 2*a*b*length/(a+b))
		want := 2*math.Pi*radius/v0 + 2*(top-v0)*(1/a+1/b)
		got := math.Sqrt(slices.Max(p.v2))
		t.Logf("%.0f m: optimum %.3f s, profile %.3f s; top %.3f and %.3f m/s", length, want, p.time, top, got)
		require.InEpsilon(t, want, p.time, 8e-3, "points are 2 m apart")
		require.InEpsilon(t, top, got, 8e-3)
	}
}

// What is driven, with its lags, noise, tyres and fuel, lies near the optimum of the quasi-steady profile with the share of the grip that the driver uses.
func TestDrivenLapNearTheProfile(t *testing.T) {
	t.Parallel()
	for _, name := range Courses() {
		s, err := New(channel.NewSet(), Options{Seed: 9, Course: name, Laps: 6, Rate: 10})
		require.NoError(t, err)
		for s.lap < 7 {
			_, ok := s.Next()
			require.True(t, ok)
		}
		g := s.grip
		g.mu = [2]float64{g.mu[0] * 0.955, g.mu[1] * 0.955} // mean of driver.skill
		want, got := s.limits.profile(&g).time, s.Truth().Done[6].Time
		t.Logf("%s: profile %.2f s, driven %.2f s, %+.2f %%", name, want, got, 100*(got/want-1))
		require.InEpsilon(t, want, got, 0.01)
	}
}

// A traction-bound launch lies under mu g times the share of the rear axle over 1 - mu h/L (Gillespie, ch. 2, from memory).
func TestTractionLimit(t *testing.T) {
	car := plain()
	car.CGHeight = 0.43
	car.Power = 5e6
	l := newLimits(closed(t, corner("Round", 360, 200, 0)), &car)
	g := grip{mass: 1300, density: 1.2, mu: [2]float64{1.2, 1.2}}
	a, engine := l.driving(&g, 100, 0)
	require.False(t, engine)
	require.InEpsilon(t, 1.2*gravity*0.55/(1-1.2*0.43/car.Wheelbase), a, 1e-9)
}

// Braking at the ideal bias is mu g, and less on both sides of it. Ideal front share: share_f + mu h/L (Limpert, Brake Design and Safety, from memory).
func TestBrakeBiasHasAnOptimum(t *testing.T) {
	car := plain()
	car.CGHeight = 0.43
	c := closed(t, corner("Round", 360, 200, 0))
	g := grip{mass: 1300, density: 1.2, mu: [2]float64{1.2, 1.2}}
	best := car.FrontShare + 1.2*car.CGHeight/car.Wheelbase
	at := func(bias float64) float64 {
		car.BrakeBias = bias
		return newLimits(c, &car).braking(&g, 900, 0)
	}
	require.InEpsilon(t, 1.2*gravity, at(best), 1e-9)
	require.Less(t, at(best+0.05), at(best))
	require.Less(t, at(best-0.05), at(best))
}

// Lap time per kilogram of fuel: published for single-seaters 0.022 to 0.052 % of the lap per kg (Heilmeier, Graf and Lienkamp, ITSC 2018, parameter files;
// see REFERENCES.md 13), at about 730 kg (regulation mass of those years, from memory). Heavier cars feel a kilogram less: scaled by the mass.
func TestFuelEffect(t *testing.T) {
	c, err := LoadCourse("thimble")
	require.NoError(t, err)
	car := Baseline()
	l := newLimits(c, &car)
	g := grip{mass: car.Mass + 30, density: 1.18, mu: [2]float64{1.38, 1.38}}
	light := l.profile(&g).time
	g.mass += 10
	heavy := l.profile(&g).time
	share := 100 * (heavy - light) / light / 10
	scale := 730 / g.mass
	t.Logf("%.4f %% of a lap of %.2f s per kg", share, light)
	require.Greater(t, share, 0.022*scale)
	require.Less(t, share, 0.052*scale)
}
