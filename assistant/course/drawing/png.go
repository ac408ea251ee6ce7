package drawing

import (
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"slices"

	"golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"

	"earshot/assistant/course"
)

// PNG writes a picture of the course as a PNG image, on a white page or, with o.Dark, on a dark one.
func PNG(w io.Writer, m *course.Map, o Options) error {
	p, err := newPlan(m, o)
	if err != nil {
		return err
	}
	img, err := p.raster(o.Dark)
	if err != nil {
		return err
	}
	return png.Encode(w, img)
}

func (p *plan) raster(dark bool) (*image.RGBA, error) {
	img := image.NewRGBA(image.Rect(0, 0, int(math.Ceil(p.w)), int(math.Ceil(p.h))))
	draw.Draw(img, img.Bounds(), image.NewUniform(of(paintBack, dark)), image.Point{}, draw.Src)
	c := canvas{img: img}
	for _, s := range p.strokes {
		c.stroke(s, of(s.paint, dark))
	}
	for _, a := range p.patches {
		c.fill([][]vec{a.points}, of(a.paint, dark))
	}
	for _, t := range p.texts {
		face, err := opentype.NewFace(fontOf(t.bold), &opentype.FaceOptions{Size: t.size, DPI: 72,
			Hinting: font.HintingNone})
		if err != nil {
			return nil, err
		}
		d := font.Drawer{Dst: img, Src: image.NewUniform(of(t.paint, dark)), Face: face,
			Dot: fixed.Point26_6{X: fixed.Int26_6(t.x * 64), Y: fixed.Int26_6(t.y * 64)}}
		d.DrawString(t.s)
		if err := face.Close(); err != nil {
			return nil, err
		}
	}
	return img, nil
}

// A canvas fills shapes.
type canvas struct {
	img    *image.RGBA
	raster vector.Rasterizer
}

// stroke fills a rectangle for each part of a line and a round joint where two meet. A line that is open ends square.
func (c *canvas) stroke(s stroke, ink color.RGBA) {
	var shapes [][]vec
	n := len(s.points)
	parts := n - 1
	if s.closed {
		parts = n
	}
	for i := range parts {
		a, b := s.points[i], s.points[(i+1)%n]
		if a == b {
			continue
		}
		l := b.sub(a).unit().left().times(s.wide / 2)
		shapes = append(shapes, []vec{a.add(l), a.sub(l), b.sub(l), b.add(l)})
		if s.closed || i > 0 {
			shapes = append(shapes, circle(a, s.wide/2))
		}
	}
	c.fill(shapes, ink)
}

// fill fills the union of shapes.
func (c *canvas) fill(shapes [][]vec, ink color.RGBA) {
	var all []vec
	for _, s := range shapes {
		all = append(all, s...)
	}
	b := around(all)
	r := image.Rect(int(math.Floor(b.x0)), int(math.Floor(b.y0)), int(math.Ceil(b.x1)),
		int(math.Ceil(b.y1))).Intersect(c.img.Bounds())
	if len(all) == 0 || r.Empty() {
		return
	}
	corner := vec{float64(r.Min.X), float64(r.Min.Y)}
	c.raster.Reset(r.Dx(), r.Dy())
	for _, s := range shapes {
		if len(s) < 3 {
			continue
		}
		if area(s) < 0 { // all the same way round, so that overlaps add up
			slices.Reverse(s)
		}
		for i, v := range s {
			if v = v.sub(corner); i == 0 {
				c.raster.MoveTo(float32(v.x), float32(v.y))
			} else {
				c.raster.LineTo(float32(v.x), float32(v.y))
			}
		}
		c.raster.ClosePath()
	}
	c.raster.Draw(c.img, r, image.NewUniform(ink), image.Point{})
}

func area(s []vec) float64 {
	sum := 0.0
	for i, v := range s {
		w := s[(i+1)%len(s)]
		sum += v.x*w.y - w.x*v.y
	}
	return sum
}
