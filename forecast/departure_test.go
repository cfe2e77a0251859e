package forecast_test

import (
	"testing"

	"ripetide/forecast"
	"ripetide/weather"
)

// TestDeparturesByHand: five years of 10 °C and one of 13 °C, in which one June
// day is missing and another stands at 16 °C. Its own year is not in the usual.
func TestDeparturesByHand(t *testing.T) {
	t.Parallel()
	missing, hot := weather.DateOf(2018, 6, 10), weather.DateOf(2018, 6, 12)
	var days []weather.Day
	for d := weather.DateOf(2013, 1, 1); d <= weather.DateOf(2018, 12, 31); d++ {
		day := weather.Day{Date: d, Min: 6, Max: 14}
		if d.Year() == 2018 {
			day.Min, day.Max = 9, 17
		}
		if d == hot {
			day.Min, day.Max = 10, 22
		}
		if d != missing {
			days = append(days, day)
		}
	}
	s, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	got := forecast.Departures(s, missing-1, hot)
	want := []forecast.Departure{{missing - 1, 13, 10}, {missing + 1, 13, 10}, {hot, 16, 10}}
	if len(got) != 3 || got[0] != want[0] || got[1] != want[1] || got[2] != want[2] {
		t.Errorf("departures %v, want %v", got, want)
	}
	// (3 + 3 + 6) / 3 and, of the last two days, (3 + 6) / 2.
	if c, ok := forecast.MeanDeparture(got, missing-1, hot); !ok || !near(c, 4, 1e-12) {
		t.Errorf("mean departure %g", c)
	}
	if c, ok := forecast.MeanDeparture(got, missing, hot); !ok || !near(c, 4.5, 1e-12) {
		t.Errorf("mean departure of the last days %g", c)
	}
	if _, ok := forecast.MeanDeparture(got, missing, missing); ok {
		t.Error("a mean of no day")
	}
	// Other years have the two weeks around 12 June 2014 five times, but for a day.
	got = forecast.Departures(s, weather.DateOf(2014, 6, 12), weather.DateOf(2014, 6, 12))
	if len(got) != 0 {
		t.Errorf("74 days of the two weeks are fewer than 75: %v", got)
	}
}
