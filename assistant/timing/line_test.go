package timing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

// Worked examples and the bound: elementary algebra of uniform acceleration.
func TestCrossingIsInterpolatedBetweenSamples(t *testing.T) {
	tests := []struct {
		name      string
		d1, d2    float64 // m
		t1, t2    float64 // s
		want, tol float64 // s
	}{
		{"signed distances -3 and +5", -3, 5, 61.40, 61.50, 61.4375, 1e-9},
		{"exactly on the line", -4, 0, 10, 10.1, 10.1, 1e-9},
		// 78 m/s, 8 m in 0.1 s, 40 m/s²: the exact crossing is 0.0380895 s after the first sample, the linear one
		// 0.0375 s.
		{"under acceleration", -3, 5, 20, 20.1, 20.0375, 1e-9},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := newFeed(t, Config{Course: gateFile()})
			f.give(tt.t1-0.1, channel.PositionX, tt.d1-8, channel.PositionY, 0)
			f.give(tt.t1, channel.PositionX, tt.d1, channel.PositionY, 0)
			f.give(tt.t2, channel.PositionX, tt.d2, channel.PositionY, 0)
			f.give(tt.t2+0.1, channel.PositionX, tt.d2+8, channel.PositionY, 0)
			begun := f.of(LapBegun)
			require.Len(t, begun, 1)
			require.InDelta(t, tt.want, begun[0].At, tt.tol)
		})
	}
	exact := 20 + 0.0380895
	require.LessOrEqual(t, math.Abs(20.0375-exact), 40*0.1*0.1/(8*78), "the error is within a·dt²/(8v)")
}

// drive gives places along x at 10 Hz and 0.1 s apart from the time 0 on.
func drive(f *feed, y float64, xs ...float64) {
	for i, x := range xs {
		f.give(float64(i)/10, channel.PositionX, x, channel.PositionY, y)
	}
}

func TestWhatIsNoCrossing(t *testing.T) {
	tests := []struct {
		name string
		y    float64
		xs   []float64
		want int
	}{
		{"forward", 0, []float64{-4, -2, 1, 3}, 1},
		{"on the line for two samples", 0, []float64{-4, -2, 0, 0, 2}, 1},
		{"touches the line and goes on", 0, []float64{-2, 0, 2}, 1},
		{"backward", 0, []float64{4, 2, -1, -3}, 0},
		{"forward, back and forward again", 0, []float64{-2, 1, 2, -1, -2, 1, 4}, 1},
		{"shaking on the line", 0, []float64{-2, 0.1, -0.1, 0.1, -0.1, 0.1, 4}, 1},
		{"beside the gate", 11, []float64{-4, -2, 1, 3}, 0},
		{"put down behind the line by hand", 0, []float64{-300, -298, 50, 52}, 0},
		{"begins on the line", 0, []float64{0, 2, 4}, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := newFeed(t, Config{Course: gateFile()})
			drive(f, tt.y, tt.xs...)
			require.Len(t, f.of(LapBegun), tt.want)
			require.Equal(t, float64(tt.want), f.get(channel.Lap))
		})
	}
}

// A spin behind the line: the car stands, rolls back over it, stands, and drives on.
func TestRollingBackAndOnIsNoSecondCrossing(t *testing.T) {
	f := newFeed(t, Config{Course: gateFile()})
	at := 0.0
	for _, x := range []float64{-4, 2, 5} {
		at += 0.1
		f.give(at, channel.PositionX, x, channel.PositionY, 0)
	}
	for range 3 {
		for _, x := range []float64{5, 1, -1, -2, -1, 1, 5} {
			at += 2
			f.give(at, channel.PositionX, x, channel.PositionY, 0)
		}
	}
	require.Len(t, f.of(LapBegun), 1)
}

func TestGateLearnsItsDirection(t *testing.T) {
	file := gateFile()
	file.Line.Gate.Directed = false
	f := newFeed(t, Config{Course: file})
	drive(f, 0, 4, 2, -1, -3)
	require.Len(t, f.of(LapBegun), 1)
}

func TestGeographicGate(t *testing.T) {
	const deg = math.Pi / 180
	file := &course.File{Line: course.Line{Source: course.ByGate, Gate: course.Gate{Geo: true,
		A: course.Point{X: 52.0001 * deg, Y: -1 * deg}, B: course.Point{X: 51.9999 * deg, Y: -1 * deg},
	}}}
	f := newFeed(t, Config{Course: file})
	// 0.001° of longitude at 52° north is 68.678016 m (Karney's GeographicLib, WGS 84): 30 m west and 38.678 m east of
	// the gate.
	f.give(0, channel.Latitude, 52*deg, channel.Longitude, (-1-0.001*30/68.678016)*deg)
	f.give(1, channel.Latitude, 52*deg, channel.Longitude, (-1+0.001*38.678016/68.678016)*deg)
	begun := f.of(LapBegun)
	require.Len(t, begun, 1)
	require.InDelta(t, 30/68.678016, begun[0].At, 1e-9)
	require.InDelta(t, 38.678016, f.get(channel.CoursePlace), 0.01)
}

