package charts

import (
	"math"
	"strings"
)

// sheet is the season chart laid out: where everything stands. Laying out is
// plain arithmetic on text widths; nothing is drawn.
type sheet struct {
	board
	calendar
	bunting
	m *model

	top                float64 // upper end of the flags, under the dates
	rowsTop            float64
	supplyTop          float64
	supplyEnd          float64
	upperAxis, lowAxis axisLines

	lines  []rowBox
	yMax   float64
	yTicks []float64
}

// rowBox is the place of a row: all of it from y0 to y1, the line of its wire
// and the height of a full bead.
type rowBox struct {
	y0, y1    float64
	barY      float64
	thickness float64
	reason    [2]float64 // start and end of the words in place of beads
}

const (
	badgeWidth  = 24
	badgeHeight = 17
	reasonLine  = 15.0
)

// newSheet lays out a chart from top to bottom.
func newSheet(m *model, opt Options) *sheet {
	s := &sheet{
		board: newBoard(opt, title(m.farm, m.year, m.hindcast), m.description()),
		m:     m,
	}
	y := s.heading(title(m.farm, m.year, false), m.hindcast, m.findings(5), m.basis())
	table := s.columns()
	s.calendar = newCalendar(m.lo, m.hi, s.x0, s.x1, m.units)

	s.upperAxis = axisLines{months: y + 14, ticks: y + 30, edge: y + axisHeight}
	s.top = y + axisHeight
	s.rowsTop = s.top + s.placeFlags()
	s.foot = s.rowsTop
	y = s.placeRows(s.rowsTop, table)

	y = s.placeSupply(y)
	s.lowAxis = axisLines{ticks: y + 17, months: y + 33, edge: y}
	end := y + axisHeight

	if table != nil {
		end = max(end, s.placeKey(table.x, s.supplyTop-6, s.w-s.margin-table.x, s.keyItems()))
	} else {
		end = s.placeKey(s.margin, end+8, s.w-2*s.margin, s.keyItems())
	}
	s.h = math.Ceil(end + s.margin*0.7)
	return s
}

// table is the columns of dates at the right of wide charts.
type table struct {
	x       float64 // left end
	columns []column
	daysX   float64 // right end of the median length; its spread starts 6 px on
	spread  string  // head of the spread; empty if there is none
}

type column struct {
	head  string
	x     float64
	stage func(row) (day, bool)
}

// columns divides the width and returns the table of dates, or nil if the
// chart has none.
func (s *sheet) columns() *table {
	if s.compact {
		s.x0, s.x1 = s.margin+40, s.w-s.margin
		return nil
	}
	names, forecasts := 0.0, 0
	for _, r := range s.m.rows {
		names = max(names, nameStyle.width(r.name), subStyle.width(r.sub))
		if s.dense() && r.sub != "" { // Both in one line, if they can be.
			names = max(names, nameStyle.width(r.name)+besideName+subStyle.width(r.sub))
		}
		if r.none == "" {
			forecasts++
		}
	}
	names = min(max(names, 110), s.w*0.175)
	s.x0 = math.Round(s.margin + badgeWidth + 9 + names + 16)
	s.x1 = s.w - s.margin
	if forecasts == 0 {
		return nil
	}
	t := &table{columns: []column{
		{"first ripe", 0, func(r row) (day, bool) { return r.first[1], r.seenFirst }},
		{"peak", 0, func(r row) (day, bool) { return r.peak[1], r.seenPeak }},
		{"last pick", 0, func(r row) (day, bool) { return r.last[1], r.seenLast }},
	}}
	spread := 0.0
	for _, r := range s.m.rows {
		_, sp := r.windowDays()
		spread = max(spread, cellStyle.width(sp))
	}
	if spread > 0 {
		t.spread = "(8 in 10)"
		spread = max(spread, headStyle.width(t.spread))
	}
	x := 0.0
	for i := range t.columns {
		c := &t.columns[i]
		c.x = x
		w := headStyle.width(c.head)
		for _, r := range s.m.rows {
			if r.none == "" {
				d, _ := c.stage(r)
				w = max(w, seenStyle.width(s.m.units.date(d)))
			}
		}
		x += w + 16
	}
	t.daysX = x + headStyle.width("days")
	width := max(t.daysX+6+spread, 280)
	t.x = math.Round(s.w - s.margin - width)
	for i := range t.columns {
		t.columns[i].x += t.x
	}
	t.daysX += t.x
	s.x1 = t.x - 22
	return t
}

