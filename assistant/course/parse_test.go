package course

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/configs/document"
)

func TestParseFile(t *testing.T) {
	f, err := ParseFile("mill.yaml", []byte(`
name: Mill course
direction: clockwise
length: 3.2 km
width: 12 m
line: {gate: [[0 m, -8 m], [0 m, 8 m]], toward: [10 m, 0 m]}
sectors:
  - 900 m
  - gate: [[100 m, 0 m], [100 m, 12 m]]
  - 2.1 km
corners:
  join: [[3, 4]]
  split: [{corner: 6, at: 1240 m}, {corner: 8}]
  names: {1: Mill, 2: Brook}
pit:
  entry: {gate: [[-90 m, -20 m], [-90 m, -12 m]]}
  exit: {gate: [[90 m, -20 m], [90 m, -12 m]], toward: [100 m, -16 m]}
`))
	require.NoError(t, err)
	require.Equal(t, "Mill course", f.Name)
	require.Equal(t, Right, f.Direction)
	require.Equal(t, 3200.0, f.Length)
	require.Equal(t, 12.0, f.Width)
	require.Equal(t, Line{Source: ByGate, Gate: Gate{A: Point{0, -8}, B: Point{0, 8}, Toward: Point{10, 0}, Directed: true}}, f.Line)
	require.Len(t, f.Sectors, 3)
	require.Equal(t, 900.0, f.Sectors[0].Distance)
	require.Equal(t, Point{100, 12}, f.Sectors[1].Gate.B)
	require.Equal(t, [][]int{{3, 4}}, f.Join)
	require.Equal(t, Split{6, 1240}, f.Split[0])
	require.True(t, math.IsNaN(f.Split[1].At))
	require.Equal(t, map[int]string{1: "Mill", 2: "Brook"}, f.Names)
	require.True(t, f.Pit.Exit.Directed)
	require.Nil(t, f.Pit.Line)

	// A file may be about a saved course and say nothing of the line.
	f, err = ParseFile("saved.yaml", []byte("saved: course 3180 m\ncorners: {names: {2: Brook}}\npit: {entry: 3050 m, exit: 120 m}\n"))
	require.NoError(t, err)
	require.Equal(t, "course 3180 m", f.Saved)
	require.Equal(t, f.Saved, f.Name)
	require.Equal(t, Pit{EntryAt: 3050, ExitAt: 120}, f.Pit)

	f, err = ParseFile("geo.yaml", []byte("name: G\nline: {gate: [[51.5 deg, -1.25 deg], [51.5002 deg, -1.25 deg]]}\n"))
	require.NoError(t, err)
	require.True(t, f.Line.Gate.Geo)
	require.InDelta(t, 51.5*math.Pi/180, f.Line.Gate.A.X, 1e-12)
}

