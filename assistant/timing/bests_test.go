package timing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/journal"
)

var compounds = set.At(channel.Compound).Labels

// twoSectors is a file for a feed that counts laps, with a boundary halfway.
func twoSectors() *course.File {
	return &course.File{Name: "Mill", Line: course.Line{Source: course.ByLapNumber}, Sectors: []course.Boundary{{Distance: 1500}}}
}

// What one session leaves is what the next one has to beat; another compound has a record of its own.
func TestRecordsOverSessions(t *testing.T) {
	drive := func(b *Bests, compound int, speeds ...float64) (*counter, *Bests) {
		c := newCounter(t, Config{Course: twoSectors(), Bests: b, Compounds: compounds})
		c.timing.Session("s1", "2026-05-11T14:15:00Z")
		c.run(1000, 50, channel.Compound, compound)
		for _, v := range speeds {
			c.run(3000, v, channel.Compound, compound)
		}
		c.run(100, 50, channel.Compound, compound)
		return c, c.timing.FreshBests()
	}
	records := func(c *counter) (list []bool) {
		for _, l := range c.laps() {
			list = append(list, l.Record)
		}
		return list
	}
	first, kept := drive(&Bests{Course: "Mill", Car: "Demo"}, 2, 50, 55, 52)
	require.Equal(t, []bool{false, false, false}, records(first), "there is no session to beat")
	require.NotNil(t, kept)
	medium := kept.Compounds["medium"]
	require.InDelta(t, 3000./55, medium.Lap, 0.05)
	require.Equal(t, 2, medium.Number)
	require.Equal(t, "s1", medium.Session)
	require.Len(t, medium.Sectors, 2)
	require.InDelta(t, 3000, medium.Trace.Length, 5)
	require.Nil(t, first.timing.FreshBests(), "told once")
	require.Equal(t, medium.Lap, first.get(channel.RecordLap))

	data, err := kept.Encode()
	require.NoError(t, err)
	again, err := ParseBests(data)
	require.NoError(t, err)
	require.Equal(t, kept.Compounds["medium"].Trace, again.Compounds["medium"].Trace)

	second, better := drive(again, 2, 54, 56, 53)
	require.Equal(t, []bool{false, true, false}, records(second))
	require.InDelta(t, 3000./56, better.Compounds["medium"].Lap, 0.05)
	require.InDelta(t, 3000./55, again.Compounds["medium"].Lap, 0.05, "what came in is not changed")

	third, other := drive(again, 1, 60)
	require.Equal(t, []bool{false}, records(third), "the first session on that compound")
	require.InDelta(t, 50, other.Compounds["soft"].Lap, 0.05)
	require.InDelta(t, 3000./55, other.Compounds["medium"].Lap, 0.05)

	_, none := drive(again, 2, 40, 41)
	require.Nil(t, none, "slower laps change nothing")
	off, nothing := drive(nil, 2, 60)
	require.Nil(t, nothing, "none are kept")
	require.True(t, math.IsNaN(off.get(channel.RecordLap)))
}

func TestRecordNeedsAValidFlyingLap(t *testing.T) {
	c := newCounter(t, Config{Bests: &Bests{Compounds: map[string]*Best{"unknown": {Lap: 60}}}})
	c.run(1000, 50)
	c.run(3000, 70, channel.LapValid, 0)
	c.run(100, 50, channel.LapValid, 1)
	require.False(t, c.laps()[0].Record)
	require.Nil(t, c.timing.FreshBests())
}

// Sectors of other boundaries are not mixed; the best of each sector may come from another lap.
func TestBestSectorsAndPotential(t *testing.T) {
	old := &Bests{Compounds: map[string]*Best{"unknown": {Lap: 40, Boundaries: "700 m", Sectors: nums(1, 1)}}}
	c := newCounter(t, Config{Course: twoSectors(), Bests: old})
	c.run(1000, 50)
	require.True(t, math.IsNaN(c.get(channel.PotentialLap)))
	c.run(1500, 50)
	c.run(1500, 60)
	c.run(1500, 60)
	c.run(5, 50)
	require.Equal(t, 1.0, c.get(channel.LastSector))
	require.InDelta(t, 25, c.get(channel.SectorTime), 0.05)
	require.InDelta(t, -5, c.get(channel.SectorDelta), 0.05)
	c.run(1495, 50)
	c.run(5, 50)
	require.Equal(t, 2.0, c.get(channel.LastSector))
	require.InDelta(t, 5, c.get(channel.SectorDelta), 0.1)
	require.InDelta(t, 50, c.get(channel.PotentialLap), 0.1, "25 s of either lap")
	require.InDelta(t, 50, c.laps()[1].Potential, 0.1)
	fresh := c.timing.FreshBests()
	require.Equal(t, "1500 m", fresh.Compounds["unknown"].Boundaries)
	require.InDelta(t, 25, float64(fresh.Compounds["unknown"].Sectors[0]), 0.05)
	require.InDelta(t, 25, float64(fresh.Compounds["unknown"].Sectors[1]), 0.05)
	require.Equal(t, 40.0, fresh.Compounds["unknown"].Lap)
	completed := 0
	for range 1600 { // 4000 m, a sample each 2.5 m
		c.run(2.5, 50)
		completed += int(c.get(channel.SectorCompleted))
	}
	require.Equal(t, 2, completed, "the flag lasts one sample")
}

