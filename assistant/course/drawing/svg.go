package drawing

import (
	"bufio"
	"encoding/xml"
	"fmt"
	"image/color"
	"io"
	"strconv"
	"strings"

	"earshot/assistant/course"
)

// SVG writes a picture of the course as an SVG element that can stand alone or inside of a page. Its colours follow the
// reader's choice of a light or a dark page.
func SVG(w io.Writer, m *course.Map, o Options) error {
	p, err := newPlan(m, o)
	if err != nil {
		return err
	}
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" class="course" viewBox="0 0 %s %s" role="img" `+
		`aria-label="%s">`+"\n", num(p.w), num(p.h), escape(p.about))
	fmt.Fprintf(b, "<title>%s</title>\n<style>\n", escape(p.title))
	b.WriteString(".course { max-width: 100%; font-family: system-ui, \"DejaVu Sans\", Arial, sans-serif; }\n" +
		".course path { fill: none; stroke-linejoin: round; }\n")
	styles(b, "", false)
	b.WriteString("@media (prefers-color-scheme: dark) {\n")
	styles(b, "  ", true)
	b.WriteString("}\n</style>\n")
	fmt.Fprintf(b, "<rect class=\"c-back\" width=\"%s\" height=\"%s\"/>\n", num(p.w), num(p.h))
	for _, s := range p.strokes {
		path(b, s.points, s.closed)
		fmt.Fprintf(b, ` class="c-%s" stroke-width="%s"`, s.paint, num(s.wide))
		end(b, "path", s.what)
	}
	for _, a := range p.patches {
		path(b, a.points, true)
		fmt.Fprintf(b, ` class="c-%s" style="fill: currentColor; stroke: none"`, a.paint)
		end(b, "path", a.what)
	}
	for _, t := range p.texts {
		weight := ""
		if t.bold {
			weight = ` font-weight="700"`
		}
		fmt.Fprintf(b, `<text class="c-%s t-%s" x="%s" y="%s" font-size="%s"%s>%s</text>`+"\n", t.paint, t.kind,
			num(t.x), num(t.y), num(t.size), weight, escape(t.s))
	}
	b.WriteString("</svg>\n")
	return b.Flush()
}

// styles writes the colours. A path takes its stroke from the class, a filled one and a text their fill.
func styles(b *bufio.Writer, indent string, dark bool) {
	for _, p := range []paint{"room0", "room1", "room2", "room3", "room4", paintCasing, paintText, paintQuiet,
		paintBrake, paintTurn, paintMark, paintBack} {
		c := css(of(p, dark))
		if p == paintBack {
			fmt.Fprintf(b, "%s.course .c-back { fill: %s; }\n", indent, c)
			continue
		}
		fmt.Fprintf(b, "%s.course .c-%s { stroke: %s; color: %s; }\n%s.course text.c-%s { stroke: none; fill: %s; }\n",
			indent, p, c, c, indent, p, c)
	}
}

func css(c color.RGBA) string { return fmt.Sprintf("#%02X%02X%02X", c.R, c.G, c.B) }

func path(b *bufio.Writer, points []vec, closed bool) {
	b.WriteString(`<path d="`)
	for i, v := range points {
		move := "L"
		if i == 0 {
			move = "M"
		}
		b.WriteString(move + num(v.x) + " " + num(v.y))
	}
	if closed {
		b.WriteByte('Z')
	}
	b.WriteByte('"')
}

// end closes an element, with a title for the reader who asks what it is.
func end(b *bufio.Writer, name, what string) {
	if what == "" {
		b.WriteString("/>\n")
		return
	}
	fmt.Fprintf(b, "><title>%s</title></%s>\n", escape(what), name)
}

func num(v float64) string {
	s := strconv.FormatFloat(v, 'f', 1, 64)
	return strings.TrimSuffix(s, ".0")
}

func escape(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a Builder does not fail
	return b.String()
}
