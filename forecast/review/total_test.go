package review_test

import (
	"testing"

	"ripetide/forecast"
	"ripetide/forecast/review"
	"ripetide/weather"
)

// TestTotalsWorkedByHand: errors of +2, -1 and +5 days in two seasons, one row
// without a forecast and one whose outcome is only a bound.
func TestTotalsWorkedByHand(t *testing.T) {
	t.Parallel()
	row := func(season int, came, p10, p50, p90 weather.Date) review.Row {
		return review.Row{
			Actual: forecast.Actual{Season: season, Stage: forecast.Peak, Date: came}, Lead: review.Before7,
			Said: &review.Said{P10: p10, P50: p50, P90: p90},
		}
	}
	bound := row(2018, 160, 150, 150, 150)
	bound.Bound = forecast.BoundEarlier
	unsaid := row(2018, 160, 0, 0, 0)
	unsaid.Said = nil
	other := row(2018, 160, 160, 160, 160)
	other.Stage = forecast.FirstRipe
	got := review.Totals([]review.Row{
		row(2017, 160, 158, 162, 165), // +2, inside.
		row(2018, 160, 157, 159, 160), // -1, inside, on its very edge.
		row(2018, 160, 161, 165, 170), // +5, outside.
		bound, unsaid, other,
	})
	want := []review.Total{
		{Stage: forecast.FirstRipe, Lead: review.Before7, N: 1, Seasons: 1, Inside: 1},
		{Stage: forecast.Peak, Lead: review.Before7, N: 3, Seasons: 2, LeftOut: 2, Bias: 2, MAE: 8.0 / 3, Inside: 2},
	}
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("totals\n%+v, want\n%+v", got, want)
	}
}
