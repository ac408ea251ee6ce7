package feedfile

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/configs/document"
)

func twoSources(t testing.TB) string {
	t.Helper()
	data, err := os.ReadFile("testdata/two-sources.yaml")
	require.NoError(t, err)
	return string(data)
}

func TestSeveralSources(t *testing.T) {
	f, set := parse(t, twoSources(t))
	require.Equal(t, []string{"can", "gps"}, []string{f.Sources()[0].Name, f.Sources()[1].Name})
	var names []string
	for _, id := range f.Covers {
		names = append(names, set.At(id).Name)
	}
	require.Equal(t, []string{"speed", "engine_speed", "position_x", "position_y", "ratio", "square"}, names)
	require.True(t, f.Clock.Own)
	one, _ := parse(t, head+"codec: json\nchannels: {speed: {path: v, unit: m/s}}\n")
	require.Equal(t, "", one.Sources()[0].Name)
}

// Every mistake about sources is told at its place.
func TestMistakesInSources(t *testing.T) {
	two := twoSources(t)
	change := func(old, with string) string {
		require.Contains(t, two, old)
		return strings.Replace(two, old, with, 1)
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
