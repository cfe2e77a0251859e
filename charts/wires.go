package charts

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// wires draws the rows: a wire from the name to the dates, and on it a bead
// for every day, see the package comment. Its plot has days since 1970 along x
// and px, downwards as negative numbers, along y.
type wires struct{ *sheet }

// Plot implements plot.Plotter.
func (b wires) Plot(c draw.Canvas, plt *plot.Plot) {
	p := b.pen(c)
	x, y := p.axes(c, plt)
	for i, l := range b.lines {
		r := b.m.rows[i]
		at := y(-l.barY)
		p.group("planting", r.number, r.sentence(b.m.units), func() {
			if r.none != "" {
				p.segments([][2]point{
					{{b.x0, at}, {l.reason[0], at}},
					{{l.reason[1], at}, {b.x1, at}},
				}, b.pal.soft, 1, 1.5, 4)
				return
			}
			p.line([]point{{b.x0, at}, {b.x1, at}}, b.pal.wire, 1)
			p.beads(r, b.m.asOf, at, l.thickness, x)
		})
	}
}

// bead is one day of a planting.
type bead struct {
	date  day
	high  float64 // 0 to 1
	class beadClass
}

type beadClass int

const (
	possible beadClass = iota // outside the medians of first ripe and last pick
	likely                    // between them
	seen                      // known to have been a day of picking
)

// beads returns the beads of a planting as seen on the morning of asOf: one
// for each day from the 0.1 quantile of first ripe to the 0.9 quantile of last
// pick, as high as the day is likely to lie in the picking window.
func (r row) beads(asOf day) []bead {
	from, to := r.first[2], r.last[1] // days seen, both included
	switch {
	case r.seenLast:
	case r.seenFirst:
		to = min(asOf-1, r.last[0])
	default:
		to = from - 1
	}
	var out []bead
	for d := r.first[0]; d <= r.last[2]; d++ {
		p := min(begun(r.first, d), begun(span{-r.last[2], -r.last[1], -r.last[0]}, -d))
		b := bead{date: d, high: 0.25 + 0.75*min(max((p-0.1)/0.8, 0), 1)}
		switch {
		case from <= d && d <= to:
			b.class = seen
		case r.first[1] <= d && d <= r.last[1]:
			b.class = likely
		}
		out = append(out, b)
	}
	return out
}

// begun returns the chance that a date with the quantiles q is d or earlier,
// by straight lines between the quantiles; it is 1 from the last on.
func begun(q span, d day) float64 {
	between := func(a, b day) float64 { return float64(d-a) / float64(b-a) }
	switch {
	case d >= q[2]:
		return 1
	case d >= q[1]:
		return 0.5 + 0.4*between(q[1], q[2])
	case d >= q[0]:
		return 0.1 + 0.4*between(q[0], q[1])
	}
	return 0
}

const mergeUnder = 3.6 // px a day has when its bead is no longer set apart

// beads draws the beads and the peak of a planting on the line y.
func (p pen) beads(r row, asOf day, y, thickness float64, x func(float64) float64) {
	px := x(1) - x(0)
	list := r.beads(asOf)
	var runs [3][]bead
	for _, b := range list {
		runs[b.class] = append(runs[b.class], b)
	}
	fills := [3]color.Color{p.pal.paper, p.pal.flesh, p.pal.berry}
	for class, beads := range runs {
		if len(beads) == 0 {
			continue
		}
		var path vg.Path
		for _, b := range beads {
			h := b.high * thickness
			x0, x1 := x(float64(b.date)), x(float64(b.date+1))
			if px < mergeUnder {
				path = append(path, p.box(x0, y-h/2, x1, y+h/2)...)
				continue
			}
			gap := min(0.75, px*0.1)
			path = append(path, p.pill(x0+gap, y-h/2, x1-gap, y+h/2)...)
		}
		p.c.SetColor(fills[class])
		p.c.Fill(path)
		if px < mergeUnder && beadClass(class) == likely {
			continue // Rims would leave no room for the fill.
		}
		p.set(p.pal.berry, 1.1)
		p.c.Stroke(path)
	}
	p.peak(r, y, thickness, x)
}

func (p pen) peak(r row, y, thickness float64, x func(float64) float64) {
	mid := func(d day) float64 { return x(float64(d) + 0.5) }
	if r.peak[0] < r.peak[2] {
		p.line([]point{{mid(r.peak[0]), y}, {mid(r.peak[2]), y}}, p.pal.ink, 1.3)
	}
	rad := min(4.6, thickness*0.3)
	if r.seenPeak {
		p.dot(mid(r.peak[1]), y, rad+0.4, p.pal.ink, p.pal.paper, 1.4)
	} else {
		p.dot(mid(r.peak[1]), y, rad, p.pal.paper, p.pal.ink, 1.5)
	}
}

func (p pen) box(x0, y0, x1, y1 float64) vg.Path {
	path := p.path([]point{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}})
	path.Close()
	return path
}

// pill is a rectangle with its shorter sides rounded to half circles.
func (p pen) pill(x0, y0, x1, y1 float64) vg.Path {
	var path vg.Path
	half := func(x, y, r, start float64) { path.Arc(p.at(point{x, y}), vg.Length(r), start, math.Pi) }
	if r := (x1 - x0) / 2; x1-x0 < y1-y0 {
		path.Move(p.at(point{x1, y0 + r}))
		half(x0+r, y0+r, r, 0)
		half(x0+r, y1-r, r, math.Pi)
	} else {
		r = (y1 - y0) / 2
		path.Move(p.at(point{x1 - r, y1}))
		half(x1-r, y0+r, r, -math.Pi/2)
		half(x0+r, y0+r, r, math.Pi/2)
	}
	path.Close()
	return path
}
