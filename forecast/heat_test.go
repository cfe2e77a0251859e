package forecast_test

import (
	"math"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// flat is a day of one temperature: 3 °C above 3 is 3 °C·d by every method.
func flat(d weather.Date, c float64) weather.Day { return weather.Day{Date: d, Min: c, Max: c} }

// Worked by hand: days of 10, 4, 0, 6 and 20 °C·d from 1 May on.
func mayHeat() (forecast.Heat, weather.Date) {
	may := weather.DateOf(2020, time.May, 1)
	var days []weather.Day
	for i, dd := range []float64{10, 4, 0, 6, 20} {
		days = append(days, flat(may+weather.Date(i), 3+dd))
	}
	return forecast.NewHeat(forecast.DefaultMethod, days), may
}

func TestHeatCountsTheDaysAfterBloomUpToTheDay(t *testing.T) {
	t.Parallel()
	h, may := mayHeat()
	for _, tt := range []struct {
		from, to weather.Date // Days of May.
		want     float64
	}{{1, 1, 0}, {1, 2, 4}, {1, 4, 10}, {2, 5, 26}, {1, 5, 30}, {5, 1, 0}} {
		if got := h.After(may+tt.from-1, may+tt.to-1); !near(got, tt.want, 1e-12) {
			t.Errorf("after %d May up to %d May: %v °C·d, want %v", tt.from, tt.to, got, tt.want)
		}
	}
}

func TestStageFallsOnTheDayItsRequirementIsCrossed(t *testing.T) {
	t.Parallel()
	h, may := mayHeat()
	for _, tt := range []struct {
		name    string
		need    float64
		want    weather.Date // Of May.
		reached bool
	}{
		{"within the first day", 3.9, 2, true},
		{"at the end of a day", 4, 2, true},
		{"after a day without heat", 4.1, 4, true},
		{"on the last day", 29, 5, true},
		{"not in the span", 31, 5, false},
	} {
		got, ok := h.Reach(may, tt.need) // Bloom on 1 May.
		if got != may+tt.want-1 || ok != tt.reached {
			t.Errorf("%s: %s %v, want %d May %v", tt.name, got, ok, tt.want, tt.reached)
		}
	}
}

// A stage dated to 5 May was reached during it: half of its 20 °C·d count, and
// a place within the day that nobody knows has an sd of 1/√12 of it.
func TestObservedStageCountsHalfItsDay(t *testing.T) {
	t.Parallel()
	h, may := mayHeat()
	n, sd := h.Observed(may, may+4)
	if !near(n, 4+0+6+10, 1e-12) || !near(sd, 20/math.Sqrt(12), 1e-12) {
		t.Errorf("%v °C·d with sd %v, want 20 and %v", n, sd, 20/math.Sqrt(12))
	}
}

func TestSeasonsAreNamedByTheirHarvest(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		date     weather.Date
		southern bool
		want     int
	}{
		{weather.DateOf(2025, time.January, 1), false, 2025},
		{weather.DateOf(2025, time.December, 31), false, 2025},
		{weather.DateOf(2025, time.June, 30), true, 2025},
		{weather.DateOf(2025, time.July, 1), true, 2026},
		{weather.DateOf(2025, time.December, 31), true, 2026},
	} {
		got := forecast.SeasonOf(tt.date, tt.southern)
		first, last := forecast.SeasonBounds(got, tt.southern)
		if got != tt.want || tt.date < first || tt.date > last {
			t.Errorf("%s, southern %v: season %d from %s to %s, want %d", tt.date, tt.southern, got, first, last, tt.want)
		}
	}
}

// Worked by hand at 10 °C·d a day from 1 May on, bloom on 1 May: a requirement
// of 10 n is crossed n days later.
func TestWhatWasSeenOrNotYetSeenRulesTheStages(t *testing.T) {
	t.Parallel()
	may := weather.DateOf(2020, time.May, 1)
	var days []weather.Day
	for i := range 40 {
		days = append(days, flat(may+weather.Date(i), 13))
	}
	type dates = [3]*weather.Date
	on := func(n int) *weather.Date { d := may + weather.Date(n); return &d }
	for _, tt := range []struct {
		name         string
		seen, notYet dates
		need         [3]float64
		want         [3]int // Days after bloom.
		reached      bool
	}{
		{"nothing seen", dates{}, dates{}, [3]float64{100, 140, 200}, [3]int{10, 14, 20}, true},
		{"seen early", dates{on(7)}, dates{}, [3]float64{100, 140, 200}, [3]int{7, 14, 20}, true},
		{"not yet, though the model says so", dates{}, dates{on(12)}, [3]float64{100, 140, 200}, [3]int{13, 14, 20}, true},
		{"not yet carries the peak along", dates{}, dates{on(16)}, [3]float64{100, 140, 200}, [3]int{17, 17, 20}, true},
		{"seen late carries the later stages along", dates{on(25)}, dates{}, [3]float64{100, 140, 200}, [3]int{25, 25, 25}, true},
		{"the last pick was seen before the model's peak", dates{nil, nil, on(12)}, dates{}, [3]float64{100, 140, 200}, [3]int{10, 12, 12}, true},
		{"an old look in vain no longer matters", dates{}, dates{on(3)}, [3]float64{100, 140, 200}, [3]int{10, 14, 20}, true},
		{"not within the season", dates{}, dates{}, [3]float64{100, 140, 500}, [3]int{10, 14, 39}, false},
		{"looked in vain on the last day", dates{}, dates{nil, nil, on(39)}, [3]float64{100, 140, 200}, [3]int{10, 14, 39}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, reached := forecast.Crossing(forecast.DefaultMethod, days, may, tt.seen, tt.notYet, tt.need)
			for s := range got {
				if got[s] != may+weather.Date(tt.want[s]) {
					t.Errorf("stage %d comes %d days after bloom, want %d", s, got[s]-may, tt.want[s])
				}
			}
			if reached != tt.reached {
				t.Errorf("reached is %v", reached)
			}
		})
	}
}