// besideName parts the name of a block from that of the variety before it.
const besideName = 7

// dense reports whether there are so many rows that they are set close.
func (s *sheet) dense() bool { return len(s.m.rows) > 12 }

// placeRows sets the rows from y downwards, with their texts, and returns the
// end of the last.
func (s *sheet) placeRows(y float64, t *table) float64 {
	if len(s.m.rows) == 0 {
		s.sayOver((s.x0+s.x1)/2, y+34, noteStyle, centre, s.pal.soft, "no plantings")
		return y + 60
	}
	if t != nil {
		base := s.upperAxis.ticks
		for _, c := range t.columns {
			s.say(c.x, base, headStyle, left, s.pal.soft, c.head)
		}
		s.say(t.daysX, base, headStyle, right, s.pal.soft, "days")
		s.say(t.daysX+6, base, headStyle, left, s.pal.soft, t.spread)
	}
	for _, r := range s.m.rows {
		var b rowBox
		if s.compact {
			b = s.compactRow(y, r)
		} else {
			b = s.wideRow(y, r, t)
		}
		if r.none != "" {
			b.reason = s.reason(r, b.barY)
		}
		s.lines = append(s.lines, b)
		y = b.y1
	}
	return y
}

// reasonLines breaks the words why a row has no forecast.
func (s *sheet) reasonLines(r row) []string {
	return cellStyle.wrap("no forecast: "+r.none, s.x1-s.x0-16, 2)
}

// reason sets these words around the line y and returns where they start and
// end. They stand clear of the as-of line if there is room.
func (s *sheet) reason(r row, y float64) [2]float64 {
	lines := s.reasonLines(r)
	w := 0.0
	for _, l := range lines {
		w = max(w, cellStyle.width(l))
	}
	x := s.x0 + 8
	free := true
	if line := s.x(s.m.asOf); x-4 < line && line < x+w+4 {
		if free = line+10+w <= s.x1; free {
			x = line + 10
		}
	}
	for _, g := range s.m.stretches {
		free = free && (s.x(g.to+1) < x || x+w < s.x(g.from))
	}
	say := s.sayOver
	if free {
		say = s.say
	}
	base := y + 4.5 - reasonLine/2*float64(len(lines)-1)
	for _, l := range lines {
		say(x, base, cellStyle, left, s.pal.soft, l)
		base += reasonLine
	}
	return [2]float64{x - 5, x + w + 5}
}

// wideRow sets a row with its name at the left and its dates at the right.
func (s *sheet) wideRow(y float64, r row, t *table) rowBox {
	x := s.margin + badgeWidth + 9
	w := s.x0 - 16 - x
	lines := nameStyle.wrap(r.name, w, 3)
	height, thickness := 40.0, 17.0
	if s.dense() {
		height, thickness = 25, 13
	}
	const nameLine, subLine = 16, 15
	text := float64(len(lines)) * nameLine
	sub := ""
	beside := s.dense() && nameStyle.width(lines[len(lines)-1])+besideName+subStyle.width(r.sub) <= w
	if !beside && r.sub != "" {
		sub = subStyle.fit(r.sub, w)
		text += subLine
	}
	height = max(height, text+10)
	if r.none != "" {
		height = max(height, reasonLine*float64(len(s.reasonLines(r)))+8)
	}
	b := rowBox{y0: y, y1: y + height, barY: y + height/2, thickness: thickness}
	base := b.barY - text/2 + 12.5
	for i, l := range lines {
		s.say(x, base, nameStyle, left, s.pal.ink, l)
		if beside && i == len(lines)-1 {
			s.say(x+nameStyle.width(l)+besideName, base, subStyle, left, s.pal.soft, r.sub)
		}
		base += nameLine
	}
	s.say(x, base-0.5, subStyle, left, s.pal.soft, sub)
	if t == nil || r.none != "" {
		return b
	}
	base = b.barY + 4.5
	for _, c := range t.columns {
		d, seen := c.stage(r)
		st := cellStyle
		if seen {
			st = seenStyle
		}
		s.say(c.x, base, st, left, s.pal.ink, s.m.units.date(d))
	}
	median, spread := r.windowDays()
	s.say(t.daysX, base, cellStyle, right, s.pal.ink, median)
	s.say(t.daysX+6, base, cellStyle, left, s.pal.soft, spread)
	return b
}

