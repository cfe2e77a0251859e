package scoring

import (
	"fmt"

	"ripetide/weather"
)

// Case is one forecast and what came of it.
type Case struct {
	// Season is the year of harvest, and the unit of resampling.
	Season int
	// Key names the event and the moment of the forecast, such as
	// "2025/strip-3/first_ripe/7". [Skill] pairs by it.
	Key string
	// Lead is the number of days from the as-of date to the event.
	Lead     int
	Forecast Distribution
	Actual   weather.Date
	// InSample says that the forecaster had seen the outcome, as when constants
	// were fitted to the season they are scored on.
	InSample bool
}

// ByLead returns the cases of each lead, days, in the order they come.
func ByLead(cases []Case) map[int][]Case {
	m := make(map[int][]Case)
	for _, c := range cases {
		m[c.Lead] = append(m[c.Lead], c)
	}
	return m
}

// MinSeasons is the number of seasons below which a figure proves little. Of
// 19 honest 80 % ranges chance lets anything from 12 to 18 hold, and so it would
// nearly as well if they were 65 % or 90 % ranges.
const MinSeasons = 20

// check says why cases cannot be scored together.
func check(cases []Case) error {
	for _, c := range cases {
		if c.Forecast.IsZero() {
			return fmt.Errorf("%w: %q has no forecast", ErrInvalidCase, c.Key)
		}
		if c.InSample != cases[0].InSample {
			return fmt.Errorf("%w: %q and %q", ErrMixed, cases[0].Key, c.Key)
		}
	}
	return nil
}

// seasons counts the different seasons of cases.
func seasons(cases []Case) int {
	seen := make(map[int]bool)
	for _, c := range cases {
		seen[c.Season] = true
	}
	return len(seen)
}
