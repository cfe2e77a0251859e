package charts

import (
	"math"

	"gonum.org/v1/plot/vg"
)

// readinessSheet is the chart of readiness laid out: jars that fill up on the
// days on which the farm opens, stalks on the others; below, what has spoiled
// hangs from the line.
type readinessSheet struct {
	board
	calendar
	bunting
	m          *readinessModel
	jars       frame
	lost       frame
	tens       upAxis
	spoiled    upAxis
	upper, low axisLines
}

const (
	widestJar = 9.0 // Half of it, px.
	leastSpan = 0.1 // Of the crop, that the lower panel shows at least.
)

func newReadinessSheet(m *readinessModel, opt Options) *readinessSheet {
	s := &readinessSheet{board: newBoard(opt, m.title(), m.description()), m: m}
	y := s.heading(m.heading, m.hindcast, m.finding, m.basis)
	height, under := 210.0, 90.0
	if s.w < 600 {
		height, under = 170, 80
	}
	s.tens = upAxis{scale: scale{0, 10}, step: 2, ticks: []float64{0, 2, 4, 6, 8, 10}}
	most := leastSpan
	for _, d := range m.days {
		most = max(most, d.past)
	}
	s.spoiled = fromZero(100*most, under/32)
	x0 := math.Round(s.margin + max(s.tens.figuresWidth(), s.spoiled.figuresWidth()) + 12)
	x1 := s.w - s.margin
	caption := func(text string, y float64) float64 {
		return s.paragraph(s.margin, y, nameStyle, s.pal.ink, nameStyle.wrap(text, x1-s.margin, 2))
	}
	y = caption("Chances in ten of enough ripe fruit to open, if nobody has picked", y) + 4
	s.calendar = newCalendar(m.lo, m.hi, x0, x1, m.units)
	s.upper = axisLines{months: y + 14, ticks: y + 30, edge: y + axisHeight}
	s.foot = y + axisHeight
	s.placeReadyFlags()
	s.foot += s.settleAll()
	s.jars = frame{x0, s.foot + 6, x1, s.foot + 6 + height}
	s.figures(s.jars, s.tens)
	y = caption("Of the crop spoiled by then, in 100, if nobody has picked", s.jars.y1+12) + 10
	s.lost = frame{x0, y, x1, y + under}
	for _, v := range s.spoiled.ticks { // From the top down.
		s.say(s.lost.x0-8, s.down(v)+4, tickStyle, right, s.pal.soft, tickNumber(v, s.spoiled.step))
	}
	s.low = axisLines{edge: s.lost.y1}
	y = s.placeKey(s.margin, s.lost.y1+14, s.w-2*s.margin, s.keyItems())
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

// down returns where v hundredths of the crop end in the lower panel.
func (s *readinessSheet) down(v float64) float64 {
	return s.lost.y0 + (v-s.spoiled.lo)/(s.spoiled.hi-s.spoiled.lo)*(s.lost.y1-s.lost.y0)
}

func (s *readinessSheet) placeReadyFlags() {
	m := s.m
	add := func(f flag) { s.hang(s.x0+2, s.x1-2, f) }
	middle := func(d day) float64 { return s.x(d) + s.px/2 }
	on := func(d *day) bool { return d != nil && m.lo <= *d && *d < m.hi }
	if m.lo <= m.asOf && m.asOf < m.hi {
		add(flag{x: s.x(m.asOf), text: asOfWords(m.asOf, m.hindcast, m.units), style: gapStyle, ink: s.pal.ink})
	}
	switch {
	case on(m.decided) && on(m.advised) && *m.decided == *m.advised:
		add(flag{x: middle(*m.decided), text: "decided as advised, " + m.units.date(*m.decided), style: gapStyle, ink: s.pal.berry})
	default:
		if on(m.decided) {
			add(flag{x: middle(*m.decided), text: "decided, " + m.units.date(*m.decided), style: gapStyle, ink: s.pal.berry})
		}
		if on(m.advised) {
			add(flag{x: middle(*m.advised), text: "advised, " + m.units.date(*m.advised), style: gapStyle, ink: s.pal.slate})
		}
	}
	for _, k := range m.marks {
		if m.lo <= k.date && k.date < m.hi {
			add(flag{x: middle(k.date), text: k.label + ", " + m.units.date(k.date), style: flagStyle, ink: s.pal.soft, dotted: true})
		}
	}
}

// jar draws a day on which the farm opens: a glass from y0 up to y1, filled up
// to y, in full colour where that is enough.
func (p pen) jar(x, y0, y1, y, r float64, enough bool) {
	glass := p.pill(x-r, y1, x+r, y0)
	p.c.SetColor(p.pal.paper)
	p.c.Fill(glass)
	fill := p.pal.flesh
	if enough {
		fill = p.pal.berry
	}
	if h := y0 - y; h > 0.5 {
		if h >= 2*r {
			p.capsule(x, y, y0, r, fill, fill)
		} else { // A drop at the bottom.
			p.fullDisc(x, y0-h/2, h/2, fill)
		}
	}
	p.set(p.pal.berry, 1.2)
	p.c.Stroke(glass)
}

// stalk draws a day on which the farm does not open.
func (p pen) stalk(x, y0, y float64) {
	p.line([]point{{x, y0}, {x, y}}, p.pal.wire, 1.4)
	p.dot(x, y, 2.6, p.pal.paper, p.pal.soft, 1.2)
}

func (s *readinessSheet) keyItems() []keyItem {
	var out []keyItem
	add := func(text string, draw func(p pen, x, y float64)) {
		out = append(out, keyItem{lines: []string{text}, draw: draw})
	}
	open, shut, enough := false, false, false
	for _, d := range s.m.days {
		open, shut = open || d.opens, shut || !d.opens
		enough = enough || d.opens && d.ready >= s.m.confidence
	}
	if open {
		add("a day that you open on, filled by its chance", func(p pen, x, y float64) { p.jar(x+26, y+9, y-9, y, 6, false) })
	}
	if enough {
		add("and it reaches your confidence", func(p pen, x, y float64) { p.jar(x+26, y+9, y-9, y-7, 6, true) })
	}
	if shut {
		add("a day that you do not open on", func(p pen, x, y float64) { p.stalk(x+26, y+9, y-4) })
	}
	add("your confidence, "+tenths(s.m.confidence)+" in ten", func(p pen, x, y float64) {
		p.line([]point{{x, y}, {x + 51, y}}, p.pal.ink, 1.4, 6, 3)
	})
	add("Saturday and Sunday", func(p pen, x, y float64) { p.rect(x+10, y-7, x+42, y+8, p.pal.weekend) })
	return out
}

// draw draws the whole chart on c.
func (s *readinessSheet) draw(c vg.Canvas) {
	dc, p := s.paint(c)
	whole := frame{s.x0, 0, s.x1, s.h}
	dates, all := scale{float64(s.lo), float64(s.hi)}, scale{-s.h, 0}
	s.panel(dc, whole, dates, all, weekends{&s.board, s.calendar, s.upper.edge, s.lost.y1})
	p.group("grid", 0, "", func() {
		var grid [][2]point
		for _, v := range s.tens.ticks {
			grid = append(grid, [2]point{{s.x0, s.tens.px(s.jars, v)}, {s.x1, s.tens.px(s.jars, v)}})
		}
		for _, v := range s.spoiled.ticks {
			grid = append(grid, [2]point{{s.x0, s.down(v)}, {s.x1, s.down(v)}})
		}
		for _, t := range s.ticks {
			if t.fits {
				grid = append(grid, [2]point{{s.x(t.date), s.upper.edge - 14}, {s.x(t.date), s.upper.edge}})
			}
		}
		p.segments(grid, p.pal.hairline, 0.8)
		p.segments([][2]point{
			{{s.x0, s.upper.edge}, {s.x1, s.upper.edge}}, {{s.x0, s.jars.y1}, {s.x1, s.jars.y1}}, {{s.x0, s.lost.y0}, {s.x1, s.lost.y0}},
		}, p.pal.ink, 1)
	})
	s.panel(dc, whole, dates, all, poles{&s.board, &s.bunting, s.jars.y1})
	at := s.tens.px(s.jars, 10*s.m.confidence)
	p.line([]point{{s.x0, at}, {s.x1, at}}, p.pal.ink, 1.4, 6, 3)
	r := min(widestJar, s.px*0.34)
	for i, d := range s.m.days {
		x := s.x(d.date) + s.px/2
		title := s.m.units.date(d.date) + ", " + tenths(d.ready) + " in ten"
		p.group("day", i+1, title, func() {
			if d.opens {
				p.jar(x, s.jars.y1, s.jars.y0, s.tens.px(s.jars, 10*d.ready), r, d.ready >= s.m.confidence)
			} else {
				p.stalk(x, s.jars.y1, s.tens.px(s.jars, 10*d.ready))
			}
			if d.past > 0 {
				p.rect(x-r*0.7, s.lost.y0, x+r*0.7, s.down(100*d.past), p.pal.slate)
			}
		})
	}
	p.group("words", 0, "", func() {
		s.writeLabels(p)
		s.writeDates(p, s.upper)
		s.writeFlags(p)
	})
	s.drawKey(p)
}
