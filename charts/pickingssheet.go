package charts

import (
	"math"

	"gonum.org/v1/plot/vg"
)

// pickingsSheet is the chart of pickings laid out: a pail for each day's
// picking over the ribbon of the forecast.
type pickingsSheet struct {
	board
	m      *pickingsModel
	cal    calendar
	upper  axisLines
	weight upAxis
	plot   frame
}

func newPickingsSheet(m *pickingsModel, opt Options) *pickingsSheet {
	s := &pickingsSheet{board: newBoard(opt, m.title(), m.description()), m: m}
	y := s.heading(m.heading, m.hindcast, m.finding, m.basis)
	height := 190.0
	if s.w < 600 {
		height = 160
	}
	most := 1.0
	for _, r := range m.ripe {
		most = max(most, r.hi)
	}
	for _, p := range m.picked {
		most = max(most, p.weight)
	}
	s.weight = fromZero(most, height/40)
	x0 := math.Round(s.margin + s.weight.figuresWidth() + 12)
	x1 := s.w - s.margin
	name := "Ripe fruit standing and picked, " + m.units.weightUnit() + " a day"
	s.say(s.margin, y+13, nameStyle, left, s.pal.ink, nameStyle.fit(name, x1-s.margin))
	y += 22
	s.cal = newCalendar(m.lo, m.hi, x0, x1, m.units)
	s.upper = axisLines{months: y + 14, ticks: y + 30, edge: y + axisHeight}
	s.plot = frame{x0, s.upper.edge, x1, s.upper.edge + height}
	s.figures(s.plot, s.weight)
	y = s.placeKey(s.margin, s.plot.y1+16, s.w-2*s.margin, s.keyItems())
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

func (s *pickingsSheet) keyItems() []keyItem {
	var out []keyItem
	sign := func(text string, draw func(p pen, x, y float64)) {
		out = append(out, keyItem{lines: []string{text}, draw: draw})
	}
	sign("picked", func(p pen, x, y float64) { p.pail(x+18, x+32, y-7, y+8) })
	if len(s.m.ripe) > 0 {
		sign("ripe fruit as forecast on "+s.m.units.date(s.m.asOf)+": as likely more as less than the line, 8 in 10 within the band", func(p pen, x, y float64) {
			p.ribbon([]point{{x, y - 7}, {x + 51, y - 7}}, []point{{x, y + 7}, {x + 51, y + 7}}, p.pal.blush, p.pal.flesh)
			p.line([]point{{x, y}, {x + 51, y}}, p.pal.ink, 1.6)
		})
	}
	for _, p := range s.m.picked {
		if p.closed {
			sign("closed for rain or rest", func(p pen, x, y float64) { p.shut(x+26, y+2) })
			break
		}
	}
	if s.m.gone() > 0 {
		sign("a day without a sign has no entry", func(pen, float64, float64) {})
	}
	return out
}

// pail draws a day's picking, from y0 down to y1 in the column from x0 to x1.
func (p pen) pail(x0, x1, y0, y1 float64) {
	inset := (x1 - x0) * 0.14
	pts := []point{{x0, y0}, {x1, y0}, {x1 - inset, y1}, {x0 + inset, y1}}
	p.area(pts, p.pal.berry)
}

// shut draws the sign of a closed day.
func (p pen) shut(x, y float64) {
	const r = 3.4
	p.segments([][2]point{{{x - r, y - r}, {x + r, y + r}}, {{x - r, y + r}, {x + r, y - r}}}, p.pal.ink, 1.5)
}

// draw draws the whole chart on c.
func (s *pickingsSheet) draw(c vg.Canvas) {
	dc, p := s.paint(c)
	p.group("panel", 0, "", func() {
		s.panel(dc, s.plot, scale{float64(s.m.lo), float64(s.m.hi)}, s.weight.scale, layer{&s.board, s.paintDays})
	})
	p.group("words", 0, "", func() {
		s.writeLabels(p)
		s.cal.writeDates(p, s.upper)
	})
	s.drawKey(p)
}

// paintDays draws the lattice, the ribbon of the forecast, the pails and the
// likeliest amount over them.
func (s *pickingsSheet) paintDays(p pen, x, y func(float64) float64) {
	var weeks [][2]point
	for _, t := range s.cal.ticks {
		if t.fits {
			weeks = append(weeks, [2]point{{x(float64(t.date)), s.upper.edge - 14}, {x(float64(t.date)), s.plot.y1}})
		}
	}
	p.segments(weeks, p.pal.hairline, 0.8)
	p.lattice(s.plot, s.weight)
	p.line([]point{{s.plot.x0, s.upper.edge}, {s.plot.x1, s.upper.edge}}, p.pal.ink, 1)
	var upper, middle, lower []point
	for _, r := range s.m.ripe {
		at := x(float64(r.date) + 0.5)
		upper, middle, lower = append(upper, point{at, y(r.hi)}), append(middle, point{at, y(r.mid)}), append(lower, point{at, y(r.lo)})
	}
	p.ribbon(upper, lower, p.pal.blush, p.pal.flesh)
	p.group("picked", 0, "", func() {
		for _, d := range s.m.picked {
			x0, x1 := x(float64(d.date)), x(float64(d.date+1))
			gap := max((x1-x0)*0.14, (x1-x0-14)/2)
			switch {
			case d.closed:
				p.shut((x0+x1)/2, s.plot.y1-7)
			case d.weight > 0:
				p.pail(x0+gap, x1-gap, y(d.weight), y(0))
			}
		}
	})
	p.line(middle, p.pal.ink, 1.6)
}
