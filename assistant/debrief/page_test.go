package debrief

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/journal"
)

func pages(t testing.TB, r Report) (text, html string) {
	t.Helper()
	var a, b bytes.Buffer
	require.NoError(t, WriteText(&a, r))
	require.NoError(t, WriteHTML(&b, r))
	_, err := json.Marshal(r)
	require.NoError(t, err)
	for _, s := range []string{"NaN", "Inf", "ZgotmplZ", "%!"} {
		require.NotContains(t, a.String(), s)
		require.NotContains(t, b.String(), s)
	}
	for _, c := range cautions {
		require.Contains(t, strings.Join(strings.Fields(a.String()), " "), c)
		require.Contains(t, b.String(), c)
	}
	wellFormed(t, b.String())
	return a.String(), b.String()
}

// wellFormed walks the page with a strict parser: every element is closed, every attribute quoted.
func wellFormed(t testing.TB, page string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Entity = xml.HTMLEntity
	for {
		if _, err := d.Token(); err == io.EOF {
			return
		} else if err != nil {
			require.NoError(t, err)
		}
	}
}

func TestPageStandsAlone(t *testing.T) {
	_, page := pages(t, Build(read(t), fixtureContext()))
	for _, s := range []string{"http:", "https:", "//", "<script", "<link", "@import", "url(", "<img", "<iframe", "javascript:"} {
		require.NotContains(t, page, s, "a page that needs nothing but itself")
	}
	require.Contains(t, page, `<html lang="en">`)
	require.Contains(t, page, "prefers-color-scheme:dark")
	require.Contains(t, page, "@media print")
	require.Contains(t, page, `name="viewport"`)
	tables := strings.Count(page, "<table>")
	require.Greater(t, tables, 8)
	require.Equal(t, tables, strings.Count(page, `<thead><tr><th scope="col"`), "every table has headers")
	drawings := strings.Count(page, "<svg")
	require.Equal(t, 6, drawings)
	require.Equal(t, drawings, len(regexp.MustCompile(`<svg [^>]*role="img" aria-label="[^"]{20,}"`).FindAllString(page, -1)), "every drawing says in words what it shows")
	for _, href := range regexp.MustCompile(`href="#(\w+)"`).FindAllStringSubmatch(page, -1) {
		require.Contains(t, page, `id="`+href[1]+`"`)
	}
	require.Contains(t, page, "snapped on the kerb &lt;too early&gt; &amp; lost it")
}

// Names, tags and memos come from people and feeds: none of them may become a part of the page or steer the terminal.
func TestHostileTexts(t *testing.T) {
	evil := "</title><script>alert(1)</script>\"'><svg onload=x>\x1b[2J\u009b\n"
	m := journal.NewMark()
	m.Number, m.Tag, m.Memo, m.Corner, m.CornerName = 1, evil, evil, 3, evil
	l := journal.NewLap()
	l.Number, l.Class, l.WhyInvalid, l.Time = 1, evil, evil, 100
	c := journal.NewCorner()
	c.Number, c.Name, c.Findings = 3, evil, []journal.Finding{{Kind: journal.FindingKind(evil)}}
	q := journal.NewCue()
	q.Rule, q.Text, q.Verdict, q.Why, q.Priority = evil, evil, evil, evil, evil
	s := journal.NewStint()
	s.Number, s.Event, s.Compound = 1, "start", evil
	events := []journal.Event{
		{T: 0, Body: &journal.Session{ID: evil, Feed: evil, Car: evil, Course: evil, Started: evil}},
		{T: 1, Body: s}, {T: 50, Lap: 1, Body: c}, {T: 51, Lap: 1, Body: m}, {T: 52, Body: q}, {T: 53, Body: healthLine(evil, evil, evil)}, {T: 100, Lap: 1, Body: l},
	}
	text, page := pages(t, Build(events, Context{Notes: []string{evil}, Advise: func(Corner) []Advice { return []Advice{{evil, evil, evil, evil}} }}))
	require.NotContains(t, page, "<script")
	require.NotContains(t, page, "<svg onload")
	require.NotContains(t, text, "\x1b")
	require.NotContains(t, text, "\u009b")
}

// Whatever the session was, there is a sensible page.
func TestSessionsOfEveryKind(t *testing.T) {
	all := read(t)
	without := func(kinds ...string) []journal.Event {
		var out []journal.Event
		for _, e := range all {
			keep := true
			for _, k := range kinds {
				keep = keep && e.Body.Kind() != k
			}
			if keep {
				out = append(out, e)
			}
		}
		return out
	}
	tests := []struct {
		name   string
		events []journal.Event
		want   []string
	}{
		{"nothing at all", nil, []string{"The journal is empty", "Nothing was called."}},
		{"a session that never rolled", all[:2], []string{"No lap was completed", "Length    0:00:00"}},
		{"killed in the first lap", all[:6], []string{"No lap was completed", "1 stint has no end"}},
		{"no laps", without("lap"), []string{"No lap was completed", "Turn 3, Mill"}},
		{"no marks and no corners", without("mark", "corner"), []string{"No mark was made", "Best lap 1:42.298"}},
		{"no stints", without("stint"), []string{"Stint 1", "pressures before rolling are not in the journal"}},
		{"no cues", without("cue"), []string{"Nothing was called."}},
		{"no session line", without("session"), []string{"Debrief –"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			text, _ := pages(t, Build(tt.events, fixtureContext()))
			for _, w := range tt.want {
				require.Contains(t, text, w)
			}
		})
	}
}

