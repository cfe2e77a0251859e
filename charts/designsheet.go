package charts

import (
	"math"

	"gonum.org/v1/plot/vg"
)

// designSheet is the chart of a design laid out: above the ground line what
// stands on Saturdays, below it, like roots, the seasons without fruit.
type designSheet struct {
	board
	m      *designModel
	cal    calendar
	upper  axisLines
	weight upAxis
	fruit  frame
	holes  frame
	gaps   upAxis // in ten seasons
}

const leastGapSpan = 0.2 // share of seasons that the lower panel shows at least

func newDesignSheet(m *designModel, opt Options) *designSheet {
	s := &designSheet{board: newBoard(opt, m.title(), m.description()), m: m}
	y := s.heading(m.heading, m.hindcast, m.finding, m.basis)
	height, under := 190.0, 90.0
	if s.w < 600 {
		height, under = 160, 80
	}
	most, widest := 1.0, leastGapSpan
	for _, x := range m.saturdays {
		most = max(most, x.before.P90)
		if m.changed {
			most = max(most, x.after.P90)
		}
	}
	for _, d := range m.days {
		widest = max(widest, d.before)
		if m.changed {
			widest = max(widest, d.after)
		}
	}
	s.weight = fromZero(most, height/40)
	s.gaps = fromZero(10*widest, under/32)
	x0 := math.Round(s.margin + max(s.weight.figuresWidth(), s.gaps.figuresWidth()) + 12)
	x1 := s.w - s.margin
	caption := func(text string, y float64) float64 {
		return s.paragraph(s.margin, y, nameStyle, s.pal.ink, nameStyle.wrap(text, x1-s.margin, 2))
	}
	y = caption("Ripe fruit standing on Saturdays, "+m.units.weightUnit(), y) + 4
	s.cal = newCalendar(m.lo, m.hi, x0, x1, m.units)
	s.upper = axisLines{months: y + 14, ticks: y + 30, edge: y + axisHeight}
	s.fruit = frame{x0, s.upper.edge, x1, s.upper.edge + height}
	s.figures(s.fruit, s.weight)
	y = caption("Seasons in ten with nothing ripe on the day", s.fruit.y1+12) + 10
	s.holes = frame{x0, y, x1, y + under}
	for _, v := range s.gaps.ticks { // From the top down.
		s.say(s.holes.x0-8, s.down(v)+4, tickStyle, right, s.pal.soft, tickNumber(v, s.gaps.step))
	}
	y = s.placeKey(s.margin, s.holes.y1+14, s.w-2*s.margin, s.keyItems())
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

// down returns where v seasons in ten end in the lower panel.
func (s *designSheet) down(v float64) float64 {
	return s.holes.y0 + (v-s.gaps.lo)/(s.gaps.hi-s.gaps.lo)*(s.holes.y1-s.holes.y0)
}

// basket draws a range of weights, hollow for the list as it stands and solid for
// the changed one, with the likeliest as a bar across.
func (p pen) basket(x, lo, mid, hi, r float64, solid bool) {
	fill, rim, width := p.pal.paper, p.pal.berry, 1.4
	if solid {
		fill, rim = p.pal.flesh, p.pal.flesh
	}
	path := p.pill(x-r, min(hi, lo-2*r), x+r, lo)
	p.c.SetColor(fill)
	p.c.Fill(path)
	p.set(rim, width)
	p.c.Stroke(path)
	bar := 2.2
	if solid {
		bar = 3.4
	}
	p.line([]point{{x - r - 1, mid}, {x + r + 1, mid}}, p.pal.ink, bar)
}

// root draws a share of seasons below the line: hollow for the list as it stands,
// solid and narrower for the changed one, so that both are seen.
func (p pen) root(x0, x1, y0, y1 float64, solid bool) {
	if y1-y0 < 0.5 {
		return
	}
	if solid {
		in := (x1 - x0) * 0.24
		p.rect(x0+in, y0, x1-in, y1, p.pal.slate)
		return
	}
	p.rect(x0, y0, x1, y1, p.pal.gapTint)
	p.line([]point{{x0, y0}, {x0, y1}, {x1, y1}, {x1, y0}}, p.pal.slate, 1.2)
}

func (s *designSheet) keyItems() []keyItem {
	var out []keyItem
	sign := func(text string, draw func(p pen, x, y float64)) {
		out = append(out, keyItem{lines: []string{text}, draw: draw})
	}
	sign("the list as it stands: range of 8 seasons in 10, and the middle one", func(p pen, x, y float64) { p.basket(x+26, y+10, y+1, y-9, 5, false) })
	if s.m.changed {
		sign("with the changes", func(p pen, x, y float64) { p.basket(x+26, y+10, y+1, y-9, 5, true) })
	}
	sign("nothing ripe, as the list stands", func(p pen, x, y float64) { p.root(x+20, x+32, y-7, y+8, false) })
	if s.m.changed {
		sign("nothing ripe, with the changes", func(p pen, x, y float64) { p.root(x+20, x+32, y-7, y+8, true) })
	}
	return out
}

// draw draws the whole chart on c.
func (s *designSheet) draw(c vg.Canvas) {
	_, p := s.paint(c)
	p.group("grid", 0, "", func() {
		var grid [][2]point
		for _, t := range s.cal.ticks {
			if t.fits {
				grid = append(grid, [2]point{{s.cal.x(t.date), s.upper.edge - 14}, {s.cal.x(t.date), s.fruit.y1}}, [2]point{{s.cal.x(t.date), s.holes.y0}, {s.cal.x(t.date), s.holes.y1}})
			}
		}
		for _, v := range s.gaps.ticks[1:] {
			grid = append(grid, [2]point{{s.holes.x0, s.down(v)}, {s.holes.x1, s.down(v)}})
		}
		p.segments(grid, p.pal.hairline, 0.8)
		p.lattice(s.fruit, s.weight)
		p.segments([][2]point{{{s.fruit.x0, s.upper.edge}, {s.fruit.x1, s.upper.edge}}, {{s.holes.x0, s.holes.y0}, {s.holes.x1, s.holes.y0}}}, p.pal.ink, 1)
	})
	r := min(6, s.cal.px*1.2)
	for i, x := range s.m.saturdays {
		p.group("saturday", i+1, s.m.units.date(x.date), func() {
			at := s.cal.x(x.date) + s.cal.px/2
			draw := func(at float64, w DesignRange, solid bool) {
				if w.P90 > 0 {
					p.basket(at, s.weight.px(s.fruit, w.P10), s.weight.px(s.fruit, w.P50), s.weight.px(s.fruit, w.P90), r, solid)
				}
			}
			if !s.m.changed {
				draw(at, x.before, false)
				return
			}
			draw(at-r-1.5, x.before, false)
			draw(at+r+1.5, x.after, true)
		})
	}
	for i, d := range s.m.days {
		p.group("day", i+1, s.m.units.date(d.date), func() {
			x0, x1 := s.cal.x(d.date), s.cal.x(d.date+1)
			in := min((x1-x0)*0.08, 1)
			p.root(x0+in, x1-in, s.holes.y0, s.down(10*d.before), false)
			if s.m.changed {
				p.root(x0+in, x1-in, s.holes.y0, s.down(10*d.after), true)
			}
		})
	}
	p.group("words", 0, "", func() {
		s.writeLabels(p)
		s.cal.writeDates(p, s.upper)
	})
	s.drawKey(p)
}
