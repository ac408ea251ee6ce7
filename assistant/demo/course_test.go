package demo

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// walk integrates the published curvature with the midpoint rule, which shares nothing with the way courses are laid.
func walk(c *Course, from, to, step float64) (x, y, heading float64) {
	n := int(math.Ceil((to - from) / step))
	h := (to - from) / float64(n)
	heading = c.Heading(from)
	x, y = c.Position(from)
	for i := range n {
		s := from + (float64(i)+0.5)*h
		k, _ := c.Curvature(s)
		mid := heading + k*h/2
		sin, cos := math.Sincos(mid)
		x, y, heading = x+h*cos, y+h*sin, heading+k*h
	}
	return x, y, heading
}

func TestCoursesClose(t *testing.T) {
	for _, name := range Courses() {
		t.Run(name, func(t *testing.T) {
			c, err := LoadCourse(name)
			require.NoError(t, err)
			last := c.elements[len(c.elements)-1]
			x, y := last.pointAt(last.length)
			require.Less(t, math.Hypot(x, y), 1e-6, "metres between the end of the line and its start")
			require.InDelta(t, 2*math.Pi, math.Abs(c.turn), 1e-9)

			x0, y0 := c.Position(0)
			x, y, _ = walk(c, 0, c.Length, 0.02)
			require.Less(t, math.Hypot(x-x0, y-y0), 1e-2, "independent integration of the curvature")
			// The table between its points against the integration.
			for s := 3.3; s < c.Length-60; s += 97.7 {
				px, py := c.Position(s + 41.3)
				x, y, h := walk(c, s, s+41.3, 0.01)
				require.InDelta(t, px, x, 2e-4)
				require.InDelta(t, py, y, 2e-4)
				require.InDelta(t, c.Heading(s+41.3), h, 2e-4)
			}
		})
	}
}

func TestCoursesDoNotCross(t *testing.T) {
	for _, name := range Courses() {
		c, err := LoadCourse(name)
		require.NoError(t, err)
		n, apart := len(c.x)-1, int(60/c.gap)
		closest := math.Inf(1)
		for a := 0; a < n; a += 2 {
			for b := a + apart; b < min(n, a+n-apart); b += 2 {
				closest = min(closest, math.Hypot(c.x[a]-c.x[b], c.y[a]-c.y[b]))
			}
		}
		require.Greater(t, closest, 2*c.Width, "%s: two places further than 60 m along the course are the same", name)
	}
}

func TestCurvatureHasNoJump(t *testing.T) {
	for _, name := range Courses() {
		c, err := LoadCourse(name)
		require.NoError(t, err)
		before, _ := c.Curvature(c.Length - 1e-9)
		for s := 0.0; s < c.Length; s += 0.1 {
			k, _ := c.Curvature(s)
			require.Less(t, math.Abs(k-before), 1e-3, "%s at %.1f m", name, s)
			before = k
		}
	}
}

// The default course is what the demo promises: 3.2 to 3.8 km, 9 to 12 corners of both hands with a chicane, a hairpin and a
// fast sweeper.
func TestDefaultCourse(t *testing.T) {
	c, err := LoadCourse(Courses()[0])
	require.NoError(t, err)
	require.InDelta(t, 3500, c.Length, 300)
	require.GreaterOrEqual(t, len(c.Corners), 9)
	require.LessOrEqual(t, len(c.Corners), 12)
	hands := map[Hand]int{}
	var hairpin, chicane, sweeper bool
	for i, q := range c.Corners {
		hands[q.Hand]++
		require.Equal(t, i+1, q.Number)
		require.True(t, q.Entry < q.BeginArc && q.BeginArc < q.Apex && q.Apex < q.EndArc && q.EndArc < q.Exit, "%+v", q)
		k, _ := c.Curvature(q.Apex)
		require.InDelta(t, 1/q.Radius, math.Abs(k), 1e-12)
		require.Equal(t, q.Hand == Left, k > 0, "left is positive in ISO 8855")
		require.InDelta(t, q.Turn, c.Heading(q.Exit)-c.Heading(q.Entry), 1e-9)
		require.Equal(t, q.Number, c.CornerAt(q.Apex))
		hairpin = hairpin || math.Abs(q.Turn) > 2.8 && q.Radius < 30
		sweeper = sweeper || q.Radius > 200
		chicane = chicane || i > 0 && c.Corners[i-1].Hand != q.Hand && q.Entry-c.Corners[i-1].Exit < 20
	}
	require.True(t, hairpin && chicane && sweeper, "%v %v %v", hairpin, chicane, sweeper)
	require.Positive(t, hands[Left])
	require.Positive(t, hands[Right])
	for s := -c.Length + c.pitIn; s < c.pitOut+laneEase; s += 5 {
		require.Zero(t, c.CornerAt(s), "the pit lane lies beside a straight")
	}
}

func TestPlansThatCannotBeBuilt(t *testing.T) {
	tests := []struct {
		name   string
		pieces []piece
		want   string
	}{
		{"no free straight", []piece{straight(100), corner("A", 360, 50, 10)}, "free straights"},
		{"parallel", []piece{solved(), corner("A", 180, 50, 10), solved(), corner("B", 180, 50, 10)}, "parallel"},
		{"transition too long", []piece{solved(), corner("A", 10, 50, 20), solved(), corner("B", 350, 50, 10)}, "too long"},
		{"not once around", []piece{solved(), corner("A", 90, 50, 10), straight(900), corner("B", 90, 50, 10), straight(100), corner("C", 90, 50, 10), solved(), corner("D", 80, 50, 10)}, "closes only|must turn 360"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := plan{name: "x", pieces: tt.pieces}.build()
			require.Error(t, err)
			require.Regexp(t, tt.want, err.Error())
		})
	}
	_, err := LoadCourse("nowhere")
	require.ErrorContains(t, err, Courses()[0], "the way out is named")
}
