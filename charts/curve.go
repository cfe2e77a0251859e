package charts

import (
	"image/color"
	"math"
	"slices"
	"strconv"
)

// hand is how a line of a chart is drawn: the main one in the colour of fruit,
// the others each with a dash and a mark of its own, so that they can be told
// apart in grey.
type hand struct {
	ink   color.Color
	width float64
	dash  []float64
	mark  int // 0 is the disc of the main line
}

// hand returns how line number n is drawn; 0 is the main one.
func (p palette) hand(n int) hand {
	if n == 0 {
		return hand{ink: p.berry, width: 2.6}
	}
	dashes := [][]float64{{}, {7, 3}, {2, 3}, {9, 3, 2, 3}, {4, 3}, {1, 2}}
	h := hand{ink: p.slate, width: 1.3, dash: dashes[(n-1)%len(dashes)], mark: 1 + (n-1)%6}
	if n%2 == 0 {
		h.ink = p.soft
	}
	return h
}

// stroke draws a line by h, on paper of its own where it is the main one.
func (p pen) stroke(pts []point, h hand) {
	if h.mark == 0 {
		p.line(pts, p.pal.paper, h.width+1.8)
	}
	p.line(pts, h.ink, h.width, h.dash...)
}

// mark draws the mark of a line at a point.
func (p pen) mark(x, y float64, h hand) {
	const r = 4.2
	var pts []point
	switch h.mark {
	case 0:
		p.dot(x, y, 4.6, p.pal.paper, h.ink, 2.2)
		return
	case 1:
		p.dot(x, y, r-0.4, p.pal.paper, h.ink, 1.4)
		return
	case 2:
		pts = []point{{x - r + 0.7, y - r + 0.7}, {x + r - 0.7, y - r + 0.7}, {x + r - 0.7, y + r - 0.7}, {x - r + 0.7, y + r - 0.7}}
	case 3:
		pts = []point{{x, y - r - 0.8}, {x + r + 0.8, y}, {x, y + r + 0.8}, {x - r - 0.8, y}}
	case 4:
		pts = []point{{x, y - r - 0.4}, {x + r + 0.4, y + r - 0.8}, {x - r - 0.4, y + r - 0.8}}
	case 5:
		pts = []point{{x, y + r + 0.4}, {x + r + 0.4, y - r + 0.8}, {x - r - 0.4, y - r + 0.8}}
	default:
		p.area([]point{{x - r, y - r}, {x + r, y - r}, {x + r, y + r}, {x - r, y + r}}, p.pal.paper)
		p.segments([][2]point{{{x - r, y - r}, {x + r, y + r}}, {{x - r, y + r}, {x + r, y - r}}}, h.ink, 1.6)
		return
	}
	p.area(pts, p.pal.paper)
	p.outline(pts, h.ink, 1.4)
}

// sample is the sign of a line in the key.
func (h hand) sample(p pen, x, y float64) {
	p.stroke([]point{{x, y}, {x + 51, y}}, h)
	p.mark(x+25.5, y, h)
}

// capsule draws an upright range as a pill of half width r.
func (p pen) capsule(x, y0, y1, r float64, fill, rim color.Color) {
	path := p.pill(x-r, y0, x+r, max(y1, y0+0.5))
	p.c.SetColor(fill)
	p.c.Fill(path)
	p.set(rim, 1)
	p.c.Stroke(path)
}

// ribbon fills the space between two lines with the same x and draws its rims.
func (p pen) ribbon(upper, lower []point, fill, rim color.Color) {
	if len(upper) < 2 {
		return
	}
	pts := slices.Clone(upper)
	for _, q := range slices.Backward(lower) {
		pts = append(pts, q)
	}
	p.area(pts, fill)
	p.line(upper, rim, 1)
	p.line(lower, rim, 1)
}

// fullDisc draws a disc without a rim.
func (p pen) fullDisc(x, y, r float64, fill color.Color) {
	p.c.SetColor(fill)
	p.c.Fill(p.disc(x, y, r))
}

// upAxis is a value axis: its range and round numbers on it.
type upAxis struct {
	scale
	step  float64
	ticks []float64
}

// fromZero returns an axis from 0 to a little over most, with about n ticks.
func fromZero(most, n float64) upAxis {
	end, ticks := niceTicks(1.06*most, n)
	a := upAxis{scale: scale{0, end}, ticks: ticks, step: end}
	if len(ticks) > 1 {
		a.step = ticks[1]
	}
	return a
}

// px returns the height of a value in a frame.
func (a upAxis) px(at frame, v float64) float64 {
	return at.y1 - (v-a.lo)/(a.hi-a.lo)*(at.y1-at.y0)
}

