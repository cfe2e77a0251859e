package charts

import (
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
)

// storySheet is the chart of a planting's story laid out.
type storySheet struct {
	board
	calendar
	bunting
	m          *storyModel
	plot       frame
	sums       upAxis
	stripY     float64 // middle of the row of days
	upper, low axisLines
	ends       []end
	endsX      float64
}

const stripHeight = 26

func newStorySheet(m *storyModel, opt Options) *storySheet {
	s := &storySheet{board: newBoard(opt, m.title(), m.description()), m: m}
	y := s.heading(m.heading, m.hindcast, m.findings(), m.ground())
	height := 360.0
	if s.w < 600 {
		height = 280
	}
	end, ticks := niceTicks(m.top, height/52)
	s.sums = upAxis{scale: scale{0, end}, step: end, ticks: ticks}
	if len(ticks) > 1 {
		s.sums.step = ticks[1]
	}
	x1 := s.w - s.margin
	wide := !s.compact
	if wide {
		s.endsX = math.Round(x1 - 270)
		x1 = s.endsX - 26
	}
	x0 := math.Round(s.margin + max(s.sums.figuresWidth(), tickStyle.width("days")) + 12)
	s.calendar = newCalendar(m.lo, m.hi, x0, x1, m.units)
	s.say(s.margin, y+13, nameStyle, left, s.pal.ink, nameStyle.fit("Degree-days since bloom, "+m.units.heatUnit(), x1-s.margin))
	y += 20
	s.upper = axisLines{months: y + 14, ticks: y + 30, edge: y + axisHeight}
	y += axisHeight
	s.plot = frame{x0: x0, x1: x1}
	s.foot = y + s.placeFlags()
	s.plot.y0, s.plot.y1 = s.foot, s.foot+height
	s.figures(s.plot, s.sums)
	s.stripY = s.plot.y1 + stripHeight/2
	s.say(x0-8, s.stripY+4, tickStyle, right, s.pal.soft, "days")
	edge := s.plot.y1 + stripHeight
	s.low = axisLines{ticks: edge + 17, months: edge + 33, edge: edge}
	y = edge + axisHeight
	if wide {
		side := s.placeNeeds() + 16
		y = max(y, s.placeKey(s.endsX-8, side, s.w-s.margin-s.endsX+8, s.keyItems()))
	} else {
		s.placeNeedsInside()
		y += 2
		for _, n := range m.needs {
			t := upper(n.stage) + ": " + n.requires(m.units)
			if d := n.dated(m.units); d != "" {
				t += ", " + d
			}
			y = s.paragraph(s.margin, y+3, cellStyle, s.pal.ink, cellStyle.wrap(t, s.w-2*s.margin, 3))
		}
		y = s.placeKey(s.margin, y+12, s.w-2*s.margin, s.keyItems())
	}
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

// placeFlags sets the flags and returns the height they take.
func (s *storySheet) placeFlags() float64 {
	m := s.m
	add := func(f flag) { s.hang(s.x0+2, s.x1-2, f) }
	middle := func(d day) float64 { return s.x(d) + s.px/2 }
	add(flag{x: middle(m.bloom), text: "bloom, " + m.units.date(m.bloom), style: flagStyle, ink: s.pal.soft, dotted: true})
	if m.asOf < m.hi {
		add(flag{x: s.x(m.asOf), text: asOfWords(m.asOf, m.hindcast, m.units), style: gapStyle, ink: s.pal.ink})
	}
	if a, b, ok := s.outlook(); ok {
		add(flag{x: (a + b) / 2, text: "outlook to " + m.units.date(m.outlookEnd), style: flagStyle, ink: s.pal.slate, stretch: true})
	}
	for _, n := range m.needs {
		if n.hasSeen {
			add(flag{x: middle(n.seen), text: n.stage + ", " + m.units.date(n.seen), style: seenStyle, ink: s.pal.ink, dotted: true})
		}
	}
	return s.settleAll()
}

// outlook returns where the days of the outlook begin and end.
func (s *storySheet) outlook() (from, to float64, ok bool) {
	for _, h := range s.m.days {
		if h.kind != outlook || h.date >= s.hi {
			continue
		}
		if !ok {
			from, ok = s.x(h.date), true
		}
		to = s.x(h.date + 1)
	}
	return from, to, ok
}

// placeNeeds names the requirements at the right, each at its height, and
// returns the bottom.
func (s *storySheet) placeNeeds() float64 {
	const pad = 10
	w := s.w - s.margin - s.endsX
	want, high := make([]float64, len(s.m.needs)), make([]float64, len(s.m.needs))
	var words [][]string
	for i, n := range s.m.needs {
		lines := []string{seenStyle.fit(n.stage, w), cellStyle.fit(n.requires(s.m.units), w)}
		if d := n.dated(s.m.units); d != "" {
			lines = append(lines, cellStyle.wrap(d, w, 2)...)
		}
		words = append(words, lines)
		want[i] = s.sums.px(s.plot, n.p50)
		high[i] = endLine*float64(len(lines)) + pad
	}
	low := s.plot.y0
	for i, y := range spread(want, high, s.plot.y0-8, s.plot.y1) {
		for k, l := range words[i] {
			st := cellStyle
			if k == 0 {
				st = seenStyle
			}
			s.say(s.endsX, y+pad/2+11.5+endLine*float64(k), st, left, s.pal.ink, l)
		}
		s.ends = append(s.ends, end{from: point{s.x1, want[i]}, top: y + pad/2, h: high[i] - pad})
		low = max(low, y+high[i])
	}
	return low
}

// placeNeedsInside names the requirements at the left end of their bands,
// where few degree-days have been summed yet.
func (s *storySheet) placeNeedsInside() {
	want, high := make([]float64, len(s.m.needs)), make([]float64, len(s.m.needs))
	for i, n := range s.m.needs {
		want[i], high[i] = s.sums.px(s.plot, n.p50), 18
	}
	for i, y := range spread(want, high, s.plot.y0, s.plot.y1) {
		x := s.x0 + 6
		s.sayOver(x, y+13, seenStyle, left, s.pal.slate, seenStyle.fit(s.m.needs[i].stage, s.x1-x-6))
	}
}

func (s *storySheet) keyItems() []keyItem {
	var out []keyItem
	kinds := map[heatKind]bool{}
	for _, h := range s.m.days {
		if h.date < s.hi {
			kinds[h.kind] = true
		}
	}
	sign := func(text string, draw func(p pen, x, y float64)) {
		out = append(out, keyItem{lines: []string{text}, draw: draw})
	}
	row := func(kind heatKind) func(p pen, x, y float64) {
		return func(p pen, x, y float64) {
			for k := range 3 {
				at := x + 28 + 8*float64(k)
				p.dayBead(at, at+8, y, kind)
			}
		}
	}
	if kinds[observed] {
		sign("degree-days of days observed", func(p pen, x, y float64) {
			p.line([]point{{x, y}, {x + 22, y}}, p.pal.berry, 2.6)
			row(observed)(p, x, y)
		})
	}
	if kinds[filled] {
		sign("of days not observed, filled in", func(p pen, x, y float64) {
			p.hollow([]point{{x, y}, {x + 22, y}})
			row(filled)(p, x, y)
		})
	}
	ribbon := func(p pen, x, y float64) {
		p.ribbon([]point{{x, y - 6}, {x + 22, y - 6}}, []point{{x, y + 6}, {x + 22, y + 6}}, p.pal.blush, p.pal.berry)
		p.line([]point{{x, y}, {x + 22, y}}, p.pal.berry, 1.6, 6, 3)
	}
	if kinds[outlook] {
		sign("to come, from the outlook: as likely above the dashes as below, 8 in 10 within the range", func(p pen, x, y float64) {
			ribbon(p, x, y)
			row(outlook)(p, x, y)
		})
	}
	if kinds[replayed] {
		text := "to come, from past years"
		if !kinds[outlook] {
			text += ": as likely above the dashes as below, 8 in 10 within the range"
		}
		sign(text, func(p pen, x, y float64) {
			ribbon(p, x, y)
			row(replayed)(p, x, y)
		})
	}
	seen, expected := false, false
	for _, n := range s.m.needs {
		seen = seen || n.hasSeen
		expected = expected || n.hasWhen && !n.hasSeen
	}
	if len(s.m.needs) > 0 {
		sign("what a stage requires, 8 in 10 within the band", func(p pen, x, y float64) { p.band(x, x+51, y-7, y, y+7, true) })
	}
	if seen {
		sign("stage seen in the field", func(p pen, x, y float64) { p.dot(x+26, y, 5, p.pal.ink, p.pal.paper, 1.4) })
	}
	if expected {
		sign("stage expected, 8 chances in 10 along the line", func(p pen, x, y float64) {
			p.line([]point{{x + 12, y}, {x + 40, y}}, p.pal.ink, 1.3)
			p.dot(x+26, y, 4.6, p.pal.paper, p.pal.ink, 1.5)
		})
	}
	sign("Saturday and Sunday", func(p pen, x, y float64) { p.rect(x+10, y-7, x+42, y+8, p.pal.weekend) })
	return out
}

// hollow draws a line with an empty middle.
func (p pen) hollow(pts []point) {
	p.line(pts, p.pal.berry, 3.4)
	p.line(pts, p.pal.paper, 1.4)
}

// band draws what a stage requires from x0 to x1 with its quantiles at the
// heights y90, y50 and y10, its ground only where asked for.
func (p pen) band(x0, x1, y90, y50, y10 float64, ground bool) {
	if ground {
		p.rect(x0, y90, x1, y10, p.pal.gapTint)
	}
	p.segments([][2]point{{{x0, y90}, {x1, y90}}, {{x0, y10}, {x1, y10}}}, p.pal.slate, 0.7)
	p.line([]point{{x0, y50}, {x1, y50}}, p.pal.slate, 1.2, 2, 3)
}

// dayBead draws the bead of a day that ends at x1, on the line y.
func (p pen) dayBead(x0, x1, y float64, kind heatKind) {
	half := 8.0
	fill := p.pal.paper
	switch kind {
	case observed:
		fill = p.pal.berry
	case outlook:
		fill = p.pal.flesh
	case replayed:
		half = 3
	case filled:
	}
	gap := min(0.75, (x1-x0)*0.1)
	path := p.pill(x0+gap, y-half, x1-gap, y+half)
	if x1-x0 < mergeUnder {
		path = p.box(x0, y-half, x1, y+half)
	}
	p.c.SetColor(fill)
	p.c.Fill(path)
	if x1-x0 >= mergeUnder || kind == filled {
		p.set(p.pal.berry, 1)
		p.c.Stroke(path)
	}
}

// draw draws the whole chart on c.
func (s *storySheet) draw(c vg.Canvas) {
	dc, p := s.paint(c)
	dates := scale{float64(s.lo), float64(s.hi)}
	page := frame{s.x0, 0, s.x1, s.h}
	p.group("dates", 0, "", func() {
		s.panel(dc, page, dates, scale{-s.h, 0},
			weekends{&s.board, s.calendar, s.upper.edge, s.low.edge},
			weeks{&s.board, s.calendar, s.upper, s.low, s.low.edge})
	})
	p.group("heat", 0, "", func() {
		s.panel(dc, s.plot, dates, s.sums.scale, layer{&s.board, s.paintNeeds}, layer{&s.board, s.paintAhead})
		s.panel(dc, page, dates, scale{-s.h, 0}, poles{&s.board, &s.bunting, s.low.edge})
		s.panel(dc, s.plot, dates, s.sums.scale, layer{&s.board, s.paintPast}, layer{&s.board, s.paintStages})
	})
	p.group("days", 0, "", func() {
		for _, h := range s.m.days {
			if h.date < s.hi {
				p.dayBead(s.x(h.date), s.x(h.date+1), s.stripY, h.kind)
			}
		}
	})
	for _, e := range s.ends {
		p.line([]point{{e.from.x + 3, e.from.y}, {s.endsX - 20, e.from.y}, {s.endsX - 6, e.top + endLine/2}}, s.pal.wire, 1)
	}
	p.group("words", 0, "", func() {
		s.writeLabels(p)
		s.writeDates(p, s.upper, s.low)
		s.writeFlags(p)
	})
	s.drawKey(p)
}

// paintNeeds draws the grounds of the requirements.
func (s *storySheet) paintNeeds(p pen, x, y func(float64) float64) {
	p.lattice(s.plot, s.sums)
	for i, n := range s.m.needs {
		p.group("need", i+1, upper(n.stage)+": "+n.requires(s.m.units), func() {
			p.rect(s.x0, y(n.p90), s.x1, y(n.p10), p.pal.gapTint)
		})
	}
}

// paintAhead draws the range to come, and over it the lines of the
// requirements.
func (s *storySheet) paintAhead(p pen, x, y func(float64) float64) {
	var upper, mid, lower []point
	at := func(d day, v float64) point { return point{x(float64(d + 1)), y(v)} }
	started := false
	for i, h := range s.m.days {
		if h.kind < outlook || h.date >= s.hi {
			continue
		}
		if !started {
			started = true
			from := heat{date: s.m.bloom}
			if i > 0 {
				from = s.m.days[i-1]
			}
			upper, mid, lower = append(upper, at(from.date, from.p50)), append(mid, at(from.date, from.p50)), append(lower, at(from.date, from.p50))
		}
		upper, mid, lower = append(upper, at(h.date, h.p90)), append(mid, at(h.date, h.p50)), append(lower, at(h.date, h.p10))
	}
	upper, mid, lower = cutAt(upper, s.plot.y0), cutAt(mid, s.plot.y0), cutAt(lower, s.plot.y0)
	if len(upper) > 1 && len(lower) > 1 {
		ground := append(slices.Clone(upper), point{lower[len(lower)-1].x, upper[len(upper)-1].y})
		for _, q := range slices.Backward(lower) {
			ground = append(ground, q)
		}
		p.group("range", 0, "", func() {
			p.area(ground, p.pal.blush)
			p.line(upper, p.pal.berry, 1)
			p.line(lower, p.pal.berry, 1)
		})
	}
	for _, n := range s.m.needs {
		p.band(s.x0, s.x1, y(n.p90), y(n.p50), y(n.p10), false)
	}
	p.line(mid, p.pal.berry, 1.6, 6, 3)
	if a, b, ok := s.outlook(); ok {
		p.rect(a, s.plot.y0-2, b, s.plot.y0+2, p.pal.slate)
	}
}

// cutAt ends a line that rises to the right where it leaves the panel at top.
func cutAt(pts []point, top float64) []point {
	for i, q := range pts {
		if q.y >= top {
			continue
		}
		if i == 0 {
			return nil
		}
		a := pts[i-1]
		return append(slices.Clone(pts[:i]), point{a.x + (q.x-a.x)*(a.y-top)/(a.y-q.y), top})
	}
	return pts
}

// paintPast draws the degree-days so far: full where days were observed,
// hollow where they were filled.
func (s *storySheet) paintPast(p pen, x, y func(float64) float64) {
	run := []point{{x(float64(s.m.bloom + 1)), y(0)}}
	kind := observed
	flush := func() {
		if kind == filled {
			p.hollow(run)
		} else {
			p.line(run, p.pal.berry, 2.8)
		}
		run = run[len(run)-1:]
	}
	var hollows [][]point
	for _, h := range s.m.days {
		if h.kind >= outlook {
			break
		}
		if h.kind != kind {
			if kind == filled {
				hollows = append(hollows, run)
				run = run[len(run)-1:]
			} else {
				flush()
			}
			kind = h.kind
		}
		run = append(run, point{x(float64(h.date + 1)), y(h.p50)})
	}
	flush()
	for _, l := range hollows {
		p.hollow(l)
	}
}

// paintStages marks the dates of the stages on their degree-days.
func (s *storySheet) paintStages(p pen, x, y func(float64) float64) {
	mid := func(d day) float64 { return x(float64(d) + 0.5) }
	for i, n := range s.m.needs {
		p.group("stage", i+1, upper(n.stage)+": "+or(n.dated(s.m.units), "no date yet"), func() {
			switch {
			case n.hasSeen:
				p.dot(mid(n.seen), y(s.m.reached(n.seen)), 5, p.pal.ink, p.pal.paper, 1.4)
			case n.hasWhen:
				if n.when[0] < n.when[2] {
					p.line([]point{{mid(n.when[0]), y(n.p50)}, {mid(n.when[2]), y(n.p50)}}, p.pal.ink, 1.3)
				}
				p.dot(mid(n.when[1]), y(n.p50), 4.6, p.pal.paper, p.pal.ink, 1.5)
			}
		})
	}
}
