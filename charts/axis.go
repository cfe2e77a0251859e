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

// dates sets the words of the date axis: the first day of every week, of
// every second or of every fourth, as room allows, and the months.
func (s *sheet) dates() {
	start, layout := time.Monday, "Mon 2"
	if s.m.units == US {
		start = time.Sunday
	}
	first := s.m.lo
	for first.weekday() != start {
		first++
	}
	widest := 0.0
	for d := first; d < s.m.hi; d += 7 {
		widest = max(widest, tickStyle.width(d.time().Format(layout)))
	}
	step := day(7)
	for float64(step)*s.px < widest+12 && step < 56 {
		step *= 2
	}
	for d := first; d < s.m.hi; d += 7 {
		t := tick{date: d}
		if (d-first)%step == 0 {
			t.text = d.time().Format(layout)
			t.fits = s.x(d)+4+tickStyle.width(t.text) <= s.x1
		}
		s.ticks = append(s.ticks, t)
	}

	for d, n := s.m.lo, 0; d < s.m.hi; n++ {
		t := d.time()
		next := day(time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, time.UTC).Unix() / 86400)
		room := s.x(min(next, s.m.hi)) - s.x(d) - 10
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
		s.months = append(s.months, k)
		d = next
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