// Every beginning of a journal gives a report.
func TestEveryPrefix(t *testing.T) {
	all := read(t)
	for n := range all {
		if n%7 == 0 {
			pages(t, Build(all[:n], fixtureContext()))
		}
	}
}

// day is an endurance race: 3,000 laps in 100 stints, with 20 corners each and a mark now and then.
func day() []journal.Event {
	var events []journal.Event
	t := 0.0
	for n := 1; n <= 3000; n++ {
		stint := (n-1)/30 + 1
		if (n-1)%30 == 0 {
			s := journal.NewStint()
			s.Number, s.Event, s.TyrePressure = stint, "start", journal.Wheels{135, 135, 135, 135}
			events = append(events, journal.Event{T: t, Lap: n, Body: s})
		}
		for c := 1; c <= 20; c++ {
			x := journal.NewCorner()
			x.Number, x.MinSpeed, x.Findings = c, Num(20+c), []journal.Finding{push}
			events = append(events, journal.Event{T: t + float64(c), Lap: n, Distance: Num(200 * c), Body: x})
		}
		if n%50 == 0 {
			m := journal.NewMark()
			m.Number, m.Corner, m.Tag = n/50, 1+n%20, "understeer"
			events = append(events, journal.Event{T: t + 5, Lap: n, Distance: 900, Body: m})
		}
		l := journal.NewLap()
		l.Number, l.Stint, l.Class, l.Valid = n, stint, "flying", true
		l.Time = Num(28.8 + math.Sin(float64(n))*0.2)
		l.FuelUsed = Num(0.9 + 0.01*math.Cos(float64(n)))
		l.TyrePressure = journal.Wheels{180, 181, 182, 183}
		t += float64(l.Time)
		events = append(events, journal.Event{T: t, Lap: n, Body: l})
	}
	return events
}

func TestADayOfLaps(t *testing.T) {
	r := Build(day(), fixtureContext())
	require.Len(t, r.Laps, 3000)
	require.Len(t, r.Stints, 100)
	_, page := pages(t, r)
	require.Contains(t, page, "Each point is the median of 13 laps.")
	require.Contains(t, page, "<details>", "the lap tables are folded")
	require.Less(t, len(page), 3<<20)
}

func TestWritersPassTheErrorOn(t *testing.T) {
	r := Build(read(t), fixtureContext())
	full := errors.New("no space left on device")
	require.ErrorIs(t, WriteText(failing{full}, r), full)
	require.ErrorIs(t, WriteHTML(failing{full}, r), full)
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

func FuzzBuild(f *testing.F) {
	var b []byte
	for _, e := range fixture()[:30] {
		b, _ = e.Append(b)
	}
	f.Add(b)
	f.Add([]byte(`{"t":1e300,"kind":"lap","number":-1,"class":"flying","valid":true,"time":1e300,"sectors":[1,null],"fuel_used":-1}` + "\n" + `{"t":-1e300,"kind":"mark","number":0,"lap":1}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		events, _ := journal.Read(bytes.NewReader(b))
		r := Build(events, fixtureContext())
		var text, page bytes.Buffer
		require.NoError(t, WriteText(&text, r))
		require.NoError(t, WriteHTML(&page, r))
		_, err := json.Marshal(r)
		require.NoError(t, err)
	})
}

func TestFormat(t *testing.T) {
	nan := journal.Unknown
	for got, want := range map[string]string{
		lapTime(102.3): "1:42.300", lapTime(59.9996): "1:00.000", lapTime(42.3449): "42.345", lapTime(-0.0001): "0.000", lapTime(nan): "–",
		clock(3661.9): "1:01:01", clock(-12): "−0:00:12", clock(nan): "–",
		fixed(-0.04, 1): "0.0", fixed(-0.06, 1): "−0.1", signed(0.157, 3): "+0.157", signed(0, 3): "0.000", signed(nan, 3): "–",
		numbers([]int{1, 2, 3, 5, 7, 8}): "1–3, 5, 7, 8", numbers(nil): "",
		list([]string{"a", "b", "c"}): "a, b and c", degrees(Num(-math.Pi / 180)): "1.0°",
	} {
		require.Equal(t, want, got)
	}
}

func BenchmarkDay(b *testing.B) {
	events := day()
	for b.Loop() {
		r := Build(events, Context{})
		if err := WriteHTML(io.Discard, r); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(events)), "events")
}
