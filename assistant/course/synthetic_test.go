package course

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Corners known by construction, on none of the courses on which the limits were chosen: straights, clothoids and arcs
// of drawn radius, angle, hand and gap. The finder sees the curvature only, so the loop need not close in the plane.
// Number, hand and order are those drawn, the apex lies within the arc or beyond its end by at most two standard
// deviations of the smoothing, the angle is right to 0.05 rad and 3 % beside what the ends of the clothoids turn. Drawn
// are clear cases: angle at least 0.6 rad (0.35 or 0.4 count), radius from 15 m to seven tenths of what counts,
// straights of 60 m and more between (up to 30 m are merged), and no bend as long as the end of an oval.
func TestFinderOnSyntheticCourses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const h = 2.0
		type bend struct {
			hand           Hand
			angle          float64
			arcFrom, arcTo float64
			ends           float64 // rad of both clothoids where they are wider than what ends a corner
		}
		var k []float64
		var want []bend
		add := func(k0, k1, length float64) {
			n := int(math.Round(length / h))
			for i := range n {
				k = append(k, k0+(k1-k0)*(float64(i)+0.5)/float64(n))
			}
		}
		for range rapid.IntRange(2, 12).Draw(t, "corners") {
			r := rapid.Float64Range(15, 175).Draw(t, "radius")
			share := rapid.Float64Range(0, 0.8).Draw(t, "of which clothoids")
			most := min(3.0, 400/(r*(1+share)))
			angle := rapid.Float64Range(0.6, max(0.61, most)).Draw(t, "angle")
			b := bend{hand: Left}
			if rapid.Bool().Draw(t, "right") {
				b.hand = Right
			}
			k1 := float64(b.hand) / r
			add(0, 0, rapid.Float64Range(30, 400).Draw(t, "before"))
			begun := len(k)
			spiral := share * angle * r // each of two turns by length/2r
			b.ends = usual.off * usual.off * spiral * r
			add(0, k1, spiral)
			b.arcFrom = float64(len(k)) * h
			add(k1, k1, (1-share)*angle*r)
			b.arcTo = float64(len(k)) * h
			add(k1, 0, spiral)
			for _, v := range k[begun:] {
				b.angle += math.Abs(v) * h // as drawn on the grid
			}
			add(0, 0, 30)
			want = append(want, b)
		}
		got := findCorners(smoothLoop(k, h, smoothing), h, usual)
		require.Len(t, got, len(want))
		for i, c := range got {
			w := want[i]
			require.Equal(t, w.hand, c.Hand)
			require.GreaterOrEqual(t, c.Apex, w.arcFrom-2*smoothing-h)
			require.LessOrEqual(t, c.Apex, w.arcTo+2*smoothing+h)
			require.InDelta(t, w.angle, c.Angle, 0.05+0.03*w.angle+w.ends, "corner %d", i+1)
		}
	})
}