// A car that keeps its acceleration passes a line at a time that is known exactly; the crossing seen at
// any rate of samples is within a·dt²/(8v) of it.
func TestCrossingKeepsItsBound(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		rate := rapid.Float64Range(10, 360).Draw(r, "rate, Hz")
		a := rapid.Float64Range(-40, 40).Draw(r, "a, m/s²")
		v := rapid.Float64Range(20, 90).Draw(r, "v at the line, m/s")
		phase := rapid.Float64Range(0, 1).Draw(r, "phase")
		f := newFeed(t, Config{Course: gateFile()})
		dt := 1 / rate
		for i := range 7 {
			at := (float64(i) - 3 + phase) * dt // the line is passed at 0
			f.give(10+at, channel.PositionX, v*at+a*at*at/2, channel.PositionY, 0, channel.Speed, v+a*at)
		}
		begun := f.of(LapBegun)
		if len(begun) != 1 {
			r.Fatalf("%d crossings", len(begun))
		}
		low := min(v, v+a*dt, v-a*dt)
		if err, bound := math.Abs(begun[0].At-10), math.Abs(a)*dt*dt/(8*low)+1e-9; err > bound {
			r.Fatalf("off by %g s, bound %g s", err, bound)
		}
	})
}

// The same for a feed that counts metres from the line, with a lap length that nobody told.
func TestLapDistanceKeepsTheBound(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		rate := rapid.Float64Range(10, 360).Draw(r, "rate, Hz")
		a := rapid.Float64Range(-40, 40).Draw(r, "a, m/s²")
		v := rapid.Float64Range(20, 90).Draw(r, "v at the line, m/s")
		phase := rapid.Float64Range(0, 1).Draw(r, "phase")
		f := newFeed(t, Config{})
		dt := 1 / rate
		for i := range 7 {
			at := (float64(i) - 3 + phase) * dt
			d := v*at + a*at*at/2
			if d < 0 {
				d += 3210
			}
			f.give(10+at, channel.LapDistance, d, channel.Speed, v+a*at)
		}
		begun := f.of(LapBegun)
		if len(begun) != 1 {
			r.Fatalf("%d crossings", len(begun))
		}
		low := min(v, v+a*dt, v-a*dt)
		if err, bound := math.Abs(begun[0].At-10), math.Abs(a)*dt*dt/(8*low)+1e-9; err > bound {
			r.Fatalf("off by %g s, bound %g s", err, bound)
		}
	})
}

func TestLapNumberStepsWithAndWithoutFinerClues(t *testing.T) {
	tests := []struct {
		name      string
		extra     func(d float64) []any // at d seconds after the line
		want, tol float64
	}{
		{"counter alone: the middle", func(float64) []any { return nil }, 10.01, 1e-9},
		{"with the time into the lap", func(d float64) []any {
			if d < 0 {
				return []any{channel.LapTime, 90 + d}
			}
			return []any{channel.LapTime, d}
		}, 10, 1e-9},
		{"with the distance", func(d float64) []any {
			return []any{channel.Speed, 50, channel.LapDistance, math.Mod(3000+50*d, 3000)}
		}, 10, 1e-9},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := newFeed(t, Config{})
			for i := range 10 {
				d := -0.44 + float64(i)*0.1 // the line between -0.04 and 0.06
				n := 3
				if d >= 0 {
					n = 4
				}
				f.give(10+d, append(tt.extra(d), channel.LapNumber, n)...)
			}
			begun := f.of(LapBegun)
			require.Len(t, begun, 1)
			require.Equal(t, 1, begun[0].Number)
			require.InDelta(t, tt.want, begun[0].At, tt.tol)
		})
	}
}

func TestLapNumberJumpIsNoCrossing(t *testing.T) {
	f := newFeed(t, Config{})
	f.give(0, channel.LapNumber, 3)
	f.give(1, channel.LapNumber, 5)
	f.give(2, channel.LapNumber, 0)
	require.Empty(t, f.of(LapBegun))
}

// Positions at 10 Hz in a feed of 100 Hz are held between: the crossing must not be pulled to the sample that moved.
func TestHeldPosition(t *testing.T) {
	f := newFeed(t, Config{Course: gateFile()})
	for i := range 101 {
		at := float64(i) / 100
		f.give(at, channel.Speed, 30)
		if i%10 == 0 {
			f.give(at+0.001, channel.PositionX, 30*(at+0.001-0.537), channel.PositionY, 0)
		}
	}
	begun := f.of(LapBegun)
	require.Len(t, begun, 1)
	require.InDelta(t, 0.537, begun[0].At, 1e-9)
}
