package charts

import (
	"math"

	"gonum.org/v1/plot/vg"
)

// baseSheet is the chart of a base temperature profile laid out.
type baseSheet struct {
	board
	bunting
	m     *baseModel
	plot  frame
	days  upAxis
	base  scale
	ticks []float64 // of the base temperature
	ends  []end
	endsX float64
}

func newBaseSheet(m *baseModel, opt Options) *baseSheet {
	s := &baseSheet{board: newBoard(opt, m.title(), m.description()), m: m}
	most := 0.0
	lo, hi := m.current, m.current
	for i, k := range m.curves {
		for _, p := range k.Points {
			lo, hi = min(lo, p.BaseC), max(hi, p.BaseC)
			most = max(most, p.Days)
			if i == 0 {
				most = max(most, p.High)
			}
		}
	}
	if m.hasProposed {
		lo, hi = min(lo, m.proposed), max(hi, m.proposed)
	}
	if most == 0 {
		most = 1
	}
	air := max((hi-lo)*0.03, 0.01)
	s.base = scale{lo - air, hi + air}

	y := s.heading(m.heading, m.hindcast, m.finding, m.basis)
	height := 320.0
	if s.w < 600 {
		height = 240
	}
	s.days = fromZero(most, height/46)
	named := s.w >= namesFrom && len(m.curves) > 1
	x1 := s.w - s.margin
	if s.w >= namesFrom {
		s.endsX = math.Round(x1 - min(250, s.w*0.27))
		x1 = s.endsX - 26
	}
	x0 := math.Round(s.margin + s.days.figuresWidth() + 12)
	for _, l := range nameStyle.wrap(m.loss, x1-s.margin, 2) {
		y += 17
		s.say(s.margin, y-4, nameStyle, left, s.pal.ink, l)
	}
	s.plot = frame{x0: x0, x1: x1}
	now := "base in use, "
	if m.hasProposed && m.proposed == m.current {
		now = "base in use and proposed, "
	}
	s.hang(x0+2, x1-2, flag{x: s.x(m.current), text: now + m.units.degrees(m.current), style: gapStyle, ink: s.pal.ink})
	if m.hasProposed && m.proposed != m.current {
		s.hang(x0+2, x1-2, flag{x: s.x(m.proposed), text: "proposed, " + m.units.degrees(m.proposed), style: gapStyle, ink: s.pal.slate})
	}
	s.foot = y + 4 + s.settleAll()
	s.plot.y0, s.plot.y1 = s.foot, s.foot+height
	s.figures(s.plot, s.days)

	y = s.placeBases(s.plot.y1)
	side := s.plot.y0 - 4
	if named {
		for n, k := range m.curves {
			p := k.Points[len(k.Points)-1]
			st := cellStyle
			if n == 0 {
				st = seenStyle
			}
			s.ends = append(s.ends, end{
				from: point{s.x(p.BaseC), s.days.px(s.plot, p.Days)}, n: n,
				lines: st.wrap(k.Name, s.w-s.margin-s.endsX, 2),
			})
		}
		side = s.placeEnds(s.endsX, s.plot.y0, s.plot.y1, s.ends) + 16
	}
	if s.endsX > 0 {
		// The key stands where the names leave more room.
		items := s.keyItems(false)
		if named && s.ends[0].top-s.plot.y0 > s.plot.y1-side {
			side = s.plot.y0 - 4
			if need := s.keyHeight(items); s.plot.y0-4+need > s.topOfEnds()-8 {
				side = s.bottomOfEnds() + 16
			}
		}
		y = max(y, s.placeKey(s.endsX-8, side, s.w-s.margin-s.endsX+8, items))
	} else {
		y = s.placeKey(s.margin, y+10, s.w-2*s.margin, s.keyItems(true))
	}
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

func (s *baseSheet) topOfEnds() float64 {
	top := math.Inf(1)
	for _, e := range s.ends {
		top = min(top, e.top)
	}
	return top
}

func (s *baseSheet) bottomOfEnds() float64 {
	low := 0.0
	for _, e := range s.ends {
		low = max(low, e.top+e.h)
	}
	return low
}

// keyHeight returns the height that placeKey will take at the right.
func (s *baseSheet) keyHeight(items []keyItem) float64 {
	h := 0.0
	for _, it := range items {
		h += keyLine*float64(len(noteStyle.wrap(it.lines[0], s.w-s.margin-s.endsX+8-keySign-12, 3))) + 7
	}
	return h
}

// x returns the place of a base temperature.
func (s *baseSheet) x(base float64) float64 {
	return s.plot.x0 + (base-s.base.lo)/(s.base.hi-s.base.lo)*(s.plot.x1-s.plot.x0)
}

// placeBases sets the axis of base temperatures under y and returns its end.
func (s *baseSheet) placeBases(y float64) float64 {
	step := 1.0
	for _, k := range []float64{0.5, 1, 2, 5, 10, 20} {
		if step = k; s.x(s.base.lo+k)-s.plot.x0 >= 34 && (s.base.hi-s.base.lo)/k < 10 {
			break
		}
	}
	for v := math.Ceil(s.base.lo/step) * step; v <= s.base.hi; v += step {
		s.ticks = append(s.ticks, v)
		s.say(s.x(v), y+19, tickStyle, centre, s.pal.soft, degreeNumber(v))
	}
	s.say((s.plot.x0+s.plot.x1)/2, y+38, noteStyle, centre, s.pal.ink, "base temperature, "+s.m.units.degreeUnit())
	return y + 44
}

func (s *baseSheet) keyItems(lines bool) []keyItem {
	var out []keyItem
	if lines || len(s.m.curves) == 1 {
		for n, k := range s.m.curves {
			h := s.pal.hand(n)
			out = append(out, keyItem{lines: []string{k.Name}, draw: func(p pen, x, y float64) {
				p.stroke([]point{{x, y}, {x + 51, y}}, h)
				p.basePoint(x+25, y, h)
			}})
		}
	}
	for _, q := range s.m.curves[0].Points {
		if q.ranged() {
			out = append(out, keyItem{lines: []string{"range of " + s.m.curves[0].Name + ": " + s.m.interval}, draw: func(p pen, x, y float64) {
				p.ribbon([]point{{x, y - 7}, {x + 51, y - 7}}, []point{{x, y + 7}, {x + 51, y + 7}}, p.pal.blush, p.pal.berry)
			}})
			break
		}
	}
	return append(out, keyItem{lines: []string{"the least error of the curve"}, draw: func(p pen, x, y float64) {
		p.dot(x+26, y, 5, p.pal.paper, p.pal.ink, 1.5)
	}})
}

// basePoint draws the point of a curve at one base temperature.
func (p pen) basePoint(x, y float64, h hand) {
	if h.mark == 0 {
		p.fullDisc(x, y, 2.8, h.ink)
		return
	}
	p.fullDisc(x, y, 2, h.ink)
}

// draw draws the whole chart on c.
func (s *baseSheet) draw(c vg.Canvas) {
	dc, p := s.paint(c)
	p.group("grid", 0, "", func() {
		var up [][2]point
		for _, v := range s.ticks {
			up = append(up, [2]point{{s.x(v), s.plot.y0}, {s.x(v), s.plot.y1 + 5}})
		}
		p.segments(up, s.pal.hairline, 0.8)
	})
	p.group("curves", 0, "", func() {
		s.panel(dc, s.plot, s.base, s.days.scale, layer{&s.board, s.paintBand})
		s.panel(dc, frame{s.plot.x0, 0, s.plot.x1, s.h}, s.base, scale{-s.h, 0}, poles{&s.board, &s.bunting, s.plot.y1})
		s.panel(dc, s.plot, s.base, s.days.scale, layer{&s.board, s.paintCurves})
	})
	p.leaders(s.endsX, s.ends)
	p.group("words", 0, "", func() {
		s.writeLabels(p)
		s.writeFlags(p)
	})
	s.drawKey(p)
}

// paintBand draws the range of the main curve and the level lines over it.
func (s *baseSheet) paintBand(p pen, x, y func(float64) float64) {
	var upper, lower []point
	flush := func() {
		p.ribbon(upper, lower, p.pal.blush, p.pal.berry)
		upper, lower = nil, nil
	}
	for _, q := range s.m.curves[0].Points {
		if !q.ranged() {
			flush()
			continue
		}
		upper = append(upper, point{x(q.BaseC), y(q.High)})
		lower = append(lower, point{x(q.BaseC), y(q.Low)})
	}
	flush()
	p.lattice(s.plot, s.days)
}

// paintCurves draws the curves; the main one comes last and lies on top.
func (s *baseSheet) paintCurves(p pen, x, y func(float64) float64) {
	for n := len(s.m.curves) - 1; n >= 0; n-- {
		k := s.m.curves[n]
		h := p.pal.hand(n)
		p.group("curve", n+1, k.Name, func() {
			var pts []point
			for _, q := range k.Points {
				pts = append(pts, point{x(q.BaseC), y(q.Days)})
			}
			p.stroke(pts, h)
			for _, q := range pts {
				p.basePoint(q.x, q.y, h)
			}
			best := k.least()
			p.dot(x(best.BaseC), y(best.Days), 5, p.pal.paper, p.pal.ink, 1.5)
		})
	}
}
