package charts

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg"
)

// reliabilitySheet is the chart of reliability laid out.
type reliabilitySheet struct {
	board
	m            *reliabilityModel
	shares, fall frame
	dots         []shareDot
	counts       upAxis
}

// shareDot is the dot of a bin and the place of its count.
type shareDot struct {
	x, y, r float64
	inside  bool // the count stands in the dot
}

func newReliabilitySheet(m *reliabilityModel, opt Options) *reliabilitySheet {
	s := &reliabilitySheet{board: newBoard(opt, m.title(), m.description()), m: m}
	y := s.heading(m.heading, m.hindcast, m.finding, m.basis) + 4
	both := len(m.chances) > 0 && len(m.falls) > 0
	full := s.w - 2*s.margin
	switch {
	case s.w < 760:
		w := min(full, 560)
		x := s.margin
		if len(m.chances) > 0 {
			y = s.placeShares(x, y, w) + 6
			y = s.placeKey(x, y, w, s.shareKey()) + 10
		}
		if len(m.falls) > 0 {
			y = s.placeFalls(x, y, w, min(w*0.6, 260)) + 6
			y = s.placeKey(x, y, w, s.fallKey())
		}
	case both:
		gutter := 2 * s.margin
		w := min((full-gutter)/2, 620)
		x := s.margin + w + gutter
		a, b := s.placeShares(s.margin, y, w), s.placeFalls(x, y, w, min(w-38, 400))
		y = max(a, b) + 8
		y = max(s.placeKey(s.margin, y, w, s.shareKey()), s.placeKey(x, y, w, s.fallKey()))
	default: // One panel, with its key at the right.
		w := min(full*0.62, 680)
		x, top := s.margin+w+40, y+26
		if len(m.chances) > 0 {
			y = s.placeShares(s.margin, y, w)
			y = max(y, s.placeKey(x, top, s.w-s.margin-x, s.shareKey()))
		} else {
			y = s.placeFalls(s.margin, y, w, min(w*0.5, 320))
			y = max(y, s.placeKey(x, top, s.w-s.margin-x, s.fallKey()))
		}
	}
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

// placeShares sets the panel of chances, w px wide, under y and returns its
// end.
func (s *reliabilitySheet) placeShares(x, y, w float64) float64 {
	for _, l := range nameStyle.wrap("How often "+s.m.event+" came, "+glue("times in 10"), w, 3) {
		y += 17
		s.say(x, y-4, nameStyle, left, s.pal.ink, l)
	}
	s.shares = frame{x + 30, y + 12, x + w - 8, y + 12 + min(w-38, 400)}
	f := s.shares
	for k := 0; k <= 10; k += 2 {
		t := fmt.Sprint(k)
		at := s.share(float64(k)/10, float64(k)/10)
		s.say(f.x0-8, at.y+4, tickStyle, right, s.pal.soft, t)
		s.say(at.x, f.y1+17, tickStyle, centre, s.pal.soft, t)
	}
	y = f.y1 + 22
	for _, l := range noteStyle.wrap("chance given by the forecast, "+glue("times in 10"), f.x1-f.x0, 2) {
		y += 16
		s.say((f.x0+f.x1)/2, y-2, noteStyle, centre, s.pal.ink, l)
	}
	s.placeDots()
	return y + 4
}

// shareAir is the room around the chances from 0 to 1, so that dots at the ends
// stay off the axes.
const shareAir = 0.05

// share returns the place of a share that came at a chance.
func (s *reliabilitySheet) share(chance, came float64) point {
	f := s.shares
	part := func(v float64) float64 { return (v + shareAir) / (1 + 2*shareAir) }
	return point{f.x0 + part(chance)*(f.x1-f.x0), f.y1 - part(came)*(f.y1-f.y0)}
}

// placeDots sets the dots and their counts: inside where there is room, else
// at the nearest place that covers no dot and no other count.
func (s *reliabilitySheet) placeDots() {
	f := s.shares
	most := 1
	for _, b := range s.m.chances {
		most = max(most, b.Cases)
	}
	largest := min(17, (f.x1-f.x0)/22)
	for _, b := range s.m.chances {
		at := s.share(b.Forecast, b.Came)
		s.dots = append(s.dots, shareDot{x: at.x, y: at.y, r: max(3.4, largest*math.Sqrt(float64(b.Cases)/float64(most)))})
	}
	const high = 11.0
	type place struct{ x0, y0, x1, y1 float64 }
	var taken []place
	free := func(q place, own int) bool {
		if q.x0 < f.x0+1 || f.x1+6 < q.x1 || q.y0 < f.y0-8 || f.y1-2 < q.y1 {
			return false
		}
		for _, t := range taken {
			if q.x0 < t.x1+2 && t.x0 < q.x1+2 && q.y0 < t.y1+2 && t.y0 < q.y1+2 {
				return false
			}
		}
		for i, d := range s.dots {
			if i == own {
				continue
			}
			dx := max(q.x0-d.x, d.x-q.x1, 0)
			dy := max(q.y0-d.y, d.y-q.y1, 0)
			if math.Hypot(dx, dy) < d.r+1.5 {
				return false
			}
		}
		return true
	}
	_, onBerry := s.pal.tone(2)
	for i := range s.dots {
		d := &s.dots[i]
		t := number(float64(s.m.chances[i].Cases))
		if w := numberStyle.width(t); w+5 <= 2*d.r && high+3 <= 2*d.r {
			q := place{d.x - w/2, d.y - high/2, d.x + w/2, d.y + high/2}
			covered := false // by a dot drawn later
			for _, e := range s.dots[i+1:] {
				dx, dy := max(q.x0-e.x, e.x-q.x1, 0), max(q.y0-e.y, e.y-q.y1, 0)
				covered = covered || math.Hypot(dx, dy) < e.r+1.5
			}
			if !covered {
				d.inside = true
				taken = append(taken, q)
				s.say(d.x, d.y+4, numberStyle, centre, onBerry, t)
			}
		}
	}
	for i := range s.dots {
		d := &s.dots[i]
		if d.inside {
			continue
		}
		t := number(float64(s.m.chances[i].Cases))
		w := cellStyle.width(t)
		wide := d.r
		if s.m.chances[i].ranged() {
			wide = max(wide, rangeHalf+1)
		}
	search:
		for far := 3.0; far < 60; far += 6 {
			for k := range 12 {
				// Right, left, above, below first; then between.
				a := []float64{0, 6, 9, 3, 11, 1, 7, 5, 10, 2, 8, 4}[k] * math.Pi / 6
				sin, cos := math.Sincos(a)
				cx, cy := d.x+cos*(wide+far+w/2), d.y+sin*(d.r+far+high/2)
				q := place{cx - w/2, cy - high/2, cx + w/2, cy + high/2}
				if free(q, i) {
					taken = append(taken, q)
					s.sayOver(cx, cy+4.5, cellStyle, centre, s.pal.ink, t)
					break search
				}
			}
		}
	}
}

// placeFalls sets the panel of ranges, w px wide and high px high, under y and
// returns its end.
func (s *reliabilitySheet) placeFalls(x, y, w, high float64) float64 {
	for _, l := range nameStyle.wrap("Where the truth fell in the forecast's range, cases", w, 3) {
		y += 17
		s.say(x, y-4, nameStyle, left, s.pal.ink, l)
	}
	most := s.m.high
	for _, n := range s.m.falls {
		most = max(most, float64(n))
	}
	s.counts = fromZero(max(most, s.m.flat), high/46)
	s.fall = frame{x + max(30, s.counts.figuresWidth()+14), y + 12, x + w - 8, y + 12 + high}
	f := s.fall
	for _, v := range s.counts.ticks {
		if v == math.Trunc(v) {
			s.say(f.x0-10, s.counts.px(f, v)+4, tickStyle, right, s.pal.soft, number(v))
		}
	}
	bin := (f.x1 - f.x0) / float64(len(s.m.falls))
	widest := 0.0
	for _, n := range s.m.falls {
		widest = max(widest, numberStyle.width(number(float64(n))))
	}
	y = f.y1 + 4
	if widest+3 <= bin {
		y += 13
		for i, n := range s.m.falls {
			s.say(f.x0+(float64(i)+0.5)*bin, y, numberStyle, centre, s.pal.ink, number(float64(n)))
		}
	}
	y += 19
	a, b := "earlier than forecast", "later than forecast"
	if noteStyle.width(a)+noteStyle.width(b)+12 > f.x1-f.x0 {
		a, b = "early", "late"
	}
	s.say(f.x0, y, noteStyle, left, s.pal.ink, a)
	s.say(f.x1, y, noteStyle, right, s.pal.ink, b)
	return y + 6
}

func (s *reliabilitySheet) shareKey() []keyItem {
	out := []keyItem{{lines: []string{"the forecasts that gave about the same chance; the larger, the more, with their number"}, draw: func(p pen, x, y float64) {
		p.fullDisc(x+10, y, 4, p.pal.berry)
		p.fullDisc(x+34, y, 9, p.pal.berry)
	}}, {lines: []string{"came as often as forecast; above the line it came more often, below less often"}, draw: func(p pen, x, y float64) {
		p.line([]point{{x + 8, y + 8}, {x + 44, y - 8}}, p.pal.ink, 1.2, 5, 3)
	}}}
	for _, b := range s.m.chances {
		if b.ranged() {
			return append(out, keyItem{lines: []string{"where the share lies 8 times in 10 if the chances are right"}, draw: func(p pen, x, y float64) {
				p.capsule(x+26, y-9, y+9, rangeHalf, p.pal.gapTint, p.pal.slate)
			}})
		}
	}
	return out
}

func (s *reliabilitySheet) fallKey() []keyItem {
	out := []keyItem{{lines: []string{"cases in each of " + plural(len(s.m.falls), "part", "parts") + " of the range of equal chance"}, draw: func(p pen, x, y float64) {
		p.pile(x+14, y-8, x+38, y+8)
	}}, {lines: []string{"as many as each should hold"}, draw: func(p pen, x, y float64) {
		p.line([]point{{x, y}, {x + 51, y}}, p.pal.ink, 1.4, 6, 3)
	}}}
	if s.m.high > 0 {
		out = append(out, keyItem{lines: []string{"where a count lies 8 times in 10 if the ranges are right"}, draw: func(p pen, x, y float64) {
			p.rect(x+4, y-7, x+48, y+7, p.pal.gapTint)
			p.segments([][2]point{{{x + 4, y - 7}, {x + 48, y - 7}}, {{x + 4, y + 7}, {x + 48, y + 7}}}, p.pal.slate, 1)
		}})
	}
	return out
}

// draw draws the whole chart on c.
func (s *reliabilitySheet) draw(c vg.Canvas) {
	dc, p := s.paint(c)
	if len(s.m.chances) > 0 {
		p.group("shares", 0, "", func() {
			all := scale{-shareAir, 1 + shareAir}
			s.panel(dc, s.shares, all, all, layer{&s.board, s.paintShares})
		})
	}
	if len(s.m.falls) > 0 {
		p.group("falls", 0, "", func() {
			s.panel(dc, s.fall, scale{0, float64(len(s.m.falls))}, s.counts.scale, layer{&s.board, s.paintFalls})
		})
	}
	p.group("words", 0, "", func() { s.writeLabels(p) })
	s.drawKey(p)
}

// paintShares draws the grid, the diagonal, ranges and dots, each on its
// chance and share.
func (s *reliabilitySheet) paintShares(p pen, x, y func(float64) float64) {
	f := s.shares
	var grid [][2]point
	for _, v := range []float64{0, 0.2, 0.4, 0.6, 0.8, 1} {
		grid = append(grid, [2]point{{x(v), f.y0}, {x(v), f.y1 + 4}}, [2]point{{f.x0 - 4, y(v)}, {f.x1, y(v)}})
	}
	p.segments(grid, p.pal.hairline, 0.8)
	p.line([]point{{f.x0, f.y0}, {f.x0, f.y1}, {f.x1, f.y1}}, p.pal.ink, 1)
	for _, b := range s.m.chances {
		if b.ranged() {
			p.capsule(x(b.Forecast), y(b.High), y(b.Low), rangeHalf, p.pal.gapTint, p.pal.slate)
		}
	}
	p.line([]point{{x(0), y(0)}, {x(1), y(1)}}, p.pal.ink, 1.2, 5, 3)
	for i, b := range s.m.chances {
		p.group("share", i+1, b.sentence(), func() {
			p.dot(x(b.Forecast), y(b.Came), s.dots[i].r, p.pal.berry, p.pal.paper, 1.2)
		})
	}
}

// pile draws a column with round shoulders from y0 down to y1.
func (p pen) pile(x0, y0, x1, y1 float64) {
	r := max(min(6, (x1-x0)/2, y1-y0), 0)
	var path vg.Path
	path.Move(p.at(point{x1, y1}))
	path.Line(p.at(point{x1, y0 + r}))
	path.Arc(p.at(point{x1 - r, y0 + r}), vg.Length(r), 0, math.Pi/2)
	path.Line(p.at(point{x0 + r, y0}))
	path.Arc(p.at(point{x0 + r, y0 + r}), vg.Length(r), math.Pi/2, math.Pi/2)
	path.Line(p.at(point{x0, y1}))
	p.c.SetColor(p.pal.flesh)
	p.c.Fill(path)
	p.set(p.pal.berry, 1.1)
	p.c.Stroke(path)
}

// paintFalls draws a column for each bin, the flat line and its band.
func (s *reliabilitySheet) paintFalls(p pen, x, y func(float64) float64) {
	n := float64(len(s.m.falls))
	if s.m.high > 0 {
		p.rect(x(0), y(s.m.high), x(n), y(s.m.low), p.pal.gapTint)
	}
	p.lattice(s.fall, s.counts)
	for i, k := range s.m.falls {
		if k == 0 {
			continue
		}
		x0, x1, top := x(float64(i)), x(float64(i+1)), y(float64(k))
		gap := (x1 - x0) * 0.1
		p.group("fall", i+1, plural(k, "case", "cases"), func() {
			p.pile(x0+gap, top, x1-gap, y(0))
		})
	}
	if s.m.high > 0 {
		p.segments([][2]point{{{x(0), y(s.m.high)}, {x(n), y(s.m.high)}}, {{x(0), y(s.m.low)}, {x(n), y(s.m.low)}}}, p.pal.slate, 1)
	}
	p.line([]point{{x(0), y(s.m.flat)}, {x(n), y(s.m.flat)}}, p.pal.paper, 3)
	p.line([]point{{x(0), y(s.m.flat)}, {x(n), y(s.m.flat)}}, p.pal.ink, 1.4, 6, 3)
	p.line([]point{{x(0), y(0)}, {x(n), y(0)}}, p.pal.ink, 1)
}
