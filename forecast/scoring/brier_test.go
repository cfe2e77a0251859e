package scoring_test

import (
	"math"
	"testing"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

func TestBrierByHand(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		events []scoring.Event
		want   float64
	}{
		{"certain and right", []scoring.Event{{1, true}, {0, false}}, 0},
		{"certain and wrong", []scoring.Event{{1, false}, {0, true}}, 1},
		{"one half of everything", []scoring.Event{{0.5, true}, {0.5, false}, {0.5, false}}, 0.25},
		{"mixed", []scoring.Event{{0.9, true}, {0.6, false}}, (0.01 + 0.36) / 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := scoring.Brier(tt.events); !near(got, tt.want, 1e-15) {
				t.Errorf("got %g, want %g", got, tt.want)
			}
		})
	}
	if !panics(func() { scoring.Brier(nil) }) {
		t.Error("no events: does not panic")
	}
	for _, p := range []float64{-0.001, 1.001, math.NaN()} {
		if !panics(func() { scoring.Brier([]scoring.Event{{0.5, true}, {p, false}}) }) {
			t.Errorf("p = %g: does not panic", p)
		}
	}
}

// The CRPS is the Brier score of "by this day", added up over all days.
func TestBrierOverAllDaysIsTheCRPS(t *testing.T) {
	t.Parallel()
	c := scoring.Case{Forecast: counts(t, may(3), 2, 5, 0, 3, 1), Actual: may(6)}
	if e := c.By(may(5)); e.Happened || !near(e.Probability, 7.0/11, 1e-15) {
		t.Errorf("by 5 May: %+v", e)
	}
	if e := c.By(may(6)); !e.Happened || !near(e.Probability, 10.0/11, 1e-15) {
		t.Errorf("by 6 May: %+v", e)
	}
	sum := 0.0
	for day := may(-10); day < may(30); day++ {
		sum += scoring.Brier([]scoring.Event{c.By(day)})
	}
	if want := scoring.CRPS(c.Forecast, c.Actual); !near(sum, want, 1e-12) {
		t.Errorf("all days %g, CRPS %g", sum, want)
	}
	if e := c.By(weather.Date(math.MaxInt32)); !e.Happened || e.Probability != 1 {
		t.Errorf("by the end of days: %+v", e)
	}
}
