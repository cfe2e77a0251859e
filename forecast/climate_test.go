package forecast_test

import (
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// warming is a record of whole years, the first of them 1980, of the same days
// every year but for slope °C more each year.
func warming(t *testing.T, years int, slope float64) weather.Series {
	t.Helper()
	var days []weather.Day
	for d := weather.DateOf(1980, time.January, 1); d <= weather.DateOf(1979+years, time.December, 31); d++ {
		place := float64(d.InYear(2000) - weather.DateOf(2000, time.January, 1))
		at := place/20 + slope*float64(d.Year()-1980)
		days = append(days, weather.Day{Date: d, Min: at - 4, Max: at + 4 + place/100})
	}
	s, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A record that warms by the same amount every year must give traces that are
// as warm as this year is, whatever year they are of.
func TestTracesAreAsWarmAsNow(t *testing.T) {
	t.Parallel()
	s := warming(t, 31, 0.05)
	asOf := weather.DateOf(2010, time.May, 20)
	for _, year := range []int{1980, 1996, 2009} {
		slope, path := forecast.Trend(s, asOf, false, year)
		if !near(slope, 0.05, 1e-9) {
			t.Fatalf("slope is %v °C a year, want 0.05", slope)
		}
		for _, d := range path {
			want, ok := s.At(d.Date)
			if !ok {
				t.Fatalf("no day %s", d.Date)
			}
			if d.Date == weather.DateOf(2010, time.February, 29) {
				continue
			}
			if !near(d.Min, want.Min, 1e-9) || !near(d.Max, want.Max, 1e-9) {
				t.Fatalf("trace of %d has %v on %s, this year has %v", year, d, d.Date, want)
			}
		}
	}
}

func TestTrendNeedsTwentyYears(t *testing.T) {
	t.Parallel()
	s := warming(t, 31, 0.05)
	for _, tt := range []struct {
		years int
		want  float64
	}{{19, 0}, {20, 0.05}} {
		// The year of asOf itself must not count.
		if slope, _ := forecast.Trend(s, weather.DateOf(1980+tt.years, time.December, 31), false, 1980); !near(slope, tt.want, 1e-9) {
			t.Errorf("after %d years the slope is %v, want %v", tt.years, slope, tt.want)
		}
	}
}

// In the south the growing season is September to January; warmth elsewhere in
// the year must not count, nor must a year with holes.
func TestTrendLooksAtTheGrowingSeasonAlone(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name     string
		southern bool
		in       func(m time.Month) bool
	}{
		{"north", false, func(m time.Month) bool { return m >= time.March && m <= time.July }},
		{"south", true, func(m time.Month) bool { return m >= time.September || m == time.January }},
	} {
		var days []weather.Day
		for _, d := range warming(t, 30, 0).Days() {
			y, m, _ := d.Date.Civil()
			season := forecast.SeasonOf(d.Date, tt.southern)
			add := 0.1 * float64(season-1990)
			if !tt.in(m) {
				add = -7 * float64(y%3)
			}
			if season == 1995 && tt.in(m) { // Too few days, and far too hot.
				if d.Date%3 == 0 {
					continue
				}
				add = 15
			}
			d.Min, d.Max = d.Min+add, d.Max+add
			days = append(days, d)
		}
		s, err := weather.NewSeries(days)
		if err != nil {
			t.Fatal(err)
		}
		if slope, _ := forecast.Trend(s, weather.DateOf(2009, time.June, 1), tt.southern, 1985); !near(slope, 0.1, 1e-3) {
			t.Errorf("%s: slope is %v, want 0.1", tt.name, slope)
		}
	}
}
