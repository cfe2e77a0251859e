package forecast

import (
	"ripetide/weather"
)

// Departure is how warm a day was beside its time of year in other years.
type Departure struct {
	Date   weather.Date
	MeanC  float64 // Middle of the day's extremes, °C.
	UsualC float64 // Mean of these over the two weeks around it in all other years, °C.
}

// Departures returns the days of a record from from to to, both included, beside
// the usual of their time of year: the mean over the days within a week of their
// place in the year, of all years but their own. Days that the record does not
// have, and those whose two weeks other years have not five times over, are left
// out.
func Departures(s weather.Series, from, to weather.Date) []Departure {
	type sum struct {
		c float64
		n int
	}
	var all [366]sum
	own := map[int]*[366]sum{} // By year.
	place := func(d weather.Date) int { return int(d.InYear(leapYear) - leapStart) }
	for _, d := range s.Days() {
		y := own[d.Date.Year()]
		if y == nil {
			y = new([366]sum)
			own[d.Date.Year()] = y
		}
		for _, x := range []*sum{&all[place(d.Date)], &y[place(d.Date)]} {
			x.c += (d.Min + d.Max) / 2
			x.n++
		}
	}
	var out []Departure
	for _, d := range s.Between(from, to) {
		var usual sum
		y := own[d.Date.Year()]
		for k := -usualReach; k <= usualReach; k++ {
			i := (place(d.Date) + k + len(all)) % len(all)
			usual.c += all[i].c - y[i].c
			usual.n += all[i].n - y[i].n
		}
		if usual.n < usualLeast*(2*usualReach+1) {
			continue
		}
		out = append(out, Departure{d.Date, (d.Min + d.Max) / 2, usual.c / float64(usual.n)})
	}
	return out
}

// MeanDeparture returns the mean of MeanC - UsualC, °C, over the days of ds from
// from to to, both included; false when there is none.
func MeanDeparture(ds []Departure, from, to weather.Date) (c float64, ok bool) {
	n := 0
	for _, d := range ds {
		if from <= d.Date && d.Date <= to {
			c += d.MeanC - d.UsualC
			n++
		}
	}
	if n == 0 {
		return 0, false
	}
	return c / float64(n), true
}