func TestParseFileTellsEveryMistakeAtItsPlace(t *testing.T) {
	tests := []struct {
		name, text string
		want       []string
	}{
		{"empty", "", []string{"c.yaml:1:1: the file is empty"}},
		{"no YAML", "name: [", []string{"c.yaml:1:1: "}},
		{"nothing of a course", "- a\n", []string{"c.yaml:1:1: the course is not a list of keys with values"}},
		{"line missing", "name: A\n", []string{"c.yaml:1:1: the course has no line"}},
		{"line and name missing, unknown key", "colour: red\n",
			[]string{`c.yaml:1:1: the course has no "colour"`, "c.yaml:1:1: the course has no name", "c.yaml:1:1: the course has no line"}},
		{"unit missing", "name: A\nline: {gate: [[365, 14.7 m], [384.4 m, 2.2 m]]}\n", []string{`c.yaml:2:16: "365": the unit is missing`}},
		{"mixed units", "name: A\nline: {gate: [[36 deg, 14.7 m], [384.4 m, 2.2 m]]}\n",
			[]string{"c.yaml:2:15: one of the two is a length and the other an angle"}},
		{"mixed points", "name: A\nline: {gate: [[36 deg, 14.7 deg], [384.4 m, 2.2 m]]}\n",
			[]string{"c.yaml:2:14: the points are not written in the same way"}},
		{"one point", "name: A\nline: {gate: [[36 m, 14.7 m]]}\n", []string{"c.yaml:2:14: a gate has two points, not 1"}},
		{"no width", "name: A\nline: {gate: [[36 m, 14.7 m], [36 m, 14.7 m]]}\n", []string{"c.yaml:2:7: the gate of line has no width"}},
		{"wide", "name: A\nline: {gate: [[36 m, 14.7 m], [36000 m, 14.7 m]]}\n", []string{"c.yaml:2:7: the gate of line is 35964 m wide"}},
		{"toward on the gate", "name: A\nline: {gate: [[0 m, 0 m], [0 m, 10 m]], toward: [0 m, 5 m]}\n",
			[]string{"c.yaml:2:7: the point toward of line lies on the gate"}},
		{"two lines", "name: A\nline: {lap_distance: true, lap_number: true}\n",
			[]string{"c.yaml:2:28: the line is told by lap_distance and by lap_number"}},
		{"latitude out of range", "name: A\nline: {gate: [[95 deg, 1 deg], [51 deg, 1 deg]]}\n",
			[]string{"c.yaml:2:16: 95 deg is out of range"}},
		{"sector order and length", "name: A\nlength: 1000 m\nline: {lap_distance: true}\nsectors: [900 m, 800 m, 1200 m, 5 s]\n",
			[]string{"c.yaml:4:33: a sector boundary is \"5 s\": s is a unit of time",
				"c.yaml:4:10: the sector boundary at 800 m is not beyond",
				"c.yaml:4:10: the sector boundary at 1200 m is beyond the course's length"}},
		{"corners", "name: A\nline: {lap_distance: true}\ncorners:\n  join: [[3, 5], [1], x]\n  split: [{at: 3 m}, {corner: zero}]\n  " +
			"names: {0: A, 1: ''}\n", []string{
			"c.yaml:4:14: corner 5 does not follow corner 3", "c.yaml:4:18: fewer than two corners",
			"c.yaml:4:23: a group of corners to join is not a list",
			"c.yaml:5:11: split does not say which corner", `c.yaml:5:31: "zero" is not the number of a corner`,
			`c.yaml:6:11: "0" is not the number`, "c.yaml:6:20: a corner's name is empty"}},
		{"joined and split", "name: A\nline: {lap_distance: true}\ncorners: {join: [[1, 2], [2, 3]], split: [{corner: 3}]}\n",
			[]string{"c.yaml:3:10: corner 2 is joined twice", "c.yaml:3:10: corner 3 is joined or split and split again"}},
		{"half a pit lane", "name: A\nline: {lap_distance: true}\npit: {entry: {gate: [[0 m, 0 m], [0 m, 9 m]]}}\n",
			[]string{"c.yaml:3:1: the pit lane has an entry or an exit, but not both"}},
		{"pit lane by distance and gate", "name: A\nline: {lap_distance: true}\npit: {entry: 900 m, exit: {gate: [[0 m, 0 m], [0 m, 9 " +
			"m]]}}\n", []string{"c.yaml:3:1: the pit lane has a gate at one end and a distance at the other"}},
		{"pit lane by distance", "name: A\nlength: 1000 m\nline: {lap_distance: true}\npit: {entry: 900, exit: 5 s, line: 3 m}\n",
			[]string{`c.yaml:4:14: pit entry is "900": the unit is missing`, `c.yaml:4:25: pit exit is "5 s"`,
				"c.yaml:4:36: pit line is not a list of keys"}},
		{"pit lane of no length, behind the end", "name: A\nlength: 1000 m\nline: {lap_distance: true}\npit: {entry: 1900 m, exit: 1900 " +
			"m}\n", []string{"c.yaml:4:1: the pit lane begins and ends at the same place", "c.yaml:4:6: pit entry at 1900 m is beyond",
			"c.yaml:4:6: pit exit at 1900 m is beyond"}},
		{"half a pit lane by distance", "name: A\nline: {lap_distance: true}\npit: {exit: 20 m}\n",
			[]string{"c.yaml:3:1: the pit lane has an entry or an exit, but not both"}},
		{"saved course without a name", "saved: ''\n", []string{"c.yaml:1:8: saved is empty", "c.yaml:1:1: the course has no name",
			"c.yaml:1:1: the course has no line"}},
		{"direction", "name: A\ndirection: left\nline: {lap_distance: true}\nname: B\n",
			[]string{`c.yaml:2:12: direction cannot be "left"`, `c.yaml:4:1: "name" stands in line 1 already`}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := ParseFile("c.yaml", []byte(tt.text))
			require.ErrorIs(t, err, document.ErrInvalid)
			for _, w := range tt.want {
				require.ErrorContains(t, err, w)
			}
			require.Len(t, tt.want, strings.Count(err.Error(), "c.yaml:"), err.Error())
		})
	}
}

func TestShippedCourseFiles(t *testing.T) {
	for _, dir := range []string{"configs", "testdata"} {
		files, err := filepath.Glob(filepath.Join("..", "..", dir, "courses", "*.yaml"))
		require.NoError(t, err)
		require.NotEmpty(t, files)
		for _, name := range files {
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			_, err = ParseFile(name, data)
			require.NoError(t, err)
		}
	}
}

func FuzzParseFile(f *testing.F) {
	for _, s := range []string{
		"name: A\nline: {gate: [[36 deg, 14.7 deg], [36.001 deg, 14.7 deg]]}\n",
		"name: A\nline: {lap_distance: true}\ncorners: {join: [[1, 2]], split: [{corner: 3, at: 4 m}], names: {1: x}}\nsectors: [1 m, " +
			"{gate: [[0 m, 0 m], [0 m, 9 m]], toward: [3 m, 3 m]}]\n",
		"a: &a [*a]\n", "saved: B\npit: {entry: 9 m, exit: 8 m}\n", "? {}\n: b\n", "pit: {entry: 3}\n", "name: \"\x00\"", "-",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		file, err := ParseFile("f", b)
		if err == nil {
			if file.Name == "" || file.Line.Source == Auto && file.Saved == "" {
				t.Fatalf("accepted %+v", file)
			}
			return
		}
		lines := strings.Count(strings.ReplaceAll(string(b), "\r", "\n"), "\n") + strings.Count(string(b), "\u0085") +
			strings.Count(string(b), "\u2028") + strings.Count(string(b), "\u2029") + 1
		list := []error{err}
		if j, ok := err.(interface{ Unwrap() []error }); ok {
			list = j.Unwrap()
		}
		for _, e := range list {
			var ce *document.Error
			if !errors.As(e, &ce) || ce.Line < 1 || ce.Col < 1 || ce.Line > lines+1 {
				t.Fatalf("refused with %#v", e)
			}
		}
	})
}
