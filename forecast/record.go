package forecast

import (
	"math"

	"ripetide/weather"
)

// shortHole is the longest run of missing days that is bridged by a straight
// line between its neighbours; longer ones take the mean of other years.
const shortHole = 3

// record is a station's series without holes.
type record struct {
	series weather.Series // Observed here or at the stand-in.
	first  weather.Date
	days   []weather.Day // One for every date from first on.
	borrow []bool        // Day i was not observed here: a stand-in's, or taken from other years.
	own    weather.Series
	lent   weather.Series // What a stand-in station lends, moved to this place.
	offset StandInOffsets
	normal *[366]weather.Day
}

// newRecord fills the holes of own: from the record of a stand-in station, if
// it has enough days in common with it, and else from other years.
func newRecord(own, standIn weather.Series) *record {
	r := &record{series: own, own: own}
	if standIn.Len() > 0 {
		o, ok := compareStations(own, standIn)
		r.offset = o
		if ok {
			r.series, r.lent = o.lend(own, standIn)
		}
	}
	s := r.series
	first, last, ok := s.Span()
	if !ok {
		return r
	}
	r.first = first
	r.days = make([]weather.Day, last-first+1)
	r.borrow = make([]bool, len(r.days))
	for _, d := range s.Days() {
		r.days[d.Date-first] = d
	}
	for _, h := range s.Holes() {
		a, b := r.days[h.From-1-first], r.days[h.To+1-first]
		for d := h.From; d <= h.To; d++ {
			if h.Len() > shortHole {
				r.days[d-first] = r.usual(d)
				r.borrow[d-first] = true
				continue
			}
			f := float64(d-a.Date) / float64(b.Date-a.Date)
			r.days[d-first] = weather.Day{Date: d, Min: a.Min + f*(b.Min-a.Min), Max: a.Max + f*(b.Max-a.Max)}
		}
	}
	for _, d := range r.lent.Days() {
		r.borrow[d.Date-first] = true
	}
	return r
}

// empty reports whether there is no day on record.
func (r *record) empty() bool { return len(r.days) == 0 }

// last returns the last date on record.
func (r *record) last() weather.Date { return r.first + weather.Date(len(r.days)) - 1 }

// at returns the day of d and whether it was not observed here.
func (r *record) at(d weather.Date) (weather.Day, bool) {
	if d < r.first || d > r.last() {
		return r.usual(d), true
	}
	return r.days[d-r.first], r.borrow[d-r.first]
}

// span returns the days from a to b, both included, filled.
func (r *record) span(a, b weather.Date) []weather.Day {
	if r.first <= a && b <= r.last() {
		return r.days[a-r.first : b-r.first+1]
	}
	days := make([]weather.Day, 0, b-a+1)
	for d := a; d <= b; d++ {
		day, _ := r.at(d)
		days = append(days, day)
	}
	return days
}

// unobserved counts the days after a up to b that were not observed here.
func (r *record) unobserved(a, b weather.Date) (n int) {
	for d := a + 1; d <= b; d++ {
		if d < r.first || d > r.last() || r.borrow[d-r.first] {
			n++
		}
	}
	return n
}

// heatSD returns the sd, °C·d, of the heat of the days after a up to b that
// comes of not having observed all of them here.
func (r *record) heatSD(a, b weather.Date) float64 {
	unknown := r.unobserved(a, b)
	if unknown == 0 {
		return 0
	}
	lent := r.lent.Between(a+1, b)
	return math.Hypot(r.offset.heatSD(lent), priors.HoleSD*float64(unknown-len(lent)))
}

// usual returns the mean of the record within three days of d's place in the
// year: what is put where nothing is known. The record must not be empty.
func (r *record) usual(d weather.Date) weather.Day {
	if r.normal == nil {
		r.normal = usualYear(r.series)
	}
	day := r.normal[d.InYear(leapYear)-leapStart]
	day.Date = d
	return day
}

const leapYear = 2000 // Has 29 February, so that every date of any year has a place.

var leapStart = weather.DateOf(leapYear, 1, 1)

// usualYear averages the series by place in the year over a week. Places that
// the record never touches take the nearest earlier one.
func usualYear(s weather.Series) *[366]weather.Day {
	const reach = 3
	var lo, hi, n [366]float64
	for _, d := range s.Days() {
		at := int(d.Date.InYear(leapYear) - leapStart)
		for k := -reach; k <= reach; k++ {
			i := (at + k + 366) % 366
			lo[i] += d.Min
			hi[i] += d.Max
			n[i]++
		}
	}
	var out [366]weather.Day
	for i := range out {
		j := i
		for n[j] == 0 {
			j = (j + 365) % 366
		}
		out[i] = weather.Day{Min: lo[j] / n[j], Max: hi[j] / n[j]}
	}
	return &out
}
