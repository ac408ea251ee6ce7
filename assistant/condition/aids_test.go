package condition

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/car"
	"earshot/assistant/channel"
)

// What the driver turns through on the way to a setting, and a wrong reading of a sample, are no settings; the start of the stint is kept.
func TestAidsCountOnceTheyHaveLasted(t *testing.T) {
	c := New(&car.Car{})
	row := channel.NewSet().NewRow()
	for i := range row {
		row[i] = math.NaN()
	}
	at := 0.0
	hold := func(seconds, abs, bias float64) (set, start, biasSet float64) {
		row[channel.ABSLevel], row[channel.BrakeBias] = abs, bias
		for end := at + seconds; at < end; at += 0.1 {
			c.Step(at, row)
		}
		return row[channel.ABSSet], row[channel.ABSStart], row[channel.BiasSet]
	}
	for _, tt := range []struct {
		seconds, abs, bias    float64
		set, start, biasStays float64
	}{
		{3, 4, 0.56, 4, 4, 0.56},
		{0.3, 3, 0.56, 4, 4, 0.56}, {0.3, 2, 0.56, 4, 4, 0.56}, {2, 1, 0.5605, 1, 4, 0.56}, // half a thousandth is noise
		{0.1, 0, 0.561, 1, 4, 0.56}, {2, 1, 0.561, 1, 4, 0.561},
		{2, 4, 0.561, 4, 4, 0.561},
	} {
		set, start, bias := hold(tt.seconds, tt.abs, tt.bias)
		require.Equal(t, [3]float64{tt.set, tt.start, tt.biasStays}, [3]float64{set, start, bias}, "%+v", tt)
	}
	hold(2, 2, 0.56)
	c.StintStart(at, row)
	_, start, _ := hold(2, 2, 0.56)
	require.Equal(t, 2.0, start)
	require.True(t, math.IsNaN(row[channel.MapSet]), "what is not given stays unknown")
}

// Passes of one corner, lowest gear and least speed. At the edge between two gears half a per cent of speed decides which it is.
func TestLowGear(t *testing.T) {
	type pass struct{ gear, slowest float64 }
	for name, tt := range map[string]struct {
		passes []pass
		found  int // the pass that tells, from 1; 0: none
	}{
		"the third gear, then the second twice": {[]pass{{3, 20}, {3, 20.2}, {3, 19.9}, {2, 20.1}, {2, 19.95}}, 5},
		"once":                                  {[]pass{{3, 20}, {3, 20.2}, {3, 19.9}, {2, 20.1}, {3, 20.1}, {2, 20}}, 0},
		"a slower pass between the two decides nothing": {[]pass{{3, 20}, {3, 20.2}, {3, 19.9}, {2, 20.1}, {2, 19.8}, {2, 20}}, 6},
		"slower than ever in the third":                 {[]pass{{3, 20}, {3, 20.2}, {3, 19.9}, {2, 19.8}, {2, 19.7}, {2, 19.8}}, 0},
		"now this, now that":                            {[]pass{{3, 20}, {2, 20.2}, {3, 19.9}, {2, 20.1}, {2, 20}, {2, 20.3}}, 0},
		"the feed has no speed":                         {[]pass{{3, nan}, {3, nan}, {3, nan}, {2, nan}, {2, nan}}, 5},
	} {
		var p places
		found := 0
		for i, pass := range tt.passes {
			p.gearFound.now, p.gear, p.slowest = false, pass.gear, pass.slowest
			p.lowestGear(0)
			if p.gearFound.now {
				found = i + 1
			}
		}
		require.Equal(t, tt.found, found, name)
	}
}
