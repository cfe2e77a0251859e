package forecast

import (
	"sort"

	"ripetide/weather"
)

// heat is the running sum of degree-days over consecutive days from first on:
// sum[i] is the heat of the i days before first+i. One such sum serves every
// planting of a station.
type heat struct {
	first weather.Date
	sum   []float64
}

// newHeat sums the heat of days, which must be consecutive, by m.
func newHeat(m Method, days []weather.Day) heat {
	h := heat{first: days[0].Date, sum: make([]float64, len(days)+1)}
	h.extend(m, days, 0)
	return h
}

// extend sums the days from index from on, keeping what stands before.
func (h heat) extend(m Method, days []weather.Day, from int) {
	// The daily heat goes where the sums will stand.
	m.AppendDegreeDays(h.sum[from+1:from+1], days[from:])
	for i := from; i < len(days); i++ {
		h.sum[i+1] += h.sum[i]
	}
}

// after returns H: the heat of the days after a up to and including b, both
// within the span; zero when b is not after a.
func (h heat) after(a, b weather.Date) float64 {
	if b <= a {
		return 0
	}
	return h.sum[b-h.first+1] - h.sum[a-h.first+1]
}

// of returns the heat of one day.
func (h heat) of(d weather.Date) float64 { return h.sum[d-h.first+1] - h.sum[d-h.first] }

// last returns the last date of the span.
func (h heat) last() weather.Date { return h.first + weather.Date(len(h.sum)) - 2 }

// reach returns the day during which the heat after a reaches r: the first d
// with H(d) >= r. When the span ends before, it returns the last date and
// false.
func (h heat) reach(a weather.Date, r float64) (weather.Date, bool) {
	i := int(a-h.first) + 1
	target := h.sum[i] + r
	j := i + sort.SearchFloat64s(h.sum[i:], target)
	if j >= len(h.sum) {
		return h.last(), false
	}
	return h.first + weather.Date(max(j, i+1)) - 1, true
}

// observed returns the heat to a stage that was dated to the day d, after the
// bloom date: the stage was reached during d, so half of that day counts; and
// the sd of that rounding.
func (h heat) observed(bloom, d weather.Date) (n, sd float64) {
	dd := h.of(d)
	const uniformSD = 0.28867513459481287 // 1/√12, of a place within the day.
	return h.after(bloom, d-1) + dd/2, dd * uniformSD
}
