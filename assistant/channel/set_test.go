package channel

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Every channel is whole: a name that Add would accept, a range that is one, a
// quantity that exists, a time after which it is stale, and a line for people.
func TestCatalogue(t *testing.T) {
	s := NewSet()
	names := map[string]bool{}
	for id := range ID(s.Len()) {
		c := s.At(id)
		require.False(t, names[c.Name], "%s stands twice", c.Name)
		names[c.Name] = true
		require.Regexp(t, `^[a-z][a-z0-9_]*$`, c.Name)
		require.Less(t, c.Min, c.Max, c.Name)
		require.Greater(t, c.Stale, 0.0, c.Name)
		require.Contains(t, Quantities(), c.Quantity, c.Name)
		require.NotEmpty(t, c.About, c.Name)
		got, ok := s.Lookup(c.Name)
		require.True(t, ok)
		require.Equal(t, id, got)
		if c.Labels != nil {
			require.Equal(t, None, c.Quantity, "%s is a choice and has no unit", c.Name)
			require.GreaterOrEqual(t, c.Max, float64(len(c.Labels)-1))
		}
	}
}

func TestWheelsStandInTheirOrder(t *testing.T) {
	s := NewSet()
	for _, first := range []ID{WheelSpeed, TyreTemperature, TyreTempInner, TyreTempMiddle, TyreTempOuter, TyreCarcass, TyrePressure, TyreWear, BrakeTemperature, SuspensionTravel, RideHeight, TyreCore, TyreCoreMean, TyrePressureMean, BrakePeak, BrakePeakMean} {
		base := strings.TrimSuffix(s.At(first).Name, "_fl")
		for w := FL; w <= RR; w++ {
			require.Equal(t, base+"_"+w.Suffix(), s.At(first+ID(w)).Name)
		}
	}
	require.Equal(t, "?", Wheel(4).Suffix())
	require.Equal(t, "?", Wheel(-1).Suffix())
}

// ISO 8855:2011 has x forward, y left, z up and angles positive counter-clockwise from above. The range of
// what can have either sign must allow both, and its line must say which is positive.
func TestSignsAreThoseOfISO8855(t *testing.T) {
	s := NewSet()
	for id, word := range map[ID]string{
		SteeringWheelAngle: "left positive", RoadWheelAngle: "left positive", YawRate: "left positive", AccelerationLat: "left positive",
		AccelerationLong: "forward positive", AccelerationVert: "up positive", Heading: "counter-clockwise",
	} {
		c := s.At(id)
		require.Contains(t, c.About, word, c.Name)
		require.Equal(t, -c.Min, c.Max, "%s to both sides alike", c.Name)
	}
}

func TestAdd(t *testing.T) {
	s := NewSet()
	n := s.Len()
	id, err := s.Add(Channel{Name: "drag", Quantity: None})
	require.NoError(t, err)
	require.Equal(t, ID(n), id)
	require.Equal(t, Custom, s.At(id).Origin)
	require.True(t, s.At(id).Min < -1e300 && s.At(id).Max > 1e300)
	require.Len(t, s.NewRow(), n+1)
	require.Equal(t, n, NewSet().Len(), "the catalogue itself stays as it is")
	for _, bad := range []string{"", "drag", "speed", "Speed", "1st", "_x", "a-b", "ä"} {
		_, err := s.Add(Channel{Name: bad})
		require.Error(t, err, bad)
	}
}

// Whatever comes in: a reading that Hold shows was given, plausible, and not older than its channel
// allows; and the newest plausible one that is fresh is shown unless an implausible one came since.
func TestHoldNeverShowsWhatIsStale(t *testing.T) {
	set := NewSet()
	ids := []ID{Speed, TyreTemperature, FuelVolume, Gear} // stale after 1, 5, 60 and 1 s
	rapid.Check(t, func(t *rapid.T) {
		h := NewHold(set)
		type reading struct{ at, v float64 }
		last := map[ID]reading{} // NaN value: the last word was implausible
		row, now := set.NewRow(), 0.0
		for range rapid.IntRange(1, 30).Draw(t, "steps") {
			now += rapid.Float64Range(0, 4).Draw(t, "dt")
			if rapid.Bool().Draw(t, "silent") {
				h.Expire(now)
			} else {
				row.Clear()
				wrong := 0
				for _, id := range ids {
					c := set.At(id)
					switch rapid.IntRange(0, 2).Draw(t, "what") {
					case 0:
						row[id] = rapid.Float64Range(c.Min, c.Max).Draw(t, "v")
						last[id] = reading{now, row[id]}
					case 1:
						row[id] = c.Max + 1
						last[id] = reading{now, math.NaN()}
						wrong++
					}
				}
				if got := h.Update(Sample{now, row}); got != wrong {
					t.Fatalf("%d implausible readings, want %d", got, wrong)
				}
			}
			for _, id := range ids {
				want := math.NaN()
				if r, ok := last[id]; ok && now-r.at <= set.At(id).Stale {
					want = r.v
				}
				if got := h.Row[id]; got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
					t.Fatalf("%s is %v at %v, want %v", set.At(id).Name, got, now, want)
				}
			}
		}
	})
}

func TestHoldDoesNotAllocate(t *testing.T) {
	set := NewSet()
	h, row := NewHold(set), set.NewRow()
	for i := range row {
		row[i] = set.At(ID(i)).Max
	}
	at := 0.0
	h.Update(Sample{at, row})
	require.True(t, h.Seen(Speed))
	require.Zero(t, testing.AllocsPerRun(100, func() { at += 0.01; h.Update(Sample{at, row}) }))
}

func BenchmarkHold(b *testing.B) {
	set := NewSet()
	h, row, at := NewHold(set), set.NewRow(), 0.0
	for i := range 100 {
		row[i] = set.At(ID(i)).Max
	}
	b.ReportAllocs()
	for b.Loop() {
		at += 0.01
		h.Update(Sample{at, row})
	}
}
