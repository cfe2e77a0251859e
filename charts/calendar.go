package charts

import (
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg/draw"
)

// The plotters of this file draw what belongs to dates and runs through both
// panels. Their plot has days since 1970 along x and px, downwards as negative
// numbers, along y.

// weekends shades Saturdays and Sundays from top to bottom.
type weekends struct {
	*board
	calendar
	top, bottom float64
}

// Plot implements plot.Plotter.
func (w weekends) Plot(c draw.Canvas, plt *plot.Plot) {
	p := w.pen(c)
	x, y := p.axes(c, plt)
	for d := w.lo; d < w.hi; d++ {
		if d.weekday() != time.Saturday && d.weekday() != time.Sunday {
			continue
		}
		end := d + 1
		if d.weekday() == time.Saturday && end < w.hi {
			end++
		}
		p.rect(x(float64(d)), y(-w.top), x(float64(end)), y(-w.bottom), w.pal.weekend)
		d = end - 1
	}
}

// weeks draws the start of every week and month down to bottom, and the lines
// of the two axes.
type weeks struct {
	*board
	calendar
	upper, low axisLines
	bottom     float64
}

// Plot implements plot.Plotter.
func (w weeks) Plot(c draw.Canvas, plt *plot.Plot) {
	p := w.pen(c)
	x, y := p.axes(c, plt)
	var plain, labelled, months [][2]point
	for _, t := range w.ticks {
		at := x(float64(t.date))
		s := [2]point{{at, y(-w.upper.edge)}, {at, y(-w.bottom)}}
		plain = append(plain, s)
		if t.fits {
			labelled = append(labelled,
				[2]point{{at, y(-w.upper.edge + 14)}, {at, y(-w.upper.edge)}},
				[2]point{{at, y(-w.low.edge)}, {at, y(-w.low.edge - 14)}})
		}
	}
	for _, t := range w.months {
		if at := x(float64(t.date)); t.fits && t.date > w.lo {
			months = append(months,
				[2]point{{at, y(-w.upper.months + 11)}, {at, y(-w.upper.months - 4)}},
				[2]point{{at, y(-w.low.months + 11)}, {at, y(-w.low.months - 4)}})
		}
	}
	p.segments(plain, w.pal.hairline, 0.8)
	p.segments(labelled, w.pal.soft, 0.8)
	p.segments(months, w.pal.ink, 1)
	edges := [][2]point{
		{{w.x0, y(-w.upper.edge)}, {w.x1, y(-w.upper.edge)}},
		{{w.x0, y(-w.low.edge)}, {w.x1, y(-w.low.edge)}},
	}
	p.segments(edges, w.pal.ink, 1)
}

// stretches hatches gaps and dots thin stretches.
type stretches struct{ *sheet }

// Plot implements plot.Plotter.
func (s stretches) Plot(c draw.Canvas, plt *plot.Plot) {
	p := s.pen(c)
	x, y := p.axes(c, plt)
	top, end := y(-s.rowsTop), y(-s.supplyEnd)
	for _, kind := range []StretchKind{Thin, Gap} {
		for _, g := range s.m.stretches {
			if g.kind != kind {
				continue
			}
			class := "gap"
			if kind == Thin {
				class = "thin"
			}
			p.group(class, 0, g.withChance(s.m.units), func() {
				s.pen(c).stretch(kind, x(float64(g.from)), top, x(float64(g.to+1)), end)
			})
		}
	}
}

// stretch fills the column of a gap or a thin stretch.
func (p pen) stretch(kind StretchKind, x0, y0, x1, y1 float64) {
	sides := [][2]point{{{x0, y0}, {x0, y1}}, {{x1, y0}, {x1, y1}}}
	if kind == Thin {
		p.rect(x0, y0, x1, y1, p.pal.thinTint)
		p.dots(x0, y0+3, x1, y1, 7, p.pal.slate, 1.3)
		p.segments(sides, p.pal.slate, 1, 3, 3)
		p.line([]point{{x0, y0}, {x1, y0}}, p.pal.slate, 2, 3, 3)
		return
	}
	p.rect(x0, y0, x1, y1, p.pal.gapTint)
	p.hatch(x0, y0, x1, y1, 7, p.pal.slate, 1.1)
	p.segments(sides, p.pal.slate, 1.2)
	p.rect(x0, y0-2, x1, y0+2, p.pal.slate)
}

// poles draws the as-of line, the marks and the poles of the flags, down to
// bottom.
type poles struct {
	*board
	*bunting
	bottom float64
}

// Plot implements plot.Plotter.
func (s poles) Plot(c draw.Canvas, plt *plot.Plot) {
	p := s.pen(c)
	_, y := p.axes(c, plt)
	for _, f := range s.flags {
		base := s.flagBase(f.lane)
		pole := []point{{f.x, base - 11}, {f.x, y(-s.bottom)}}
		if f.onTop() {
			pole[0].y = base + 4
		}
		switch {
		case f.stretch:
			pole[1].y = s.foot
			p.line(pole, f.ink, 1)
		case f.dotted:
			p.line(pole, f.ink, 1, 1.5, 3)
		default:
			p.line(pole, f.ink, 1.6)
		}
	}
	for _, f := range s.flags {
		for _, g := range s.flags {
			if g.lane > f.lane && f.hides(g) {
				base := s.flagBase(f.lane)
				p.rect(f.left-3, base-12, f.left+f.w+3, base+4, s.pal.paper)
				break
			}
		}
	}
}
