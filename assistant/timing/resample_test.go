package timing

import (
	"math"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/demo"
)

// A demoDrive is the demo car's, at 360 Hz, with its truth.
type demoDrive struct {
	at                 []float64
	x, y, v, d         []float64
	truth              demo.Truth
	lineX, lineY, head float64
}

var driven = sync.OnceValues(func() (*demoDrive, error) {
	sim, err := demo.New(set, demo.Options{Seed: 11, Laps: 2, Rate: 360})
	if err != nil {
		return nil, err
	}
	d := &demoDrive{}
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		d.at = append(d.at, s.At)
		d.x, d.y = append(d.x, s.Row[channel.PositionX]), append(d.y, s.Row[channel.PositionY])
		d.v, d.d = append(d.v, s.Row[channel.Speed]), append(d.d, s.Row[channel.LapDistance])
	}
	d.truth = sim.Truth()
	d.lineX, d.lineY = d.truth.Course.Position(0)
	d.head = d.truth.Course.Heading(0)
	return d, nil
})

// gate lies 30 m across the road at the line.
func (d *demoDrive) gate() course.Gate {
	sin, cos := math.Sincos(d.head)
	at := func(ahead, left float64) course.Point {
		return course.Point{X: d.lineX + ahead*cos - left*sin, Y: d.lineY + ahead*sin + left*cos}
	}
	return course.Gate{A: at(0, 15), B: at(0, -15), Toward: at(20, 0), Directed: true}
}

// bound is how far off the crossing near time at may be, seen at interval T. Between two samples T apart the car is
// taken to keep its speed. With an acceleration a its real way s(t) lies below (or above) the straight one by
// a·t·(T−t)/2, which is most in the middle: a·T²/8. The line is passed that much too early or late in distance, so at
// speed v by a·T²/(8·v) in time. a and v are the greatest and least within T of the crossing, by the way itself and not
// by the noisy speed.
func (d *demoDrive) bound(at, interval float64) float64 {
	const step = 36 // of 360 Hz: differences over a tenth of a second
	worst, slow := 0.0, math.Inf(1)
	for i := step; i+step < len(d.at); i++ {
		if math.Abs(d.at[i]-at) > interval+0.1 {
			continue
		}
		dt := d.at[i+step] - d.at[i]
		l1, l2 := math.Hypot(d.x[i]-d.x[i-step], d.y[i]-d.y[i-step]), math.Hypot(d.x[i+step]-d.x[i], d.y[i+step]-d.y[i])
		worst, slow = max(worst, math.Abs(l2-l1)/dt/dt), min(slow, l1/dt, l2/dt)
	}
	return worst*interval*interval/(8*slow) + 2e-5 // the truth's own crossing lies between steps of 1/360 s
}

// A way is a form in which a feed tells where the car is.
type way struct {
	name string
	file *course.File
	row  func(d *demoDrive, i int) []any
}

func waysOf(d *demoDrive) []way {
	flat := &course.File{Name: "flat", Line: course.Line{Source: course.ByGate, Gate: d.gate()}}
	// The same place on the ellipsoid: metres per radian are those of the plane that touches it at the line.
	origin := course.Point{X: 0.91, Y: 0.17}
	unit := course.NewPlane(origin).Local(course.Point{X: origin.X + 1e-3, Y: origin.Y + 1e-3})
	geo := func(x, y float64) course.Point {
		return course.Point{X: origin.X + (y-d.lineY)/unit.Y*1e-3, Y: origin.Y + (x-d.lineX)/unit.X*1e-3}
	}
	g := d.gate()
	g.A, g.B, g.Toward, g.Geo = geo(g.A.X, g.A.Y), geo(g.B.X, g.B.Y), geo(g.Toward.X, g.Toward.Y), true
	round := &course.File{Name: "geo", Line: course.Line{Source: course.ByGate, Gate: g}}
	return []way{
		{"x and y", flat, func(d *demoDrive, i int) []any {
			return []any{channel.PositionX, d.x[i], channel.PositionY, d.y[i], channel.Speed, d.v[i]}
		}},
		{"latitude and longitude", round, func(d *demoDrive, i int) []any {
			p := geo(d.x[i], d.y[i])
			return []any{channel.Latitude, p.X, channel.Longitude, p.Y, channel.Speed, d.v[i]}
		}},
		{"lap distance", nil, func(d *demoDrive, i int) []any { return []any{channel.LapDistance, d.d[i], channel.Speed, d.v[i]} }},
	}
}

// laps returns the flying laps of the drive, seen every k-th sample from sample first on.
func (d *demoDrive) laps(t *testing.T, w way, first, k int) []Lap {
	f := newFeed(t, Config{Course: w.file})
	for i := first; i < len(d.at); i += k {
		f.give(d.at[i], w.row(d, i)...)
	}
	var list []Lap
	for _, e := range f.of(LapDone) {
		list = append(list, e.Lap)
	}
	return list
}

// The demo car, seen at 10 to 360 Hz from any sample on: lap times differ from the truth by no more than what linear
// interpolation costs at both ends of the lap, whichever way the place is told. So any two ways differ by at most twice
// that.
func TestResamplingTheDemoKeepsItsLaps(t *testing.T) {
	d, err := driven()
	require.NoError(t, err)
	truth := d.truth.Done[1:3]
	ways := waysOf(d)
	worst := make([]float64, len(ways))
	rapid.Check(t, func(r *rapid.T) {
		k := rapid.IntRange(1, 36).Draw(r, "every n-th of 360 Hz")
		first := rapid.IntRange(0, k-1).Draw(r, "first")
		which := rapid.IntRange(0, len(ways)-1).Draw(r, "way")
		laps := d.laps(t, ways[which], first, k)
		if len(laps) < 2 { // the lap distance goes on counting in the pit lane, which the gate does not reach
			r.Fatalf("%s: %d laps", ways[which].name, len(laps))
		}
		for i, lap := range laps[:2] {
			interval := float64(k) / 360
			bound := d.bound(truth[i].Start, interval) + d.bound(truth[i].End, interval)
			off := math.Abs(lap.Time - truth[i].Time)
			worst[which] = max(worst[which], off/bound)
			if off > bound {
				r.Fatalf("%s, lap %d at %.0f Hz: off by %g s, bound %g s", ways[which].name, i+1, 1/interval, off, bound)
			}
		}
	})
	for i, w := range ways {
		t.Logf("%s: at worst %.2f of the bound", w.name, worst[i])
	}
	at10 := d.bound(truth[0].Start, 0.1) + d.bound(truth[0].End, 0.1)
	require.Less(t, at10, 0.01, "the bound says something: at 10 Hz it is %.4f s", at10)
}
