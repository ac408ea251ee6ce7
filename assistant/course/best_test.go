package course

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// Time lost is against a pass of the same stretch: where a better map moves an entry or an exit, the best pass there
// begins anew, and that of the other corners stays.
func TestTheBestPassIsOfTheSameStretch(t *testing.T) {
	m := bent(arc{400, 0}, arc{80, 50}, arc{400, 0}, arc{80, -50}, arc{300, 0})
	require.Len(t, m.Corners, 2)
	p, row := NewPasses(), channel.NewSet().NewRow()
	p.UseMap(m)
	at := 0.0
	lap := func(v float64) (lost []float64) {
		for d := 0.0; d < m.Length; d += v * 0.02 {
			at += 0.02
			row[channel.CoursePlace], row[channel.Speed], row[channel.Lap] = d, v, 1
			for _, x := range p.Step(at, row, nil) {
				lost = append(lost, float64(x.Corner.Lost))
			}
		}
		return lost
	}
	first := lap(40)
	require.Len(t, first, 2)
	require.True(t, math.IsNaN(first[0]) && math.IsNaN(first[1]))
	require.NotContains(t, lap(39), math.NaN())

	moved := *m
	moved.Corners = slices.Clone(m.Corners)
	moved.Corners[1].Exit += 8
	p.UseMap(&moved)
	after := lap(39)
	require.Len(t, after, 2)
	require.Positive(t, after[0])
	require.True(t, math.IsNaN(after[1]), "nothing to compare with yet")
}
