package course_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/opendata"
	"earshot/assistant/timing"
)

var set = channel.NewSet()

// a car is driven over a line through timing, Learner and Passes, as the core does it.
type car struct {
	timing  *timing.Timing
	learner *course.Learner
	passes  *course.Passes
	row     channel.Row
	at      float64
	laps    []timing.Lap
	seen    []course.Pass
	maps    int
}

func newCar(f *course.File) *car {
	return &car{timing: timing.New(timing.Config{Course: f}), learner: course.NewLearner(f), passes: course.NewPasses(), row: set.NewRow()}
}

func (c *car) step(dt float64) {
	c.at += dt
	for _, e := range c.timing.Step(c.at, c.row, nil) {
		if e.Kind == timing.LapDone {
			c.laps = append(c.laps, e.Lap)
		}
	}
	if m := c.learner.Step(c.at, c.row); m != nil {
		c.timing.UseMap(m)
		c.passes.UseMap(m)
		c.maps++
	}
	c.seen = c.passes.Step(c.at, c.row, c.seen)
}

// A polyline is a closed line by distance.
type polyline struct {
	x, y, d []float64
	length  float64
}

func newPolyline(x, y []float64) *polyline {
	p := &polyline{x: x, y: y, d: make([]float64, len(x))}
	for i := range x {
		p.d[i] = p.length
		j := (i + 1) % len(x)
		p.length += math.Hypot(x[j]-x[i], y[j]-y[i])
	}
	return p
}

func (p *polyline) at(s float64) (x, y float64) {
	s = math.Mod(s, p.length)
	lo, hi := 0, len(p.d)
	for hi-lo > 1 {
		if m := (lo + hi) / 2; p.d[m] <= s {
			lo = m
		} else {
			hi = m
		}
	}
	j := (lo + 1) % len(p.x)
	l := math.Hypot(p.x[j]-p.x[lo], p.y[j]-p.y[lo])
	f := (s - p.d[lo]) / l
	return p.x[lo] + f*(p.x[j]-p.x[lo]), p.y[lo] + f*(p.y[j]-p.y[lo])
}

// gateAt lays a gate of 20 m across the line at s.
func (p *polyline) gateAt(s float64) course.Gate {
	x0, y0 := p.at(s)
	x1, y1 := p.at(s + 2)
	l := math.Hypot(x1-x0, y1-y0)
	ux, uy := (x1-x0)/l, (y1-y0)/l
	return course.Gate{A: course.Point{X: x0 - 10*uy, Y: y0 + 10*ux}, B: course.Point{X: x0 + 10*uy, Y: y0 - 10*ux},
		Toward: course.Point{X: x1, Y: y1}, Directed: true}
}

func readTracks(t testing.TB) (truth [][]string, root string) {
	t.Helper()
	root = opendata.Path(t, "tracks")
	f, err := os.Open(filepath.Join(root, "truth.csv"))
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = -1
	rows, err := r.ReadAll()
	require.NoError(t, err)
	return rows[1:], root
}

// stadium is two straights of 400 m and two half circles of radius 50 m, driven anticlockwise from the middle of a
// straight.
func stadium(s float64) (x, y, k float64) {
	const bend = 50 * math.Pi
	switch s = math.Mod(s, stadiumLength); {
	case s < 200:
		return s, -50, 0
	case s < 200+bend:
		a := (s - 200) / 50
		return 200 + 50*math.Sin(a), -50 * math.Cos(a), 1. / 50
	case s < 600+bend:
		return 400 + bend - s, 50, 0
	case s < 600+2*bend:
		a := (s - 600 - bend) / 50
		return -200 - 50*math.Sin(a), 50 * math.Cos(a), 1. / 50
	}
	return s - 800 - 2*bend, -50, 0
}

const stadiumLength = 800 + 100*math.Pi

// Entry and exit of the two bends, by construction.
var bendFrom = []float64{200, 600 + 50*math.Pi}

