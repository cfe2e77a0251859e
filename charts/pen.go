package charts

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// pen draws on a canvas in px from the top left corner.
type pen struct {
	c   vg.Canvas
	h   float64 // height of the whole chart
	pal palette
}

type point struct{ x, y float64 }

// axes returns the functions from the data of p to px on the canvas c.
func (p pen) axes(c draw.Canvas, plt *plot.Plot) (x, y func(float64) float64) {
	tx, ty := plt.Transforms(&c)
	return func(v float64) float64 { return float64(tx(v)) },
		func(v float64) float64 { return p.h - float64(ty(v)) }
}

func (p pen) at(q point) vg.Point {
	return vg.Point{X: vg.Length(q.x), Y: vg.Length(p.h - q.y)}
}

func (p pen) path(pts []point) vg.Path {
	var path vg.Path
	for i, q := range pts {
		if i == 0 {
			path.Move(p.at(q))
		} else {
			path.Line(p.at(q))
		}
	}
	return path
}

// area fills the polygon pts.
func (p pen) area(pts []point, fill color.Color) {
	if len(pts) < 3 {
		return
	}
	path := p.path(pts)
	path.Close()
	p.c.SetColor(fill)
	p.c.Fill(path)
}

func (p pen) rect(x0, y0, x1, y1 float64, fill color.Color) {
	if x1 > x0 && y1 > y0 {
		p.area([]point{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}, fill)
	}
}

// outline strokes the polygon pts.
func (p pen) outline(pts []point, ink color.Color, width float64) {
	if len(pts) < 2 {
		return
	}
	path := p.path(pts)
	path.Close()
	p.set(ink, width)
	p.c.Stroke(path)
}

// line strokes an open line; dash holds the lengths of dashes and gaps.
func (p pen) line(pts []point, ink color.Color, width float64, dash ...float64) {
	if len(pts) < 2 {
		return
	}
	p.set(ink, width, dash...)
	p.c.Stroke(p.path(pts))
}

// segments strokes many lines in one path.
func (p pen) segments(s [][2]point, ink color.Color, width float64, dash ...float64) {
	if len(s) == 0 {
		return
	}
	var path vg.Path
	for _, q := range s {
		path.Move(p.at(q[0]))
		path.Line(p.at(q[1]))
	}
	p.set(ink, width, dash...)
	p.c.Stroke(path)
}

func (p pen) set(ink color.Color, width float64, dash ...float64) {
	p.c.SetColor(ink)
	p.c.SetLineWidth(vg.Length(width))
	d := make([]vg.Length, len(dash))
	for i, l := range dash {
		d[i] = vg.Length(l)
	}
	p.c.SetLineDash(d, 0)
}

func (p pen) disc(x, y, r float64) vg.Path {
	var path vg.Path
	path.Move(p.at(point{x + r, y}))
	path.Arc(p.at(point{x, y}), vg.Length(r), 0, 2*math.Pi)
	path.Close()
	return path
}

// dot draws a disc with a rim.
func (p pen) dot(x, y, r float64, fill, rim color.Color, width float64) {
	path := p.disc(x, y, r)
	p.c.SetColor(fill)
	p.c.Fill(path)
	p.set(rim, width)
	p.c.Stroke(path)
}

// align says which end of a text stands at its x.
type align float64

const (
	left   align = 0
	centre align = 0.5
	right  align = 1
)

// text writes t with its baseline at y.
func (p pen) text(x, y float64, s style, a align, ink color.Color, t string) {
	if t == "" {
		return
	}
	p.c.SetColor(ink)
	f := s.face()
	p.c.FillString(f, p.at(point{x - float64(a)*float64(f.Width(t)), y}), t)
}

// hatch fills a rectangle with strokes rising to the right, step px apart
// along x. Strokes of neighbouring rectangles meet.
func (p pen) hatch(x0, y0, x1, y1, step float64, ink color.Color, width float64) {
	if !(x1 > x0 && y1 > y0) {
		return
	}
	var s [][2]point
	// The stroke k is x + y = k*step.
	for k := math.Ceil((x0 + y0) / step); k*step < x1+y1; k++ {
		c := k * step
		a, b := max(x0, c-y1), min(x1, c-y0)
		if b-a > 0.3 {
			s = append(s, [2]point{{a, c - a}, {b, c - b}})
		}
	}
	p.segments(s, ink, width)
}

// dots fills a rectangle with rows of dots, step px apart, every second row
// shifted by half a step.
func (p pen) dots(x0, y0, x1, y1, step float64, ink color.Color, size float64) {
	var rows [][2]point
	for k := math.Ceil((y0 + size) / step * 2); k*step/2 < y1-size; k++ {
		start := x0 + size
		if math.Mod(k, 2) != 0 {
			start += step / 2
		}
		if start < x1-size {
			rows = append(rows, [2]point{{start, k * step / 2}, {x1 - size, k * step / 2}})
		}
	}
	p.segments(rows, ink, size, size, step-size)
}

// group wraps what is drawn by f in a group with a class, a number and a title
// where the canvas knows groups; elsewhere it just draws.
func (p pen) group(class string, n int, title string, f func()) {
	g, ok := p.c.(interface {
		begin(class string, n int, title string)
		end()
	})
	if !ok {
		f()
		return
	}
	g.begin(class, n, title)
	f()
	g.end()
}
