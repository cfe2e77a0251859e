package forecast_test

import (
	"slices"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

func series(t *testing.T, days []weather.Day) weather.Series {
	t.Helper()
	s, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// years returns every day of the given years, told apart by their temperature:
// the minimum says the day of the year, the maximum also the year.
func years(from, to int) (days []weather.Day) {
	for d := weather.DateOf(from, time.January, 1); d <= weather.DateOf(to, time.December, 31); d++ {
		n := float64(d-weather.DateOf(d.Year(), time.January, 1)) / 20
		days = append(days, weather.Day{Date: d, Min: n, Max: n + float64(d.Year()-2000)})
	}
	return days
}

func drop(days []weather.Day, from, to weather.Date) []weather.Day {
	return slices.DeleteFunc(slices.Clone(days), func(d weather.Day) bool { return from <= d.Date && d.Date <= to })
}

func TestShortHoleIsAStraightLine(t *testing.T) {
	t.Parallel()
	june := weather.DateOf(2020, time.June, 1)
	s := series(t, []weather.Day{{Date: june, Min: 4, Max: 20}, {Date: june + 4, Min: 8, Max: 12}})
	got, borrowed := forecast.Filled(s, june, june+4)
	want := []weather.Day{
		{Date: june, Min: 4, Max: 20}, {Date: june + 1, Min: 5, Max: 18}, {Date: june + 2, Min: 6, Max: 16},
		{Date: june + 3, Min: 7, Max: 14}, {Date: june + 4, Min: 8, Max: 12},
	}
	for i := range want {
		if got[i].Date != want[i].Date || !near(got[i].Min, want[i].Min, 1e-12) || !near(got[i].Max, want[i].Max, 1e-12) {
			t.Errorf("day %d is %v, want %v", i, got[i], want[i])
		}
	}
	if borrowed != 0 {
		t.Errorf("%d days count as taken from other years", borrowed)
	}
}

// Four days are too many for a line. The mean of the other years within three
// days of each is worked out here from the definition.
func TestLongHoleTakesTheMeanOfOtherYears(t *testing.T) {
	t.Parallel()
	hole := weather.DateOf(2011, time.June, 10)
	days := drop(years(2008, 2012), hole, hole+3)
	got, borrowed := forecast.Filled(series(t, days), hole-1, hole+4)
	if borrowed != 4 {
		t.Errorf("%d days count as taken from other years, want 4", borrowed)
	}
	place := func(d weather.Date) weather.Date { return d.InYear(2000) } // 2000 has every date.
	for i := range 4 {
		d := hole + weather.Date(i)
		var lo, hi, n float64
		for _, x := range days {
			if p := place(x.Date) - place(d); -3 <= p && p <= 3 {
				lo, hi, n = lo+x.Min, hi+x.Max, n+1
			}
		}
		if g := got[i+1]; g.Date != d || !near(g.Min, lo/n, 1e-9) || !near(g.Max, hi/n, 1e-9) {
			t.Errorf("%s is %v, want %v to %v", d, g, lo/n, hi/n)
		}
	}
}

// A past year stands in from the day after the last observed one to the end of
// the harvest, 30 September. From 1 June that is 122 days, of which 116 are
// 95 %: six may be missing, seven are too many.
func TestPastYearIsATraceWithNineteenDaysInTwenty(t *testing.T) {
	t.Parallel()
	all := years(2010, 2019)
	asOf := weather.DateOf(2020, time.June, 1)
	usable := func(days []weather.Day) []int { return forecast.UsableYears(series(t, days), asOf, asOf-1, false) }
	want := []int{2010, 2011, 2012, 2013, 2014, 2015, 2016, 2017, 2018, 2019}
	if got := usable(all); !slices.Equal(got, want) {
		t.Errorf("of a whole record: %v", got)
	}
	july := weather.DateOf(2015, time.July, 1)
	if got := usable(drop(all, july, july+5)); !slices.Contains(got, 2015) {
		t.Errorf("six days are missing: %v", got)
	}
	if got := usable(drop(all, july, july+6)); slices.Contains(got, 2015) {
		t.Errorf("seven days are missing: %v", got)
	}
	// Before 1 June and after 30 September nothing is asked for.
	if got := usable(drop(all, weather.DateOf(2015, time.January, 1), weather.DateOf(2015, time.May, 31))); !slices.Contains(got, 2015) {
		t.Errorf("winter is missing: %v", got)
	}
	if got := usable(drop(all, weather.DateOf(2015, time.October, 1), weather.DateOf(2015, time.December, 31))); !slices.Contains(got, 2015) {
		t.Errorf("autumn is missing: %v", got)
	}
}

// The season of the forecast, of which the record may hold later days, and the
// seasons after it are no past years.
func TestTheSeasonItselfAndWhatFollowsAreNoTrace(t *testing.T) {
	t.Parallel()
	s := series(t, years(2010, 2021))
	asOf := weather.DateOf(2020, time.June, 1)
	if got := forecast.UsableYears(s, asOf, asOf-1, false); slices.Max(got) != 2019 {
		t.Errorf("as of %s: %v", asOf, got)
	}
	south := weather.DateOf(2020, time.June, 20)
	if got := forecast.UsableYears(s, south, south-1, true); slices.Max(got) != 2019 {
		t.Errorf("in the south as of %s: %v", south, got)
	}
}

// Each trace has the season's own dates and, from the first day not observed,
// the weather of the same calendar days of its year, day after day.
func TestTracesReplayTheSameCalendarDays(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name     string
		season   int
		southern bool
		through  weather.Date
		years    []int
	}{
		{"north", 2019, false, weather.DateOf(2019, time.May, 31), []int{2012, 2015}},
		{"leap year ahead", 2020, false, weather.DateOf(2020, time.February, 20), []int{2013, 2015}},
		{"leap year behind", 2019, false, weather.DateOf(2019, time.February, 20), []int{2012, 2016}},
		{"south, across New Year", 2019, true, weather.DateOf(2018, time.November, 30), []int{2013, 2016}},
		{"nothing observed yet", 2019, false, weather.DateOf(2018, time.December, 31), []int{2015}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := series(t, years(2010, 2020))
			first, last := forecast.SeasonBounds(tt.season, tt.southern)
			paths := forecast.LookAhead(s, tt.season, tt.southern, tt.through, tt.years)
			if len(paths) != len(tt.years) {
				t.Fatalf("%d paths", len(paths))
			}
			for i, path := range paths {
				if len(path) != int(last-first)+1 {
					t.Fatalf("a path of %d days", len(path))
				}
				start := (tt.through + 1).InYear((tt.through + 1).Year() + tt.years[i] - tt.season)
				for k, day := range path {
					d := first + weather.Date(k)
					from := d // Observed.
					if d > tt.through {
						from = start + (d - tt.through - 1)
					}
					want, _ := s.At(from)
					if day.Date != d || day.Min != want.Min || day.Max != want.Max {
						t.Fatalf("trace %d on %s is %v, want the weather of %s", tt.years[i], d, day, from)
					}
				}
			}
		})
	}
}