// speedOn is the speed on the stadium and whether the car brakes: 60 m/s, from 60 m before a bend braking
// to 20 m/s at its entry, 20 m/s through it, then back to 60 m/s within 150 m.
func speedOn(s float64) (v float64, brakes bool) {
	s = math.Mod(s, stadiumLength)
	for _, from := range bendFrom {
		to := from + 50*math.Pi
		switch {
		case s >= from-60 && s < from:
			return math.Sqrt(60*60 - (60*60-20*20)*(s-from+60)/60), true
		case s >= from && s < to:
			return 20, false
		case s >= to && s < to+150 || s+stadiumLength < to+150:
			return math.Sqrt(20*20 + (60*60-20*20)*math.Mod(s-to+stadiumLength, stadiumLength)/150), false
		}
	}
	return 60, false
}

// took is the time from one place of the stadium to another.
func took(from, to float64) (seconds float64) {
	for s := from; s < to; s += 0.1 {
		v, _ := speedOn(s + 0.05)
		seconds += 0.1 / v
	}
	return seconds
}

type senses struct {
	position, yaw, pedal, geo bool
	bias                      float64 // rad/s, of the yaw rate
}

func driveStadium(c *car, with senses, laps float64) {
	for s := stadiumLength - 30; s < (1+laps)*stadiumLength; {
		v, _ := speedOn(s)
		s += v * 0.01
		v, brakes := speedOn(s)
		x, y, k := stadium(s)
		c.row[channel.Speed] = v
		if with.position {
			c.row[channel.PositionX], c.row[channel.PositionY] = x, y
		}
		if with.geo {
			c.row[channel.Latitude] = 0.9 + y/6.38e6
			c.row[channel.Longitude] = 0.1 + x/6.38e6/math.Cos(0.9)
		}
		if with.yaw {
			c.row[channel.YawRate] = k * v
		}
		if with.pedal {
			c.row[channel.Brake] = 0
			if brakes {
				c.row[channel.Brake] = 0.8
			}
		}
		if with.bias != 0 {
			c.row[channel.YawRate] += with.bias
		}
		c.row[channel.Gear] = 5
		if v < 40 {
			c.row[channel.Gear] = 3
		}
		if !with.position && !with.geo {
			c.row[channel.LapDistance] = math.Mod(s, stadiumLength)
		}
		c.step(0.01)
	}
}

