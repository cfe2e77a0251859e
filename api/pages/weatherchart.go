package pages

import (
	"slices"
	"time"

	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/weather"
)

// chart draws the last twelve months, which this season is a part of; of a
// record that has stopped before them its own last twelve. There is none of a
// record without days.
func (x *look) chart() (charts.Record, bool) {
	if x.health.Last == nil {
		return charts.Record{}, false
	}
	end := x.today
	if monthNumber(*x.health.Last) <= monthNumber(end)-12 {
		end = *x.health.Last
	}
	y, m, _ := end.Civil()
	from, to := weather.DateOf(y, m-11, 1), weather.DateOf(y, m+1, 1)-1
	c := charts.Record{
		Heading: x.record.Station.Name + ", the last twelve months", AsOf: x.today.Time(), From: from.Time(), To: to.Time(),
	}
	if end != x.today {
		c.Heading = x.record.Station.Name + ", its last twelve months on record"
		c.Finding = x.lead()
	}
	if x.farm.Units == forecast.US {
		c.Units = charts.US
	}
	days := x.aligned
	if s := x.health.StandIn; s != nil && s.Lent > 0 {
		c.Basis = "Lent days are those of " + x.standIn + ", moved to this place."
		// Of a day that is left out both are known: what was delivered is drawn.
		var lent []weather.Day
		for _, d := range s.LentDays {
			if _, ok := dayAt(days, d.Date); !ok && from <= d.Date && d.Date <= to {
				if _, err := weather.NewDay(d.Date, d.Min, d.Max); err == nil {
					lent = append(lent, d)
				}
			}
		}
		c.Days = recordDays(lent, true)
	}
	first, _ := slices.BinarySearchFunc(days, from, dayByDate)
	last, _ := slices.BinarySearchFunc(days, to+1, dayByDate)
	c.Days = append(c.Days, recordDays(days[first:last], false)...)
	slices.SortFunc(c.Days, func(a, b charts.RecordDay) int { return a.Date.Compare(b.Date) })
	if all, err := weather.NewSeries(days); err == nil {
		for _, u := range forecast.UsualDays(all.Without(x.health.LeftOut), from, to) {
			c.Usual = append(c.Usual, charts.UsualDay{Date: u.Date.Time(), LowC: u.Low, HighC: max(u.Low, u.High)})
		}
		holes := all.Holes()
		if n := len(days); n > 0 && days[n-1].Date < x.today-1 {
			holes = append(holes, weather.Hole{From: days[n-1].Date + 1, To: x.today - 1})
		}
		for _, h := range holes {
			if a, b := max(h.From, from), min(h.To, to); a <= b {
				c.Holes = append(c.Holes, charts.RecordHole{From: a.Time(), To: b.Time()})
			}
		}
	}
	for _, s := range x.health.Suspects {
		if from <= s.Date && s.Date <= to {
			t := testNames[s.Test]
			_, left := slices.BinarySearch(x.health.LeftOut, s.Date)
			c.Suspects = append(c.Suspects, charts.RecordSuspect{Date: s.Date.Time(), Letter: t.letter, Test: t.words, Used: !left})
		}
	}
	return c, true
}

// monthNumber counts months.
func monthNumber(d weather.Date) int {
	y, m, _ := d.Civil()
	return 12*y + int(m-time.January)
}

func dayByDate(d weather.Day, date weather.Date) int { return int(d.Date - date) }

// dayAt returns the day of a date among days in order.
func dayAt(days []weather.Day, date weather.Date) (weather.Day, bool) {
	i, ok := slices.BinarySearchFunc(days, date, dayByDate)
	if !ok {
		return weather.Day{}, false
	}
	return days[i], true
}

func recordDays(days []weather.Day, lent bool) []charts.RecordDay {
	out := make([]charts.RecordDay, 0, len(days))
	for _, d := range days {
		out = append(out, charts.RecordDay{Date: d.Date.Time(), MinC: d.Min, MaxC: d.Max, Lent: lent})
	}
	return out
}
