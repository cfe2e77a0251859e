package charts

import (
	"image/color"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg/draw"
)

// steps draws the ripe fruit of each day: a step per day, the plantings one
// upon the other, up to the median of the total, in full colour up to its 0.1
// quantile and in a tint above; upon them, pale, up to the 0.9 quantile. Its
// plot has days since 1970 along x and kg or lb along y.
type steps struct{ *sheet }

// Plot implements plot.Plotter.
func (s steps) Plot(c draw.Canvas, plt *plot.Plot) {
	if s.yMax == 0 {
		return
	}
	p := s.pen(c)
	x, y := p.axes(c, plt)
	var grid [][2]point
	for _, v := range s.yTicks[1:] {
		grid = append(grid, [2]point{{s.x0, y(v)}, {s.x1, y(v)}})
	}
	p.segments(grid, s.pal.hairline, 0.8)
	for _, run := range s.runs() {
		s.run(p, run, x, y)
	}
	if v := s.m.minimum; v > 0 {
		l := []point{{s.x0 - 5, y(v)}, {s.x1, y(v)}}
		p.line(l, s.pal.paper, 3)
		p.line(l, s.pal.ink, 1.4, 6, 3)
	}
	p.line([]point{{s.x0, y(0)}, {s.x1, y(0)}}, s.pal.ink, 1)
}

// runs cuts the supply at missing days and drops what lies off the axis.
func (s steps) runs() [][]stand {
	var out [][]stand
	for i, d := range s.m.supply {
		if d.date < s.m.lo || s.m.hi <= d.date {
			continue
		}
		if n := len(out); n > 0 && i > 0 && s.m.supply[i-1].date == d.date-1 {
			out[n-1] = append(out[n-1], d)
		} else {
			out = append(out, []stand{d})
		}
	}
	return out
}

func (s steps) run(p pen, days []stand, x, y func(float64) float64) {
	n := len(s.m.rows)
	// levels[k][i] is the height on day i under the layer k; levels[n] is the
	// top of the plantings.
	levels := make([][]float64, n+1)
	for k := range levels {
		levels[k] = make([]float64, len(days))
	}
	p50, p90, p10 := make([]float64, len(days)), make([]float64, len(days)), make([]float64, len(days))
	for i, d := range days {
		for k, v := range d.layers {
			levels[k+1][i] = levels[k][i] + v
		}
		p10[i], p50[i], p90[i] = d.p10, d.p50, d.p90
	}
	x0 := days[0].date
	stair := func(v []float64) []point {
		var pts []point
		for i := range v {
			at := float64(x0) + float64(i)
			pts = append(pts, point{x(at), y(v[i])}, point{x(at + 1), y(v[i])})
		}
		return pts
	}
	between := func(lo, hi []float64) []point {
		pts := stair(hi)
		for _, q := range slices.Backward(stair(lo)) {
			pts = append(pts, q)
		}
		return pts
	}

	p.group("range", 0, "", func() {
		p.area(between(p50, p90), s.pal.blush)
		p.line(rises(stair(p90), y(0)), s.pal.berry, 1)
	})
	if some(p50, levels[n]) { // Fruit of no planting.
		p.area(between(levels[n], p50), s.pal.other)
	}
	for k := range n {
		if !some(levels[k+1], levels[k]) {
			continue
		}
		r := s.m.rows[k]
		p.group("layer", r.number, strconv.Itoa(r.number)+" "+r.name, func() {
			sure, tint := pair(s.pal.tone(r.number)), pair(s.pal.tint(r.number))
			whole := pieces(stair(levels[k]), stair(levels[k+1]))
			for _, pts := range whole {
				p.area(pts, tint.fill)
			}
			for _, pts := range pieces(stair(levels[k]), stair(lower(levels[k+1], p10))) {
				p.area(pts, sure.fill)
			}
			for _, pts := range whole {
				p.outline(pts, s.pal.paper, 0.9)
			}
			if n, ok := s.numberPlace(days, levels[k], levels[k+1], r.number, sure.text != tint.text, x, y); ok {
				ink := tint.text
				if n.sure {
					ink = sure.text
				}
				p.text(n.x, n.base, numberStyle, centre, ink, strconv.Itoa(r.number))
			}
		})
	}
}

type fillText struct{ fill, text color.Color }

func pair(fill, text color.Color) fillText { return fillText{fill, text} }

// lower returns the smaller of a and b, element by element.
func lower(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = min(a[i], b[i])
	}
	return out
}

// numberSpot is where the number of a layer goes, and whether the layer is in
// full colour there.
type numberSpot struct {
	x, base float64
	sure    bool
}

// numberPlace looks for the roomiest place in a layer for the number of its
// planting: a run of days in which the layer is high enough, clear of the
// minimum and, if strict, of the change from full colour to tint.
func (s steps) numberPlace(days []stand, lo, hi []float64, number int, strict bool, x, y func(float64) float64) (spot numberSpot, ok bool) {
	const height = 11
	need := int(math.Ceil((numberStyle.width(strconv.Itoa(number)) + 4) / s.px))
	best := 0.0
	for i := 0; i+need <= len(days); i++ {
		top, bottom := 0.0, math.Inf(1) // of the room, in px
		low, high := 0.0, math.Inf(1)   // of the line of the 0.1 quantile
		for j := i; j < i+need; j++ {
			top, bottom = max(top, y(hi[j])), min(bottom, y(lo[j]))
			low, high = max(low, y(days[j].p10)), min(high, y(days[j].p10))
		}
		room := bottom - top
		for _, mid := range []float64{(top + bottom) / 2, top + height/2.0 + 1, bottom - height/2.0 - 1} {
			a, b := mid-height/2.0, mid+height/2.0
			if a < top || bottom < b || room <= best {
				continue
			}
			if v := s.m.minimum; v > 0 && math.Abs(y(v)-mid) < height/2.0+3 {
				continue
			}
			if strict && a < low && high < b {
				continue
			}
			best, ok = room, true
			spot = numberSpot{x(float64(days[i].date) + float64(need)/2), mid + 4, a >= low}
		}
	}
	return spot, ok
}

// some reports whether a is anywhere above b.
func some(a, b []float64) bool {
	for i := range a {
		if a[i] > b[i] {
			return true
		}
	}
	return false
}

// rises closes a stair to the ground at both ends.
func rises(pts []point, ground float64) []point {
	first, last := pts[0], pts[len(pts)-1]
	return append(append([]point{{first.x, ground}}, pts...), point{last.x, ground})
}

// pieces returns the polygons between two stairs with the same x, where they
// are apart: a layer without its empty days.
func pieces(lower, upper []point) [][]point {
	var out [][]point
	for i := 0; i < len(upper); i += 2 {
		if upper[i].y >= lower[i].y {
			continue
		}
		j := i
		for j < len(upper) && upper[j].y < lower[j].y {
			j += 2
		}
		pts := append([]point{}, upper[i:j]...)
		for k := j - 1; k >= i; k-- {
			pts = append(pts, lower[k])
		}
		out = append(out, pts)
		i = j
	}
	return out
}
