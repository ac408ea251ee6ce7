package course

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Geodesics as published, on WGS 84 unless told: the Vincenty test line of the Geocentric Datum of Australia technical
// manual (Flinders Peak to Buninyong, GRS 80, which is the same to 0.1 mm), the worked example of GeographicLib's
// GeodSolve, GeographicLib's lengths of a degree at the equator and of 0.001° at 52° north (Karney, Algorithms for
// geodesics, J. Geodesy 87:43, 2013), and the great circles of the well-known haversine example and of Williams's
// Aviation Formulary.
//
// The Plane is flat and touches the ellipsoid at its origin: within 5 km it is right to 0.05 %. Farther away it errs in
// proportion to the distance across the parallels, so a line of 55 km has to be right to 0.5 % only, laid from its
// middle to 0.02 %. Lines over oceans are no matter for a course; that they are wrong by more than a percent here says
// that this is a plane and no geodesic.
func TestPlaneAgainstGeodesics(t *testing.T) {
	const deg = math.Pi / 180
	dms := func(d, m, s float64) float64 { return math.Copysign(math.Abs(d)+m/60+s/3600, d) * deg }
	length := func(a, b, origin Point) float64 {
		p := NewPlane(origin)
		u, v := p.Local(a), p.Local(b)
		return math.Hypot(u.X-v.X, u.Y-v.Y)
	}
	flinders, buninyong := Point{dms(-37, 57, 3.72030), dms(144, 25, 29.52440)}, Point{dms(-37, 39, 10.15610), dms(143, 55, 35.38390)}
	middle := Point{(flinders.X + buninyong.X) / 2, (flinders.Y + buninyong.Y) / 2}
	require.InEpsilon(t, 54972.271, length(flinders, buninyong, flinders), 5e-3, "6a")
	require.InEpsilon(t, 54972.271, length(flinders, buninyong, middle), 2e-4, "6a from its middle")
	p := NewPlane(flinders).Local(buninyong)
	require.InDelta(t, 306+52./60+5.37/3600, math.Mod(math.Atan2(p.X, p.Y)/deg+360, 360), 0.3, "6a, azimuth")

	require.InEpsilon(t, 111319.490793, length(Point{}, Point{0, deg}, Point{}), 1e-8, "6e")
	require.InEpsilon(t, 110574.388558, length(Point{}, Point{deg, 0}, Point{}), 5e-4, "6e")
	at52 := Point{52 * deg, -1 * deg}
	require.InEpsilon(t, 68.678016, length(at52, Point{52 * deg, -0.999 * deg}, at52), 5e-6, "6f")
	require.InEpsilon(t, 111.267363, length(at52, Point{52.001 * deg, -1 * deg}, at52), 5e-6, "6f")

	for name, far := range map[string]struct {
		a, b Point
		want float64
	}{
		"6b": {Point{40.6 * deg, -73.8 * deg}, Point{51.6 * deg, -0.5 * deg}, 5551759.400},
		"6c": {Point{40.6 * deg, -73.8 * deg}, Point{dms(1, 22, 0), dms(103, 59, 0)}, 15351275.876},
		"6d": {Point{-41.32 * deg, 174.81 * deg}, Point{40.96 * deg, -5.5 * deg}, 19959679.267354},
		"6g": {Point{36.12 * deg, -86.67 * deg}, Point{33.94 * deg, -118.4 * deg}, 2887259.95},
		"6h": {Point{dms(33, 57, 0), dms(-118, 24, 0)}, Point{dms(40, 38, 0), dms(-73, 47, 0)}, 0.623585 * 6371000},
	} {
		require.Greater(t, math.Abs(length(far.a, far.b, far.a)/far.want-1), 0.003, name)
	}

	// NMEA 0183 writes degrees and minutes: the position of gpsd's "NMEA Revealed", 4807.038,N 01131.000,E, is 48.1173°
	// and 11.516667°, and a thousandth of a minute there is 1.853 m to the north and 1.241 m to the east (the same
	// ellipsoid, from memory).
	munich := Point{dms(48, 7.038, 0), dms(11, 31, 0)}
	require.InDelta(t, 48.1173, munich.X/deg, 1e-9)
	require.InDelta(t, 1.853, NewPlane(munich).Local(Point{dms(48, 7.039, 0), munich.Y}).Y, 1e-3)
	require.InDelta(t, 1.241, NewPlane(munich).Local(Point{munich.X, dms(11, 31.001, 0)}).X, 1e-3)
}

// Within 5 km the plane is right to 0.05 %, beyond 50° of latitude to 0.1 %: against the metric of the ellipsoid
// integrated along straight lines of latitude and longitude.
func TestPlaneIsRightWithin5km(t *testing.T) {
	const e2 = wgsF * (2 - wgsF)
	for _, lat := range []float64{-60, -35, 0, 25, 52, 65} {
		o := Point{lat * math.Pi / 180, 0.3}
		p := NewPlane(o)
		for a := 0.0; a < 6.2; a += 0.1 {
			b := Point{o.X + 5000*math.Sin(a)/p.perY, o.Y + 5000*math.Cos(a)/p.perX}
			const n = 200
			sum := 0.0
			for i := range n {
				w := 1 - e2*math.Pow(math.Sin(o.X+(b.X-o.X)*(float64(i)+0.5)/n), 2)
				north := wgsA * (1 - e2) / math.Pow(w, 1.5) * (b.X - o.X) / n
				east := wgsA / math.Sqrt(w) * math.Cos(o.X+(b.X-o.X)*(float64(i)+0.5)/n) * (b.Y - o.Y) / n
				sum += math.Hypot(north, east)
			}
			bound := 5e-4
			if math.Abs(lat) > 50 {
				bound = 1e-3
			}
			require.InEpsilon(t, sum, 5000, bound, "latitude %v", lat)
		}
	}
}
