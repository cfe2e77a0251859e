package simfarm

import (
	"errors"
	"fmt"
	"sort"

	"ripetide/forecast"
	"ripetide/weather"
)

// ErrRecordTooShort is weather that does not reach from the start of the
// season to the end of ripening, or that has a long hole in it.
var ErrRecordTooShort = errors.New("simfarm: weather record too short for the season")

const (
	hoursPerDay = 24
	longestHole = 3 // Days that are bridged by a straight line.
	// seasonDays bounds what is reckoned: from 1 January to the end of
	// September, and as long from 1 July in the south.
	seasonDays = 273
)

// clocks are the two clocks of one place in one season: for each hour from the
// first on, the development of all hours before it, in days at the fastest.
type clocks struct {
	first         weather.Date
	spring, fruit []float64
}

// newClocks runs the clocks over days, which are consecutive, at a place that
// is warmC warmer than the station.
func newClocks(days []weather.Day, latitude, warmC float64) clocks {
	c := clocks{
		first:  days[0].Date,
		spring: make([]float64, len(days)*hoursPerDay+1),
		fruit:  make([]float64, len(days)*hoursPerDay+1),
	}
	for i, day := range days {
		before, after := days[max(i-1, 0)], days[min(i+1, len(days)-1)]
		light := DayLength(latitude, day.Date.Time().YearDay())
		for h := range hoursPerDay {
			t := warmC + TemperatureAt(float64(h)+0.5, light, before, day, after)
			k := i*hoursPerDay + h
			c.spring[k+1] = c.spring[k] + SpringRate(t)/hoursPerDay
			c.fruit[k+1] = c.fruit[k] + FruitRate(t)/hoursPerDay
		}
	}
	return c
}

// reach returns the hour, counted from the first and with a fraction, at which
// sum comes to target; ok is false when it ends before.
func reach(sum []float64, target float64) (hour float64, ok bool) {
	i := sort.SearchFloat64s(sum, target)
	switch {
	case i == len(sum):
		return 0, false
	case i == 0:
		return 0, true
	}
	return float64(i-1) + (target-sum[i-1])/(sum[i]-sum[i-1]), true
}

// at returns sum at a fractional hour.
func at(sum []float64, hour float64) float64 {
	i := min(int(hour), len(sum)-2)
	return sum[i] + (hour-float64(i))*(sum[i+1]-sum[i])
}

// seasonWeather returns the days of the season from its start to its end, or
// to the end of the record, without holes.
func seasonWeather(s weather.Series, season int, southern bool) ([]weather.Day, error) {
	start, _ := forecast.SeasonBounds(season, southern)
	days := make([]weather.Day, 0, seasonDays)
	for _, d := range s.Between(start, start+seasonDays-1) {
		expected := start + weather.Date(len(days))
		missing := int(d.Date - expected)
		if missing > 0 && (len(days) == 0 || missing > longestHole) {
			return nil, fmt.Errorf("%w: season %d: no days from %s to %s", ErrRecordTooShort, season, expected, d.Date-1)
		}
		for k := range missing {
			a, f := days[len(days)-1-k], float64(k+1)/float64(missing+1)
			days = append(days, weather.Day{
				Date: a.Date + weather.Date(k) + 1,
				Min:  a.Min + f*(d.Min-a.Min), Max: a.Max + f*(d.Max-a.Max),
			})
		}
		days = append(days, d)
	}
	if len(days) == 0 {
		return nil, fmt.Errorf("%w: season %d: no days from %s on", ErrRecordTooShort, season, start)
	}
	return days, nil
}
