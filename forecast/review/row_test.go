package review_test

import (
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/forecast/review"
	"ripetide/weather"
)

// issued is a forecast of a morning that says p10, p50 and p90 of first ripe.
func issued(id string, asOf, p10, p50, p90 weather.Date) forecast.Issued {
	r := forecast.DateRange{P10: p10, P50: p50, P90: p90}
	return forecast.Issued{ID: id, AsOf: asOf, Stages: &forecast.StageDates{FirstRipe: r, Peak: r, LastPick: r}, Bloomed: true}
}

// TestRowsWorkedByHand: bloom on day 100, first ripe on day 131.
func TestRowsWorkedByHand(t *testing.T) {
	t.Parallel()
	came := forecast.Actual{Planting: "a", Season: 2018, Stage: forecast.FirstRipe, Date: 131}
	bloom := weather.Date(100)
	hindcast := issued("hindcast", 110, 131, 131, 131) // Would be the best for 21 days before.
	hindcast.Hindcast = true
	again := issued("again", 124, 128, 132, 134) // Made later on the same morning.
	again.MadeAt = time.Unix(100, 0)
	seen := issued("seen", 128, 127, 127, 127)
	seen.Stages.FirstRipe.Seen = new(weather.Date(127))
	unaware := issued("unaware", 100, 131, 131, 131) // Made before anybody was in the field.
	unaware.Bloomed = false
	rows := review.Rows(came, &bloom, []forecast.Issued{
		issued("before", 99, 120, 128, 140),
		unaware,
		issued("bloom", 101, 122, 128, 130),
		issued("known", 102, 130, 131, 132), // A later morning knows more.
		hindcast,
		issued("21", 107, 126, 133, 138), // Three days older.
		issued("more", 111, 131, 131, 131),
		issued("once", 124, 131, 131, 131),
		again, seen,
	})
	for i, want := range []struct {
		id     string
		why    review.Why
		err    int
		inside bool
	}{
		{id: "bloom", err: -3},              // 128 - 131; 130 < 131.
		{id: "21", err: 2, inside: true},    // 133 - 131.
		{why: review.NotIssued},             // Day 117: 114 to 117 have none.
		{id: "again", err: 1, inside: true}, // 132 - 131.
		{why: review.AlreadySeen},           // Entered for day 127, mended to 131.
	} {
		r := rows[i]
		if r.Why != want.why || (r.Said == nil) != (want.id == "") {
			t.Fatalf("%s: said %v, why %q; want %q, %q", r.Lead, r.Said, r.Why, want.id, want.why)
		}
		if r.Said == nil {
			if _, ok := r.Error(); ok {
				t.Errorf("%s: an error of nothing", r.Lead)
			}
			continue
		}
		e, ok := r.Error()
		in, _ := r.Inside()
		if r.Said.Forecast != want.id || !ok || e != want.err || in != want.inside {
			t.Errorf("%s: %s, error %d, inside %t; want %s, %d, %t", r.Lead, r.Said.Forecast, e, in, want.id, want.err, want.inside)
		}
	}
}

// TestBloomThatIsEnteredLate: forecasts were made, and none within three days knew
// of bloom.
func TestBloomThatIsEnteredLate(t *testing.T) {
	t.Parallel()
	bloom := weather.Date(100)
	unaware := issued("unaware", 101, 131, 131, 131)
	unaware.Bloomed = false
	rows := review.Rows(forecast.Actual{Stage: forecast.Peak, Date: 140}, &bloom, []forecast.Issued{unaware, issued("late", 104, 131, 131, 131)})
	if r := rows[review.AtBloom]; r.Said != nil || r.Why != review.NotEntered {
		t.Errorf("at bloom: %+v, %q", r.Said, r.Why)
	}
}

// TestABoundIsNoError: what is only known to have come no later than a day
// cannot be missed by a number of days.
func TestABoundIsNoError(t *testing.T) {
	t.Parallel()
	came := forecast.Actual{Stage: forecast.FirstRipe, Date: 131, Bound: forecast.BoundLatest}
	rows := review.Rows(came, nil, []forecast.Issued{issued("a", 124, 130, 131, 132)})
	r := rows[review.Before7]
	if r.Said == nil {
		t.Fatalf("nothing was said: %s", r.Why)
	}
	if _, ok := r.Error(); ok {
		t.Error("an error against a bound")
	}
	if _, ok := r.Inside(); ok {
		t.Error("a hit against a bound")
	}
	if rows[review.AtBloom].Why != review.NoBloom {
		t.Errorf("at bloom: %q, want %q", rows[review.AtBloom].Why, review.NoBloom)
	}
}

// TestALeadBeforeBloomIsNone: ten days after bloom nobody can have said
// anything with fourteen days to go that bloom does not tell.
func TestALeadBeforeBloomIsNone(t *testing.T) {
	t.Parallel()
	bloom := weather.Date(121)
	rows := review.Rows(forecast.Actual{Stage: forecast.Peak, Date: 131}, &bloom, []forecast.Issued{issued("a", 117, 130, 131, 132)})
	if got := rows[review.Before14].Why; got != review.BeforeBloom {
		t.Errorf("14 days before: %q, want %q", got, review.BeforeBloom)
	}
}
