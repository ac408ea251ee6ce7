package course

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Textbook plane curves (do Carmo, Differential Geometry of Curves and Surfaces, from memory); the values are closed
// forms.
func TestMenger(t *testing.T) {
	require.InDelta(t, 0.02, Menger(Point{50, 0}, Point{0, 50}, Point{-50, 0}), 1e-12)
	require.InDelta(t, 0.02, Menger(Point{50, 0}, Point{50 * math.Cos(0.1), 50 * math.Sin(0.1)}, Point{50 * math.Cos(1), 50 * math.Sin(1)}),
		1e-12)
	require.InDelta(t, 0.4, Menger(Point{0, 0}, Point{4, 0}, Point{0, 3}), 1e-12)
	require.Zero(t, Menger(Point{0, 0}, Point{1, 1}, Point{3, 3}))
	require.InDelta(t, -math.Sqrt2, Menger(Point{0, 0}, Point{0, 1}, Point{1, 1}), 1e-12)
	require.Zero(t, Menger(Point{1, 2}, Point{1, 2}, Point{3, 3}))
}

// loop resamples a closed curve, given by a parameter from 0 to 1, evenly about every step metres.
func loop(at func(u float64) (x, y float64), step float64) (x, y []float64, length, h float64) {
	const fine = 100000
	d, fx, fy := make([]float64, fine), make([]float64, fine), make([]float64, fine)
	for i := range d {
		fx[i], fy[i] = at(float64(i) / fine)
		if i > 0 {
			d[i] = d[i-1] + math.Hypot(fx[i]-fx[i-1], fy[i]-fy[i-1])
		}
	}
	length = d[fine-1] + math.Hypot(fx[0]-fx[fine-1], fy[0]-fy[fine-1])
	n := int(math.Round(length / step))
	return resample(d, fx, length, 0, n), resample(d, fy, length, 0, n), length, length / float64(n)
}

func circle(u float64) (float64, float64) {
	return 50 * math.Cos(2*math.Pi*u), 50 * math.Sin(2*math.Pi*u)
}

// lemniscate is Bernoulli's with a = 100: r² = a²·cos 2θ.
func lemniscate(u float64) (float64, float64) {
	s, c := math.Sincos(2 * math.Pi * u)
	return 100 * c / (1 + s*s), 100 * s * c / (1 + s*s)
}

func ellipse(u float64) (float64, float64) {
	s, c := math.Sincos(2 * math.Pi * u)
	return 200 * c, 100 * s
}

// racetrack is a stadium: two straights of 400 m, two half circles of radius 50 m; it begins in the middle of a
// straight.
func racetrack(u float64) (float64, float64) {
	const bend = 50 * math.Pi
	switch s := u * (800 + 2*bend); {
	case s < 200:
		return s, -50
	case s < 200+bend:
		a := (s - 200) / 50
		return 200 + 50*math.Sin(a), -50 * math.Cos(a)
	case s < 600+bend:
		return 400 + bend - s, 50
	case s < 600+2*bend:
		a := (s - 600 - bend) / 50
		return -200 - 50*math.Sin(a), 50 * math.Cos(a)
	default:
		return s - 800 - 2*bend, -50
	}
}

func TestCurvatureOfAnalyticCurves(t *testing.T) {
	t.Run("circle keeps its radius under smoothing", func(t *testing.T) {
		x, y, length, h := loop(circle, 1)
		require.InDelta(t, 100*math.Pi, length, 1e-6)
		for _, k := range Curvature(x, y, h, smoothing) {
			require.InDelta(t, 0.02, k, 1e-5)
		}
	})
	t.Run("lemniscate: |k| is 3r/a², length a·Γ(1/4)²/√(2π)", func(t *testing.T) {
		x, y, length, h := loop(lemniscate, 0.5)
		require.InDelta(t, 524.4115109, length, 1e-4)
		turn := 0.0
		for i, k := range Curvature(x, y, h, 0) {
			require.InDelta(t, 3*math.Hypot(x[i], y[i])/1e4, math.Abs(k), 2e-5)
			turn += k * h
		}
		require.InDelta(t, 0, turn, 1e-3, "a figure of eight turns by nothing")
		smooth := Curvature(x, y, h, smoothing)
		require.InDelta(t, 0.03, math.Abs(smooth[0]), 0.001, "the tip")
		require.Len(t, findCorners(smooth, h, usual), 2)
	})
	t.Run("ellipse: b/a² and a/b² at the ends of its axes", func(t *testing.T) {
		x, y, _, h := loop(ellipse, 0.5)
		k := Curvature(x, y, h, 0)
		n := len(k)
		require.InDelta(t, 0.02, k[0], 1e-5)
		require.InDelta(t, 0.0025, k[n/4], 1e-5)
		turn := 0.0
		for _, v := range Curvature(x, y, h, smoothing) {
			turn += v * h
		}
		require.InDelta(t, 2*math.Pi, turn, 1e-3, "Hopf's Umlaufsatz")
	})
	t.Run("clothoid keeps its slope under smoothing", func(t *testing.T) {
		// k = s/A² with A = 60: at s = 60 the heading is 0.5 rad, k = 1/60, x = 58.517261, y = 9.822843 (Fresnel
		// integrals).
		var x, y []float64
		cx, cy := 0.0, 0.0
		const h, sub = 1.0, 1000
		for s := 0.0; s < 200; s += h {
			x, y = append(x, cx), append(y, cy)
			if s == 60 {
				require.InDelta(t, 58.517261, cx, 1e-6)
				require.InDelta(t, 9.822843, cy, 1e-6)
			}
			for j := range sub {
				m := s + h*(float64(j)+0.5)/sub
				cx += h / sub * math.Cos(m*m/7200)
				cy += h / sub * math.Sin(m*m/7200)
			}
		}
		for _, sigma := range []float64{0, smoothing} {
			require.InDelta(t, 1/60., Curvature(x, y, h, sigma)[60], 1e-5) // its ends, which do not close, are far away
		}
	})
}

