package feed

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/configs/document"
)

const twoSources = `name: two
sources:
  - name: can
    transport: {kind: udp, listen: 127.0.0.1:0}
    codec: json
    channels:
      time: {path: t, unit: s}
      speed: {path: v, unit: m/s}
      engine_speed: {path: n, unit: rad/s}
  - name: gps
    transport: {kind: udp, listen: 127.0.0.1:0}
    codec: json
    channels:
      time: {path: t, unit: s}
      position_x: {path: x, unit: m}
      position_y: {path: y, unit: m}
      speed: {path: v, unit: m/s}
prefer: {speed: can}
own_channels:
  ratio: {quantity: number, stale: 1 s}
  square: {quantity: number, stale: 1 s}
derived:
  ratio: speed * position_x / 1 m/s / 1 m
  square: ratio * ratio
`

func TestSeveralSources(t *testing.T) {
	f, set := parse(t, twoSources)
	require.Equal(t, []string{"can", "gps"}, []string{f.Sources()[0].Name, f.Sources()[1].Name})
	var names []string
	for _, id := range f.Covers(set) {
		names = append(names, set.At(id).Name)
	}
	require.Equal(t, []string{"speed", "engine_speed", "position_x", "position_y", "ratio", "square"}, names)
	require.True(t, f.OwnClock())
	_, err := f.NewDecoder(set)
	require.ErrorContains(t, err, "several sources")
	one, _ := parse(t, head+"codec: json\nchannels: {speed: {path: v, unit: m/s}}\n")
	require.Equal(t, "", one.Sources()[0].Name)
}

// Every mistake about sources is told at its place.
func TestMistakesInSources(t *testing.T) {
	change := func(old, with string) string {
		require.Contains(t, twoSources, old)
		return strings.Replace(twoSources, old, with, 1)
	}
	for _, tt := range []struct{ text, place, msg, hint string }{
		{change("prefer: {speed: can}\n", ""), "17:7", "speed is given by can and by gps", "prefer: {speed: can}"},
		{change("prefer: {speed: can}", "prefer: {speed: radar}"), "18:17", `cannot be "radar"`, "can, gps"},
		{change("prefer: {speed: can}", "prefer: {speed: can, engine_speed: gps}"), "18:36", "source gps does not give engine_speed", ""},
		{change("prefer: {speed: can}", "prefer: {speed: can, gear: can}"), "18:22", "no source gives gear", ""},
		{change("name: gps", "name: can"), "10:11", "two sources are called can", ""},
		{change("name: gps", "name: G P S"), "10:11", "lower-case", ""},
		{change("  - name: gps\n    transport", "  - transport"), "10:5", "the name of source 2 is missing", "name: gps"},
		{change("name: two\n", "name: two\ncodec: json\n"), "2:8", "a file with sources has no codec", "in each"},
		{change("    codec: json\n", "    codec: json\n    derived: {gear: speed}\n"), "6:5", `a source has no "derived"`, ""},
		{change("    codec: json\n", "    codec: json\n    offset: 3\n"), "6:13", "offset is \"3\": the unit is missing", ""},
		{change("{kind: udp, listen: 127.0.0.1:0}", "{kind: file, path: a}"), "10:5", "files and live sources do not join", ""},
		{change("position_x / 1 m/s", "gear / 1 m/s"), "23:18", "ratio: gear: the feed does not supply it", ""},
		{"sources: []\n", "1:10", "there is no source", ""},
		{"sources: 3\n", "1:10", "sources is not a list", ""},
		{"sources: [3]\n", "1:11", "a source is not a list of keys", ""},
		{head + "codec: json\nprefer: {speed: x}\nchannels: {speed: {path: v, unit: m/s}}\n", "3:9", "nothing to prefer", ""},
		{head + "codec: json\nchannels: {time: {path: v, unit: s, changes: true}, speed: {path: v, unit: m/s}}\n", "3:46", "time has no changes", ""},
	} {
		_, err := Parse("f", []byte(tt.text), channel.NewSet())
		require.ErrorIs(t, err, document.ErrInvalid, tt.msg)
		var found bool
		for _, e := range document.Errors(err) {
			if fmt.Sprintf("%d:%d", e.Line, e.Col) == tt.place && strings.Contains(e.Msg, tt.msg) && strings.Contains(e.Hint, tt.hint) {
				found = true
			}
		}
		require.True(t, found, "want %s: %s (%s), got\n%v", tt.place, tt.msg, tt.hint, err)
	}
}

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
	f, set := parse(t, twoSources)
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
	f, set := parse(t, twoSources)
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
