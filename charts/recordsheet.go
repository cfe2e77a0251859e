package charts

import (
	"math"
	"time"

	"gonum.org/v1/plot/vg"
)

// recordSheet is the chart of a daily record laid out: panels of whole months
// under each other, so that a day is wide enough to be seen.
type recordSheet struct {
	board
	m       *recordModel
	degrees upAxis
	panels  []recordPanel
	letters []label // Of suspects, each over its mark.
}

// recordPanel is some months of the record.
type recordPanel struct {
	calendar
	bunting
	plot  frame
	upper axisLines
}

const (
	leastDay   = 3.2 // px; a day is not drawn narrower if there is any way.
	suspectTop = 26  // px over the warmest day, for marks and letters.
	markSize   = 4.6
	widestBead = 10 // px
)

func newRecordSheet(m *recordModel, opt Options) *recordSheet {
	s := &recordSheet{board: newBoard(opt, m.title(), m.description()), m: m}
	y := s.heading(m.heading, m.hindcast, m.finding, m.basis)
	height := 170.0
	if s.w < 600 {
		height = 150
	}
	s.degrees = m.axis(height)
	x0 := math.Round(s.margin + s.degrees.figuresWidth() + 12)
	x1 := s.w - s.margin
	s.say(s.margin, y+13, nameStyle, left, s.pal.ink, nameStyle.fit("Low and high of each day, "+m.units.degreeUnit(), x1-s.margin))
	y += 22
	cuts := m.cuts((x1 - x0) / leastDay)
	for i := 1; i < len(cuts); i++ {
		p := recordPanel{calendar: newCalendar(cuts[i-1], cuts[i], x0, x1, m.units)}
		p.upper = axisLines{months: y + 14, ticks: y + 30, edge: y + axisHeight}
		p.foot = y + axisHeight
		if p.lo <= m.asOf && m.asOf < p.hi {
			p.hang(x0+2, x1-2, flag{x: p.x(m.asOf), text: "today, " + m.units.date(m.asOf), style: gapStyle, ink: s.pal.ink})
			p.foot += p.settleAll()
		}
		p.plot = frame{x0, p.foot, x1, p.foot + height}
		s.figures(p.plot, s.degrees)
		y = p.plot.y1 + 16
		s.panels = append(s.panels, p)
	}
	s.placeLetters()
	y = s.placeKey(s.margin, y, s.w-2*s.margin, s.keyItems())
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

// cuts returns the dates at which panels begin, and the end. Each holds as many
// whole months as have at most most days, if any do.
func (m *recordModel) cuts(most float64) []day {
	monthAfter := func(d day, n int) day {
		t := d.time()
		return day(time.Date(t.Year(), t.Month()+time.Month(n), 1, 0, 0, 0, 0, time.UTC).Unix() / 86400)
	}
	if float64(m.hi-m.lo) <= most {
		return []day{m.lo, m.hi}
	}
	var out []day
	for _, months := range []int{6, 4, 3, 2, 1} {
		out = []day{m.lo}
		longest := day(0)
		for d := m.lo; d < m.hi; {
			next := min(monthAfter(d, months), m.hi)
			longest = max(longest, next-d)
			out = append(out, next)
			d = next
		}
		if float64(longest) <= most {
			break
		}
	}
	return out
}

// axis returns the axis of temperatures, with room for marks at the top.
func (m *recordModel) axis(height float64) upAxis {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, list := range [][]lohi{m.days, m.usual} {
		for _, d := range list {
			lo, hi = min(lo, d.lo), max(hi, d.hi)
		}
	}
	if lo > hi {
		lo, hi = 0, 30
	}
	if hi-lo < 10 {
		lo, hi = lo-5, hi+5
	}
	lo -= (hi - lo) * 0.03
	hi += (hi - lo) * suspectTop / (height - suspectTop)
	a := upAxis{scale: scale{lo, hi}}
	for _, a.step = range []float64{5, 10, 20, 50, 100} {
		if a.step/(hi-lo)*height >= 24 {
			break
		}
	}
	for v := math.Ceil(lo/a.step)*a.step + 0; v <= hi; v += a.step { // And not from "-0".
		a.ticks = append(a.ticks, v)
	}
	return a
}

// panelOf returns the panel of a date.
func (s *recordSheet) panelOf(d day) *recordPanel {
	for i := range s.panels {
		if p := &s.panels[i]; p.lo <= d && d < p.hi {
			return p
		}
	}
	return &s.panels[len(s.panels)-1] // Validated dates lie on one.
}

// markOf returns where the mark of a suspect stands: over its day, or at the
// foot where the day is missing.
func (s *recordSheet) markOf(d day) point {
	p := s.panelOf(d)
	at := point{p.x(d) + p.px/2, p.plot.y1 - 8}
	for _, k := range s.m.days {
		if k.date == d && !k.lent {
			at.y = s.degrees.px(p.plot, k.hi) - markSize - 2.5
		}
	}
	return at
}

// placeLetters sets the letters of suspects over their marks. Where they would
// lie on each other some are left away: the marks stay, and the text tells all.
func (s *recordSheet) placeLetters() {
	const lift, line, room = 6.0, 12.0, 2.0
	type box struct{ x0, y0, x1, y1 float64 }
	var taken []box
	for _, r := range s.m.runs() {
		w := numberStyle.width(r.letter)
		for tries := range 2 {
			at := s.markOf(r.from)
			p := s.panelOf(r.from)
			y := at.y - lift - line*float64(tries)
			b := box{at.x - w/2 - room, y - 9, at.x + w/2 + room, y + 3}
			free := b.x0 >= p.plot.x0 && b.x1 <= p.plot.x1 && b.y0 >= p.plot.y0
			for _, t := range taken {
				free = free && (b.x1 <= t.x0 || t.x1 <= b.x0 || b.y1 <= t.y0 || t.y1 <= b.y0)
			}
			if free {
				taken = append(taken, b)
				s.letters = append(s.letters, label{x: at.x, y: y, style: numberStyle, align: centre, ink: s.pal.ink, text: r.letter})
				break
			}
		}
	}
}

// diamond draws the mark of a suspect, full where the day is left out.
func (p pen) diamond(at point, used bool) {
	const r = markSize
	pts := []point{{at.x, at.y - r}, {at.x + r, at.y}, {at.x, at.y + r}, {at.x - r, at.y}}
	fill := p.pal.slate
	if used {
		fill = p.pal.paper
	}
	p.area(pts, fill)
	p.outline(pts, p.pal.slate, 1.4)
}

// dayOf draws the bead of a day that reaches from y0 down to y1, in the column
// from x0 to x1: full where it was observed here, hollow where it is lent, in
// slate where it is left out.
func (p pen) dayOf(x0, x1, y0, y1 float64, lent, leftOut bool) {
	gap := max(min(0.9, (x1-x0)*0.16), (x1-x0-widestBead)/2)
	x0, x1 = x0+gap, x1-gap
	if short := (x1 - x0) - (y1 - y0); short > 0 { // At least round.
		y0, y1 = y0-short/2, y1+short/2
	}
	path := p.pill(x0, y0, x1, y1)
	fill, rim := p.pal.berry, p.pal.berry
	switch {
	case lent:
		fill = p.pal.paper
	case leftOut:
		fill, rim = p.pal.paper, p.pal.slate
	}
	p.c.SetColor(fill)
	p.c.Fill(path)
	if lent || leftOut {
		p.set(rim, 1)
		p.c.Stroke(path)
	}
}

func (s *recordSheet) keyItems() []keyItem {
	var out []keyItem
	sign := func(text string, draw func(p pen, x, y float64)) {
		out = append(out, keyItem{lines: []string{text}, draw: draw})
	}
	row := func(lent, leftOut bool) func(p pen, x, y float64) {
		return func(p pen, x, y float64) {
			for k := range 5 {
				at, up := x+11+6*float64(k), float64(k%3)
				p.dayOf(at, at+6, y-7+up, y+5+up, lent, leftOut)
			}
		}
	}
	own, lent, left, used := false, false, false, false
	for _, d := range s.m.days {
		own, lent = own || !d.lent, lent || d.lent
	}
	for _, k := range s.m.suspects {
		left, used = left || !k.used, used || k.used
	}
	if own {
		sign("a bead is a day, from its low up to its high", row(false, false))
	}
	if lent {
		sign("lent by the stand-in station, moved to this place", row(true, false))
	}
	if len(s.m.usual) > 0 {
		sign("usual for the time of year: one low in ten is below it, one high in ten above", func(p pen, x, y float64) {
			p.ribbon([]point{{x, y - 7}, {x + 51, y - 7}}, []point{{x, y + 7}, {x + 51, y + 7}}, p.pal.blush, p.pal.flesh)
		})
	}
	if len(s.m.holes) > 0 {
		sign("nothing on record", func(p pen, x, y float64) { p.stretch(Gap, x+10, y-7, x+42, y+8) })
	}
	if left {
		sign("doubted and left out of forecasts", func(p pen, x, y float64) {
			p.dayOf(x+14, x+20, y-7, y+7, false, true)
			p.diamond(point{x + 32, y}, false)
		})
	}
	if used {
		sign("doubted, but used", func(p pen, x, y float64) {
			p.dayOf(x+14, x+20, y-7, y+7, false, false)
			p.diamond(point{x + 32, y}, true)
		})
	}
	said := map[string]bool{}
	for _, k := range s.m.suspects {
		if said[k.letter] {
			continue
		}
		said[k.letter] = true
		sign(k.test, func(p pen, x, y float64) { p.text(x+26, y+4, numberStyle, centre, p.pal.ink, k.letter) })
	}
	return out
}

// draw draws the whole chart on c.
func (s *recordSheet) draw(c vg.Canvas) {
	dc, p := s.paint(c)
	leftOut := map[day]bool{}
	for _, k := range s.m.suspects {
		leftOut[k.date] = leftOut[k.date] || !k.used
	}
	for i := range s.panels {
		at := &s.panels[i]
		p.group("panel", i+1, "", func() {
			dates := scale{float64(at.lo), float64(at.hi)}
			s.panel(dc, at.plot, dates, s.degrees.scale, layer{&s.board, func(p pen, x, y func(float64) float64) {
				s.paintGround(p, at, x, y)
				s.paintDays(p, at, leftOut, x, y)
			}})
			s.panel(dc, frame{at.x0, 0, at.x1, s.h}, dates, scale{-s.h, 0}, poles{&s.board, &at.bunting, at.plot.y1})
		})
	}
	p.group("suspects", 0, "", func() {
		for _, k := range s.m.suspects {
			p.diamond(s.markOf(k.date), k.used)
		}
	})
	p.group("words", 0, "", func() {
		s.writeLabels(p)
		for i := range s.panels {
			s.panels[i].writeDates(p, s.panels[i].upper)
			s.panels[i].writeFlags(p)
		}
		for _, l := range s.letters {
			w := l.style.width(l.text) / 2
			p.rect(l.x-w-1, l.y-9, l.x+w+1, l.y+1, p.pal.paper)
			p.text(l.x, l.y, l.style, l.align, l.ink, l.text)
		}
	})
	s.drawKey(p)
}

// paintGround draws what is usual, the lines of dates and temperatures, and the
// holes.
func (s *recordSheet) paintGround(p pen, at *recordPanel, x, y func(float64) float64) {
	var upper, lower []point
	for _, d := range s.m.usual {
		if at.lo <= d.date && d.date < at.hi {
			upper = append(upper, point{x(float64(d.date) + 0.5), y(d.hi)})
			lower = append(lower, point{x(float64(d.date) + 0.5), y(d.lo)})
		}
	}
	p.ribbon(upper, lower, p.pal.blush, p.pal.flesh)
	var grid, months, weeks [][2]point
	for _, v := range s.degrees.ticks {
		grid = append(grid, [2]point{{at.plot.x0, y(v)}, {at.plot.x1, y(v)}})
	}
	for _, t := range at.months {
		months = append(months, // Not through the words between.
			[2]point{{x(float64(t.date)), at.upper.edge - 34}, {x(float64(t.date)), at.upper.edge - 20}},
			[2]point{{x(float64(t.date)), at.upper.edge}, {x(float64(t.date)), at.plot.y1}})
	}
	for _, t := range at.ticks {
		if t.fits {
			weeks = append(weeks, [2]point{{x(float64(t.date)), at.upper.edge - 14}, {x(float64(t.date)), at.plot.y1}})
		}
	}
	p.segments(grid, p.pal.hairline, 0.8)
	p.segments(weeks, p.pal.hairline, 0.8)
	p.segments(months, p.pal.soft, 0.8)
	edges := [][2]point{{{at.plot.x0, at.upper.edge}, {at.plot.x1, at.upper.edge}}, {{at.plot.x0, at.plot.y1}, {at.plot.x1, at.plot.y1}}}
	p.segments(edges, p.pal.ink, 1)
	for _, h := range s.m.holes {
		from, to := max(h[0], at.lo), min(h[1]+1, at.hi)
		if from < to {
			p.group("hole", 0, "nothing on record "+s.m.units.dates(h[0], h[1]), func() {
				p.stretch(Gap, x(float64(from)), at.plot.y0, x(float64(to)), at.plot.y1)
			})
		}
	}
}

func (s *recordSheet) paintDays(p pen, at *recordPanel, leftOut map[day]bool, x, y func(float64) float64) {
	p.group("days", 0, "", func() {
		for _, d := range s.m.days {
			if at.lo <= d.date && d.date < at.hi {
				p.dayOf(x(float64(d.date)), x(float64(d.date+1)), y(d.hi), y(d.lo), d.lent, leftOut[d.date] && !d.lent)
			}
		}
	})
}
