package model

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/journal"
)

func event(t float64, lap int, b journal.Body) journal.Event {
	return journal.Event{T: t, Lap: lap, Distance: journal.Unknown, Body: b}
}

func stint(number int, what string) *journal.Stint {
	s := journal.NewStint()
	s.Number, s.Event = number, what
	return s
}

func lap(number, stint int, class string) *journal.Lap {
	l := journal.NewLap()
	l.Number, l.Stint, l.Class, l.Valid, l.Sectors = number, stint, class, true, []Num{20, journal.Unknown}
	return l
}

func pass(corner int, findings ...journal.Finding) *journal.Corner {
	c := journal.NewCorner()
	c.Number, c.Findings = corner, findings
	return c
}

func mark(number, corner int) *journal.Mark {
	m := journal.NewMark()
	m.Number, m.Corner = number, corner
	return m
}

var push = journal.Finding{Kind: journal.Understeer, Phase: "mid_corner"}

// drive is two stints whose lap numbers start again, as after a restart of the source.
func drive() []journal.Event {
	slip := func(at Num, lacks string) *journal.Learned {
		return &journal.Learned{What: "slip", At: at, Lacks: lacks}
	}
	return []journal.Event{
		event(0, -1, &journal.Session{ID: "a", Feed: "bench", Car: "gt"}),
		event(1, 0, stint(1, "start")),
		event(40, 1, pass(3)), event(41, 1, mark(1, 3)),
		event(60, 1, &journal.Health{Part: "feed", State: "degraded"}),
		event(61, 1, &journal.Health{Part: "feed", State: "lost"}), event(65, 1, &journal.Health{Part: "feed", State: "ok"}),
		event(100, 1, lap(1, 1, "out")), event(100, 1, journal.NewFuel()),
		event(130, 2, mark(2, 3)), event(140, 2, pass(3, push)),
		event(200, 2, lap(2, 1, "flying")),
		event(220, 3, pass(3)), // of a lap that was never completed
		event(230, 3, stint(1, "end")),
		event(300, 0, stint(2, "start")),
		event(340, 1, pass(3, push)), event(350, 1, &journal.Command{Name: "mute"}), event(351, 1, journal.NewCue()),
		event(352, 1, &journal.State{Rule: "locking", Wheel: "fl", From: "normal", To: "active"}),
		event(400, 1, lap(1, 2, "flying")),
		event(420, 2, slip(419, "")), event(430, 2, &journal.Learned{What: "balance", At: journal.Unknown, Lacks: "3.2 of 20 s"}),
	}
}

func TestWhatBelongsTogether(t *testing.T) {
	s := Of(drive())
	require.Equal(t, "gt", s.Car)
	require.Equal(t, Num(0), s.From)
	require.Equal(t, Num(430), s.To)
	require.Len(t, s.Stints, 2)
	require.Equal(t, Num(230), s.Stints[0].End)
	require.True(t, s.Stints[1].End.IsZero(), "still under way")
	type at struct{ lap, stint int }
	var passes []at
	for _, p := range s.Passes {
		passes = append(passes, at{p.Lap, p.Stint})
	}
	require.Equal(t, []at{{0, 0}, {1, 0}, {-1, 0}, {2, 1}}, passes)
	require.Equal(t, []journal.Finding{push}, s.Passes[1].Findings)
	require.Equal(t, "flying", s.Laps[s.Marks[1].Lap].Class)
	require.Equal(t, 0, s.PassOf(&s.Marks[0]), "the corner that was left last")
	require.Equal(t, 1, s.PassOf(&s.Marks[1]), "the corner that the car was in: its pass follows")
	require.Equal(t, -1, s.PassOf(&Mark{Place: Place{T: 380}, Mark: *mark(3, 3)}), "no pass of it within half a minute")
	require.Equal(t, []Episode{{"feed", "degraded", "", 60, 61}, {"feed", "lost", "", 61, 65}}, s.Health)
	require.Equal(t, 1, s.Cues[0].Stint)
	never := s.NeverLearned()
	require.Len(t, never, 1)
	require.Equal(t, "balance", never[0].What)
}

// A live page adds event by event what a debrief reads at once: at every moment it is the model of what was there. So a journal
// torn anywhere gives the model of what it had.
func TestPiecesAndWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		events := rapid.SliceOfN(rapid.SampledFrom(drive()), 0, 40).Draw(t, "events")
		live := New()
		for i, e := range events {
			live.Add(e)
			require.Equal(t, text(t, Of(events[:i+1])), text(t, live))
		}
		for _, p := range live.Passes {
			require.True(t, p.Lap < len(live.Laps) && p.Stint < len(live.Stints))
			require.True(t, p.Lap < 0 || live.Laps[p.Lap].Number == p.LapNumber)
		}
	})
	var b []byte
	for _, e := range drive() {
		var err error
		b, err = e.Append(b)
		require.NoError(t, err)
	}
	for cut := range len(b) {
		events, err := journal.Read(bytes.NewReader(b[:cut]))
		if err != nil {
			require.ErrorIs(t, err, journal.ErrTorn)
		}
		require.Equal(t, text(t, Of(drive()[:len(events)])), text(t, Of(events)), "cut at byte %d", cut)
	}
}

func text(t require.TestingT, s *Session) string {
	b, err := json.Marshal(s)
	require.NoError(t, err)
	return string(b)
}

func TestUnknownIsLeftOut(t *testing.T) {
	require.Equal(t, `{"id":"","feed":"","events":0}`, text(t, New()))
	all := text(t, Of(drive()))
	for _, part := range []string{`"findings":["understeer_mid_corner"]`, `"lap_index":-1`, `"stint_index":1`, `"sectors":[20,null]`} {
		require.Contains(t, all, part)
	}
	for _, part := range []string{`"balance":`, `"tyre_pressure":`, `"fuel_used":`, `"min_speed":`, `"per_lap":`} {
		require.NotContains(t, all, part)
	}
	nan := math.NaN()
	require.NotContains(t, text(t, Of([]journal.Event{event(nan, -1, pass(1))})), "null")
}

// What is in the model is its own: a caller may use its events again.
func TestEventsAreNotKept(t *testing.T) {
	c, l := pass(3, push), lap(1, 1, "flying")
	s := Of([]journal.Event{event(1, 1, c), event(2, 1, l)})
	before := text(t, s)
	c.Findings[0], c.Number, l.Sectors[0] = journal.Finding{}, 9, 1
	require.Equal(t, before, text(t, s))
}
