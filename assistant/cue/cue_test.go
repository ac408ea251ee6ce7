package cue

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

var open = Situation{Room: math.NaN(), SinceLine: math.NaN()}

func TestOfferRefuses(t *testing.T) {
	good := Cue{Rule: "r", Text: "x", Duration: 1, Priority: Caution}
	tests := []struct {
		name   string
		change func(*Cue)
		want   Verdict
		why    string
	}{
		{"no words", func(c *Cue) { c.Text = "" }, Suppressed, "no words"},
		{"no length", func(c *Cue) { c.Duration = 0 }, Suppressed, "no usable length"},
		{"length unknown", func(c *Cue) { c.Duration = math.NaN() }, Suppressed, "no usable length"},
		{"endless", func(c *Cue) { c.Duration = math.Inf(1) }, Suppressed, "no usable length"},
		{"unknown priority", func(c *Cue) { c.Priority = 9 }, Suppressed, "priority(9)"},
		{"too late", func(c *Cue) { c.Expires = 4.9 }, Expired, "had expired"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s, c := New(Config{}, nil), good
			tt.change(&c)
			rs := s.Offer(5, c, nil)
			require.Len(t, rs, 1)
			require.Equal(t, tt.want, rs[0].Verdict)
			require.Contains(t, rs[0].Why, tt.why)
			require.True(t, rs[0].Final)
			require.True(t, math.IsNaN(rs[0].Start) && math.IsNaN(rs[0].End))
			require.Zero(t, s.Waiting())
		})
	}
	for _, never := range []float64{0, math.NaN(), math.Inf(1)} {
		s, c := New(Config{Life: 7}, nil), good
		c.Expires = never
		require.Empty(t, s.Offer(5, c, nil))
		_, _, rs := s.Step(12, Situation{Room: 0, SinceLine: math.NaN()}, nil)
		require.Len(t, rs, 1, "a cue without expiry still does not wait for ever")
		require.Equal(t, Expired, rs[0].Verdict)
	}
}

func TestConfigValidate(t *testing.T) {
	require.NoError(t, Config{}.Validate())
	require.NoError(t, defaults.Validate())
	err := Config{Margin: -1, Gap: 0.2, Life: math.NaN(), MuteFor: math.Inf(1)}.Validate()
	require.Error(t, err)
	for _, part := range []string{"margin is -1", "gap is 0.2", "at least 0.5", "life is NaN", "mute_for is +Inf", "default of 120"} {
		require.ErrorContains(t, err, part, "all mistakes at once")
	}
	require.Equal(t, defaults, Config{}.filled())
	require.Equal(t, 0.5, Config{Gap: 0.1}.filled().Gap)
}

// TestDefaultBudget redoes the arithmetic of the default from the published figure: ISA-18.2-2016 allows at
// most 10 alarms in any ten minutes.
func TestDefaultBudget(t *testing.T) {
	const alarms, window, lap, lapTimeCall = 10.0, 600.0, 100.0, 1
	require.Equal(t, int(math.Ceil(alarms*lap/window))+lapTimeCall, defaults.MaxAdvisoriesPerLap)
}

func TestNamesReadBack(t *testing.T) {
	for p := Advisory; p <= Warning; p++ {
		q, err := parsePriority(p.String())
		require.NoError(t, err)
		require.Equal(t, p, q)
	}
	require.Equal(t, []string{"advisory", "caution", "answer", "warning"}, []string{Advisory.String(), Caution.String(), Answer.String(), Warning.String()})
	for w := Anywhere; w <= Line; w++ {
		v, err := parseWhere(w.String())
		require.NoError(t, err)
		require.Equal(t, w, v)
	}
	_, err := parsePriority("urgent")
	require.ErrorContains(t, err, "advisory, caution, answer, warning")
	_, err = parseWhere("pits")
	require.ErrorContains(t, err, "anywhere, straight, line")
	require.Equal(t, "where(7)", Where(7).String())
	require.Equal(t, "priority(-1)", Priority(-1).String())
}

func TestTimeNeverGoesBack(t *testing.T) {
	s := New(Config{}, nil)
	s.Offer(10, Cue{Rule: "r", Text: "x", Duration: 1, Expires: 12}, nil)
	say, _, _ := s.Step(4, open, nil)
	require.NotNil(t, say)
	require.Equal(t, 10.0, say.Queued)
	require.True(t, s.Speaking(3))
	_, _, rs := s.Step(math.NaN(), open, nil)
	require.Empty(t, rs)
	_, _, rs = s.Step(11, open, nil)
	require.Len(t, rs, 1)
	require.Equal(t, [2]float64{10, 11}, [2]float64{rs[0].Start, rs[0].End})
	require.False(t, s.Speaking(11))
}

