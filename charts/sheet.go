package charts

import (
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// draw draws the whole chart on c.
func (s *sheet) draw(c vg.Canvas) {
	dc, p := s.paint(c)
	p.group("dates", 0, "", func() {
		s.overDates(dc, 0, s.h, 0, -s.h,
			weekends{&s.board, s.calendar, s.upperAxis.edge, s.supplyEnd},
			weeks{&s.board, s.calendar, s.upperAxis, s.lowAxis, s.supplyEnd},
			stretches{s}, poles{&s.board, &s.bunting, s.supplyEnd})
	})
	p.group("rows", 0, "", func() {
		s.overDates(dc, 0, s.h, 0, -s.h, wires{s})
	})
	p.group("supply", 0, "", func() {
		s.overDates(dc, s.supplyTop, s.supplyEnd, s.yMax, 0, steps{s})
	})
	p.group("words", 0, "", func() { s.words(p) })
	s.drawKey(p)
}

// overDates is a panel with the dates along x, from y0 down to y1 in px, where
// the data run from top to bottom.
func (s *sheet) overDates(c draw.Canvas, y0, y1, top, bottom float64, ps ...plot.Plotter) {
	s.panel(c, frame{s.x0, y0, s.x1, y1}, scale{float64(s.lo), float64(s.hi)}, scale{bottom, top}, ps...)
}

// words writes all text that stands outside the plots.
func (s *sheet) words(p pen) {
	s.writeLabels(p)
	s.writeDates(p, s.upperAxis, s.lowAxis)
	s.writeFlags(p)
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
