package charts

import (
	"math"

	"gonum.org/v1/plot/vg"
)

// departureSheet is the chart of departures laid out: beads that rise from the
// usual or hang from it, and brackets over stretches.
type departureSheet struct {
	board
	m       *departureModel
	cal     calendar
	upper   axisLines
	degrees upAxis
	plot    frame
	bars    []stretchBar
}

// stretchBar is the bracket of a stretch.
type stretchBar struct{ x0, x1, y float64 }

func newDepartureSheet(m *departureModel, opt Options) *departureSheet {
	s := &departureSheet{board: newBoard(opt, m.title(), m.description()), m: m}
	y := s.heading(m.heading, m.hindcast, m.finding, m.basis)
	height := 150.0
	s.degrees = m.axis(height)
	x0 := math.Round(s.margin + max(s.degrees.figuresWidth(), tickStyle.width("warmer")) + 12)
	x1 := s.w - s.margin
	s.say(s.margin, y+13, nameStyle, left, s.pal.ink, nameStyle.fit("Mean of the day beside its time of year, "+m.units.degreeUnit(), x1-s.margin))
	y += 22
	s.cal = newCalendar(m.lo, m.hi, x0, x1, m.units)
	s.upper = axisLines{months: y + 14, ticks: y + 30, edge: y + axisHeight}
	s.plot = frame{x0, s.upper.edge, x1, s.upper.edge + height}
	s.figures(s.plot, s.degrees)
	y = s.plot.y1 + 8
	for _, b := range m.stretches {
		bar := stretchBar{s.cal.x(b.from), s.cal.x(b.to + 1), y + 6}
		s.bars = append(s.bars, bar)
		for i, l := range nameStyle.wrap(b.text, x1-x0, 2) {
			w := nameStyle.width(l)
			at := max(x0, min(bar.x0, x1-w))
			s.say(at, y+23+float64(i)*16, nameStyle, left, s.pal.ink, l)
			if i > 0 {
				y += 16
			}
		}
		y += 30
	}
	y = s.placeKey(s.margin, y+6, s.w-2*s.margin, s.keyItems())
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

// axis returns the axis of departures, the same to both sides of the usual.
func (m *departureModel) axis(height float64) upAxis {
	most := 2.0
	for _, d := range m.days {
		most = max(most, math.Abs(d.value))
	}
	most *= 1.08
	a := upAxis{scale: scale{-most, most}}
	for _, a.step = range []float64{1, 2, 5, 10, 20, 50} {
		if a.step/(2*most)*height >= 22 {
			break
		}
	}
	for v := math.Ceil(-most/a.step)*a.step + 0; v <= most; v += a.step {
		a.ticks = append(a.ticks, v+0)
	}
	return a
}

func (s *departureSheet) keyItems() []keyItem {
	out := []keyItem{
		{lines: []string{"warmer than in other years: the bead rises from the line"}, draw: func(p pen, x, y float64) {
			p.offBead(x+22, x+30, y-8, y+5, true)
		}},
		{lines: []string{"cooler: it hangs from the line"}, draw: func(p pen, x, y float64) {
			p.offBead(x+22, x+30, y-6, y+7, false)
		}},
	}
	if int(s.m.hi-s.m.lo) > len(s.m.days) {
		out = append(out, keyItem{lines: []string{"not on record"}, draw: func(p pen, x, y float64) { p.stretch(Gap, x+14, y-7, x+38, y+8) }})
	}
	return out
}

// offBead draws a day's departure from y0 down to y1 in the column from x0 to
// x1: full above the usual, hollow below, so that they differ in grey too.
func (p pen) offBead(x0, x1, y0, y1 float64, warmer bool) {
	gap := max(min(0.9, (x1-x0)*0.16), (x1-x0-widestBead)/2)
	path := p.pill(x0+gap, y0, x1-gap, max(y1, y0+0.5))
	fill, rim := p.pal.berry, p.pal.berry
	if !warmer {
		fill, rim = p.pal.gapTint, p.pal.slate
	}
	p.c.SetColor(fill)
	p.c.Fill(path)
	p.set(rim, 1)
	p.c.Stroke(path)
}

// draw draws the whole chart on c.
func (s *departureSheet) draw(c vg.Canvas) {
	dc, p := s.paint(c)
	dates := scale{float64(s.m.lo), float64(s.m.hi)}
	p.group("panel", 0, "", func() {
		s.panel(dc, s.plot, dates, s.degrees.scale, layer{&s.board, s.paintDays})
	})
	p.group("stretches", 0, "", func() {
		for _, b := range s.bars {
			p.line([]point{{b.x0, b.y - 5}, {b.x0, b.y}, {b.x1, b.y}, {b.x1, b.y - 5}}, p.pal.ink, 1.3)
		}
	})
	p.group("words", 0, "", func() {
		s.writeLabels(p)
		s.cal.writeDates(p, s.upper)
	})
	s.drawKey(p)
}

// paintDays draws the lines of dates and degrees, the holes and the beads.
func (s *departureSheet) paintDays(p pen, x, y func(float64) float64) {
	var grid, weeks [][2]point
	for _, v := range s.degrees.ticks {
		grid = append(grid, [2]point{{s.plot.x0, y(v)}, {s.plot.x1, y(v)}})
	}
	for _, t := range s.cal.ticks {
		if t.fits {
			weeks = append(weeks, [2]point{{x(float64(t.date)), s.upper.edge - 14}, {x(float64(t.date)), s.plot.y1}})
		}
	}
	p.segments(grid, p.pal.hairline, 0.8)
	p.segments(weeks, p.pal.hairline, 0.8)
	p.line([]point{{s.plot.x0, s.upper.edge}, {s.plot.x1, s.upper.edge}}, p.pal.ink, 1)
	next := s.m.lo
	for _, d := range s.m.days {
		if next < d.date {
			p.stretch(Gap, x(float64(next)), s.plot.y0, x(float64(d.date)), s.plot.y1)
		}
		next = d.date + 1
	}
	p.group("days", 0, "", func() {
		for _, d := range s.m.days {
			p.offBead(x(float64(d.date)), x(float64(d.date+1)), y(max(d.value, 0)), y(min(d.value, 0)), d.value >= 0)
		}
	})
	p.line([]point{{s.plot.x0, y(0)}, {s.plot.x1, y(0)}}, p.pal.ink, 1.2)
}