func TestLearnerFindsBrakingAndTurnIn(t *testing.T) {
	gate := &course.File{Line: course.Line{Source: course.ByGate,
		Gate: course.Gate{A: course.Point{X: 0, Y: -60}, B: course.Point{X: 0, Y: -40}, Toward: course.Point{X: 5, Y: -50},
			Directed: true}}}
	tests := []struct {
		name string
		file *course.File
		with senses
	}{
		{"position and pedal", gate, senses{position: true, yaw: true, pedal: true}},
		{"position without pedal", gate, senses{position: true, yaw: true}},
		{"speed and yaw rate alone", nil, senses{yaw: true, pedal: true}},
		{"a yaw rate that is off by a quarter of a degree per second", nil, senses{yaw: true, pedal: true, bias: 0.0045}},
		{"latitude and longitude", &course.File{Line: course.Line{Source: course.ByGate, Gate: course.Gate{Geo: true,
			A: course.Point{X: 0.9 - 60/6.38e6, Y: 0.1}, B: course.Point{X: 0.9 - 40/6.38e6, Y: 0.1}}}},
			senses{geo: true, yaw: true, pedal: true}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := newCar(tt.file)
			driveStadium(c, tt.with, 3.3)
			m := c.learner.Map()
			require.NotNil(t, m)
			require.Equal(t, 3, c.maps, "one after each lap")
			require.Equal(t, 3, m.Laps)
			require.Equal(t, tt.with.position || tt.with.geo, m.Placed)
			require.InEpsilon(t, stadiumLength, m.Length, 0.004)
			require.InDelta(t, 2*math.Pi, m.Turning, 0.01)
			require.Len(t, m.Corners, 2)
			for i, corner := range m.Corners {
				require.InDelta(t, bendFrom[i]-60, corner.Braking, 8)
				require.InDelta(t, bendFrom[i], corner.TurnIn, 6)
				require.InDelta(t, 20, corner.MinSpeed, 0.5)
				require.InDelta(t, 50, corner.Radius, 1.5)
			}
			// A loop ends where it began.
			n := len(m.X)
			require.InDelta(t, m.Step, math.Hypot(m.X[0]-m.X[n-1], m.Y[0]-m.Y[n-1]), 0.5)

			// Room to talk: at 60 m/s from the line, until the first braking point.
			require.InDelta(t, (bendFrom[0]-60)/60, m.Room(0, 60, 1), 0.15)
			require.Zero(t, m.Room(bendFrom[0]-40, 40, 1), "braking")
			require.Zero(t, m.Room(bendFrom[0]+100, 20, 1), "in the bend")
			from, to := bendFrom[1]+50*math.Pi+30, stadiumLength+bendFrom[0]-60
			v, _ := speedOn(from)
			require.InDelta(t, took(from, to), m.Room(m.Wrap(from), v, 1), 0.3, "across the line, out of a slow bend")
			require.InDelta(t, took(from, to), m.Room(m.Wrap(from), v/2, 1), 0.3, "a moment of being slow is not believed")
			require.InDelta(t, 2*took(from, to), m.Room(m.Wrap(from), v/2, 2.1), 0.6, "half as fast for a while")
			require.Less(t, m.Room(m.Wrap(from), 1.2*v, 1), 0.97*m.Room(m.Wrap(from), v, 1), "faster at once")
			require.InDelta(t, took(from, to)+30/35., m.LongestRoom(), 1, "from the exit of a bend to the next braking point")
			require.Equal(t, course.Standing, m.Room(300, 0, 1))
			require.Equal(t, 1, m.CornerAt(bendFrom[0]+5))
			require.Zero(t, m.CornerAt(10))
			number, metres := m.Next(0)
			require.Equal(t, 1, number)
			require.InDelta(t, bendFrom[0], metres, 15)
			require.Equal(t, 2, m.Last(10))

			// Passes: the first full lap is driven without a map, so from lap 2 on.
			require.Len(t, c.seen, 4)
			for i, p := range c.seen {
				require.Equal(t, i%2+1, p.Corner.Number)
				require.Equal(t, 2+i/2, p.Lap)
				corner := m.Corners[i%2]
				require.InDelta(t, 20, float64(p.Corner.MinSpeed), 0.2)
				require.InDelta(t, 3, float64(p.Corner.MinGear), 0)
				v, _ := speedOn(corner.Entry)
				require.InDelta(t, v, float64(p.Corner.EntrySpeed), 3)
				require.InDelta(t, p.At-p.Entered, float64(p.Corner.Time), 1e-9)
				require.Greater(t, float64(p.Corner.Time), 50*math.Pi/20)
				sum := 0.0
				for _, f := range p.Phases {
					require.Greater(t, f.Seconds, 0.3)
					sum += f.Seconds
				}
				require.Greater(t, sum, float64(p.Corner.Time), "braking comes before the entry")
			}
		})
	}
}

// At a steady speed the time of a pass is its length over the speed, however few the samples.
func TestPassIsTimedBetweenSamples(t *testing.T) {
	c := newCar(nil)
	driveStadium(c, senses{yaw: true, pedal: true}, 1.02)
	for s := 0.03 * stadiumLength; s < 1100; s += 4 {
		c.row[channel.Speed], c.row[channel.LapDistance], c.row[channel.Brake] = 40, s, 0
		c.step(0.1)
	}
	require.Len(t, c.seen, 2)
	for _, p := range c.seen {
		corner, _ := c.learner.Map().CornerNumbered(p.Corner.Number)
		require.InDelta(t, (corner.Exit-corner.Entry)/40, float64(p.Corner.Time), 1e-6)
	}
}

