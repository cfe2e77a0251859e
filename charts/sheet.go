package charts

import (
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// pen returns a pen for the canvas that c was cut from: the plot package wraps
// canvases in canvases, which hides the groups of an SVG.
func (s *sheet) pen(c draw.Canvas) pen {
	inner := c.Canvas
	for {
		d, ok := inner.(draw.Canvas)
		if !ok {
			return pen{inner, s.h, s.pal}
		}
		inner = d.Canvas
	}
}

// draw draws the whole chart on c.
func (s *sheet) draw(c vg.Canvas) {
	dc := draw.NewCanvas(c, vg.Length(s.w), vg.Length(s.h))
	p := s.pen(dc)
	p.rect(0, 0, s.w, s.h, s.pal.paper)
	p.group("dates", 0, "", func() {
		s.panel(dc, 0, s.h, 0, -s.h, weekends{s}, weeks{s}, stretches{s}, poles{s})
	})
	p.group("rows", 0, "", func() {
		s.panel(dc, 0, s.h, 0, -s.h, wires{s})
	})
	p.group("supply", 0, "", func() {
		s.panel(dc, s.supplyTop, s.supplyEnd, s.yMax, 0, steps{s})
	})
	p.group("words", 0, "", func() { s.words(p) })
	p.group("key", 0, "", func() {
		for _, k := range s.key {
			k.draw(p, k.x, k.y+9)
		}
	})
}

// panel draws plotters on a plot with the dates along x, from y0 down to y1 in
// px, where the data run from top to bottom.
func (s *sheet) panel(c draw.Canvas, y0, y1, top, bottom float64, ps ...plot.Plotter) {
	plt := plot.New()
	plt.BackgroundColor = nil
	plt.HideAxes()
	plt.X.Padding, plt.Y.Padding = 0, 0
	plt.X.Min, plt.X.Max = float64(s.m.lo), float64(s.m.hi)
	plt.Y.Min, plt.Y.Max = bottom, top
	plt.Add(ps...)
	c.Rectangle = vg.Rectangle{
		Min: vg.Point{X: vg.Length(s.x0), Y: vg.Length(s.h - y1)},
		Max: vg.Point{X: vg.Length(s.x1), Y: vg.Length(s.h - y0)},
	}
	plt.Draw(c)
}

// words writes all text that stands outside the plots.
func (s *sheet) words(p pen) {
	for _, l := range s.labels {
		if l.masked {
			x := l.x - float64(l.align)*l.style.width(l.text)
			p.rect(x-3, l.y-l.style.size*ascent, x+l.style.width(l.text)+3, l.y+l.style.size*descent+1, p.pal.paper)
		}
	}
	for _, l := range s.labels {
		p.text(l.x, l.y, l.style, l.align, l.ink, l.text)
	}
	for _, f := range s.frames {
		p.outline([]point{{f[0], f[1]}, {f[2], f[1]}, {f[2], f[3]}, {f[0], f[3]}}, p.pal.ink, 1.2)
	}
	for _, a := range []axisLines{s.upperAxis, s.lowAxis} {
		for _, t := range s.ticks {
			if t.fits {
				p.text(s.x(t.date)+4, a.ticks, tickStyle, left, p.pal.soft, t.text)
			}
		}
		for _, t := range s.months {
			if t.fits {
				p.text(s.x(t.date)+4, a.months, monthStyle, left, p.pal.ink, t.text)
			}
		}
	}
	for _, f := range s.flags {
		p.text(f.left, s.flagBase(f.lane), f.style, left, f.ink, f.text)
	}
	for i, l := range s.lines {
		s.badge(p, l, s.m.rows[i])
	}
}

// badge draws a row's number on the tone of its fruit in the lower panel.
func (s *sheet) badge(p pen, l rowBox, r row) {
	x, y := s.margin, l.barY-badgeHeight/2.0
	path := p.pill(x, y, x+badgeWidth, y+badgeHeight)
	fill, ink := p.pal.tone(r.number)
	if r.none != "" {
		ink = p.pal.soft
		p.set(p.pal.soft, 1)
		p.c.Stroke(path)
	} else {
		p.c.SetColor(fill)
		p.c.Fill(path)
	}
	p.text(x+badgeWidth/2.0, y+12.5, numberStyle, centre, ink, strconv.Itoa(r.number))
}
