package course_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

// stadiumGate is the line of the stadium, far from its bends.
func stadiumGate() *course.File {
	return &course.File{Line: course.Line{Source: course.ByGate,
		Gate: course.Gate{A: course.Point{X: 0, Y: -65}, B: course.Point{X: 0, Y: -35}, Toward: course.Point{X: 5, Y: -50},
			Directed: true}}}
}

// besideStadium returns the place at s on the stadium, aside metres to the left.
func besideStadium(s, aside float64) (x, y float64) {
	x, y, _ = stadium(s)
	x1, y1, _ := stadium(s + 0.1)
	h := math.Atan2(y1-y, x1-x)
	return x - aside*math.Sin(h), y + aside*math.Cos(h)
}

// offStadium returns how far a place is aside of the stadium (m, left positive).
func offStadium(x, y float64) float64 {
	if math.Abs(x) <= 200 {
		return 50 - math.Abs(y)
	}
	return 50 - math.Hypot(math.Abs(x)-200, y)
}

// rms is how far the line of m is aside of the stadium.
func rms(m *course.Map) float64 {
	sum := 0.0
	for i := range m.X {
		sum += math.Pow(offStadium(m.X[i], m.Y[i]), 2)
	}
	return math.Sqrt(sum / float64(len(m.X)))
}

// A driver drives laps of the stadium at 40 m/s with ten fixes a second, each off by white noise.
type driver struct {
	*car
	s     float64
	rng   *rand.Rand
	sigma float64
	aside func(s float64) float64 // m to the left of the stadium
	first func(s float64)         // before each sample
}

func newDriver(f *course.File, sigma float64) *driver {
	return &driver{car: newCar(f), s: stadiumLength - 50, rng: rand.New(rand.NewPCG(1, 2)), sigma: sigma,
		aside: func(float64) float64 { return 0 }}
}

// laps drives on for so many laps; it begins and ends 20 m behind the line, the first time before it.
func (d *driver) laps(n float64) {
	end := math.Floor(d.s/stadiumLength+0.5)*stadiumLength + n*stadiumLength + 20
	for ; d.s < end; d.s += 4 {
		if d.first != nil {
			d.first(d.s)
		}
		x, y := besideStadium(d.s, d.aside(d.s))
		d.row[channel.PositionX], d.row[channel.PositionY] = x+d.sigma*d.rng.NormFloat64(), y+d.sigma*d.rng.NormFloat64()
		d.row[channel.Speed] = 40
		d.step(0.1)
	}
}

// The mean of n measurements with independent errors is off by 1/√n of one's (any textbook of statistics). The bound
// allows half more, for what the fixes in between have in common.
func TestCentreLineImprovesAsTheSquareRootOfLaps(t *testing.T) {
	d := newDriver(stadiumGate(), 1)
	d.laps(1)
	require.NotNil(t, d.learner.Map())
	one := rms(d.learner.Map())
	require.InDelta(t, 0.85, one, 0.25, "between two fixes the noise is less than 1 m")
	for laps := 2; laps <= 9; laps++ {
		d.laps(1)
		got := rms(d.learner.Map())
		t.Logf("%d laps: %.3f m, 1/√laps would be %.3f m", laps, got, one/math.Sqrt(float64(laps)))
		require.Less(t, got, 1.5*one/math.Sqrt(float64(laps)), "%d laps", laps)
	}
	d.laps(3) // a place at which a lap had a gap has its nine opinions a little later
	settled := d.learner.Map()
	d.laps(5)
	require.True(t, slices.Equal(settled.X, d.learner.Map().X), "after nine laps the line is left as it is")
	// The line has not crept along: the first point is where the gate is.
	require.InDelta(t, 0, settled.X[0], 1.5)
}

