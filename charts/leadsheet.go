package charts

import (
	"math"

	"gonum.org/v1/plot/vg"
)

// leadSheet is the chart of error by lead laid out.
type leadSheet struct {
	board
	m          *leadModel
	main, bias frame
	days, late upAxis
	ends       []end // empty where the key names the lines
	endsX      float64
	bottom     float64 // of the words under the main panel
}

const namesFrom = 640 // px of width at which lines are named at their ends

func newLeadSheet(m *leadModel, opt Options) *leadSheet {
	s := &leadSheet{board: newBoard(opt, m.title(), m.description()), m: m}
	most := 0.0
	for i, line := range m.series {
		for _, p := range line.Points {
			most = max(most, p.Days)
			if i == 0 {
				most = max(most, p.High)
			}
		}
	}
	if most == 0 {
		most = 1
	}
	y := s.heading(m.heading, m.hindcast, m.finding, m.basis)
	height := 320.0
	if s.w < 600 {
		height = 230
	}
	s.days = fromZero(most, height/46)
	named := s.w >= namesFrom && len(m.series) > 1
	x1 := s.w - s.margin
	if named {
		s.endsX = math.Round(x1 - min(250, s.w*0.27))
		x1 = s.endsX - 26
	}
	words := tickStyle.width(m.rowName())
	for _, t := range []string{"cases", "seasons", "early"} {
		words = max(words, tickStyle.width(t))
	}
	x0 := math.Round(s.margin + max(words, s.days.figuresWidth()) + 14)
	for _, l := range nameStyle.wrap(m.loss, x1-s.margin, 2) {
		y += 17
		s.say(s.margin, y-4, nameStyle, left, s.pal.ink, l)
	}
	s.main = frame{x0, y + 8, x1, y + 8 + height}
	s.figures(s.main, s.days)
	y = s.placeLeads(s.main.y1 + 4)
	s.bottom = y
	side := s.main.y1 + 14 // Where the key begins, at the right.
	if named {
		for n, line := range m.series {
			if len(line.Points) == 0 {
				continue
			}
			p := line.Points[len(line.Points)-1]
			st := cellStyle
			if n == 0 {
				st = seenStyle
			}
			s.ends = append(s.ends, end{
				from: point{s.column(p.Lead), s.days.px(s.main, p.Days)}, n: n,
				lines: st.wrap(line.Name, s.w-s.margin-s.endsX, 2),
			})
		}
		side = max(side, s.placeEnds(s.endsX, s.main.y0, s.main.y1, s.ends)+14)
	}
	if len(m.bias) > 0 {
		y = s.placeBias(y + 12)
	}
	if named {
		y = max(y, s.placeKey(s.endsX-8, side, s.w-s.margin-s.endsX+8, s.keyItems(false)))
	} else {
		y = s.placeKey(s.margin, y+10, s.w-2*s.margin, s.keyItems(true))
	}
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

// rowName names the row of the forecast's figures under the panel.
func (m *leadModel) rowName() string {
	if name := m.series[0].Name; tickStyle.width(name) <= 80 {
		return name
	}
	return "forecast"
}

// column returns the middle of a lead.
func (s *leadSheet) column(i int) float64 {
	return s.main.x0 + (float64(i)+0.5)*s.columnWidth()
}

func (s *leadSheet) columnWidth() float64 {
	return (s.main.x1 - s.main.x0) / float64(len(s.m.leads))
}

// placeLeads sets the names of the leads and what was scored at them, from y
// down, and returns the bottom.
func (s *leadSheet) placeLeads(y float64) float64 {
	w := s.columnWidth() - 4
	low := y
	for i, l := range s.m.leads {
		base := y
		for _, t := range wholeWords(seenStyle, l.Label, w, 3) {
			base += 16
			s.say(s.column(i), base, seenStyle, centre, s.pal.ink, t)
		}
		low = max(low, base)
	}
	y = low + 4
	name := s.main.x0 - 8
	row := func(head string, st style, text func(i int) string) {
		y += 16
		s.say(name, y, tickStyle, right, s.pal.soft, head)
		for i := range s.m.leads {
			s.say(s.column(i), y, st, centre, s.pal.ink, st.fit(text(i), w))
		}
	}
	row(s.m.rowName(), seenStyle, func(i int) string {
		if p, ok := leadAt(s.m.series[0].Points, i); ok {
			return oneDecimal(p.Days)
		}
		return "–"
	})
	row("cases", cellStyle, func(i int) string { return number(float64(s.m.leads[i].Cases)) })
	row("seasons", cellStyle, func(i int) string { return number(float64(s.m.leads[i].Seasons)) })
	return y + 6
}

// wholeWords breaks a text into lines and shortens words wider than a line.
func wholeWords(st style, t string, w float64, n int) []string {
	lines := st.wrap(t, w, n)
	for _, l := range lines {
		if st.width(l) > w {
			return []string{st.fit(t, w)}
		}
	}
	return lines
}

// placeBias sets the small panel under y and returns its end.
func (s *leadSheet) placeBias(y float64) float64 {
	lo, hi := 0.0, 0.0
	for _, p := range s.m.bias {
		lo, hi = min(lo, p.Days, p.Low), max(hi, p.Days, p.High)
	}
	const words, reach = 22.0, 76.0
	if hi-lo < 1 {
		grow := (1 - hi + lo) / 2
		lo, hi = lo-grow, hi+grow
	}
	s.say(s.margin, y+14, nameStyle, left, s.pal.ink, nameStyle.fit("Bias of the "+s.m.series[0].Name+", days", s.main.x1-s.margin))
	s.bias = frame{s.main.x0, y + 22, s.main.x1, y + 22 + reach + 2*words}
	per := (hi - lo) / reach
	s.late = upAxis{scale: scale{lo - words*per, hi + words*per}}
	zero := s.late.px(s.bias, 0)
	s.say(s.bias.x0-8, zero-6, tickStyle, right, s.pal.soft, "late")
	s.say(s.bias.x0-8, zero+14, tickStyle, right, s.pal.soft, "early")
	for _, p := range s.m.bias {
		text := oneDecimal(math.Abs(p.Days))
		var at float64
		switch {
		case text == "0.0":
			text = "none"
			at = s.late.px(s.bias, max(p.High, 0)) - 10
		case p.Days > 0:
			text += " late"
			at = s.late.px(s.bias, max(p.Days, p.High)) - 8
		default:
			text += " early"
			at = s.late.px(s.bias, min(p.Days, p.Low)) + 17
		}
		if w := s.columnWidth() - 2; cellStyle.width(text) > w {
			text = cellStyle.fit(oneDecimal(p.Days), w)
		}
		s.sayOver(s.column(p.Lead), at, cellStyle, centre, s.pal.ink, text)
	}
	return s.bias.y1
}

func (s *leadSheet) keyItems(lines bool) []keyItem {
	var out []keyItem
	ranged := false
	for n, line := range s.m.series {
		if h := s.pal.hand(n); lines && len(line.Points) > 0 {
			out = append(out, keyItem{lines: []string{line.Name}, draw: h.sample})
		}
		for _, p := range line.Points {
			ranged = ranged || n == 0 && p.ranged()
		}
	}
	if ranged {
		out = append(out, keyItem{lines: []string{"range of the " + s.m.series[0].Name + ": " + s.m.interval}, draw: func(p pen, x, y float64) {
			p.capsule(x+26, y-10, y+10, rangeHalf, p.pal.blush, p.pal.berry)
		}})
	}
	for _, p := range s.m.bias {
		if p.ranged() {
			return append(out, keyItem{lines: []string{"bias, its range along the line"}, draw: func(p pen, x, y float64) {
				p.biasBead(x+26, y-6, y+4, y-10, y+10)
			}})
		}
	}
	return out
}

const rangeHalf = 6.0 // half the width of the pill of a range

// draw draws the whole chart on c.
func (s *leadSheet) draw(c vg.Canvas) {
	dc, p := s.paint(c)
	all := scale{-0.5, float64(len(s.m.leads)) - 0.5}
	p.group("columns", 0, "", func() {
		var up [][2]point
		for i := range s.m.leads {
			up = append(up, [2]point{{s.column(i), s.main.y0}, {s.column(i), s.main.y1 + 5}})
			if len(s.m.bias) > 0 {
				up = append(up, [2]point{{s.column(i), s.bias.y0}, {s.column(i), s.bias.y1}})
			}
		}
		p.segments(up, s.pal.hairline, 0.8)
		p.lattice(s.main, s.days)
	})
	p.group("lines", 0, "", func() {
		s.panel(dc, s.main, all, s.days.scale, layer{&s.board, s.paintLines})
	})
	if len(s.m.bias) > 0 {
		p.group("bias", 0, "", func() {
			s.panel(dc, s.bias, all, s.late.scale, layer{&s.board, s.paintBias})
		})
	}
	p.leaders(s.endsX, s.ends)
	p.group("words", 0, "", func() { s.writeLabels(p) })
	s.drawKey(p)
}

// paintLines draws the lines; the forecast comes last and lies on top.
func (s *leadSheet) paintLines(p pen, x, y func(float64) float64) {
	for _, q := range s.m.series[0].Points {
		if q.ranged() {
			p.capsule(x(float64(q.Lead)), y(q.High), y(q.Low), rangeHalf, p.pal.blush, p.pal.berry)
		}
	}
	for n := len(s.m.series) - 1; n >= 0; n-- {
		line := s.m.series[n]
		h := p.pal.hand(n)
		p.group("line", n+1, line.Name, func() {
			var run []point
			for i, q := range line.Points {
				if i > 0 && line.Points[i-1].Lead != q.Lead-1 {
					p.stroke(run, h)
					run = nil
				}
				run = append(run, point{x(float64(q.Lead)), y(q.Days)})
			}
			p.stroke(run, h)
			for _, q := range line.Points {
				p.mark(x(float64(q.Lead)), y(q.Days), h)
			}
		})
	}
}

// paintBias draws a bead from nought to each bias and a line over its range.
func (s *leadSheet) paintBias(p pen, x, y func(float64) float64) {
	p.line([]point{{s.bias.x0, y(0)}, {s.bias.x1, y(0)}}, p.pal.ink, 1)
	for _, q := range s.m.bias {
		at := x(float64(q.Lead))
		top, end := y(max(q.Days, 0)), y(min(q.Days, 0))
		if q.ranged() {
			p.biasBead(at, top, end, y(q.High), y(q.Low))
		} else {
			p.biasBead(at, top, end, top, top)
		}
	}
}

// biasBead draws a bead from y0 down to y1 and a line from high down to low.
func (p pen) biasBead(x, y0, y1, high, low float64) {
	path := p.pill(x-8, y0, x+8, max(y1, y0+0.5))
	p.c.SetColor(p.pal.flesh)
	p.c.Fill(path)
	p.set(p.pal.berry, 1.1)
	p.c.Stroke(path)
	if high < low {
		p.line([]point{{x, high}, {x, low}}, p.pal.ink, 1.3)
	}
}
