package charts

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/vg"
)

// outcomeSheet is the chart of a season looked back at, laid out: a calendar
// over rows, in each the window that was said, hollow, over the one that came.
type outcomeSheet struct {
	board
	bunting
	m     *outcomeModel
	cal   calendar
	upper axisLines
	plot  frame
	mids  []float64 // of the rows: between the hollow and the solid window
}

const (
	saidHalf  = 5.5 // px; half the height of a window that was said
	cameHalf  = 5.5
	cameUnder = 14 // px from the middle of the one to that of the other
)

func newOutcomeSheet(m *outcomeModel, opt Options) *outcomeSheet {
	s := &outcomeSheet{board: newBoard(opt, m.title(), m.description()), m: m}
	y := s.heading(m.heading, m.hindcast, m.finding, m.basis)
	x0, x1 := s.margin, s.w-s.margin
	named := s.w >= namesFrom
	errors := 0.0
	if named {
		names := 0.0
		for _, r := range m.rows {
			names = max(names, nameStyle.width(r.name), noteStyle.width(r.block))
			errors = max(errors, noteStyle.width(r.err))
		}
		x0 = math.Round(x0 + min(names, s.w*0.22) + 14)
		errors = min(errors, s.w*0.14)
		if errors > 0 {
			x1 = math.Round(x1 - errors - 12)
		}
	}
	s.cal = newCalendar(m.lo, m.hi, x0, x1, m.units)
	s.upper = axisLines{months: y + 14, ticks: y + 30, edge: y + axisHeight}
	s.foot = s.upper.edge
	for _, f := range m.flags {
		text := f.text + " " + m.units.date(f.date)
		s.hang(x0+2, x1-2, flag{x: s.cal.x(f.date) + s.cal.px/2, text: text, style: gapStyle, ink: s.pal.ink})
	}
	if len(m.flags) > 0 {
		s.foot += s.settleAll()
	}
	y = s.foot + 6
	for _, r := range m.rows {
		if !named {
			label := r.label()
			room := s.w - 2*s.margin
			if r.err != "" {
				w := min(noteStyle.width(r.err), room*0.45)
				s.sayOver(s.w-s.margin, y+14, noteStyle, right, s.pal.ink, noteStyle.fit(r.err, w))
				room -= w + 10
			}
			s.sayOver(s.margin, y+14, nameStyle, left, s.pal.ink, nameStyle.fit(label, room))
			y += 18
		}
		mid := y + 12
		s.mids = append(s.mids, mid)
		if named {
			s.say(s.margin, mid+4, nameStyle, left, s.pal.ink, nameStyle.fit(r.name, x0-s.margin-10))
			s.say(s.margin, mid+19, noteStyle, left, s.pal.soft, noteStyle.fit(r.block, x0-s.margin-10))
			s.say(s.w-s.margin, mid+11, noteStyle, right, s.pal.ink, noteStyle.fit(r.err, errors))
		}
		y = mid + cameUnder + cameHalf + 10
	}
	s.plot = frame{x0, s.foot, x1, y}
	y = s.placeKey(s.margin, y+14, s.w-2*s.margin, s.keyItems())
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

func (s *outcomeSheet) keyItems() []keyItem {
	said, came, open, gap := false, false, false, len(s.m.gaps) > 0
	for _, r := range s.m.rows {
		said = said || r.said
		came = came || r.first.known && r.last.known
		open = open || r.openFirst() || r.openLast()
	}
	var out []keyItem
	sign := func(text string, draw func(p pen, x, y float64)) {
		out = append(out, keyItem{lines: []string{text}, draw: draw})
	}
	if said {
		text := "picking window as forecast"
		if s.m.said != "" {
			text += " " + s.m.said
		}
		sign(text+", with its peak; the lines reach from the early end of first ripe to the late end of the last pick", func(p pen, x, y float64) {
			p.saidWindow(x+2, x+10, x+44, x+51, x+24, y)
		})
	}
	if came {
		sign("as it came, with its peak", func(p pen, x, y float64) {
			p.cameWindow(x+8, x+44, y, false, false)
			p.peakTick(x+24, y, cameHalf, p.pal.paper)
		})
	}
	if open {
		sign("an end that is not on record, or only a bound", func(p pen, x, y float64) { p.cameWindow(x+8, x+44, y, false, true) })
	}
	if gap {
		sign("nothing was ripe", func(p pen, x, y float64) { p.stretch(Gap, x+10, y-7, x+42, y+8) })
	}
	return out
}

// openFirst and openLast report whether an end of what came is drawn open.
func (r outcomeRow) openFirst() bool {
	return r.first.open || !r.first.known && (r.peak.known || r.last.known)
}

func (r outcomeRow) openLast() bool {
	return r.last.open || !r.last.known && (r.peak.known || r.first.known)
}

// saidWindow draws a window as it was said, around y, with the reach of its
// ends and its peak.
func (p pen) saidWindow(least, first, last, most, peak, y float64) {
	p.segments([][2]point{{{least, y}, {first, y}}, {{last, y}, {most, y}}}, p.pal.berry, 1.1)
	p.segments([][2]point{{{least, y - 3}, {least, y + 3}}, {{most, y - 3}, {most, y + 3}}}, p.pal.berry, 1.1)
	path := p.pill(first, y-saidHalf, last, y+saidHalf)
	p.c.SetColor(p.pal.paper)
	p.c.Fill(path)
	p.set(p.pal.berry, 1.4)
	p.c.Stroke(path)
	p.peakTick(peak, y, saidHalf, p.pal.berry)
}

// cameWindow draws a window as it came, around y; an open end is dashed on.
func (p pen) cameWindow(first, last, y float64, openFirst, openLast bool) {
	const dash = 12.0
	p.c.SetColor(p.pal.berry)
	p.c.Fill(p.pill(first, y-cameHalf, last, y+cameHalf))
	if openFirst {
		p.line([]point{{first - dash, y}, {first, y}}, p.pal.berry, 2*cameHalf-3, 2, 2)
	}
	if openLast {
		p.line([]point{{last, y}, {last + dash, y}}, p.pal.berry, 2*cameHalf-3, 2, 2)
	}
}

func (p pen) peakTick(x, y, half float64, ink color.Color) {
	p.line([]point{{x, y - half + 1.2}, {x, y + half - 1.2}}, ink, 2)
}

// draw draws the whole chart on c.
func (s *outcomeSheet) draw(c vg.Canvas) {
	dc, p := s.paint(c)
	dates := scale{float64(s.m.lo), float64(s.m.hi)}
	p.group("panel", 0, "", func() {
		s.panel(dc, s.plot, dates, scale{-s.plot.y1, -s.plot.y0}, layer{&s.board, s.paintRows})
	})
	if len(s.flags) > 0 {
		s.panel(dc, frame{s.plot.x0, 0, s.plot.x1, s.h}, dates, scale{-s.h, 0}, poles{&s.board, &s.bunting, s.plot.y1})
	}
	p.group("words", 0, "", func() {
		s.writeLabels(p)
		s.cal.writeDates(p, s.upper)
		s.writeFlags(p)
	})
	s.drawKey(p)
}

// paintRows draws the weeks, the gaps and the windows.
func (s *outcomeSheet) paintRows(p pen, x, _ func(float64) float64) {
	var weeks, rows [][2]point
	for _, t := range s.cal.ticks {
		if t.fits {
			weeks = append(weeks, [2]point{{x(float64(t.date)), s.upper.edge - 14}, {x(float64(t.date)), s.plot.y1}})
		}
	}
	for _, mid := range s.mids {
		rows = append(rows, [2]point{{s.plot.x0, mid + cameUnder + cameHalf + 6}, {s.plot.x1, mid + cameUnder + cameHalf + 6}})
	}
	p.segments(weeks, p.pal.hairline, 0.8)
	p.segments(rows, p.pal.hairline, 0.8)
	p.line([]point{{s.plot.x0, s.upper.edge}, {s.plot.x1, s.upper.edge}}, p.pal.ink, 1)
	for _, g := range s.m.gaps {
		p.group("gap", 0, "nothing ripe "+s.m.units.dates(g[0], g[1]), func() {
			p.stretch(Gap, x(float64(g[0])), s.plot.y0, x(float64(g[1]+1)), s.plot.y1)
		})
	}
	for i, r := range s.m.rows {
		p.group("row", i+1, r.label(), func() { s.paintRow(p, r, s.mids[i], x) })
	}
}

func (s *outcomeSheet) paintRow(p pen, r outcomeRow, mid float64, x func(float64) float64) {
	start, end := func(d day) float64 { return x(float64(d)) }, func(d day) float64 { return x(float64(d + 1)) }
	middle := func(d day) float64 { return x(float64(d) + 0.5) }
	if r.said {
		p.group("said", 0, "", func() {
			p.saidWindow(start(r.saidFirst[0]), start(r.saidFirst[1]), end(r.saidLast[1]), end(r.saidLast[2]), middle(r.saidPk[1]), mid)
		})
	}
	known := came{}
	first := r.first
	for _, d := range []came{r.last, r.peak, r.first} { // The first that is known, and the last.
		if d.known {
			first = d
		}
	}
	for _, d := range []came{r.first, r.peak, r.last} {
		if d.known {
			known = d
		}
	}
	if !known.known {
		return
	}
	p.group("came", 0, "", func() {
		p.cameWindow(start(first.day), end(known.day), mid+cameUnder, r.openFirst(), r.openLast())
		if r.peak.known {
			p.peakTick(middle(r.peak.day), mid+cameUnder, cameHalf, p.pal.paper)
		}
	})
}
