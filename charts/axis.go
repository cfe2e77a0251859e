package charts

import (
	"math"
	"time"
)

// tick is a date with its words on the axis.
type tick struct {
	date day
	text string
	fits bool
}

// calendar is a date axis: lo <= d < hi from x0 to x1, px to a day.
type calendar struct {
	lo, hi        day
	x0, x1, px    float64
	ticks, months []tick
}

// axisLines are the baselines of a date axis.
type axisLines struct{ months, ticks, edge float64 }

const axisHeight = 38

// x returns where date d begins.
func (c calendar) x(d day) float64 { return c.x0 + float64(d-c.lo)*c.px }

// newCalendar sets the words of a date axis: the first day of every week, of
// every second or of every fourth, as room allows, and the months.
func newCalendar(lo, hi day, x0, x1 float64, units Units) calendar {
	c := calendar{lo: lo, hi: hi, x0: x0, x1: x1, px: (x1 - x0) / float64(hi-lo)}
	start, layout := time.Monday, "Mon 2"
	if units == US {
		start = time.Sunday
	}
	first := c.lo
	for first.weekday() != start {
		first++
	}
	widest := 0.0
	for d := first; d < c.hi; d += 7 {
		widest = max(widest, tickStyle.width(d.time().Format(layout)))
	}
	step := day(7)
	for float64(step)*c.px < widest+12 && step < 56 {
		step *= 2
	}
	for d := first; d < c.hi; d += 7 {
		t := tick{date: d}
		if (d-first)%step == 0 {
			t.text = d.time().Format(layout)
			t.fits = c.x(d)+4+tickStyle.width(t.text) <= c.x1
		}
		c.ticks = append(c.ticks, t)
	}

	for d, n := c.lo, 0; d < c.hi; n++ {
		t := d.time()
		next := day(time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, time.UTC).Unix() / 86400)
		room := c.x(min(next, c.hi)) - c.x(d) - 10
		layouts := []string{"January", "Jan"}
		if n == 0 || t.Month() == time.January {
			layouts = []string{"January 2006", "Jan 2006", "January", "Jan"}
		}
		k := tick{date: d}
		for _, l := range layouts {
			if k.text = t.Format(l); monthStyle.width(k.text) <= room {
				k.fits = true
				break
			}
		}
		c.months = append(c.months, k)
		d = next
	}
	return c
}

// writeDates writes the words of the axis at the baselines of each of several.
func (c calendar) writeDates(p pen, axes ...axisLines) {
	for _, a := range axes {
		for _, t := range c.ticks {
			if t.fits {
				p.text(c.x(t.date)+4, a.ticks, tickStyle, left, p.pal.soft, t.text)
			}
		}
		for _, t := range c.months {
			if t.fits {
				p.text(c.x(t.date)+4, a.months, monthStyle, left, p.pal.ink, t.text)
			}
		}
	}
}

// niceTicks returns the end of an axis from 0 to at least top, and about n
// round numbers on it, 0 included.
func niceTicks(top, n float64) (end float64, ticks []float64) {
	raw := top / n
	unit := math.Pow(10, math.Floor(math.Log10(raw)))
	step := 10 * unit
	for _, k := range []float64{1, 2, 2.5, 5} {
		if k*unit >= raw*(1-1e-9) {
			step = k * unit
			break
		}
	}
	for k := 0.0; k*step <= top; k++ {
		ticks = append(ticks, k*step)
	}
	return top, ticks
}