// The brakes of one corner are not those of the next: held on through the first bend and half the straight, they
// are no braking point of the second.
func TestBrakingHeldFromTheCornerBefore(t *testing.T) {
	c := newCar(nil)
	for s := stadiumLength - 30; s < 2.02*stadiumLength; s += 0.5 {
		_, _, k := stadium(s)
		d := math.Mod(s, stadiumLength)
		c.row[channel.Speed], c.row[channel.YawRate], c.row[channel.LapDistance], c.row[channel.Brake] = 50, 50*k, d, 0
		if d > bendFrom[0]-60 && d < bendFrom[0]+50*math.Pi+200 {
			c.row[channel.Brake] = 1
		}
		c.step(0.01)
	}
	cs := c.learner.Map().Corners
	require.InDelta(t, bendFrom[0]-60, cs[0].Braking, 2)
	require.True(t, math.IsNaN(cs[1].Braking), cs[1].Braking)
}

// Slip and balance are kept by phase: locking while braking, spinning at the exit, pushing in the middle.
func TestPassKeepsSlipAndBalance(t *testing.T) {
	c := newCar(nil)
	c.row[channel.FeedSilence] = 0
	driveStadium(c, senses{yaw: true, pedal: true}, 1.02)
	require.NotNil(t, c.learner.Map())
	corner := c.learner.Map().Corners[0]
	for s := 0.02 * stadiumLength; s < 500; {
		v, brakes := speedOn(s)
		s += v * 0.01
		c.row[channel.Speed], c.row[channel.LapDistance], c.row[channel.Brake] = v, s, 0
		for w := range channel.ID(4) {
			c.row[channel.WheelSpeed+w] = v
			c.row[channel.BrakeTemperature+w] = 300
		}
		c.row[channel.Balance] = 0
		switch {
		case brakes:
			c.row[channel.Brake] = 0.5
			c.row[channel.WheelSpeed] = 0.7 * v
			c.row[channel.BrakeTemperature] = 500
		case s > corner.Apex && s < corner.Apex+10:
			c.row[channel.Balance] = 0.02
		case s > corner.Exit-10:
			c.row[channel.WheelSpeed+channel.ID(channel.RR)] = 1.25 * v
		}
		c.step(0.01)
	}
	require.Len(t, c.seen, 1)
	p := c.seen[0]
	require.InDelta(t, -0.3, float64(p.Corner.MaxSlip[channel.FL]), 1e-9)
	require.InDelta(t, 0.25, float64(p.Corner.MaxSlip[channel.RR]), 1e-9)
	require.InDelta(t, 0, float64(p.Corner.MaxSlip[channel.RL]), 1e-9)
	require.InDelta(t, -0.3, p.Phases[course.Braking].MaxSlip[channel.FL], 1e-9)
	require.InDelta(t, 0, p.Phases[course.MidCorner].MaxSlip[channel.FL], 1e-9)
	require.InDelta(t, 0.25, p.Phases[course.Exit].MaxSlip[channel.RR], 1e-9)
	require.Greater(t, p.Phases[course.MidCorner].Balance, 0.001)
	require.Zero(t, p.Phases[course.TurnIn].Balance)
	require.Equal(t, p.Phases[course.MidCorner].Balance, float64(p.Corner.Balance))
	require.InDelta(t, 500, float64(p.Corner.BrakeTemp[channel.FL]), 0)
	require.InDelta(t, 300, float64(p.Corner.BrakeTemp[channel.RR]), 0)
}

func TestNoMapFromABadLap(t *testing.T) {
	tests := []struct {
		name  string
		spoil func(c *car)
	}{
		{"a hole in the feed", func(c *car) { c.at += 5 }},
		{"a visit to the pits", func(c *car) { c.row[channel.InPitLane] = 1; c.step(0.01); c.row[channel.InPitLane] = 0 }},
		{"the feed's distance falls back", func(c *car) {
			for d := range 20 {
				c.row[channel.LapDistance] = 200 + float64(d)
				c.step(0.01)
			}
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := newCar(nil)
			s, n := 0., 0.
			lap := func(spoil bool) {
				n++
				for end := n * stadiumLength; s < end; s += 0.5 {
					_, _, k := stadium(s)
					c.row[channel.Speed], c.row[channel.YawRate], c.row[channel.LapDistance] = 50, 50*k, math.Mod(s, stadiumLength)
					if spoil && s > end-stadiumLength/2 {
						tt.spoil(c)
						spoil = false
					}
					c.step(0.01)
				}
			}
			lap(false)
			lap(true)
			lap(false)
			require.Zero(t, c.maps)
			lap(false)
			require.Equal(t, 1, c.maps, "the lap after it is good")
		})
	}
}

