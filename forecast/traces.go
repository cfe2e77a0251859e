package forecast

import (
	"ripetide/weather"
)

// LeastYears is how many past years of weather a forecast needs: fewer say too
// little about the weather ahead.
const LeastYears = 5

const (
	traceShare   = 0.95 // Of its days that a past year must have on record.
	afterHarvest = 92   // Days of a season after which no harvest comes: October to December, in the south April to June.
	leastReplay  = 30   // Days that are replayed at the least.
)

// ahead is the weather of one station from the first day of the season to its
// last: observed as far as it goes, then one path for each trace.
type ahead struct {
	first   weather.Date
	through weather.Date // Last observed day; first-1 when there is none.
	years   []int        // Of the traces, rising.
	paths   [][]weather.Day
	// outlook is the last day that an outlook tells of, through when none does.
	outlook weather.Date
}

// replayed returns the first and the last day for which a past year's weather
// stands in: from the day after through to the end of the harvest.
func replayed(asOf, through weather.Date, southern bool) (from, to weather.Date) {
	_, end := SeasonBounds(SeasonOf(asOf, southern), southern)
	from = through + 1
	return from, max(end-afterHarvest, min(from+leastReplay-1, end))
}

// usableYears returns the past seasons of r that can be replayed from the day
// after through on: at least 95 % of their days from there to the end of the
// harvest are on record. They lie before the season's first day and so before
// asOf.
func usableYears(r *record, asOf, through weather.Date, southern bool) []int {
	if r.empty() {
		return nil
	}
	season := SeasonOf(asOf, southern)
	from, to := replayed(asOf, through, southern)
	var years []int
	for y := SeasonOf(r.first, southern); y < season; y++ {
		a := shiftYears(from, y-season)
		b := a + (to - from)
		if have := len(r.series.Between(a, b)); float64(have) >= traceShare*float64(b-a+1) {
			years = append(years, y)
		}
	}
	return years
}

// shiftYears returns d's month and day, n years later.
func shiftYears(d weather.Date, n int) weather.Date { return d.InYear(d.Year() + n) }

// lookAhead replays the given past seasons of r from the day after through on.
func lookAhead(r *record, season int, southern bool, through weather.Date, years []int) *ahead {
	first, last := SeasonBounds(season, southern)
	w := &ahead{first: first, through: max(through, first-1), years: years}
	w.outlook = w.through
	n := int(last-first) + 1
	seen := int(w.through-first) + 1
	var observed []weather.Day
	if seen > 0 {
		observed = r.span(first, w.through)
	}
	tr := trendOf(r, season, southern)
	for _, y := range years {
		days := make([]weather.Day, n)
		copy(days, observed)
		src := shiftYears(w.through+1, y-season) - (w.through + 1)
		warm := tr.slope * float64(season-y)
		for i := seen; i < n; i++ {
			d := first + weather.Date(i)
			day, _ := r.at(d + src)
			days[i] = warmer(day, warm)
			days[i].Date = d
		}
		w.paths = append(w.paths, days)
	}
	return w
}

// heats sums the heat of every path by m.
func (w *ahead) heats(m Method) []heat {
	hs := make([]heat, len(w.paths))
	// The observed days are the same in every path. The last of them needs the
	// minimum of the day after it by the double methods.
	shared := max(int(w.through-w.first), 0)
	for i, days := range w.paths {
		if i == 0 {
			hs[0] = newHeat(m, days)
			continue
		}
		h := heat{first: w.first, sum: make([]float64, len(days)+1)}
		copy(h.sum, hs[0].sum[:shared+1])
		h.extend(m, days, shared)
		hs[i] = h
	}
	return hs
}

// meanHeat averages running sums.
func meanHeat(hs []heat) heat {
	m := heat{first: hs[0].first, sum: make([]float64, len(hs[0].sum))}
	for _, h := range hs {
		for i, s := range h.sum {
			m.sum[i] += s
		}
	}
	for i := range m.sum {
		m.sum[i] /= float64(len(hs))
	}
	return m
}

// ripening returns the days not observed of about the six weeks from bloom to
// the last pick.
func (w *ahead) ripening(bloom weather.Date) []weather.Day {
	const weeks = 42
	path := w.paths[0]
	from := max(int(max(bloom, w.through)+1-w.first), 0)
	to := min(int(bloom+weeks-w.first)+1, len(path))
	if from >= to {
		return nil
	}
	return path[from:to]
}