// figures sets the numbers of the axis at the left of a frame.
func (b *board) figures(at frame, a upAxis) {
	for _, v := range a.ticks {
		b.say(at.x0-8, a.px(at, v)+4, tickStyle, right, b.pal.soft, tickNumber(v, a.step))
	}
}

// figuresWidth returns the width of the widest number of the axis.
func (a upAxis) figuresWidth() float64 {
	w := 0.0
	for _, v := range a.ticks {
		w = max(w, tickStyle.width(tickNumber(v, a.step)))
	}
	return w
}

// lattice draws the level lines of the axis over a frame and its ground.
func (p pen) lattice(at frame, a upAxis) {
	var grid [][2]point
	for _, v := range a.ticks[1:] {
		grid = append(grid, [2]point{{at.x0, a.px(at, v)}, {at.x1, a.px(at, v)}})
	}
	p.segments(grid, p.pal.hairline, 0.8)
	p.line([]point{{at.x0, at.y1}, {at.x1, at.y1}}, p.pal.ink, 1)
}

// tickNumber writes a number of an axis with the decimals that its step needs.
func tickNumber(v, step float64) string {
	decimals := 0
	for s := step; decimals < 4 && math.Abs(s-math.Round(s)) > 1e-6*s; decimals++ {
		s *= 10
	}
	if decimals == 0 && v >= 0 {
		return number(math.Round(v))
	}
	return signed(strconv.FormatFloat(v, 'f', decimals, 64))
}

// signed writes the minus of a number as such.
func signed(s string) string {
	if s[0] == '-' {
		return "−" + s[1:]
	}
	return s
}

// oneDecimal writes days to a tenth, hundreds of them without.
func oneDecimal(x float64) string {
	if math.Abs(x) >= 99.95 {
		return signed(strconv.FormatFloat(x, 'f', 0, 64))
	}
	s := strconv.FormatFloat(x, 'f', 1, 64)
	if s == "-0.0" {
		s = "0.0"
	}
	return signed(s)
}

// end is the name of a line, at its end.
type end struct {
	from   point // where the line ends
	lines  []string
	n      int     // of its hand
	top, h float64 // of the words
}

const endLine = 15.0

// placeEnds sets the names of lines at x, each as near as may be to the end of
// its line, from top to bottom without overlap; it returns the bottom.
func (b *board) placeEnds(x, top, bottom float64, ends []end) float64 {
	want, high := make([]float64, len(ends)), make([]float64, len(ends))
	for i := range ends {
		e := &ends[i]
		e.h = endLine*float64(len(e.lines)) + 5
		want[i], high[i] = e.from.y, e.h
	}
	low := top
	for i, y := range spread(want, high, top, bottom) {
		e := &ends[i]
		e.top = y
		st, ink := cellStyle, b.pal.ink
		if e.n == 0 {
			st = seenStyle
		}
		for k, l := range e.lines {
			b.say(x, y+2.5+11.5+endLine*float64(k), st, left, ink, l)
		}
		low = max(low, y+e.h)
	}
	return low
}

// leaders draws what joins the ends of lines with their names at x.
func (p pen) leaders(x float64, ends []end) {
	for _, e := range ends {
		at := point{x - 6, e.top + 2.5 + endLine/2}
		p.line([]point{{e.from.x + 7, e.from.y}, {max(e.from.x+7, x-22), e.from.y}, at}, p.pal.wire, 1)
	}
}

// spread returns the tops of boxes of heights high, each as near as may be to
// its wanted middle, in the order of these and without overlap, from lo on. If
// they need more room than up to hi, they reach beyond it.
func spread(want, high []float64, lo, hi float64) []float64 {
	order := make([]int, len(want))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case want[a] < want[b]:
			return -1
		case want[a] > want[b]:
			return 1
		}
		return 0
	})
	// Boxes that meet join into a block that stands where they want on average.
	type block struct {
		from, n   int
		sum, size float64 // of the wanted tops of its first box; of the heights
	}
	total := 0.0
	for _, h := range high {
		total += h
	}
	hi = max(hi, lo+total)
	top := func(b block) float64 { return min(max(b.sum/float64(b.n), lo), hi-b.size) }
	var blocks []block
	for k, i := range order {
		b := block{k, 1, want[i] - high[i]/2, high[i]}
		for len(blocks) > 0 {
			last := blocks[len(blocks)-1]
			if top(last)+last.size <= top(b) {
				break
			}
			b = block{last.from, last.n + b.n, last.sum + b.sum - float64(b.n)*last.size, last.size + b.size}
			blocks = blocks[:len(blocks)-1]
		}
		blocks = append(blocks, b)
	}
	out := make([]float64, len(want))
	for _, b := range blocks {
		y := top(b)
		for _, i := range order[b.from : b.from+b.n] {
			out[i] = y
			y += high[i]
		}
	}
	return out
}
