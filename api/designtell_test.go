package api_test

import (
	"slices"
	"strings"
	"testing"

	"ripetide/api"
	"ripetide/forecast"
)

// The sentences of an outcome, from figures made up for them.
func TestTheOutcomeOfADesignInWords(t *testing.T) {
	t.Parallel()
	before := forecast.DesignOutcome{GapDays: 9.04, GapYears: 2, SeasonMean: 31, SeasonDays: forecast.DayCounts{P10: 29, P50: 31, P90: 33}, Between: []forecast.GapBetween{{After: "A", Before: "B", Days: 9.04}}}
	after := before
	after.GapDays, after.SeasonMean, after.SeasonDays = 38, 66, forecast.DayCounts{P10: 60, P50: 66, P90: 71}
	d := &forecast.Designed{
		Season: 2018, Years: []int{2009, 2010, 2011}, Members: 300, ThinKg: 10, Before: before, After: before,
		Plantings: []forecast.DesignedPlanting{{BeforeM2: 500, AfterM2: 500}},
	}
	want := []string{
		"Season 2018, as its first day would forecast it: the weather of 3 past years, 2009 to 2011, each 100 times with another draw of what plantings require.",
		"As the list stands, a season lasts 29 to 33 days and has 9 gap days on average; with the weather of 2 of 3 past years a gap is more likely than not. Most of them lie between A and B.",
	}
	if got := (api.DesignTelling{Designed: d}).Outcome(); !slices.Equal(got, want) {
		t.Errorf("nothing is tried:\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}

	// A very late addition makes a gap, and it is said where and why.
	d.After = after
	d.Plantings = append(d.Plantings, forecast.DesignedPlanting{AfterM2: 100})
	d.Difference = forecast.DesignDifference{
		GapDays: forecast.Paired{Mean: 29, Lo: 28.44, Hi: 29.51}, ThinDays: forecast.Paired{Mean: -0.2, Lo: -0.4, Hi: 0.06},
		SeasonDays: forecast.Paired{Mean: 35, Lo: 34, Hi: 36}, Longer: 28.96,
	}
	want = append(want,
		"With the changes a season lasts 60 to 71 days and has 38 gap days on average; with the weather of 2 of 3 past years a gap is more likely than not. Most of them lie between A and B.",
		"That is 29 gap days more in a season (+28.4 to +29.5).",
		"The difference in thin days, −0.2 (−0.4 to +0.1), cannot be told from chance.",
		"Outside the season as it was lie 29 new gap days: what ripens far from the rest leaves a gap between. It makes the season 35 days longer.",
	)
	if got := (api.DesignTelling{Designed: d}).Outcome(); !slices.Equal(got, want) {
		t.Errorf("a very late addition:\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}

	d.After, d.ThinKg, d.Difference = forecast.DesignOutcome{}, 0, forecast.DesignDifference{GapDays: forecast.Paired{Mean: -9, Lo: -9.3, Hi: -8.7}}
	got := (api.DesignTelling{Designed: d}).Outcome()
	if s := strings.Join(got[2:], " "); s != "With the changes nothing is picked. That is 9 gap days fewer in a season (−9.3 to −8.7)." {
		t.Errorf("nothing left: %s", s)
	}
	for x, want := range map[float64]string{0.96: "1 gap day", 1.04: "1 gap day", 0.04: "0 gap days", 2.45: "2.5 gap days"} {
		if got := api.DaysOf(x, "gap"); got != want {
			t.Errorf("%g days are %q, want %q", x, got, want)
		}
	}
}