func TestMergeKeepsTheBetter(t *testing.T) {
	a := &Bests{Compounds: map[string]*Best{"soft": {Lap: 60, Number: 1, Boundaries: "x", Sectors: nums(20, 40)}, "hard": {Lap: 70}}}
	b := &Bests{Compounds: map[string]*Best{"soft": {Lap: 59, Number: 2, Boundaries: "x", Sectors: nums(21, 38)}, "wet": {Lap: 80}}}
	a.Merge(b)
	require.Equal(t, &Best{Lap: 59, Number: 2, Boundaries: "x", Sectors: nums(20, 38)}, a.Compounds["soft"])
	require.Equal(t, 70.0, a.Compounds["hard"].Lap)
	require.Equal(t, 80.0, a.Compounds["wet"].Lap)
}

// Sectors between other boundaries replace those that were kept, an unknown sector replaces none, and a feed that
// begins to count three sectors where it had counted two does not compare them.
func TestSectorsOfOtherBoundariesAreNotCompared(t *testing.T) {
	best := func(lap journal.Num, where string, s ...journal.Num) *Bests {
		return &Bests{Compounds: map[string]*Best{"soft": {Lap: float64(lap), Boundaries: where, Sectors: s}}}
	}
	unknown := journal.Unknown
	for _, tt := range []struct {
		name       string
		have, came *Bests
		where      string
		want       []journal.Num
	}{
		{"other boundaries", best(60, "x", 20, 40), best(61, "y", 30, 31), "y", nums(30, 31)},
		{"other boundaries and a better lap", best(60, "x", 20, 40), best(59, "y", 30, 29), "y", nums(30, 29)},
		{"none came", best(60, "x", 20, 40), best(59, ""), "x", nums(20, 40)},
		{"as many, one unknown", best(60, "x", 20, 40), best(61, "x", unknown, 38), "x", nums(20, 38)},
		{"one was unknown", best(60, "x", unknown, 40), best(61, "x", 21, 41), "x", nums(21, 40)},
	} {
		tt.have.Merge(tt.came)
		got := tt.have.Compounds["soft"]
		require.Equal(t, tt.where, got.Boundaries, tt.name)
		require.Equal(t, tt.want, got.Sectors, tt.name)
	}
	var s sectorState
	s.reset()
	s.learn([]float64{20, 40})
	s.learn([]float64{21, 19, 20})
	require.Equal(t, 60.0, s.potential, "of three sectors, not of 20 and 19 s of two kinds")
}

func TestBestsThatCannotBe(t *testing.T) {
	for _, text := range []string{
		"", "{", `{"version":9}`, `{"version":1,"compounds":{"soft":{"lap":-1}}}`, `{"version":1,"compounds":{"soft":null}}`,
		`{"version":1,"compounds":{"soft":{"lap":60,"trace":{"step":5,"length":3000,"time":60,"times":[0]}}}}`,
		`{"version":1,"reference":{}}`, `{"version":1,"compounds":{"soft":{"lap":60,"sectors":[-20,80]}}}`,
	} {
		_, err := ParseBests([]byte(text))
		require.Error(t, err, text)
	}
}

func FuzzParseBests(f *testing.F) {
	f.Add([]byte(`{"version":1,"course":"Mill","car":"Demo","compounds":{"soft":{"lap":60,"sectors":[20,null],"trace":{"step":5,"length":7,"time":60,"times":[0,1]}}}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := ParseBests(data)
		if err != nil {
			return
		}
		once, err := b.Encode()
		require.NoError(t, err)
		again, err := ParseBests(once)
		require.NoError(t, err)
		twice, err := again.Encode()
		require.NoError(t, err)
		require.Equal(t, once, twice)
		c := newCounter(t, Config{Bests: b}) // and it can be driven with
		c.run(200, 50)
	})
}