func TestCourseFileCorrectsCorners(t *testing.T) {
	f, err := course.ParseFile("c.yaml", []byte("name: Stadium\nline: {lap_distance: true}\ncorners:\n  split: [{corner: 1}, {corner: "+
		"2, at: 820 m}]\n  names: {1: Mill, 4: Brook}\n"))
	require.NoError(t, err)
	c := newCar(f)
	driveStadium(c, senses{yaw: true, pedal: true}, 1.05)
	m := c.learner.Map()
	require.Equal(t, "Stadium", m.Name)
	require.Len(t, m.Corners, 4)
	require.Equal(t, []string{"Mill", "", "", "Brook"}, []string{m.Corners[0].Name, m.Corners[1].Name, m.Corners[2].Name,
		m.Corners[3].Name})
	require.InDelta(t, 820, m.Corners[2].Exit, 2)

	f, err = course.ParseFile("c.yaml", []byte("name: Stadium\nline: {lap_distance: true}\ncorners: {join: [[1, 2]]}\n"))
	require.NoError(t, err)
	c = newCar(f)
	driveStadium(c, senses{yaw: true, pedal: true}, 1.05)
	require.Len(t, c.learner.Map().Corners, 1)
	require.InDelta(t, 2*math.Pi, c.learner.Map().Corners[0].Angle, 0.1)
}

func bench() *car {
	c := newCar(nil)
	driveStadium(c, senses{yaw: true, pedal: true}, 1.05)
	return c
}

func TestSampleDoesNotAllocate(t *testing.T) {
	c := bench()
	c.seen = make([]course.Pass, 0, 64)
	s := 0.05 * stadiumLength
	require.Zero(t, testing.AllocsPerRun(2000, func() {
		s += 0.2
		c.row[channel.LapDistance], c.row[channel.CoursePlace] = s, s
		c.at += 0.01
		c.learner.Step(c.at, c.row)
		c.seen = c.passes.Step(c.at, c.row, c.seen[:0])
	}))
}

func BenchmarkStep(b *testing.B) {
	for _, part := range []string{"learner", "passes"} {
		b.Run("part="+part, func(b *testing.B) {
			c := bench()
			c.seen = make([]course.Pass, 0, 64)
			s := 60.0
			b.ReportAllocs()
			for b.Loop() {
				s = math.Mod(s+60./360, stadiumLength)
				c.row[channel.CoursePlace] = s
				c.at += 1. / 360
				if part == "learner" {
					c.learner.Step(c.at, c.row)
				} else {
					c.seen = c.passes.Step(c.at, c.row, c.seen[:0])
				}
			}
		})
	}
}

func BenchmarkPlace(b *testing.B) {
	c := newCar(&course.File{Line: course.Line{Source: course.ByGate,
		Gate: course.Gate{A: course.Point{X: 0, Y: -60}, B: course.Point{X: 0, Y: -40}}}})
	driveStadium(c, senses{position: true, pedal: true}, 1.05)
	m := c.learner.Map()
	b.ReportAllocs()
	for b.Loop() {
		m.Place(c.row, 60)
	}
}

// A feed may tell of one moment in several datagrams: the second reading of a moment must not end the pass.
func TestPassSurvivesSeveralReadingsOfOneMoment(t *testing.T) {
	c := newCar(nil)
	driveStadium(c, senses{yaw: true, pedal: true}, 1.02)
	require.NotNil(t, c.learner.Map())
	for s := 0.02 * stadiumLength; s < 500; {
		v, _ := speedOn(s)
		s += v * 0.01
		c.row[channel.Speed], c.row[channel.LapDistance] = v, s
		c.step(0.01)
		c.step(0)
	}
	require.Len(t, c.seen, 1)
}