// Laps that drift along, as a receiver's clock that is late does not, but a driver who is slow does: laps of all speeds
// must not move the points along the road.
func TestCentreLineDoesNotCreep(t *testing.T) {
	d := newDriver(stadiumGate(), 0)
	d.laps(1)
	first := d.learner.Map()
	d.aside = func(s float64) float64 { return 2 + math.Sin(s/40) }
	d.laps(12)
	m := d.learner.Map()
	require.Equal(t, first.Length, m.Length)
	require.Len(t, m.X, len(first.X))
	most := 0.0
	for i := range m.X {
		j := (i + 1) % len(m.X)
		ux, uy := first.X[j]-first.X[i], first.Y[j]-first.Y[i]
		along := ((m.X[i]-first.X[i])*ux + (m.Y[i]-first.Y[i])*uy) / math.Hypot(ux, uy)
		most = max(most, math.Abs(along))
	}
	require.Less(t, most, 0.5)
	require.InDelta(t, 0, m.X[0], 1e-6, "on a straight it moves across exactly")
	require.InDelta(t, (0+8*(2+math.Sin(math.Mod(0, 1))))/9, offStadium(m.X[0], m.Y[0]), 0.7)
}

// A lap that strays somewhere is left out there and counts elsewhere; where more laps stray than not, the first was the
// one that strayed.
func TestStrayingLap(t *testing.T) {
	bump := func(s float64) float64 {
		if s = math.Mod(s, stadiumLength); s > 460 && s < 520 {
			return -12
		}
		return 0.9
	}
	in := func(m *course.Map) float64 { i := int(490 / m.Step); return offStadium(m.X[i], m.Y[i]) }
	elsewhere := func(m *course.Map) float64 { return offStadium(m.X[50], m.Y[50]) }

	d := newDriver(stadiumGate(), 0)
	d.laps(1)
	d.aside = bump
	d.laps(1)
	require.InDelta(t, 0, in(d.learner.Map()), 0.05)
	require.InDelta(t, 0.45, elsewhere(d.learner.Map()), 0.05)

	d = newDriver(stadiumGate(), 0)
	d.aside = bump
	d.laps(1)
	require.InDelta(t, -12, in(d.learner.Map()), 0.2)
	d.aside = func(float64) float64 { return 0 }
	d.laps(1)
	require.InDelta(t, -12, in(d.learner.Map()), 0.2, "one against one")
	d.laps(1)
	require.InDelta(t, 0, in(d.learner.Map()), 0.2, "two against one")

	// A lap beside the course all along, as one with a receiver that has lost its way, is left out.
	d = newDriver(stadiumGate(), 0)
	d.laps(1)
	x := slices.Clone(d.learner.Map().X)
	d.aside = func(float64) float64 { return -9 }
	d.laps(3)
	require.True(t, slices.Equal(x, d.learner.Map().X))
}

func copyOf(m *course.Map) course.Map {
	c := *m
	c.X, c.Y, c.Z, c.K = slices.Clone(m.X), slices.Clone(m.Y), slices.Clone(m.Z), slices.Clone(m.K)
	c.Corners, c.Straights = slices.Clone(m.Corners), slices.Clone(m.Straights)
	for i := range c.Corners {
		c.Corners[i].Braking, c.Corners[i].TurnIn, c.Corners[i].Slowest = 0, 0, 0 // NaN is not equal to itself
	}
	return c
}

// inside is a line 6 m inside in the bends of the stadium: a radius of 44 m, and a wider way in.
func inside(s float64) float64 {
	s = math.Mod(s, stadiumLength)
	for _, from := range bendFrom {
		switch x := s - from; {
		case x > -60 && x <= 0:
			return 6 * (1 + x/60)
		case x > 0 && x < 50*math.Pi:
			return 6
		case x >= 50*math.Pi && x < 50*math.Pi+60:
			return 6 * (1 - (x-50*math.Pi)/60)
		}
	}
	return 0
}

// Corners follow the line, keep their numbers, and a map that was handed out stays as it is.
func TestCornersFollowTheLine(t *testing.T) {
	d := newDriver(stadiumGate(), 0)
	d.aside = inside
	d.first = func(s float64) { // he always brakes at the same place
		d.row[channel.Brake] = 0
		if s = math.Mod(s, stadiumLength); s > bendFrom[0]-60 && s < bendFrom[0]-20 {
			d.row[channel.Brake] = 0.8
		}
	}
	d.laps(1)
	first := d.learner.Map()
	before := copyOf(first)
	require.Len(t, first.Corners, 2)
	require.InDelta(t, 44, first.Corners[0].Radius, 2)
	d.aside = func(float64) float64 { return 0 }
	for range 10 {
		d.laps(1)
		require.InDelta(t, bendFrom[0]-58, d.learner.Map().Corners[0].Braking, 3, "the entry moves, where he brakes does not")
	}
	m := d.learner.Map()
	require.Greater(t, math.Abs(m.Corners[0].Entry-first.Corners[0].Entry), 5.0)
	require.NotSame(t, first, m)
	require.True(t, reflect.DeepEqual(before, copyOf(first)), "a map that was handed out never changes")
	require.Len(t, m.Corners, 2)
	for i, c := range m.Corners {
		require.Equal(t, i+1, c.Number)
		require.Equal(t, course.Left, c.Hand)
		require.InDelta(t, (44+8*50)/9., c.Radius, 0.5, "the mean of nine laps")
		require.InDelta(t, math.Pi, c.Angle, 0.1)
	}
	require.InDelta(t, 2*math.Pi, m.Turning, 0.01)
}

