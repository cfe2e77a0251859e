package forecast_test

import (
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// TestUsualDaysLeaveOutOneInTen works on lows of 1 to 10 °C in ten years, each
// 10 °C under its high.
func TestUsualDaysLeaveOutOneInTen(t *testing.T) {
	t.Parallel()
	var days []weather.Day
	for y := range 10 {
		from := weather.DateOf(2001+y, time.January, 1)
		for d := from; d < weather.DateOf(2002+y, time.January, 1); d++ {
			days = append(days, weather.Day{Date: d, Min: float64(y + 1), Max: float64(y + 11)})
		}
	}
	s, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	from, to := weather.DateOf(2011, time.December, 25), weather.DateOf(2012, time.March, 5)
	got := forecast.UsualDays(s, from, to)
	if len(got) != int(to-from)+1 {
		t.Fatalf("%d days, want every one", len(got))
	}
	for i, u := range got {
		if u.Date != from+weather.Date(i) || !(1 <= u.Low && u.Low <= 2) || !(19 <= u.High && u.High <= 20) {
			t.Errorf("%s: %.2f to %.2f, want a tenth of 1 to 10 below and of 11 to 20 above", u.Date, u.Low, u.High)
		}
	}
}

func TestUsualDaysNeedFiveYears(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ years, want int }{{4, 0}, {5, 31}} {
		var days []weather.Day
		for y := range tt.years {
			for d := weather.DateOf(2001+y, time.June, 1); d <= weather.DateOf(2001+y, time.August, 31); d++ {
				days = append(days, weather.Day{Date: d, Min: 10, Max: 20})
			}
		}
		s, err := weather.NewSeries(days)
		if err != nil {
			t.Fatal(err)
		}
		if got := forecast.UsualDays(s, weather.DateOf(2020, time.July, 1), weather.DateOf(2020, time.July, 31)); len(got) != tt.want {
			t.Errorf("%d years: %d days of July, want %d", tt.years, len(got), tt.want)
		}
		if got := forecast.UsualDays(s, weather.DateOf(2020, time.January, 1), weather.DateOf(2020, time.January, 31)); len(got) != 0 {
			t.Errorf("%d days of a January that was never on record", len(got))
		}
	}
}