func TestMute(t *testing.T) {
	s := New(Config{MuteFor: 30}, nil)
	s.Mute(100, 0)
	require.True(t, s.Muted(129.9))
	require.False(t, s.Muted(130), "it returns by itself")
	s.Mute(200, 5)
	require.True(t, s.Muted(204))
	require.False(t, s.Muted(205))
	s.Mute(300, math.Inf(1))
	require.False(t, s.Muted(330), "no mute is for ever")
	s.Mute(400, 10)
	s.Unmute()
	require.False(t, s.Muted(401))
}

// full returns a Scheduler in which n cues of n rules wait for room in a corner.
func full(n int) *Scheduler {
	s := New(Config{MaxAdvisoriesPerLap: -1, MaxCalls: -1}, wheelWords(0))
	for i := range n {
		s.Offer(0, Cue{Rule: fmt.Sprint("rule", i/4), Instance: i % 4, Group: fmt.Sprint("rule", i/4), Live: true, Text: "x", Duration: 1.5, Expires: 1e9}, nil)
	}
	return s
}

func TestQuietStepAllocatesNothing(t *testing.T) {
	s, out, now := full(16), make([]Ruling, 0, 8), 0.0
	corner := Situation{Room: 0.2, Corner: true, SinceLine: 5}
	s.Step(now, corner, out)
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		now += 1.0 / 360
		say, stop, rs := s.Step(now, corner, out[:0])
		if say != nil || stop || len(rs) > 0 {
			t.Fatal("something happened")
		}
	}))
	s = full(0)
	s.Offer(now, Cue{Rule: "r", Text: "x", Duration: 1e8, Expires: 1e9}, nil)
	s.Offer(now, Cue{Rule: "q", Text: "x", Duration: 1e8, Expires: 1e9}, nil)
	say, _, _ := s.Step(now, open, nil)
	require.NotNil(t, say)
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		now += 1.0 / 360
		s.Step(now, open, out[:0])
	}), "while one sounds")
}

func BenchmarkStep(b *testing.B) {
	for _, n := range []int{0, 4, 32} {
		b.Run(fmt.Sprintf("waiting=%d", n), func(b *testing.B) {
			s, out, now := full(n), make([]Ruling, 0, 8), 0.0
			corner := Situation{Room: 0.2, Corner: true, SinceLine: 5}
			b.ReportAllocs()
			for b.Loop() {
				now += 1.0 / 360
				_, _, out = s.Step(now, corner, out[:0])
			}
		})
	}
}

// BenchmarkCue is the whole life of one cue: offered, begun, said.
func BenchmarkCue(b *testing.B) {
	s, out, now := New(Config{MaxAdvisoriesPerLap: -1, MaxCalls: -1}, wheelWords(0)), make([]Ruling, 0, 8), 0.0
	b.ReportAllocs()
	for b.Loop() {
		out = s.Offer(now, Cue{Rule: "fuel", Text: "Fuel, two laps short.", Duration: 1, Priority: Caution}, out[:0])
		_, _, out = s.Step(now, open, out[:0])
		_, _, out = s.Step(now+1, open, out[:0])
		now += 2
	}
}

func ExampleScheduler() {
	s := New(Config{}, nil)
	s.Offer(0, Cue{Rule: "tyre-hot", Text: "Front left hot.", Duration: 1.2, Priority: Caution}, nil)
	for _, at := range []struct{ now, room float64 }{{0, 1.5}, {5, 6}, {6.2, 4.8}} {
		say, _, rulings := s.Step(at.now, Situation{Room: at.room, SinceLine: math.NaN()}, nil)
		if say != nil {
			fmt.Printf("%.1f say %s\n", at.now, say.Text)
		}
		for _, r := range rulings {
			fmt.Printf("%.1f %s: %s\n", at.now, r.Verdict, r.Why)
		}
	}
	// Output:
	// 5.0 say Front left hot.
	// 6.2 said: 6.0 s of room for 1.2 s
}

// TestMergedCue looks at the cue that is said for two wheels: it belongs to both and is no longer good when the first of them is not.
func TestMergedCue(t *testing.T) {
	s := New(Config{}, wheelWords(0))
	for i, expires := range []float64{9, 6} {
		s.Offer(0, Cue{Rule: "hot", Instance: i, Wheel: []string{"fl", "fr"}[i], Group: "hot", Text: "x", Duration: 1, Expires: expires}, nil)
	}
	say, _, _ := s.Step(0, open, nil)
	require.Equal(t, &Cue{Rule: "hot", Group: "hot", Members: 0b11, Text: "hot of 0011", Duration: 1.6, Expires: 6}, say)
}
