package drawing

import (
	"fmt"
	"math"
)

const (
	legendLeft = 30.0
	rowHigh    = 30.0
	signWide   = 34.0
)

// layLegend explains colours and signs in words, and draws the scale. It makes the picture higher by what it needs.
func (p *plan) layLegend() {
	x, y := legendLeft, p.h+legendGap
	p.put(x, y, line{"Room to talk: clear road until the next braking or turn-in point", textSize, true, paintText},
		"legend")
	y += rowHigh
	item := func(words string, sign func(m vec)) { // m: the middle of the sign
		l := line{words, textSize, false, paintText}
		if need := signWide + measure(l) + 26; x > legendLeft && x+need > p.w-legendLeft {
			x, y = legendLeft, y+rowHigh
		}
		sign(vec{x + 12, y - textSize*0.35})
		p.put(x+signWide, y, l, "legend")
		x += signWide + measure(l) + 26
	}
	for i, l := range levels {
		item(l.word, func(m vec) {
			points := []vec{m.sub(vec{12, 0}), m.add(vec{12, 0})}
			p.line(points, casing, paintCasing, "")
			p.line(points, roadWide, roomPaint(i), "")
		})
	}
	x, y = legendLeft, y+rowHigh
	var braking, turnIn, marks bool
	for _, s := range p.strokes {
		braking = braking || s.paint == paintBrake
	}
	for _, s := range p.patches {
		turnIn, marks = turnIn || s.paint == paintTurn, marks || s.paint == paintMark
	}
	if braking {
		item("braking begins", func(m vec) {
			p.line([]vec{m.sub(vec{0, 12}), m.add(vec{0, 12})}, 4, paintBrake, "")
		})
	}
	if turnIn {
		item("turn-in", func(m vec) {
			p.shape([]vec{m.add(vec{7, 0}), m.add(vec{0, 7}), m.sub(vec{7, 0}), m.sub(vec{0, 7})}, paintTurn, "")
		})
	}
	if marks {
		item("your marks", func(m vec) {
			p.shape(circle(m, 7), paintMark, "")
		})
	}
	p.scaleBar(&x, &y)
	if p.m.Geographic() {
		p.north(x, y)
	}
	p.h = y + 26
}

// scaleBar draws a round number of metres.
func (p *plan) scaleBar(x, y *float64) {
	metres := 10.0
	for _, m := range []float64{20, 50, 100, 200, 500, 1000, 2000, 5000} {
		if m*p.scale <= 200 {
			metres = m
		}
	}
	long := metres * p.scale
	l := line{fmt.Sprintf("%.0f m", metres), textSize, false, paintText}
	if *x+long+measure(l)+60 > p.w-legendLeft {
		*x, *y = legendLeft, *y+rowHigh
	}
	a := vec{*x + 6, *y - textSize*0.35}
	b := a.add(vec{long, 0})
	for _, s := range [][]vec{{a, b}, {a.sub(vec{0, 6}), a.add(vec{0, 6})}, {b.sub(vec{0, 6}), b.add(vec{0, 6})}} {
		p.line(s, 2, paintText, "scale")
	}
	p.put(b.x+10, *y, l, "legend")
	*x = b.x + 10 + measure(l) + 30
}

// north draws an arrow to the north, which is up.
func (p *plan) north(x, y float64) {
	a := vec{x + 8, y + 5}
	b := a.sub(vec{0, 18})
	p.line([]vec{a, b}, 2, paintText, "north")
	p.shape([]vec{b.sub(vec{0, 9}), b.add(vec{5, 2}), b.add(vec{-5, 2})}, paintText, "")
	p.put(x+20, y, line{"N", textSize, true, paintText}, "legend")
}

// circle is a regular polygon that looks round.
func circle(m vec, r float64) []vec {
	n := max(12, int(r*2))
	points := make([]vec, n)
	for i := range points {
		s, c := math.Sincos(float64(i) * 2 * math.Pi / float64(n))
		points[i] = m.add(vec{r * c, r * s})
	}
	return points
}
