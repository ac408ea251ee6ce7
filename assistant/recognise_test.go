package assistant_test

import (
	"strings"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/demo"
	"earshot/assistant/journal"
)

// driven steps the demo car through a core.
func driven(t *testing.T, core *assistant.Core, set *channel.Set, o demo.Options) (events []journal.Event, maps []*course.Map) {
	t.Helper()
	sim, err := demo.New(set, o)
	require.NoError(t, err)
	var out assistant.Output
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		out.Reset()
		core.Step(assistant.Input{Kind: assistant.KindSample, At: s.At, Row: s.Row}, &out)
		events = append(events, out.Events...)
		if out.Course != nil {
			maps = append(maps, out.Course)
		}
	}
	return events, maps
}

// overnight is a map as it is read from its file the next day.
func overnight(t *testing.T, m *course.Map, name string) *course.Known {
	t.Helper()
	named := *m
	named.Name = name
	b, err := course.Saved{Map: &named}.Encode()
	require.NoError(t, err)
	k, err := course.Glance(name, b)
	require.NoError(t, err)
	return k
}

func aboutCourse(events []journal.Event) (texts []string) {
	for _, e := range events {
		if h, ok := e.Body.(*journal.Health); ok && h.Part == "course" {
			texts = append(texts, h.State+": "+h.Text)
		}
	}
	return texts
}

func cornersOf(events []journal.Event, lap int) (n int) {
	for _, e := range events {
		if _, ok := e.Body.(*journal.Corner); ok && e.Lap == lap {
			n++
		}
	}
	return n
}

func TestTheSecondSessionKnowsTheCourseOnItsOutLap(t *testing.T) {
	o := demo.Options{Seed: 3, Stint: 2, Rate: 30}
	core, set := newCore(t)
	first, maps := driven(t, core, set, o)
	require.Empty(t, aboutCourse(first))
	require.Zero(t, cornersOf(first, 0))
	require.NotEmpty(t, maps)
	ring := overnight(t, maps[len(maps)-1], "ring")

	o.Seed = 4
	core, set = newCoreKnowing(t, []*course.Known{ring})
	second, better := driven(t, core, set, o)
	told := aboutCourse(second)
	require.Len(t, told, 1, "%v", told)
	require.Regexp(t, "^ok: recognised ring by its place, over .* 10 corners", told[0])
	require.Greater(t, cornersOf(second, 0), 5, "corners of the out-lap")
	require.Equal(t, "ring", better[0].Name)
	require.Greater(t, better[0].Laps, ring.Laps)
	last := better[len(better)-1]
	require.Same(t, better[0].First(), last.First(), "the map is the saved one, bettered")
	require.Equal(t, ring.Length, last.Length)
	require.Len(t, last.Corners, len(better[0].Corners))

	// On another course nothing is recognised, and it is learned and handed out as a new one.
	o.Course = demo.Courses()[1]
	core, set = newCoreKnowing(t, []*course.Known{ring})
	other, maps := driven(t, core, set, o)
	for _, text := range aboutCourse(other) {
		require.NotContains(t, text, "recognised")
	}
	require.NotEmpty(t, maps)
	require.Empty(t, maps[0].Name)
}

// A file whose end is torn is told once; nothing else is lost.
func TestASavedCourseThatIsTornIsTold(t *testing.T) {
	o := demo.Options{Seed: 3, Stint: 1, Rate: 30}
	core, set := newCore(t)
	_, maps := driven(t, core, set, o)
	whole := overnight(t, maps[0], "ring")
	torn, err := course.Glance("torn.json", whole.Data()[:len(whole.Data())-100])
	require.NoError(t, err, "its beginning is whole")
	core, set = newCoreKnowing(t, []*course.Known{torn, whole})
	events, _ := driven(t, core, set, o)
	told := strings.Join(aboutCourse(events), "\n")
	require.Equal(t, 1, strings.Count(told, "torn.json"), told)
	require.Contains(t, told, "recognised ring")
}

// What was recognised live is recognised in the replay at the same sample: the candidates travel as bytes.
func TestReplayRecognisesAsTheLiveRunDid(t *testing.T) {
	core, set := newCore(t)
	_, maps := driven(t, core, set, demo.Options{Seed: 3, Stint: 1, Rate: 30})
	known := []*course.Known{overnight(t, maps[0], "ring")}
	var inputs []assistant.Input
	var lived []journal.Event
	saved := 0
	synctest.Test(t, func(t *testing.T) {
		core, set := newCoreKnowing(t, known)
		sim, err := demo.New(set, demo.Options{Seed: 5, Rate: 30})
		require.NoError(t, err)
		a := &assistant.Assistant{
			Core: core, Session: journal.Session{ID: "live", Feed: "demo"}, Feed: &drive{sim: sim, until: 240},
			Sinks: append(keepAll(&inputs, &lived), assistant.CoursesTo(func(*course.Map) { saved++ })),
		}
		require.NoError(t, a.Run(t.Context()))
	})
	require.Len(t, aboutCourse(lived), 1)
	require.Positive(t, saved)
	again, err := course.Glance("ring", known[0].Data())
	require.NoError(t, err)
	replayed := func(known []*course.Known) string {
		core, _ := newCoreKnowing(t, known)
		var out assistant.Output
		for _, in := range inputs {
			core.Step(in, &out)
		}
		return journalText(t, out.Events)
	}
	require.Equal(t, journalText(t, lived), replayed([]*course.Known{again}))
	require.NotEqual(t, journalText(t, lived), replayed(nil))
}