func TestStadiumHasTwoCorners(t *testing.T) {
	x, y, _, h := loop(racetrack, 2)
	cs := findCorners(Curvature(x, y, h, smoothing), h, usual)
	require.Len(t, cs, 2)
	turn := 0.0
	for i, c := range cs {
		require.Equal(t, i+1, c.Number)
		require.Equal(t, Left, c.Hand)
		require.InDelta(t, 50, c.Radius, 0.5)
		// The smoothing widens a bend with sudden ends: by less than two of its standard deviations at each end.
		require.InDelta(t, 50*math.Pi, c.Exit-c.Entry, 4*smoothing)
		require.GreaterOrEqual(t, c.Exit-c.Entry, 50*math.Pi)
		require.InDelta(t, 200+(50*math.Pi)/2+float64(i)*(400+50*math.Pi), (c.Entry+c.Exit)/2, 1)
		turn += c.Angle
	}
	require.InDelta(t, 2*math.Pi, turn, 0.05)
}

// The ends of a wide oval turn by half a circle over hundreds of metres and count as two corners each.
func TestOvalHasFourCorners(t *testing.T) {
	x, y, _, h := loop(func(u float64) (float64, float64) { x, y := racetrack(u); return 4 * x, 4 * y }, 2)
	cs := findCorners(Curvature(x, y, h, smoothing), h, usual)
	require.Len(t, cs, 4)
	for i, c := range cs {
		require.Equal(t, i+1, c.Number)
		require.InDelta(t, math.Pi/2, c.Angle, 0.05)
		require.InDelta(t, 200, c.Radius, 1)
	}
	require.InDelta(t, cs[0].Exit, cs[1].Entry, 1e-6)
}

func TestReversingChangesTheHandOnly(t *testing.T) {
	for _, shape := range []func(float64) (float64, float64){racetrack, lemniscate} {
		x, y, _, h := loop(shape, 2)
		rx, ry, _, rh := loop(func(u float64) (float64, float64) { return shape(1 - u) }, 2)
		there, back := findCorners(Curvature(x, y, h, smoothing), h, usual), findCorners(Curvature(rx, ry, rh, smoothing), rh, usual)
		require.Len(t, back, len(there))
		for i := range there {
			o := back[len(back)-1-i]
			if there[i].Apex < h { // on the line: first both ways
				o = back[0]
			} else if there[0].Apex < h {
				o = back[len(back)-i]
			}
			require.Equal(t, there[i].Hand, -o.Hand)
			require.InDelta(t, there[i].Angle, o.Angle, 0.02)
		}
	}
}

func TestACircleIsOneCorner(t *testing.T) {
	x, y, _, h := loop(circle, 1)
	cs := findCorners(Curvature(x, y, h, smoothing), h, usual)
	require.Len(t, cs, 1)
	require.InDelta(t, 2*math.Pi, cs[0].Angle, 1e-3)
}

// Karney's GeographicLib on WGS 84 (lengths of one degree at the equator and of 0.001° at 52° north).
func TestPlane(t *testing.T) {
	const deg = math.Pi / 180
	p := NewPlane(Point{52 * deg, -1 * deg})
	require.InEpsilon(t, 68.678016, p.Local(Point{52 * deg, -0.999 * deg}).X, 5e-6)
	require.InEpsilon(t, 111.267363, p.Local(Point{52.001 * deg, -1 * deg}).Y, 5e-6)
	eq := NewPlane(Point{})
	require.InDelta(t, 111319.490793, eq.Local(Point{0, 1 * deg}).X, 1e-3)
	require.InEpsilon(t, 110574.388558, eq.Local(Point{1 * deg, 0}).Y, 5e-4)
	line := NewPlane(Point{0, 179.9999 * deg})
	require.InDelta(t, 22.264, line.Local(Point{0, -179.9999 * deg}).X, 1e-3, "across the date line")
}