// compactRow sets a row with its name and dates above its beads, in one line
// if they fit.
func (s *sheet) compactRow(y float64, r row) rowBox {
	x, w := s.margin, s.x1-s.margin
	dates := s.dateWords(r)
	datesW := 0.0
	for _, d := range dates {
		datesW += d.style.width(d.text)
	}
	const gap = 14
	lines := nameStyle.wrap(r.name, w, 2)
	base := y + 17
	for i, l := range lines {
		if i > 0 {
			base += 16
		}
		s.sayOver(x, base, nameStyle, left, s.pal.ink, l)
	}
	at := x // where the block's name goes
	last := nameStyle.width(lines[len(lines)-1])
	if need := last + 6 + subStyle.width(r.sub) + gap + datesW; need <= w {
		at += last + 6
	} else if r.sub != "" || last+gap+datesW > w {
		base += 16
	}
	s.sayOver(at, base, subStyle, left, s.pal.soft, subStyle.fit(r.sub, s.x1-datesW-gap-at))
	at = s.x1 - datesW
	for _, d := range dates {
		s.sayOver(at, base, d.style, left, s.pal.ink, d.text)
		at += d.style.width(d.text)
	}
	const thickness = 15
	b := rowBox{y0: y, thickness: thickness}
	high := float64(thickness)
	if r.none != "" {
		high = max(high, reasonLine*float64(len(s.reasonLines(r))))
	}
	b.barY = base + 10 + high/2
	b.y1 = b.barY + high/2 + 7
	return b
}

// dateWords is the window of a planting as pieces of text, seen dates in bold.
func (s *sheet) dateWords(r row) []label {
	if r.none != "" {
		return nil
	}
	style := func(seen bool) style {
		if seen {
			return seenStyle
		}
		return cellStyle
	}
	from, to, _ := strings.Cut(s.m.units.dates(r.first[1], r.last[1]), " – ")
	out := []label{{style: style(r.seenFirst && (to != "" || r.seenLast)), text: from}}
	if to != "" {
		out = append(out, label{style: cellStyle, text: nbsp + "–" + nbsp}, label{style: style(r.seenLast), text: to})
	}
	if n, _ := r.windowDays(); n != "" {
		out = append(out, label{style: cellStyle, text: ", " + plural(r.window[1], "day", "days")})
	}
	return out
}

// placeSupply sets the lower panel under y and returns its end.
func (s *sheet) placeSupply(y float64) float64 {
	unit := s.m.units.weightUnit()
	head := "Ripe fruit " + glue("standing, "+unit)
	height := 200.0
	if s.compact {
		if s.w < 600 {
			height = 160
		}
		s.supplyTop = y + 26
		s.sayOver(s.margin, y+18, nameStyle, left, s.pal.ink, nameStyle.fit(head, s.x1-s.margin))
	} else {
		s.supplyTop = y + 18
		s.paragraph(s.margin, s.supplyTop-4, nameStyle, s.pal.ink, nameStyle.wrap(head, s.x0-s.margin-62, 3))
	}
	most := 0.0
	for _, d := range s.m.supply {
		most = max(most, d.p90)
	}
	if most == 0 {
		s.supplyEnd = s.supplyTop + 64
		s.sayOver((s.x0+s.x1)/2, s.supplyTop+36, cellStyle, centre, s.pal.soft, cellStyle.fit("no estimate of ripe fruit yet", s.x1-s.x0))
		return s.supplyEnd
	}
	s.supplyEnd = s.supplyTop + height
	s.yMax, s.yTicks = niceTicks(1.06*max(most, s.m.minimum, 1), height/38)
	at := s.supplyY(s.m.minimum)
	for _, v := range s.yTicks {
		if s.m.minimum > 0 && math.Abs(s.supplyY(v)-at) < 15 {
			continue // The minimum stands there.
		}
		s.say(s.x0-8, s.supplyY(v)+4, tickStyle, right, s.pal.soft, axisNumber(v, s.yMax))
	}
	if s.m.minimum > 0 {
		word := axisNumber(s.m.minimum, s.yMax)
		if !s.compact {
			word = "minimum " + word
		}
		s.say(s.x0-8, at+4, seenStyle, right, s.pal.ink, seenStyle.fit(word, s.x0-8-4))
	}
	return s.supplyEnd
}

// supplyY returns the height of an amount in the lower panel.
func (s *sheet) supplyY(v float64) float64 {
	if s.yMax == 0 {
		return s.supplyEnd
	}
	return s.supplyEnd - v/s.yMax*(s.supplyEnd-s.supplyTop)
}
