package review_test

import (
	"testing"

	"ripetide/forecast"
	"ripetide/forecast/review"
	"ripetide/weather"
)

// TestSplitAddsUp: said the 140th day, came on the 131st, so 9 days late. Had
// bloom been known, the 138th would have been said: 2 days are its entry's. With
// the weather that came too the 132nd: 6 are the weather's, and 1 is left.
func TestSplitAddsUp(t *testing.T) {
	t.Parallel()
	said := review.Row{
		Actual: forecast.Actual{Planting: "a", Stage: forecast.Peak, Date: 131},
		Said:   &review.Said{P10: 130, P50: 140, P90: 150},
	}
	at := func(peak weather.Date) forecast.Medians {
		return forecast.Medians{"a": {peak - 4, peak, peak + 5}}
	}
	h := forecast.Hindsight{Issued: at(140), Bloomed: at(138), Came: at(132), Through: map[string]weather.Date{"a": 131}}
	s, why := said.Split(&h)
	if why != "" || s != (review.Split{Bloom: 2, Weather: 6, Requirement: 1}) {
		t.Errorf("split %+v, %q", s, why)
	}
	bound := said
	bound.Bound = forecast.BoundLatest
	other, short, gone := h, h, h
	other.Issued = at(139)
	short.Through = map[string]weather.Date{"a": 130}
	gone.Came = forecast.Medians{}
	for _, tt := range []struct {
		name string
		row  review.Row
		h    *forecast.Hindsight
		want review.Unsplit
	}{
		{"what came is a bound", bound, &h, review.NoError},
		{"it could not be made again", said, nil, review.NotAgain},
		{"made again it says another day", said, &other, review.NotAgain},
		{"the record ends the day before", said, &short, review.NoWeather},
		{"no date with the weather that came", said, &gone, review.NoDateThen},
	} {
		if s, why := tt.row.Split(tt.h); why != tt.want || s != (review.Split{}) {
			t.Errorf("%s: %+v, %q, want %q", tt.name, s, why, tt.want)
		}
	}
}

// TestMissesAreTheLargestOfEachEvent and not one event at several leads.
func TestMissesAreTheLargestOfEachEvent(t *testing.T) {
	t.Parallel()
	row := func(planting string, stage forecast.Stage, lead review.Lead, said weather.Date) review.Row {
		return review.Row{
			Actual: forecast.Actual{Planting: planting, Stage: stage, Date: 130}, Lead: lead,
			Said: &review.Said{P50: said},
		}
	}
	got := review.Misses([]review.Row{
		row("a", forecast.FirstRipe, review.AtBloom, 127), // 3 early.
		row("a", forecast.FirstRipe, review.Before7, 135), // 5 late: the largest of its event.
		row("a", forecast.Peak, review.AtBloom, 130),      // Right.
		row("b", forecast.FirstRipe, review.Before3, 126), // 4 early, as
		row("b", forecast.FirstRipe, review.Before14, 134),
		row("c", forecast.FirstRipe, review.Before14, 131),
		{Actual: forecast.Actual{Planting: "d", Date: 130}}, // Nothing was said.
	}, 2)
	if len(got) != 2 || got[0].Planting != "a" || got[0].Lead != review.Before7 || got[1].Planting != "b" || got[1].Lead != review.Before14 {
		t.Errorf("misses %+v", got)
	}
	if n := len(review.Misses(nil, 3)); n != 0 {
		t.Errorf("%d misses of nothing", n)
	}
}
