package feed

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

// twoSources is a feed of two live sources that both give the speed.
const twoSources = "feedfile/testdata/two-sources.yaml"

// A repeated value is no new reading; channels read together are new together.
func TestChanges(t *testing.T) {
	f, set := parse(t, head+`codec: json
channels:
  position_x: {path: x, unit: m, changes: gps}
  position_y: {path: y, unit: m, changes: gps}
  heading: {path: h, unit: rad, changes: true}
  speed: {path: v, unit: m/s}
derived: {lap_distance: position_x + 0 m}
`)
	d := decoderOf(t, f, set)
	var got []string
	for _, p := range []string{`{"x":1,"y":2,"h":3,"v":4}`, `{"x":1,"y":2,"h":3,"v":4}`, `{"x":1,"y":5,"h":3,"v":4}`, `{"x":null,"y":5,"h":7,"v":4}`, `{"x":1,"y":5,"h":7,"v":4}`} {
		d.Decode([]byte(p), 0, func(s channel.Sample) {
			text := ""
			for _, id := range []channel.ID{channel.PositionX, channel.PositionY, channel.Heading, channel.Speed, channel.LapDistance} {
				text += fmt.Sprintf("%v ", s.Row[id])
			}
			got = append(got, strings.TrimSpace(strings.ReplaceAll(text, "NaN", "-")))
		})
	}
	require.Equal(t, []string{"1 2 3 4 1", "- - - 4 -", "1 5 - 4 1", "- - 7 4 -", "- - - 4 -"}, got)
}

// The better source wins while it is fresh, the other takes over when it is stale, and what is implausible does not count
// as fresh.
func TestThePreferredSourceWinsWhileFresh(t *testing.T) {
	f, set := load(t, twoSources)
	j := newJoiner(f, set)
	give := func(source int, at, v float64) bool {
		row := set.NewRow()
		row[channel.Speed] = v
		j.yield(source, at, row)
		return row.Has(channel.Speed)
	}
	require.True(t, give(1, 0, 9), "nothing better was there yet")
	require.True(t, give(0, 0.1, 10))
	require.False(t, give(1, 0.2, 9))
	require.False(t, give(1, 1.1, 9), "1.0 s old is not stale: speed is stale after 1 s")
	require.True(t, give(1, 1.2, 9), "now it is")
	require.True(t, give(0, 1.3, 10), "back")
	require.False(t, give(1, 1.4, 9))
	require.True(t, give(0, 2.0, 1e9), "nonsense is passed on to be counted")
	require.True(t, give(1, 2.5, 9), "and is no fresh reading")
}

// A derived channel takes fresh operands of different sources only, and comes when one of them comes.
func TestDerivedAcrossSources(t *testing.T) {
	f, set := load(t, twoSources)
	ratio, _ := set.Lookup("ratio")
	square, _ := set.Lookup("square")
	j := newJoiner(f, set)
	give := func(at float64, values ...float64) (float64, float64) {
		row := set.NewRow()
		for i := 0; i < len(values); i += 2 {
			row[channel.ID(values[i])] = values[i+1]
		}
		j.derive(at, row)
		return row[ratio], row[square]
	}
	is := func(a, b, wantA, wantB float64) {
		t.Helper()
		require.Equal(t, fmt.Sprint(wantA, wantB), fmt.Sprint(a, b))
	}
	nan := math.NaN()
	v, x, n := float64(channel.Speed), float64(channel.PositionX), float64(channel.EngineSpeed)
	a, b := give(0, v, 10)
	is(a, b, nan, nan)
	a, b = give(0.5, x, 3)
	is(a, b, 30, 900)
	a, b = give(0.6, n, 3)
	is(a, b, nan, nan) // no operand came
	a, b = give(0.9, v, 20)
	is(a, b, 60, 3600)
	a, b = give(1.6, v, 20) // the position is 1.1 s old
	is(a, b, nan, nan)
	a, b = give(1.7, x, 1e9) // not plausible
	is(a, b, nan, nan)
	a, b = give(1.8, x, 2)
	is(a, b, 40, 1600)
}
