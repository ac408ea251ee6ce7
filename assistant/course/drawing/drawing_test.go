package drawing

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/course"
)

var drawn = []string{"Budapest", "Monza", "Norisring", "Spielberg", "Silverstone", "Sakhir", "Nuerburgring", "Melbourne", "Catalunya",
	"MexicoCity", "Montreal", "Sepang"}

// keepPictures writes pictures into $EARSHOT_PICTURES, to be looked at.
func keepPictures(t *testing.T, name string, m *course.Map, o Options) {
	folder := os.Getenv("EARSHOT_PICTURES")
	if folder == "" {
		return
	}
	for _, dark := range []bool{false, true} {
		o.Dark = dark
		var b bytes.Buffer
		require.NoError(t, PNG(&b, m, o))
		require.NoError(t, os.WriteFile(filepath.Join(folder, fmt.Sprintf("%s-%v.png", name, dark)), b.Bytes(), 0o600))
	}
	var b bytes.Buffer
	require.NoError(t, SVG(&b, m, o))
	require.NoError(t, os.WriteFile(filepath.Join(folder, name+".svg"), b.Bytes(), 0o600))
}

// The labels of twelve surveyed courses (TUM racetrack-database, LGPL-3.0, from OpenStreetMap, ODbL), driven by an
// ideal car: none lies on another or on the road, every corner has its number, and all of it is in the picture.
func TestLabelsKeepClear(t *testing.T) {
	for i, name := range drawn {
		x, y := centreLine(t, name)
		m := ideal(t, name, x, y, i%2 == 0)
		for j := range m.Corners {
			if j%3 == 1 {
				m.Corners[j].Name = []string{"Weir", "Long Orchard", "Tin Bridge Hairpin"}[j%9/3]
			}
		}
		o := Options{Marks: []Mark{{m.Corners[1].Apex, "mark 1"}, {m.Corners[1].Apex + 15, "mark 2"}, {m.Corners[4].Apex, "mark 3"}}}
		keepPictures(t, name, m, o)
		p, err := newPlan(m, o)
		require.NoError(t, err)
		corners, inMarks := map[string]int{}, 0
		for a, s := range p.texts {
			for _, other := range p.texts[a+1:] {
				require.False(t, s.box.meets(other.box), "%s: %q lies on %q", name, s.s, other.s)
			}
			require.False(t, p.onRoadExactly(s.box), "%s: %q lies on the road", name, s.s)
			require.True(t, s.box.x0 >= 0 && s.box.y0 >= 0 && s.box.x1 <= p.w && s.box.y1 <= p.h, "%s: %q is cut off: %v", name, s.s, s.box)
			switch s.kind {
			case "corner":
				corners[s.s]++
			case "mark":
				inMarks++
			}
		}
		for _, c := range m.Corners {
			require.Equal(t, 1, corners[fmt.Sprint(c.Number)], "%s: corner %d", name, c.Number)
		}
		require.Equal(t, 3, inMarks, name)
	}
}

func (p *plan) onRoadExactly(b box) bool {
	g := b.grown(casing / 2)
	for i, v := range p.road {
		if meets(g, v, p.road[(i+1)%len(p.road)]) {
			return true
		}
	}
	return false
}

// The outside of a bend is where its number stands, unless there is no room.
func TestMostNumbersStandOutside(t *testing.T) {
	outside, all := 0, 0
	for _, name := range drawn {
		x, y := centreLine(t, name)
		m := ideal(t, name, x, y, false)
		p, err := newPlan(m, Options{})
		require.NoError(t, err)
		for _, c := range m.Corners {
			at, dir := p.at(c.Apex)
			for _, s := range p.texts {
				if s.kind == "corner" && s.s == fmt.Sprint(c.Number) {
					to := s.box.middle().sub(at)
					left := dir.left().x*to.x+dir.left().y*to.y > 0
					all++
					if left == (c.Hand == course.Right) {
						outside++
					}
				}
			}
		}
	}
	require.Greater(t, float64(outside), 0.9*float64(all), "%d of %d", outside, all)
}

func elements(t *testing.T, b []byte) map[string]int {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(b))
	found := map[string]int{}
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return found
		}
		require.NoError(t, err)
		if e, ok := token.(xml.StartElement); ok {
			found[e.Name.Local]++
		}
	}
}

func TestSVGIsWellFormedAndSaysWhatItShows(t *testing.T) {
	x, y := centreLine(t, "Norisring")
	m := ideal(t, `Weir & "Mill" <x>`, x, y, true)
	var b bytes.Buffer
	require.NoError(t, SVG(&b, m, Options{Places: []Mark{{100, "pit exit"}}}))
	found := elements(t, b.Bytes())
	require.Equal(t, 1, found["svg"])
	require.Greater(t, found["path"], 20)
	text := b.String()
	for _, c := range m.Corners {
		require.Contains(t, text, fmt.Sprintf(">%d</text>", c.Number))
		require.Contains(t, text, fmt.Sprintf("corner %d, %s, ", c.Number, c.Hand))
	}
	for _, want := range []string{"prefers-color-scheme: dark", "direction of driving", "start line", "braking for corner 1",
		"turn-in for corner 1", "pit exit", ">N</text>", "Room to talk", " m</text>", "Weir &amp; "} {
		require.Contains(t, text, want)
	}
	var flat bytes.Buffer
	require.NoError(t, SVG(&flat, ideal(t, "flat", x, y, false), Options{}))
	require.NotContains(t, flat.String(), ">N</text>", "north is not known in a plane of the feed's own")
}

// The same picture twice is the same bytes; PNG and SVG are of one size; the road has the colours of the legend.
func TestPicturesAgree(t *testing.T) {
	x, y := centreLine(t, "Budapest")
	m := ideal(t, "Budapest", x, y, false)
	p, err := newPlan(m, Options{Width: 600})
	require.NoError(t, err)
	var a, b bytes.Buffer
	require.NoError(t, PNG(&a, m, Options{Width: 600}))
	require.NoError(t, PNG(&b, m, Options{Width: 600}))
	require.Equal(t, a.Bytes(), b.Bytes())
	img, err := png.Decode(&a)
	require.NoError(t, err)
	require.Equal(t, 600, img.Bounds().Dx())
	require.InDelta(t, p.h, img.Bounds().Dy(), 1)
	seen := map[string]bool{}
	for i := 0; i < len(p.road); i++ {
		if at := p.road[i].times(0.5); at.y < p.h {
			r, g, b, _ := img.At(int(at.x), int(at.y)).RGBA()
			seen[fmt.Sprintf("#%02X%02X%02X", r>>8, g>>8, b>>8)] = true
		}
	}
	for level := range levels {
		require.True(t, seen[css(of(roomPaint(level), false))], "level %d is not on the road: %v", level, seen)
	}
}

func TestNothingToDraw(t *testing.T) {
	require.ErrorIs(t, SVG(io.Discard, nil, Options{}), ErrNothing)
	require.ErrorIs(t, PNG(io.Discard, &course.Map{Name: "empty"}, Options{}), ErrNothing)
	// A circle has one corner that lies around all of it and no place where the room changes.
	var x, y []float64
	for _, v := range circle(vec{}, 150) {
		x, y = append(x, v.x), append(y, v.y)
	}
	m := ideal(t, "circle", x, y, false)
	var b strings.Builder
	require.NoError(t, SVG(&b, m, Options{}))
	elements(t, []byte(b.String()))
}

func (b box) middle() vec { return vec{(b.x0 + b.x1) / 2, (b.y0 + b.y1) / 2} }