// Better maps while corners are driven: each is passed once a lap, also the one that the line lies in, wherever the
// entry or exit that moves lies to it.
func TestEachCornerIsPassedOnceALapWhileTheMapImproves(t *testing.T) {
	moved := 0
	for n := range 48 {
		line := bendFrom[0] - 24 + float64(n)*2
		if n >= 24 {
			line = bendFrom[0] + 50*math.Pi - 24 + float64(n-24)*2
		}
		x0, y0 := besideStadium(line, -15)
		x1, y1 := besideStadium(line, 15)
		x2, y2 := besideStadium(line+2, 0)
		f := &course.File{Line: course.Line{Source: course.ByGate,
			Gate: course.Gate{A: course.Point{X: x0, Y: y0}, B: course.Point{X: x1, Y: y1}, Toward: course.Point{X: x2, Y: y2},
				Directed: true}}}
		d := newDriver(f, 0.02)
		d.s += line
		d.aside = inside
		d.laps(2)
		first := d.learner.Map()
		d.aside = func(float64) float64 { return 0 }
		d.laps(12)
		m := d.learner.Map()
		if m.Corners[0].Entry != first.Corners[0].Entry || m.Corners[0].Exit != first.Corners[0].Exit {
			moved++
		}
		require.Len(t, m.Corners, 2, line)
		at := map[int][]float64{}
		for _, p := range d.seen {
			at[p.Corner.Number] = append(at[p.Corner.Number], p.At)
			require.Less(t, float64(p.Corner.Time), 8.0, "line at %.0f: one drive through one corner", line)
		}
		for number, times := range at {
			for i := 1; i < len(times); i++ {
				require.InDelta(t, stadiumLength/40, times[i]-times[i-1], 1.5, "line at %.0f, corner %d: %v", line, number, times)
			}
			require.GreaterOrEqual(t, len(times), 11, "line at %.0f, corner %d", line, number)
		}
	}
	require.Greater(t, moved, 30, "or this proves nothing")
}

// Elevation follows the road, closes over the lap although the barometer drifts, and is nil where it is not told.
func TestElevation(t *testing.T) {
	hill := func(s float64) float64 { return 100 + 8*math.Sin(2*math.Pi*s/stadiumLength) }
	d := newDriver(stadiumGate(), 0)
	d.laps(1)
	require.Nil(t, d.learner.Map().Z)

	d = newDriver(stadiumGate(), 0)
	d.first = func(s float64) { d.row[channel.PositionZ] = hill(s) + 3*s/stadiumLength }
	d.laps(1)
	m := d.learner.Map()
	require.Len(t, m.Z, len(m.X))
	for i, z := range m.Z {
		require.InDelta(t, hill(float64(i)*m.Step)+3, z, 0.1)
	}
	require.InDelta(t, m.Z[0], m.Z[len(m.Z)-1], 0.2)

	// With white noise of a metre nine laps are better than one.
	d = newDriver(stadiumGate(), 0)
	d.first = func(s float64) { d.row[channel.PositionZ] = hill(s) + d.rng.NormFloat64() }
	off := func(m *course.Map) float64 {
		sum := 0.0
		for i, z := range m.Z {
			sum += math.Pow(z-hill(float64(i)*m.Step), 2)
		}
		return math.Sqrt(sum / float64(len(m.Z)))
	}
	d.laps(1)
	one := off(d.learner.Map())
	d.laps(8)
	require.Less(t, off(d.learner.Map()), one/2)
}
