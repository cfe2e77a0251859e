package charts

import (
	"math"
	"time"

	"gonum.org/v1/plot/vg"
)

// narrowSheet is the chart of narrowing ranges laid out: a panel for each
// stage, mornings along x, the dates forecast upwards, a day as high in one
// panel as in the other.
type narrowSheet struct {
	board
	calendar
	bunting
	m      *narrowModel
	panels []narrowPanel
	unit   float64 // px of a day upwards
	low    axisLines
	endsX  float64
}

// narrowPanel is one stage: dates lo <= d < hi from the bottom up.
type narrowPanel struct {
	frame
	lo, hi day
	n      int // of the stage
}

const (
	leastDates = 10 // days upwards in a panel
	dateEach   = 17 // px between dates at the side, at least
)

func newNarrowSheet(m *narrowModel, opt Options) *narrowSheet {
	s := &narrowSheet{board: newBoard(opt, m.title(), m.description()), m: m}
	y := s.heading(m.heading, m.hindcast, m.findings(), m.ground())
	all := 0
	for i := range m.stages {
		st := &m.stages[i]
		if len(st.issued) == 0 {
			continue
		}
		p := narrowPanel{n: i}
		p.lo, p.hi = st.reach()
		p.lo, p.hi = p.lo-1, p.hi+2
		if n := leastDates - int(p.hi-p.lo); n > 0 {
			p.lo -= day(n / 2)
			p.hi += day(n - n/2)
		}
		all += int(p.hi - p.lo)
		s.panels = append(s.panels, p)
	}
	high := 560.0
	if s.compact {
		high = 480
	}
	s.unit = min(max(high/float64(all), 2.5), 13)

	x1 := s.w - s.margin
	if !s.compact {
		s.endsX = math.Round(x1 - 226)
		x1 = s.endsX - 18
	}
	side := 0.0
	for _, p := range s.panels {
		for d := p.lo; d < p.hi; d++ {
			side = max(side, tickStyle.width(m.units.date(d)))
		}
	}
	lo, hi := m.from-1, m.to+2
	if m.hasMarked && lo <= m.marked+maxFar && m.marked <= hi+maxFar {
		lo, hi = min(lo, m.marked-1), max(hi, m.marked+2)
	}
	if n := minDrawn - int(hi-lo); n > 0 {
		hi += day(n)
	}
	s.calendar = newCalendar(lo, hi, math.Round(s.margin+side+12), x1, m.units)

	for _, l := range nameStyle.wrap("Dates forecast, by the morning they were issued", s.w-2*s.margin, 2) {
		s.say(s.margin, y+13, nameStyle, left, s.pal.ink, l)
		y += 18
	}
	s.foot = y
	if s.m.hasMarked && lo <= m.marked && m.marked < hi {
		s.hang(s.x0+2, s.x1-2, flag{x: s.x(m.marked) + s.px/2, text: "this forecast, " + m.units.date(m.marked), style: gapStyle, ink: s.pal.ink})
		s.foot = y + s.settleAll()
	}
	y = s.foot
	for i := range s.panels {
		y = s.placePanel(&s.panels[i], y)
	}
	s.low = axisLines{ticks: y + 17, months: y + 33, edge: y}
	y += axisHeight
	s.say(s.x0, y+13, tickStyle, left, s.pal.soft, tickStyle.fit("morning of the forecast", s.x1-s.x0))
	y = s.placeKey(s.margin, y+26, s.w-2*s.margin, s.keyItems())
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

const maxFar = 60 // days from the other mornings at which a marked one is still drawn

// placePanel sets a panel under y, its name and its dates, and returns its end.
func (s *narrowSheet) placePanel(p *narrowPanel, y float64) float64 {
	st := &s.m.stages[p.n]
	said := upper(st.stage)
	s.sayOver(s.margin, y+19, nameStyle, left, s.pal.ink, nameStyle.fit(said, s.x1-s.margin))
	y += 26
	lines := []string{st.now(s.m.units)}
	if t := st.course(s.m.units); t != "" {
		lines = append(lines, "range "+t)
	}
	if s.compact {
		for _, l := range lines {
			for _, t := range cellStyle.wrap(l, s.w-2*s.margin, 3) {
				s.sayOver(s.margin, y+11, cellStyle, left, s.pal.ink, t)
				y += 17
			}
		}
		y += 3
	}
	p.frame = frame{s.x0, y, s.x1, y + s.unit*float64(p.hi-p.lo)}
	if !s.compact {
		at := p.y0 + 12
		for i, l := range lines {
			style := cellStyle
			if i == 0 && st.hasSeen {
				style = seenStyle
			}
			for _, t := range style.wrap(l, s.w-s.margin-s.endsX, 3) {
				s.say(s.endsX, at, style, left, s.pal.ink, t)
				at += 17
			}
		}
		y = max(p.y1, at-8)
	} else {
		y = p.y1
	}
	step := day(7)
	for float64(step)*s.unit < dateEach {
		step += 7
	}
	for d := s.weekStart(p.lo); d < p.hi; d += step {
		base := s.mid(*p, d) + 4
		if p.y0+8 <= base && base <= p.y1+2 {
			s.say(s.x0-8, base, tickStyle, right, s.pal.soft, s.m.units.date(d))
		}
	}
	return y + 8
}

// weekStart returns the first start of a week from d on.
func (s *narrowSheet) weekStart(d day) day {
	start := time.Monday
	if s.m.units == US {
		start = time.Sunday
	}
	for d.weekday() != start {
		d++
	}
	return d
}

// under returns where date d begins, at its lower end.
func (s *narrowSheet) under(p narrowPanel, d day) float64 {
	return p.y1 - float64(d-p.lo)*s.unit
}

// mid returns the middle of date d.
func (s *narrowSheet) mid(p narrowPanel, d day) float64 { return s.under(p, d) - s.unit/2 }

func (s *narrowSheet) keyItems() []keyItem {
	var out []keyItem
	open, seen := false, false
	for i := range s.m.stages {
		st := &s.m.stages[i]
		open = open || len(st.open()) > 0
		seen = seen || st.hasSeen && len(st.issued) > 0
	}
	sign := func(text string, draw func(p pen, x, y float64)) {
		out = append(out, keyItem{lines: []string{text}, draw: draw})
	}
	switch {
	case open && s.px < mergeUnder:
		sign("what a forecast said: 8 chances in 10 within the range, as likely before the line as after it", func(p pen, x, y float64) {
			for k, reach := range []float64{9, 7, 5} {
				at := x + 2 + 16*float64(k)
				p.rect(at, y-reach, at+16, y+reach, p.pal.flesh)
			}
			p.line([]point{{x + 2, y - 2}, {x + 18, y + 1}, {x + 50, y}}, p.pal.ink, 1.3)
		})
	case open:
		sign("what a forecast said: 8 chances in 10 within the range, as likely before the dot as after it", func(p pen, x, y float64) {
			for k, reach := range []float64{9, 7, 5} {
				at := x + 10 + 16*float64(k)
				p.capsule(at, y-reach, y+reach, 5, p.pal.blush, p.pal.berry)
				p.dot(at, y, 2.6, p.pal.paper, p.pal.ink, 1.2)
			}
		})
	}
	if seen {
		sign("the day it was seen in the field, with full beads from the first forecast that knew it", func(p pen, x, y float64) {
			p.line([]point{{x, y}, {x + 51, y}}, p.pal.ink, 1, 1.5, 3)
			p.capsule(x+26, y-6, y+6, 5, p.pal.berry, p.pal.berry)
			p.capsule(x+40, y-6, y+6, 5, p.pal.berry, p.pal.berry)
		})
	}
	sign("Saturday and Sunday", func(p pen, x, y float64) { p.rect(x+10, y-7, x+42, y+8, p.pal.weekend) })
	return out
}

// draw draws the whole chart on c.
func (s *narrowSheet) draw(c vg.Canvas) {
	dc, p := s.paint(c)
	dates := scale{float64(s.lo), float64(s.hi)}
	for _, a := range s.panels {
		upwards := scale{float64(a.lo), float64(a.hi)}
		p.group("ground", a.n+1, "", func() {
			s.panel(dc, a.frame, dates, upwards, layer{&s.board, func(p pen, x, y func(float64) float64) { s.paintDates(p, a, x, y) }})
		})
	}
	s.panel(dc, frame{s.x0, 0, s.x1, s.h}, dates, scale{-s.h, 0}, poles{&s.board, &s.bunting, s.low.edge})
	for _, a := range s.panels {
		st := &s.m.stages[a.n]
		p.group("stage", a.n+1, upper(st.stage)+": "+st.now(s.m.units), func() {
			s.panel(dc, a.frame, dates, scale{float64(a.lo), float64(a.hi)}, layer{&s.board, func(p pen, x, y func(float64) float64) { s.paintRanges(p, st, x, y) }})
		})
	}
	p.line([]point{{s.x0, s.low.edge}, {s.x1, s.low.edge}}, p.pal.ink, 1)
	var marks [][2]point
	for _, t := range s.ticks {
		if t.fits {
			marks = append(marks, [2]point{{s.x(t.date), s.low.edge}, {s.x(t.date), s.low.edge + 14}})
		}
	}
	p.segments(marks, p.pal.soft, 0.8)
	p.group("words", 0, "", func() {
		s.writeLabels(p)
		s.writeDates(p, s.low)
		s.writeFlags(p)
	})
	s.drawKey(p)
}

// paintDates draws the weekends of the dates forecast and the weeks of both
// directions.
func (s *narrowSheet) paintDates(p pen, a narrowPanel, x, y func(float64) float64) {
	for d := a.lo; d < a.hi; d++ {
		if w := d.weekday(); w == time.Saturday || w == time.Sunday {
			p.rect(a.x0, y(float64(d+1)), a.x1, y(float64(d)), p.pal.weekend)
		}
	}
	var grid [][2]point
	for d := s.weekStart(a.lo); d < a.hi; d += 7 {
		grid = append(grid, [2]point{{a.x0, y(float64(d))}, {a.x1, y(float64(d))}})
	}
	for _, t := range s.ticks {
		grid = append(grid, [2]point{{x(float64(t.date)), a.y0}, {x(float64(t.date)), a.y1}})
	}
	p.segments(grid, p.pal.hairline, 0.8)
	p.line([]point{{a.x0, a.y0}, {a.x0, a.y1}}, p.pal.soft, 0.8)
}

// paintRanges draws a bead for every forecast, as high as its range, on a wire
// through the medians.
func (s *narrowSheet) paintRanges(p pen, st *narrowStage, x, y func(float64) float64) {
	middle := func(r issued) point { return point{x(float64(r.asOf) + 0.5), y(float64(r.when[1]) + 0.5)} }
	merged := s.px < mergeUnder
	half := min(rangeHalf, s.px*0.42)
	beads := func(list []issued) vg.Path {
		var path vg.Path
		for _, r := range list {
			top, end := y(float64(r.when[2]+1)), y(float64(r.when[0]))
			if merged {
				path = append(path, p.box(x(float64(r.asOf)), top, x(float64(r.asOf+1)), end)...)
				continue
			}
			at := x(float64(r.asOf) + 0.5)
			path = append(path, p.pill(at-half, top, at+half, end)...)
		}
		return path
	}
	open, known := st.split()
	if len(open) > 0 {
		fill := p.pal.blush
		if merged {
			fill = p.pal.flesh // Rims would leave no room for the fill.
		}
		path := beads(open)
		p.c.SetColor(fill)
		p.c.Fill(path)
		if !merged {
			p.set(p.pal.berry, 1)
			p.c.Stroke(path)
		}
	}
	if len(known) > 0 {
		p.c.SetColor(p.pal.berry)
		p.c.Fill(beads(known))
	}
	if st.hasSeen {
		p.line([]point{{s.x0, y(float64(st.seen) + 0.5)}, {s.x1, y(float64(st.seen) + 0.5)}}, p.pal.ink, 1, 1.5, 3)
	}
	var wire []point
	for _, r := range open {
		wire = append(wire, middle(r))
	}
	if len(known) > 0 && len(wire) > 0 {
		wire = append(wire, middle(known[0]))
	}
	r := min(3.4, half*0.72, s.unit*0.42)
	if r < 1.3 {
		p.line(wire, p.pal.ink, 1.3)
		return
	}
	p.line(wire, p.pal.ink, 0.8)
	for _, q := range open {
		at := middle(q)
		p.dot(at.x, at.y, r, p.pal.paper, p.pal.ink, 1.1)
	}
}
