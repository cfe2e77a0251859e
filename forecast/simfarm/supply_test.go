package simfarm_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/forecast/simfarm"
	"ripetide/weather"
)

// truth makes a planting that ripens kg a day from a day of June on, with its
// window from first to last, both days of June.
func truth(from, first, last int, kg ...float64) simfarm.Truth {
	june := func(d int) weather.Date { return weather.DateOf(2020, time.June, d) }
	x := simfarm.Truth{From: june(from), RipeKg: kg}
	x.Dates[forecast.FirstRipe], x.Dates[forecast.LastPick] = june(first), june(last)
	return x
}

func TestSupplyByHand(t *testing.T) {
	t.Parallel()
	never := func(weather.Date) bool { return false }
	always := func(weather.Date) bool { return true }
	hot, err := weather.NewSeries([]weather.Day{{Date: weather.DateOf(2020, time.June, 2), Min: 20, Max: 34}})
	if err != nil {
		t.Fatal(err)
	}
	one := []simfarm.Truth{truth(1, 2, 6, 1, 10, 20, 40, 5, 2)}
	for _, tt := range []struct {
		name string
		all  []simfarm.Truth
		s    weather.Series
		open func(weather.Date) bool
		want []float64 // Standing, kg, from the first day in the window on.
	}{
		// A berry stands on the day it ripens and on the two days after it.
		{"nobody picks", one, weather.Series{}, never, []float64{11, 31, 70, 65, 47}},
		{"all is picked every day", one, weather.Series{}, always, []float64{10, 20, 40, 5, 2}},
		// What stood on the hot 2 June is a day and a half older on the 3rd; what
		// ripened on the 1st is 2.5 days old then and stands, what ripened on the
		// 2nd is 2.5 days old on the 4th.
		{"a hot day", one, hot, never, []float64{11, 31, 70, 65, 47}},
		{"picked on the 3rd only", one, weather.Series{}, func(d weather.Date) bool { return d.Weekday() == time.Wednesday }, []float64{11, 31, 40, 45, 47}},
		{"two plantings", append(one, truth(3, 4, 5, 7, 8)), weather.Series{}, always, []float64{10, 27, 48, 5, 2}},
		{"none", nil, weather.Series{}, always, nil},
	} {
		var got []float64
		for _, d := range simfarm.Supply(tt.all, tt.s, tt.open) {
			got = append(got, d.StandingKg)
		}
		if diff := cmp.Diff(tt.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", tt.name, diff)
		}
	}
	// Two hot days running are three days of age: what ripened on the first of
	// them is lost after the second.
	hot, err = weather.NewSeries([]weather.Day{
		{Date: weather.DateOf(2020, time.June, 2), Min: 20, Max: 34},
		{Date: weather.DateOf(2020, time.June, 3), Min: 20, Max: 31},
	})
	if err != nil {
		t.Fatal(err)
	}
	if got := simfarm.Supply(one, hot, never)[2].StandingKg; got != 60 { // Only the 3rd's and the 4th's.
		t.Errorf("after two hot days %g kg stand, want 60", got)
	}
}

func TestGapsAndThinDays(t *testing.T) {
	t.Parallel()
	all := []simfarm.Truth{
		truth(1, 2, 4, 1, 9, 30, 6, 1),
		truth(3, 3, 5, 10, 10, 10),
		truth(7, 8, 10, 2, 30, 40, 9),
		truth(11, 12, 12, 1, 50),
	}
	stands := simfarm.Supply(all, weather.Series{}, func(weather.Date) bool { return true })
	june := func(first, last int) [2]weather.Date {
		return [2]weather.Date{weather.DateOf(2020, time.June, first), weather.DateOf(2020, time.June, last)}
	}
	if diff := cmp.Diff([][2]weather.Date{june(6, 7), june(11, 11)}, simfarm.Gaps(stands)); diff != "" {
		t.Errorf("gaps (-want +got):\n%s", diff)
	}
	// 9, 40, 16, 11 kg in the first windows, 30, 40, 9 in the third, 50 in the last.
	if diff := cmp.Diff([][2]weather.Date{june(2, 2), june(5, 5), june(10, 10)}, simfarm.Thin(stands, 16)); diff != "" {
		t.Errorf("thin days (-want +got):\n%s", diff)
	}
}
