package charts

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// board is what every chart is laid out on: its size, its colours and the
// texts that stand on it, in px from the top left corner.
type board struct {
	title, desc string // for those who cannot see the chart
	pal         palette
	compact     bool
	w, h        float64
	margin      float64

	labels []label
	frames [][4]float64 // of labels set in a box
	key    []keyItem
}

// drawing is a chart laid out: nothing is left but to draw it.
type drawing interface {
	on() *board
	draw(c vg.Canvas)
}

func newBoard(opt Options, title, desc string) board {
	b := board{title: title, desc: desc, pal: opt.Theme.palette(), w: float64(opt.Width), compact: opt.Width < compactUnder, margin: 28}
	if b.compact {
		b.margin = 14
	}
	return b
}

func (b *board) on() *board { return b }

// label is a text at its place.
type label struct {
	x, y  float64 // of the baseline
	style style
	align align
	ink   color.Color
	text  string

	masked bool // on paper, over what runs through the panel
}

// say sets a text with its baseline at y.
func (b *board) say(x, y float64, st style, a align, ink color.Color, t string) {
	if t != "" {
		b.labels = append(b.labels, label{x: x, y: y, style: st, align: a, ink: ink, text: t})
	}
}

// sayOver is say for a text inside the panel, which hides what is under it.
func (b *board) sayOver(x, y float64, st style, a align, ink color.Color, t string) {
	if t != "" {
		b.labels = append(b.labels, label{x: x, y: y, style: st, align: a, ink: ink, text: t, masked: true})
	}
}

// paragraph sets lines downwards from y, the top of the first, and returns the
// bottom of the last.
func (b *board) paragraph(x, y float64, st style, ink color.Color, lines []string) float64 {
	for _, l := range lines {
		y += math.Round(st.size * 1.4)
		b.say(x, y-st.size*0.32, st, left, ink, l)
	}
	return y
}

// heading sets the title, the findings and the basis; it returns the bottom.
func (b *board) heading(title string, hindcast bool, findings, basis string) float64 {
	st, large := titleStyle, findingStyle
	if b.compact {
		st, large.size = titleNarrow, 14
	}
	w := b.w - 2*b.margin
	y := b.margin - 8
	badge, badgeW := "HINDCAST", 0.0
	if hindcast {
		badgeW = badgeStyle.width(badge) + 16
	}
	lines := st.wrap(title, w-badgeW-10, 3)
	if hindcast {
		x := b.margin + st.width(lines[0]) + 12
		base := y + math.Round(st.size*1.4) - st.size*0.32
		b.say(x+8, base-1, badgeStyle, left, b.pal.ink, badge)
		b.frames = append(b.frames, [4]float64{x, base - 15, x + badgeW, base + 4})
	}
	y = b.paragraph(b.margin, y, st, b.pal.ink, lines)
	if findings != "" {
		y = b.paragraph(b.margin, y+4, large, b.pal.ink, large.wrap(findings, w, 6))
	}
	if basis != "" {
		y = b.paragraph(b.margin, y+3, noteStyle, b.pal.soft, noteStyle.wrap(basis, w, 5))
	}
	return y + 14
}

// pen returns a pen for the canvas that c was cut from: the plot package wraps
// canvases in canvases, which hides the groups of an SVG.
func (b *board) pen(c draw.Canvas) pen {
	inner := c.Canvas
	for {
		d, ok := inner.(draw.Canvas)
		if !ok {
			return pen{inner, b.h, b.pal}
		}
		inner = d.Canvas
	}
}

// paint covers the paper of a chart and returns what to draw on it with.
func (b *board) paint(c vg.Canvas) (draw.Canvas, pen) {
	dc := draw.NewCanvas(c, vg.Length(b.w), vg.Length(b.h))
	p := b.pen(dc)
	p.rect(0, 0, b.w, b.h, b.pal.paper)
	return dc, p
}

// frame is a rectangle in px, y downwards.
type frame struct{ x0, y0, x1, y1 float64 }

// scale is the data at the start and the end of an axis.
type scale struct{ lo, hi float64 }

// panel draws plotters on a plot that fills the frame at, without axes: data
// run from left to right over x and from the bottom up over y.
func (b *board) panel(c draw.Canvas, at frame, x, y scale, ps ...plot.Plotter) {
	plt := plot.New()
	plt.BackgroundColor = nil
	plt.HideAxes()
	plt.X.Padding, plt.Y.Padding = 0, 0
	plt.X.Min, plt.X.Max = x.lo, x.hi
	plt.Y.Min, plt.Y.Max = y.lo, y.hi
	plt.Add(ps...)
	c.Rectangle = vg.Rectangle{
		Min: vg.Point{X: vg.Length(at.x0), Y: vg.Length(b.h - at.y1)},
		Max: vg.Point{X: vg.Length(at.x1), Y: vg.Length(b.h - at.y0)},
	}
	plt.Draw(c)
}

// layer is a plot.Plotter made of a function that is given the places of the
// data.
type layer struct {
	*board
	paint func(p pen, x, y func(float64) float64)
}

// Plot implements plot.Plotter.
func (l layer) Plot(c draw.Canvas, plt *plot.Plot) {
	p := l.pen(c)
	x, y := p.axes(c, plt)
	l.paint(p, x, y)
}

// writeLabels writes the texts of the board and the boxes around them.
func (b *board) writeLabels(p pen) {
	for _, l := range b.labels {
		if l.masked {
			x := l.x - float64(l.align)*l.style.width(l.text)
			p.rect(x-3, l.y-l.style.size*ascent, x+l.style.width(l.text)+3, l.y+l.style.size*descent+1, p.pal.paper)
		}
	}
	for _, l := range b.labels {
		p.text(l.x, l.y, l.style, l.align, l.ink, l.text)
	}
	for _, f := range b.frames {
		p.outline([]point{{f[0], f[1]}, {f[2], f[1]}, {f[2], f[3]}, {f[0], f[3]}}, p.pal.ink, 1.2)
	}
}

// drawKey draws the signs of the key.
func (b *board) drawKey(p pen) {
	p.group("key", 0, "", func() {
		for _, k := range b.key {
			k.draw(p, k.x, k.y+9)
		}
	})
}
