package forecast

import (
	"slices"

	"gonum.org/v1/gonum/stat"

	"ripetide/weather"
)

// UsualDay is between what the days of a date's time of year usually lie, °C.
type UsualDay struct {
	Date weather.Date
	Low  float64 // One low in ten is below it.
	High float64 // One high in ten is above it.
}

const (
	usualReach = 7   // Days on either side that count as the same time of year.
	usualLeast = 5   // Times that the two weeks must be on record.
	usualShare = 0.1 // Of lows below, and of highs above.
)

// UsualDays returns, for every date from from to to, both included, between
// what the days within a week of its place in the year have lain, and
// nothing for dates whose two weeks the record has not five times over.
func UsualDays(s weather.Series, from, to weather.Date) []UsualDay {
	var lows, highs [366][]float64
	for _, d := range s.Days() {
		at := d.Date.InYear(leapYear) - leapStart
		lows[at] = append(lows[at], d.Min)
		highs[at] = append(highs[at], d.Max)
	}
	var done [366]*UsualDay
	var out []UsualDay
	for d := from; d <= to; d++ {
		at := int(d.InYear(leapYear) - leapStart)
		if done[at] == nil {
			done[at] = usualAt(&lows, &highs, at)
		}
		if u := *done[at]; u != (UsualDay{}) {
			u.Date = d
			out = append(out, u)
		}
	}
	return out
}

// usualAt returns the usual day of one place in the year, or a zero one where
// too little is known.
func usualAt(lows, highs *[366][]float64, at int) *UsualDay {
	var lo, hi []float64
	for k := -usualReach; k <= usualReach; k++ {
		i := (at + k + 366) % 366
		lo, hi = append(lo, lows[i]...), append(hi, highs[i]...)
	}
	if len(lo) < usualLeast*(2*usualReach+1) {
		return &UsualDay{}
	}
	slices.Sort(lo)
	slices.Sort(hi)
	return &UsualDay{
		Low:  stat.Quantile(usualShare, stat.LinInterp, lo, nil),
		High: stat.Quantile(1-usualShare, stat.LinInterp, hi, nil),
	}
}
